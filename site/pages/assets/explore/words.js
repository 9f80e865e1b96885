// Numbers and names of the explorer in words: patterns of the program, filled in.

import { amount, monthWords, sideWords } from "../form/sentences.js";
import { say } from "../plan/words.js";

/**
 * @typedef {{ id: string, factor: string, first: string, second: string, file: string, page: string }} ListedPair
 * @typedef {{ id: string, name: string, origin: string, pairs: ListedPair[] }} ListedPool
 *
 * @typedef {object} Rules what the program hands over (aggregator/edgehold/pages/explorer_pages.py)
 * @property {ListedPool[]} pools
 * @property {Dictionary<import("../plan/words.js").Pattern>} says
 * @property {Dictionary<string>} sides
 * @property {RatioScale} scale
 * @property {import("./prediction.js").Digits} draws
 */

const SIMULATED = "simulated";

export class Words {
  /** @param {Rules} rules */
  constructor({ says, sides }) {
    this.patterns = says;
    this.sentences = /** @type {Sentences} */ (/** @type {unknown} */ ({ own_answer: sides }));
  }

  /** @param {string} name @param {import("../plan/words.js").Values} values */
  say(name, values = {}) { return say(this.patterns, name, values); }

  /** A ratio from the ln scale. @param {number} ln */
  ratio(ln) { return this.say("ratio", { figure: amount(Math.exp(ln)) }); }

  /** @param {number} estimate @param {?number} low @param {?number} high all on the ln scale */
  figures(estimate, low, high) {
    const ratio = this.ratio(estimate);
    return low === null || high === null ? this.say("figures_alone", { ratio }) : this.say("figures", { ratio, low: this.ratio(low), high: this.ratio(high) });
  }

  /** A published ratio. @param {import("./choice.js").Ratio} found */
  published({ ratio, low, high }) {
    /** @type {(value: ?number) => ?number} */
    const ln = (value) => (value === null ? null : Math.log(value));
    return this.figures(Math.log(ratio), ln(low), ln(high));
  }

  /** Whose selection it is. @param {import("./choice.js").Pair} pair */
  mark({ origin }) { return this.say(origin === SIMULATED ? "mark_simulated" : "mark"); }

  /** Who does better at either end of a scale. @param {import("./choice.js").Pair} pair @param {import("./choice.js").Endpoint} endpoint @returns {[low: string, high: string]} */
  sides({ factor, first, second }, { kind }) {
    return [sideWords(factor, second, kind, this.sentences), sideWords(factor, first, kind, this.sentences)];
  }

  /** @param {string} interest */
  interest(interest) { return this.say(`interest_${interest.replaceAll(" ", "_")}`); }

  /** @param {string} month */
  month(month) { return monthWords(this.patterns, month); }
}

/** A month such as "Mar 2026". @param {string} month */
export function shortMonth(month) {
  return new Date(`${month}-15T00:00Z`).toLocaleDateString("en-GB", { month: "short", year: "numeric", timeZone: "UTC" });
}

/** @param {number} share of one @returns {string} a percentage without decimals */
export const percent = (share) => (100 * share).toFixed(0);

export { amount };
