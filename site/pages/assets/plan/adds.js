// @ts-check
// What more would add to a plan: edges exchanged with a friend's table, that table alone, a second evening. The same as
// aggregator/edgehold/planning/adds.py and precision.py.

import { eigen } from "../form/matrices.js";
import { outlook } from "./outlook.js";
import { asLeft, halves, inRounds } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Occasion} Occasion */
/** @typedef {import("./orders.js").PlannedRun} PlannedRun */
/** @typedef {{table: number, sharpener: string, blade: string, tester: string, evening: number, lot: number, pair: ?number, edge_part: string}} Cut */
/** @typedef {{kind: string, shows: import("./outlook.js").Glance}} Addition half width infinite where the runs never tell */

const HALVES = ["heel", "tip"], FRIENDS = 2, TOLERANCE = 1e-9;

/**
 * @param {Occasion} asked
 * @param {PlannedRun[]} runs
 * @param {number} seed
 * @returns {Addition[]}
 */
export function additions(asked, runs, seed) {
  const factor = inRounds(asked) ? "sharpener" : "blade", mine = runs.map(cutOf), theirs = mine.map(friends);
  const levels = inRounds(asked) ? asked.sharpeners : asked.blades, first = inRounds(asked) ? here(asked) : asked.blades[0];
  /** @param {string} kind @param {{unscaled: number, df: number}} known */
  const addition = (kind, { unscaled, df }) => ({ kind, shows: outlook(asked, unscaled, df, seed) });
  return [
    addition("add_exchange", precision([...mine, ...theirs, ...exchanged(asked, mine)], factor, first, named(first))),
    addition("add_friend", precision([...mine, ...theirs], factor, first, named(first))),
    addition("add_evening", leastPrecise([...mine, ...again(mine)], factor, levels)),
  ];
}

/** Sharpeners whose edges are cut as they left them. @param {Occasion} asked */
export const absent = (asked) => [...new Set(asLeft(asked).map((arm) => arm.sharpener))].sort();

/** @param {PlannedRun} run @returns {Cut} */
function cutOf({ order, partner, sharpener, blade, tester, evening, lot, edge_part }) {
  return { table: 1, sharpener, blade, tester, evening, lot, pair: partner === null ? null : Math.min(order, partner), edge_part };
}

/** The first sharpener who is there, and so can send an edge. @param {Occasion} asked */
const here = (asked) => /** @type {string} */ (asked.sharpeners.find((name) => !asked.alone || asked.testers.includes(name)));

/** What stands for somebody or something at the friend's table. @param {string} mine */
const named = (mine) => `the friend's ${mine}`;

/** @param {Cut} cut @returns {Cut} */
const friends = (cut) => ({ ...cut, table: FRIENDS, sharpener: named(cut.sharpener), blade: named(cut.blade), tester: named(cut.tester) });

/** The same on further evenings, with halves changed over. @param {Cut[]} cuts @returns {Cut[]} */
function again(cuts) {
  const evenings = Math.max(...cuts.map((cut) => cut.evening)), pairs = 2 * cuts.length;
  return cuts.map((cut) => ({
    ...cut, evening: cut.evening + evenings, pair: cut.pair === null ? null : cut.pair + pairs,
    edge_part: cut.pair === null ? cut.edge_part : HALVES[1 - HALVES.indexOf(cut.edge_part)],
  }));
}

/** The runs of one edge sent each way. @param {Occasion} asked @param {Cut[]} mine @returns {Cut[]} */
function exchanged(asked, mine) {
  const [home] = mine, pair = halves(asked) ? 4 * mine.length : null, both = inRounds(asked);
  const host = both ? here(asked) : home.sharpener, blade = both ? home.blade : asked.blades[0], [heel, tip] = HALVES;
  const visit = { ...home, table: FRIENDS, sharpener: host, blade, tester: named(home.tester), pair, edge_part: heel };
  const back = { ...home, sharpener: named(host), blade: named(blade), pair, edge_part: heel };
  if (!both) { return [{ ...visit, sharpener: named(host) }, { ...back, sharpener: host }]; }
  return [visit, { ...visit, sharpener: named(host), edge_part: tip }, back, { ...back, sharpener: host, edge_part: tip }];
}

/** Of all differences between some levels the one known least. @param {Cut[]} cuts @param {string} factor @param {string[]} levels */
function leastPrecise(cuts, factor, levels) {
  const pairs = levels.flatMap((a, i) => levels.slice(i + 1).map((b) => precision(cuts, factor, a, b)));
  return pairs.reduce((least, one) => (one.unscaled > least.unscaled ? one : least));
}

/**
 * Variance of a difference of two levels, divided by that between runs, under the additive model of the runs; infinite where it cannot be told.
 * @param {Cut[]} cuts
 * @param {string} factor
 * @param {string} first
 * @param {string} second
 */
export function precision(cuts, factor, first, second) {
  const labels = labelsOf(cuts);
  const names = Object.entries(labels).flatMap(([name, column]) => [...new Set(column)].map((level) => ({ name, level })));
  const x = cuts.map((_, row) => names.map(({ name, level }) => Number(labels[name][row] === level)));
  const crossed = names.map((_, i) => names.map((__, j) => x.reduce((sum, row) => sum + row[i] * row[j], 0)));
  const { values, vectors } = eigen(crossed), largest = Math.max(...values);
  const kept = values.flatMap((value, i) => (value > TOLERANCE * largest ? [{ value, vector: vectors[i] }] : []));
  const c = names.map(({ name, level }) => (name === factor ? Number(level === first) - Number(level === second) : 0));
  const parts = kept.map(({ value, vector }) => ({ value, part: vector.reduce((sum, v, i) => sum + v * c[i], 0), vector }));
  const within = names.map((_, i) => parts.reduce((sum, { part, vector }) => sum + part * vector[i], 0));
  const told = within.every((value, i) => Math.abs(value - c[i]) < Math.sqrt(TOLERANCE));
  return { unscaled: told ? parts.reduce((sum, { part, value }) => sum + part * part / value, 0) : Infinity, df: cuts.length - kept.length };
}

/** @param {Cut[]} cuts @returns {Object<string, string[]>} */
function labelsOf(cuts) {
  /** @param {(cut: Cut) => string} of */
  const column = (of) => cuts.map(of), n = cuts.length;
  const people = { sharpener: column((cut) => cut.sharpener), blade: column((cut) => cut.blade) };
  if (cuts[0].pair !== null) { return { ...people, pair: column((cut) => `${cut.table} ${cut.pair}`), half: column((cut) => cut.edge_part) }; }
  const blocks = { evening: column((cut) => `${cut.table} ${cut.evening}`), lot: column((cut) => `${cut.table} ${cut.lot}`) };
  const kept = Object.entries(blocks).filter(([, labels]) => n >= 2 * new Set(labels).size);
  return { ...people, tester: column((cut) => cut.tester), ...Object.fromEntries(kept) };
}
