// @ts-check
// How precisely runs tell two levels apart: least squares on their labels, the same as aggregator/edgehold/planning/precision.py.

import { eigen } from "../form/matrices.js";
import { remembering } from "../form/memory.js";

/** @typedef {import("./orders.js").PlannedRun} PlannedRun */
/** @typedef {{table: number, sharpener: string, blade: string, tester: string, evening: number, lot: number, pair: ?number, edge_part: string}} Cut */

const TOLERANCE = 1e-9;

/** @param {PlannedRun} run @returns {Cut} */
export function cutOf({ order, partner, sharpener, blade, tester, evening, lot, edge_part }) {
  return { table: 1, sharpener, blade, tester, evening, lot, pair: partner === null ? null : Math.min(order, partner), edge_part };
}

/** Of all differences between some levels the one known least. @param {Cut[]} cuts @param {string} factor @param {string[]} levels */
export function leastPrecise(cuts, factor, levels) {
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
  const { names, kept } = modelled(cuts);
  const c = names.map(({ name, level }) => (name === factor ? Number(level === first) - Number(level === second) : 0));
  const parts = kept.map(({ value, vector }) => ({ value, part: vector.reduce((sum, v, i) => sum + v * c[i], 0), vector }));
  const within = names.map((_, i) => parts.reduce((sum, { part, vector }) => sum + part * vector[i], 0));
  const told = within.every((value, i) => Math.abs(value - c[i]) < Math.sqrt(TOLERANCE));
  return { unscaled: told ? parts.reduce((sum, { part, value }) => sum + part * part / value, 0) : Infinity, df: cuts.length - kept.length };
}

/** @typedef {{names: {name: string, level: string}[], kept: {value: number, vector: number[]}[]}} Modelled columns, and what of X'X is not null */

/** Models of runs with the same labels. @type {(name: string, work: () => Modelled) => Modelled} */
const remembered = remembering(100);

/** @param {Cut[]} cuts */
const modelled = (cuts) => remembered(JSON.stringify(cuts), () => model(cuts));

/** @param {Cut[]} cuts @returns {Modelled} */
function model(cuts) {
  const labels = labelsOf(cuts);
  const names = Object.entries(labels).flatMap(([name, column]) => [...new Set(column)].map((level) => ({ name, level })));
  const x = cuts.map((_, row) => names.map(({ name, level }) => Number(labels[name][row] === level)));
  const crossed = names.map((_, i) => names.map((__, j) => x.reduce((sum, row) => sum + row[i] * row[j], 0)));
  const { values, vectors } = eigen(crossed), largest = Math.max(...values);
  const kept = values.flatMap((value, i) => (value > TOLERANCE * largest ? [{ value, vector: vectors[i] }] : []));
  return { names, kept };
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
