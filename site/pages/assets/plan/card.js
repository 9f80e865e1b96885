// @ts-check
// A plan in a post, so that critics can speak before the first cut: the same as aggregator/edgehold/planning/card.py.

import { fitted } from "../form/fitting.js";
import { general, monthWords, rounded } from "../form/sentences.js";
import { openKinds } from "./threats.js";
import { levelsOf } from "./what_fits.js";
import { say } from "./words.js";

/** @typedef {import("./planned.js").Shown} Shown */
/** @typedef {import("./planned.js").Rules} Rules */

/**
 * A chance as so many evenings in ten.
 * @param {Object<string, import("./words.js").Pattern>} patterns
 * @param {number} share
 */
export function inEvenings(patterns, share) {
  if (share < 0.05) { return say(patterns, "seen_few"); }
  return share > 0.95 ? say(patterns, "seen_nearly_all") : say(patterns, "seen_tenths", { tenths: rounded(10 * share) });
}

/** @param {string} text */
const small = (text) => { const [first = "", ...rest] = text; return first.toLowerCase() + rest.join(""); };

/**
 * What will be done, in no more characters than a post may have.
 * @param {Shown} shown
 * @param {Rules} rules
 * @param {string} month
 */
export function planCard({ design: { asked }, runs, shows }, rules, month) {
  const { protocol } = asked, { says: patterns, figures } = rules.card, kinds = openKinds(asked, runs), levels = levelsOf(protocol).map((level) => level.word);
  /** @type {(name: string, values?: import("./words.js").Values) => string} */
  const says = (name, values = {}) => say(patterns, name, values);
  /** @type {(of: (run: import("./orders.js").PlannedRun) => string) => number} */
  const count = (of) => new Set(runs.map(of)).size;
  return fitted([
    { text: says("plan_head", { month: monthWords(patterns, month), question: protocol.question.text }) },
    { text: says("plan_method", { title: protocol.title, id: protocol.id, version: protocol.version }) },
    { text: says("plan_runs", {
      runs: runs.length, last: general(asked.last), units: protocol.units, medium: protocol.medium.name,
      blades: says("blades", { blades: count((run) => run.blade) }),
      edges: levels.length ? says("levels", { levels: levels.join(", ") }) : says("edges", { sharpeners: asked.sharpeners.length }),
      testers: says("testers", { testers: count((run) => run.tester) }),
    }) },
    { text: says(asked.coder === null ? "plan_open" : "plan_coded") },
    { text: says("order", { text: protocol.design.order }), rank: 3, prose: true },
    { text: says("answer", { title: small(asked.rule.title), ratio: general(asked.ratio) }) },
    { text: expected(shows, rules) },
    { text: kinds.length ? says("not_against", { kinds: kinds.join(", ") }) : "", rank: 4 },
    { text: says("plan_seed"), rank: 2 },
    { text: protocol.ask ? says("wrong", { address: protocol.ask }) : says("wrong_here") },
  ], figures);
}

/** How wide the interval will be and how often a difference is seen. @param {import("./outlook.js").Glance} shows @param {Rules} rules */
function expected({ half_width: half, seen }, { card: { says }, says: plan }) {
  if (!Number.isFinite(half)) { return say(says, "plan_needs_others"); }
  const [seen15, seen20] = seen.map((share) => inEvenings(plan, share));
  return say(says, "plan_expects", { width: Math.exp(half).toFixed(2), seen15, seen20 });
}
