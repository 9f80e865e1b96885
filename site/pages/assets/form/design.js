// The additive model of one submission, the contrasts asked of it, and why some cannot be told: aggregator/edgehold/estimates/design.py
// and aggregator/edgehold/numerics/estimability.py.

import { crossProduct, dot, eigen, length, product, timesVector, zeros } from "./matrices.js";
import { filled, rounded } from "./sentences.js";

const TOLERANCE = 1e-8;
const RANK_TOLERANCE = 1e-10;
const FIXED_ANGLE = "same stone and angle";
const NOT_KNOWN = "not known";
const BLOCKS = ["evening", "lot"];

/** @type {Dictionary<(row: EndpointRow) => string>} */
export const LABELS = {
  "blade": ({ run }) => run.blade,
  "sharpener": ({ run }) => run.sharpener,
  "tester": ({ run }) => run.tester,
  "evening": ({ run }) => (run.evening ? String(run.evening).padStart(6, "0") : NOT_KNOWN),
  "lot": ({ run }) => run.lot || NOT_KNOWN,
  "edge part": ({ run }) => run.edgePart,
  "pair": ({ run }) => run.pair ?? NOT_KNOWN,
  "level": ({ run }) => run.level || NOT_KNOWN,
  "angle": ({ run }) => (run.angle === null ? NOT_KNOWN : String(rounded(run.angle)).padStart(3, "0")),
};

/** @type {(row: EndpointRow) => string | null} */
const practice = ({ run }) => (run.practice === null || run.practice === "novice" ? run.practice : "practised");

/** @type {Dictionary<[columns: string, armOf: (row: EndpointRow) => string | null]>} */
export const ARMS = {
  steel: ["blade", ({ run }) => run.steel],
  blade: ["blade", ({ run }) => run.blade],
  sharpener: ["sharpener", ({ run }) => run.sharpener],
  practice: ["sharpener", practice],
  level: ["level", ({ run }) => run.level],
};

/** The place of a level among those that the protocol declares. @type {(rows: EndpointRow[], level: string | null) => number} */
const place = (rows, level) => rows.find(({ run }) => run.level === level)?.run.levelPlace ?? 0;

/** @type {<T extends string>(values: T[]) => T[]} */
const distinct = (values) => [...new Set(values)].sort((a, b) => (a < b ? -1 : a > b ? 1 : 0));

/**
 * Every choice of `size` entries, in order.
 *
 * @template T
 * @param {T[]} values
 * @param {number} size
 * @returns {T[][]}
 */
function combinations(values, size) {
  if (size === 0) { return [[]]; }
  return values.flatMap((value, i) => combinations(values.slice(i + 1), size - 1).map((rest) => [value, ...rest]));
}

/**
 * Factor A = XᵀX, scaled to unit diagonal: its pseudo-inverse, the projector on its row space, an orthonormal basis.
 *
 * @param {Matrix} x
 * @returns {Design}
 */
export function prepare(x) {
  const scale = x[0].map((_, j) => length(x.map((row) => row[j])));
  const scaled = x.map((row) => row.map((value, j) => value / scale[j]));
  const { values, vectors } = eigen(crossProduct(scaled, x.map(() => 1), scaled));
  const largest = Math.max(...values), kept = values.flatMap((value, j) => (value > RANK_TOLERANCE * largest ? [j] : []));
  /** @type {(weight: (value: number) => number) => Matrix} */
  const outer = (weight) => scale.map((_, a) => scale.map((__, b) =>
    kept.reduce((sum, j) => sum + weight(values[j]) * vectors[j][a] * vectors[j][b], 0)));
  return {
    x,
    scale,
    inverse: outer((value) => 1 / value),
    projector: outer(() => 1),
    basis: scaled.map((row) => kept.map((j) => dot(row, vectors[j]) / Math.sqrt(values[j]))),
    rank: kept.length,
  };
}

/**
 * Whether cᵀb is the same for every least-squares solution (Searle 1971, Linear Models, 5.4).
 *
 * @param {Design} design
 * @param {number[]} c
 */
export function estimable(design, c) {
  const scaled = c.map((value, j) => value / design.scale[j]), kept = timesVector(design.projector, scaled);
  return length(scaled.map((value, j) => value - kept[j])) <= TOLERANCE * length(scaled);
}

/**
 * An estimable function in the coordinates of the orthonormal basis.
 *
 * @param {Design} design
 * @param {number[]} c
 */
export function inBasis(design, c) {
  const weights = timesVector(design.inverse, c.map((value, j) => value / design.scale[j]));
  const rows = design.x.map((row) => row.reduce((sum, value, j) => sum + value / design.scale[j] * weights[j], 0));
  return product([rows], design.basis)[0];
}

/**
 * Blade + sharpener + tester + evening + lot (+ part of the edge, + pair of runs cut in turn, + level, + angle where the estimand holds it equal).
 *
 * @param {EndpointRow[]} rows the used runs, one or more
 * @param {string} estimand the protocol's
 * @param {number[] | null} scale what to divide every run by where runs are weighted
 * @returns {Model}
 */
export function build(rows, estimand, scale = null) {
  const names = Object.keys(LABELS).filter((name) => name !== "angle" || estimand === FIXED_ANGLE);
  const found = names.map((name) => /** @type {const} */ ([name, distinct(rows.map(LABELS[name]))])).filter(([, levels]) => levels.length > 1);
  const thin = BLOCKS.filter((name) => rows.length < 2 * (found.find(([other]) => other === name)?.[1].length ?? 0));
  const levels = /** @type {KnownMap<string[]>} */ (new Map(found.filter(([name]) => !thin.includes(name))));
  const columns = /** @type {KnownMap<number>} */ (new Map());
  let at = 1;
  for (const [name, known] of levels) {
    columns.set(name, at);
    at += known.length;
  }
  const x = zeros(rows.length, at);
  rows.forEach((row, i) => {
    x[i][0] = 1;
    for (const [name, known] of levels) { x[i][columns.get(name) + known.indexOf(LABELS[name](row))] = 1; }
  });
  const design = prepare(scale ? x.map((row, i) => row.map((value) => value / scale[i])) : x);
  return { levels, columns, design, leftOut: thin };
}

/**
 * Every pair of steels, of blades, of sharpeners and of levels, and practised against novice; `model` null where no run is usable.
 *
 * @param {EndpointRow[]} rows
 * @param {EndpointRow[]} used
 * @param {Model | null} model
 * @param {Sentences} words
 * @returns {Question[]}
 */
export function questions(rows, used, model, words) {
  return Object.entries(ARMS).flatMap(([factor, [columns, armOf]]) => {
    const arms = distinct(rows.map(armOf).filter((arm) => arm !== null));
    if (factor === "practice") { arms.reverse(); }
    if (factor === "level") { arms.sort((a, b) => place(rows, a) - place(rows, b)); }
    return combinations(arms, 2).map((pair) => question(factor, columns, armOf, pair, used, model, words));
  });
}

/**
 * @param {string} factor
 * @param {string} columns
 * @param {(row: EndpointRow) => string | null} armOf
 * @param {string[]} pair
 * @param {EndpointRow[]} used
 * @param {Model | null} model
 * @param {Sentences} words
 * @returns {Question}
 */
function question(factor, columns, armOf, [first, second], used, model, words) {
  const sides = [first, second].map((name) => used.map((row) => armOf(row) === name));
  const asked = { factor, first, second, sides, weights: null, reason: "" };
  const empty = [first, second].filter((_, i) => !sides[i].some(Boolean));
  if (empty.length || model === null) { return { ...asked, reason: filled(words.contrasts.no_run, { names: empty.join(" or ") }) }; }
  const labels = used.map(LABELS[columns]), c = model.design.scale.map(() => 0), levels = model.levels.get(columns);
  [1, -1].forEach((sign, side) => {
    const present = distinct(labels.filter((_, i) => sides[side][i]));
    present.forEach((label) => { c[model.columns.get(columns) + levels.indexOf(label)] += sign / present.length; });
  });
  return { ...asked, weights: c, reason: estimable(model.design, c) ? "" : movesTogether(factor, columns, c, model, words) };
}

/**
 * The smallest set of other factors without which the contrast could be told.
 *
 * @param {string} factor
 * @param {string} columns
 * @param {number[]} c
 * @param {Model} model
 * @param {Sentences} words
 */
function movesTogether(factor, columns, c, model, words) {
  const others = [...model.levels.keys()].filter((name) => name !== columns), known = words.factors;
  for (let size = 1; size <= others.length; size += 1) {
    for (const dropped of combinations(others, size)) {
      if (estimableWithout(dropped, c, model)) {
        return filled(words.contrasts.together, { factor: known[factor], others: dropped.map((name) => known[name]).join(" and ") });
      }
    }
  }
  return filled(words.contrasts.with_the_rest, { factor: known[factor] });
}

/**
 * @param {string[]} dropped
 * @param {number[]} c
 * @param {Model} model
 */
function estimableWithout(dropped, c, model) {
  const gone = new Set(dropped.flatMap((name) => model.levels.get(name).map((_, i) => model.columns.get(name) + i)));
  /** @type {(values: number[]) => number[]} */
  const keep = (values) => values.filter((_, j) => !gone.has(j));
  return estimable(prepare(model.design.x.map(keep)), keep(c));
}
