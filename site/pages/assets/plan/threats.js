// @ts-check
// Kinds of threats that a plan does not close: the same as aggregator/edgehold/planning/threats.py.

import { halfBalance } from "./outlook.js";
import { arms, asLeft, bladesInTurn, halves, inRounds } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Occasion} Occasion */
/** @typedef {import("./orders.js").PlannedRun} PlannedRun */

/**
 * The kinds, sorted, with those that the protocol leaves open itself.
 * @param {Occasion} asked
 * @param {PlannedRun[]} runs
 * @returns {string[]}
 */
export function openKinds(asked, runs) {
  const found = new Set([...asked.protocol.left_open, "generality"]);
  if (expectation(asked, runs)) { found.add("expectation"); }
  if (asked.alone || (halves(asked) && halfBalance(runs)) || asLeft(asked).length) { found.add("confounding"); }
  if (new Set(runs.map((run) => run.lot)).size === 1) { found.add("medium"); }
  if (runs.every((run) => run.partner === null)) { order(asked, runs).forEach((kind) => found.add(kind)); }
  return [...found].sort();
}

/** @param {Occasion} asked @param {PlannedRun[]} runs */
function expectation(asked, runs) {
  if (asked.coder === null || asked.blades.length > 1 || bladesInTurn(asked) || inRounds(asked)) { return true; }
  const own = asked.sharpeners.some((name) => asked.testers.includes(name.split(" (")[0]));
  return own || (arms(asked).length === 2 && blocksOf(runs).some((block) => block.length < asked.figures.least_coded));
}

/** Runs of the same block behind each other. @param {PlannedRun[]} runs */
const blocksOf = (runs) => [...new Set(runs.map((run) => run.block))].map((block) => runs.filter((run) => run.block === block));

/** @param {Occasion} asked @param {PlannedRun[]} runs @returns {string[]} */
function order(asked, runs) {
  if (asLeft(asked).length) { return ["order"]; }
  const numbers = numbersOf(runs), blocks = blocksOf(runs), known = [...new Set(numbers.values())], places = known.map((arm) => runs.flatMap((run, i) => (numbers.get(run) === arm ? [i] : [])));
  const follows = blocks.flatMap((block) => block.slice(1).map((run, i) => `${numbers.get(block[i])} ${numbers.get(run)}`));
  const counts = known.flatMap((a) => known.filter((b) => b !== a).map((b) => follows.filter((pair) => pair === `${a} ${b}`).length));
  const means = places.map((at) => at.reduce((sum, place) => sum + place, 0) / at.length);
  const uneven = Math.max(...means) - Math.min(...means) > 1e-9 || blocks.some((block) => new Set(block.map((run) => run.evening)).size > 1);
  return [...(Math.max(...counts) > Math.min(...counts) ? ["carry-over"] : []), ...(uneven ? ["order"] : [])];
}

/** What each run cuts, as a number. @param {PlannedRun[]} runs */
function numbersOf(runs) {
  const names = runs.map((run) => `${run.blade}\n${run.sharpener}`), known = [...new Set(names)].sort();
  return new Map(runs.map((run, i) => [run, known.indexOf(names[i])]));
}
