// Which of the protocol's levels a run is of: by what is recorded of its edge, or as the file says where no recorded fact tells.
// The same as aggregator/edgehold/records/levels.py and facts.py.

import { blank, child } from "./places.js";
import { WrittenError, canonicalValue, findUnit } from "./units.js";

/**
 * @typedef {{ fact: string, at_least: number | null, below: number | null, words: string[], other_than: string[] }} LevelRule
 * @typedef {{ word: string, rule: LevelRule | null }} Level
 * @typedef {{ fits: string[], against: string[], written: string | null }} Judged
 * @typedef {object} Facts what the registers tell
 * @property {(system: unknown, grit: unknown) => number | undefined} sizeOf micrometres of a grit
 * @property {(quantity: unknown) => number | null} millimetresOf a length
 * @typedef {UnitRules & { folded: string, grits: RegisterRules["grits"] }} FactRules
 */

const STEEPER_DEG = 0.5; // a last stage at an angle larger by more than this is a microbevel

/** @type {(value: unknown) => any[]} */
const listOf = (value) => (Array.isArray(value) ? value : []);
/** @type {(value: unknown) => number | null} */
const numberOr = (value) => (typeof value === "number" ? value : null);
/** @type {(value: unknown) => string | null} */
const textOr = (value) => (blank(value) ? null : String(value));

/**
 * A designation as registers keep it, whatever its capitals, spaces and hyphens.
 *
 * @param {unknown} text
 * @param {{ folded: string }} rules
 */
export function folded(text, rules) {
  return [...String(text)].filter((sign) => !rules.folded.includes(sign)).join("").toLowerCase();
}

/**
 * Micrometres of a grit in its system.
 *
 * @param {any} system
 * @param {unknown} grit
 * @param {FactRules} rules
 * @returns {number | undefined}
 */
export function gritOf(system, grit, rules) {
  const letter = child(rules.grits.letters, system) ?? "";
  let name = folded(grit, rules);
  if (name.startsWith("#")) { name = name.slice(1); }
  if (letter && name.startsWith(letter)) { name = name.slice(letter.length); }
  return child(child(rules.grits.sizes, system), name);
}

/**
 * What the registers tell of facts.
 *
 * @param {FactRules} rules
 * @returns {Facts}
 */
export function factsOf(rules) {
  return {
    sizeOf: (system, grit) => gritOf(system, grit, rules),
    millimetresOf: (quantity) => {
      const unit = child(quantity, "unit");
      if (blank(unit) || findUnit(unit, rules.units)?.kind !== "length") { return null; }
      try {
        return canonicalValue(child(quantity, "written"), unit, "mm", rules);
      } catch (error) {
        if (error instanceof WrittenError) { return null; }
        throw error;
      }
    },
  };
}

/** Mean angle per side of the edge angle that a preparation states, or null. @param {unknown} preparation */
export function angleOf(preparation) {
  const stated = child(preparation, "edge_angle"), left = numberOr(child(stated, "left_deg"));
  if (left === null) { return null; }
  return child(stated, "basis") === "both together" ? left / 2 : (left + (numberOr(child(stated, "right_deg")) ?? left)) / 2;
}

/**
 * @param {unknown} preparation
 * @param {Facts} facts
 */
function finishOf(preparation, facts) {
  const last = listOf(child(preparation, "stages")).at(-1), written = numberOr(child(last, "micrometres"));
  const system = child(last, "grit_system"), grit = child(last, "grit");
  return written !== null || blank(system) || blank(grit) ? written : facts.sizeOf(system, grit) ?? null;
}

/** @param {unknown} preparation */
function microbevelOf(preparation) {
  const last = listOf(child(preparation, "stages")).at(-1), angle = angleOf(preparation);
  if (last === undefined || angle === null) { return null; }
  const steep = numberOr(child(last, "angle_deg"));
  return steep !== null && steep > angle + STEEPER_DEG ? "yes" : "no";
}

/**
 * @param {LevelRule} rule
 * @param {unknown} preparation
 * @param {unknown} blade
 * @param {Facts} facts
 * @returns {number | string | null}
 */
function factOf(rule, preparation, blade, facts) {
  switch (rule.fact) {
    case "last abrasive": return finishOf(preparation, facts);
    case "edge angle": return angleOf(preparation);
    case "thickness behind the edge": return facts.millimetresOf(child(blade, "thickness_behind_edge"));
    case "hardness": return numberOr(child(child(blade, "hardness"), "hrc"));
    case "microbevel": return microbevelOf(preparation);
    case "start state": return textOr(child(preparation, "start_state"));
    default: return textOr(child(preparation, rule.fact)); // strop, deburring, condition
  }
}

/**
 * Whether one of some words stands in a text, as a word of its own; capitals make no difference.
 *
 * @param {string[]} words
 * @param {string} text
 */
function anyIn(words, text) {
  return words.some((word) => {
    const escaped = word.toLowerCase().replace(/[\\^$.*+?()[\]{}|/-]/gu, "\\$&");
    return new RegExp(`(?<![\\p{L}\\p{N}_])${escaped}(?![\\p{L}\\p{N}_])`, "u").test(text.toLowerCase());
  });
}

/**
 * @param {LevelRule} rule
 * @param {number | string} value
 */
function fits(rule, value) {
  if (typeof value === "string") { return (!rule.words.length || anyIn(rule.words, value)) && !anyIn(rule.other_than, value); }
  return (rule.at_least === null || value >= rule.at_least) && (rule.below === null || value < rule.below);
}

/**
 * How a run stands to levels.
 *
 * @param {Level[]} levels
 * @param {unknown} record
 * @param {unknown} run
 * @param {Facts} facts
 * @returns {Judged}
 */
export function judged(levels, record, run, facts) {
  const preparation = listOf(child(record, "preparations")).find((one) => child(one, "id") === child(run, "preparation"));
  const key = child(preparation, "blade"), blade = listOf(child(record, "blades")).find((one) => key !== undefined && child(one, "key") === key);
  const level = textOr(child(run, "level"));
  const told = levels.map(({ word, rule }) => {
    if (rule === null) { return level === null ? null : level === word; }
    const value = factOf(rule, preparation, blade, facts);
    return value === null ? null : fits(rule, value);
  });
  const words = levels.map(({ word }) => word);
  return {
    fits: words.filter((_, n) => told[n] === true),
    against: words.filter((_, n) => told[n] === false),
    written: level !== null && words.includes(level) ? level : null,
  };
}

/**
 * The one level that a run is of, or null.
 *
 * @param {Judged} found
 */
export function levelOf({ fits: words, against, written }) {
  if (words.length === 1) { return words[0]; }
  return !words.length && written !== null && !against.includes(written) ? written : null;
}
