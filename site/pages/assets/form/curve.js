// One run as a curve of keenness against work, and the quantities read off it in a straight line: aggregator/edgehold/endpoints,
// readings.py, runs.py and curve.py. Keenness is the signed mean ln of a reading's repeats; larger is sharper.

import { last } from "./matrices.js";

export const SAME_WORK = 1e-9;

/**
 * No value, with the reason.
 *
 * @type {(reason: string) => CensoredValue}
 */
export const missing = (reason) => ({ low: NaN, high: NaN, se: NaN, reason });

/**
 * +1 where a higher reading is keener, −1 where a lower one is.
 *
 * @type {(keener: string) => 1 | -1}
 */
export const signOf = (keener) => (keener === "higher" ? 1 : -1);

/** @type {(values: number[]) => number} */
const mean = (values) => values.reduce((sum, x) => sum + x, 0) / values.length;

/**
 * The side on which a repeat is censored, as marked or as it must be; null on the scale.
 *
 * @param {number} value
 * @param {string | null} limit
 * @param {ReadingRule} rule
 */
function markOf(value, limit, rule) {
  if (limit) { return limit; }
  if (value <= 0 || (rule.resolution !== null && value < rule.resolution)) { return "below"; }
  return rule.scale_end !== null && value > rule.scale_end ? "above" : null;
}

/**
 * Smallest or largest value that ln of a repeat can have.
 *
 * @param {number} value
 * @param {string | null} mark
 * @param {string} side
 * @param {ReadingRule} rule
 */
function logLimit(value, mark, side, rule) {
  if (mark === null) { return Math.log(value); }
  const open = side === "below" ? -Infinity : Infinity;
  const known = [value, (mark === "below" ? rule.resolution : rule.scale_end) ?? 0].filter(Boolean);
  if (mark === side || !known.length) { return open; }
  return Math.log(mark === "below" ? Math.max(...known) : Math.min(...known));
}

/**
 * Keenness of one reading with what censors it.
 *
 * @param {number[]} values
 * @param {(string | null)[]} limits
 * @param {ReadingRule} rule
 */
export function keenness(values, limits, rule) {
  const marks = values.map((x, i) => markOf(x, limits[i], rule)), sign = signOf(rule.keener);
  const ends = ["below", "above"].map((side) => sign * mean(values.map((x, i) => logLimit(x, marks[i], side, rule))));
  const [low, high] = ends[0] <= ends[1] ? ends : [ends[1], ends[0]];
  return { low, high, n: values.length, limit: marks.find((mark) => mark !== null) ?? null, mean: mean(values) };
}

/**
 * Variance of ln x within readings, pooled over readings that were wholly on the scale; NaN where nothing was repeated.
 *
 * @param {number[][]} readings
 */
export function pooledVariance(readings) {
  let squares = 0, df = 0;
  for (const values of readings.filter((v) => v.length > 1)) {
    const logs = values.map(Math.log), centre = mean(logs);
    squares += logs.reduce((sum, x) => sum + (x - centre) ** 2, 0);
    df += values.length - 1;
  }
  return df ? squares / df : NaN;
}

/**
 * Standard error of a keenness from reading: pooled spread or rounding to the resolution, whichever is larger.
 *
 * @param {number} variance
 * @param {{ n: number, mean: number }} read
 * @param {ReadingRule} rule
 */
function readingSe(variance, read, rule) {
  const parts = [variance / read.n];
  if (rule.resolution !== null && read.mean > 0) { parts.push(rule.resolution ** 2 / (12 * read.mean ** 2)); }
  const known = parts.filter((part) => !Number.isNaN(part));
  return known.length ? Math.sqrt(Math.max(...known)) : NaN;
}

/**
 * Readings in order of work, repeats at the same work together.
 *
 * @param {CanonicalReading[]} readings
 * @returns {CanonicalReading[]}
 */
export function byWork(readings) {
  const merged = new Map();
  for (const r of readings) {
    const old = merged.get(r.work) ?? { work: r.work, values: [], limits: [], passed: [] };
    merged.set(r.work, {
      work: r.work, values: [...old.values, ...r.values], limits: [...old.limits, ...r.limits], passed: [...old.passed, ...r.passed],
    });
  }
  return [...merged.values()].sort((a, b) => a.work - b.work);
}

/**
 * w₁, the protocol's first positive checkpoint.
 *
 * @type {(protocol: Protocol) => number}
 */
export const firstPositive = (protocol) => Math.min(...protocol.work.checkpoints.filter((w) => w > 0));

/**
 * The curve of a run: arrays in order of work.
 *
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {number} variance
 * @returns {Curve}
 */
export function curveOf(run, protocol, variance) {
  const rule = protocol.reading, readings = byWork(run.readings).filter((r) => r.values.length);
  const read = readings.map((r) => keenness(r.values, r.limits, rule));
  return {
    work: readings.map((r) => r.work),
    low: read.map((k) => k.low),
    high: read.map((k) => k.high),
    se: read.map((k) => readingSe(variance, k, rule)),
    repeats: read.map((k) => k.n),
    first: firstPositive(protocol),
  };
}

/**
 * The work axis ln(w + w₁).
 *
 * @type {(work: number, first: number) => number}
 */
export const axis = (work, first) => Math.log(work + first);

/**
 * The curve with one more point: after a run that ended dull, keenness later is at most the last reading.
 *
 * @param {Curve} curve
 * @param {number} until
 * @returns {Curve}
 */
export function heldAfterDull(curve, until) {
  const last = curve.work.length - 1;
  if (last < 0 || until <= curve.work[last] * (1 + SAME_WORK)) { return curve; }
  return {
    ...curve,
    work: [...curve.work, until],
    low: [...curve.low, -Infinity],
    high: [...curve.high, curve.high[last]],
    se: [...curve.se, curve.se[last]],
    repeats: [...curve.repeats, curve.repeats[last]],
  };
}

/**
 * Index of the reading taken at an amount of work, or −1.
 *
 * @param {Curve} curve
 * @param {number} work
 */
export function position(curve, work) {
  return curve.work.findIndex((w) => Math.abs(w - work) <= SAME_WORK * Math.max(work, curve.first));
}

/**
 * Weights of the readings in the keenness at an amount of work, linear in ln(w + w₁); null outside the readings.
 *
 * @param {Curve} curve
 * @param {number} work
 * @returns {number[] | null}
 */
export function levelWeights(curve, work) {
  const weights = curve.work.map(() => 0), at = position(curve, work);
  if (at >= 0) {
    weights[at] = 1;
    return weights;
  }
  const after = curve.work.findIndex((w) => w >= work);
  if (after <= 0) { return null; }
  const [left, right] = [axis(curve.work[after - 1], curve.first), axis(curve.work[after], curve.first)];
  const share = (axis(work, curve.first) - left) / (right - left);
  weights[after - 1] = 1 - share;
  weights[after] = share;
  return weights;
}

/**
 * Weights in the mean keenness over a stretch of work: trapezoid on the work axis; the ends lie within the readings.
 *
 * @param {Curve} curve
 * @param {number} start
 * @param {number} end
 */
export function windowWeights(curve, start, end) {
  const inside = curve.work.flatMap((w, i) =>
    (w > start + SAME_WORK * Math.max(start, curve.first) && w < end - SAME_WORK * end ? [i] : []));
  /** @type {(i: number) => number[]} */
  const unit = (i) => curve.work.map((_, j) => (i === j ? 1 : 0));
  const nodes = /** @type {Matrix} */ ([levelWeights(curve, start), ...inside.map(unit), levelWeights(curve, end)]);
  const u = [start, ...inside.map((i) => curve.work[i]), end].map((w) => axis(w, curve.first));
  return curve.work.map((_, j) => {
    let sum = 0;
    for (let i = 1; i < nodes.length; i += 1) { sum += (nodes[i][j] + nodes[i - 1][j]) / 2 * (u[i] - u[i - 1]); }
    return sum / (last(u) - u[0]);
  });
}

/**
 * Σ weight × keenness with the limits that censored readings leave, and its standard error from reading.
 *
 * @param {Curve} curve
 * @param {number[]} weights
 * @param {Sentences} words
 * @returns {CensoredValue}
 */
export function linear(curve, weights, words) {
  let low = 0, high = 0, variance = 0;
  weights.forEach((w, i) => {
    if (w === 0) { return; }
    low += w > 0 ? w * curve.low[i] : w * curve.high[i];
    high += w > 0 ? w * curve.high[i] : w * curve.low[i];
    variance += w ** 2 * curve.se[i] ** 2;
  });
  if (!Number.isFinite(low) && !Number.isFinite(high)) { return missing(words.endpoints.off_scale); }
  return { low, high, se: Math.sqrt(variance), reason: "" };
}
