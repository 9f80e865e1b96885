// A protocol's settings as the pages of two methods show them: rows of settings, and what it does about each kind of threat. The same as
// aggregator/edgehold/pages/method_table.py makes them, but for what an evening tells, which takes the planner.

import { filled } from "./sentences.js";

/**
 * Cells of the rows of settings, in the order of `rules.heads`.
 *
 * @param {any} settings as its schema wants them
 * @param {OwnMethodRules} rules
 * @returns {string[]}
 */
export function settingsCells(settings, rules) {
  const { says, units } = rules, { question, work, design, people, minutes, needs, reference } = settings;
  /** @type {(where: string) => string} */
  const listedNeeds = (where) => needs.filter((/** @type {Named} */ need) => need.where === where).map((/** @type {Named} */ need) => need.item).join("; ") || says.nothing;
  /** @type {(unit: string) => string} */
  const plural = (unit) => units[unit] ?? unit;
  /** @type {(value: number) => string} */
  const number = (value) => filled("{value:g}", { value });
  const amount = (/** @type {number} */ value) => `${number(value)} ${value === 1 ? work.unit : plural(work.unit)}`;
  return [
    question.text,
    question.levels?.length ? listed(question.levels.map((/** @type {Named} */ level) => level.word), rules) : says[`compares_${question.factor}`],
    settings.medium.name,
    filled(says.checkpoints, { points: work.checkpoints.map(number).join(", "), units: plural(work.unit) }),
    settings.reading.description,
    says[`side_by_side_${design.side_by_side ?? "none"}`],
    design.order,
    design.blinding,
    people.alone,
    String(design.least_runs),
    String(minutes.whole),
    listedNeeds("made"),
    listedNeeds("cheap"),
    says.evening_own,
    reference ? filled(says.reference_asked, { edge: reference.edge, work: amount(reference.work) }) : says.reference_none,
  ];
}

/** @type {(names: string[], rules: OwnMethodRules) => string} */
const listed = (names, rules) => (names.length === 1 ? names[0] : filled(rules.names, { rest: names.slice(0, -1).join(", "), last: names[names.length - 1] }));

/**
 * What a method does about each kind of threat.
 *
 * @param {any} settings
 * @param {OwnMethodRules} rules
 * @returns {Dictionary<HandledThreats>}
 */
export function handledThreats(settings, rules) {
  /** @type {(kind: string) => HandledThreats} */
  const of = (kind) => ({
    threats: settings.threats.filter((/** @type {Named} */ one) => one.threat === kind)
      .map((/** @type {{ text: string, steps: string[] }} */ one) => ({ text: one.text, steps: one.steps.map((step) => [step, ""]) })),
    standing: [],
  });
  return Object.fromEntries(rules.threats.map((kind) => [kind, of(kind)]));
}

/**
 * Whether something of a kind is not dealt with: not named, left open, or under an objection.
 *
 * @param {HandledThreats} handled
 */
export function leavesOpen({ threats, standing }) {
  return !threats.length || threats.some(({ steps }) => !steps.length) || standing.length > 0;
}
