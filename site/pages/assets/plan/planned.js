// @ts-check
// A whole answer of the planner: what can be done, its order, and how much each design would show.

import { drawnRuns } from "./orders.js";
import { glance } from "./outlook.js";
import { doable, otherDesigns, ruleWithin, usualLast } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Occasion} Occasion */
/** @typedef {import("./what_fits.js").Design} Design */
/** @typedef {import("./what_fits.js").Stock} Stock */
/** @typedef {{protocols: import("./what_fits.js").Protocol[], figures: import("./what_fits.js").Figures, says: Object<string, import("./words.js").Pattern>,
 *   card: CardRules, ended: string[]}} Rules */
/** @typedef {{protocol: string, blades: string[], sharpeners: string[], testers: string[], coder: ?string, alone: boolean, last?: ?number,
 *   ratio?: ?number, stock: Stock}} Question */
/** @typedef {{design: Design, runs: import("./orders.js").PlannedRun[], shows: import("./outlook.js").Glance}} Shown */

/**
 * @param {Question} question
 * @param {Rules} rules
 * @param {number} seed
 * @returns {Shown[]} the design that will be done, then the others that the same time holds
 */
export function planned(question, rules, seed) {
  const protocol = /** @type {import("./what_fits.js").Protocol} */ (rules.protocols.find((one) => one.id === question.protocol));
  const last = question.last ?? usualLast(protocol), rule = /** @type {import("./what_fits.js").Endpoint} */ (ruleWithin(protocol, last));
  const design = doable({ ...question, protocol, figures: rules.figures, last, rule, ratio: question.ratio ?? rule.worthwhile_ratio });
  return [design, ...otherDesigns(design)].map((one) => {
    const runs = drawnRuns(one, seed);
    return { design: one, runs, shows: glance(one, runs, seed) };
  });
}
