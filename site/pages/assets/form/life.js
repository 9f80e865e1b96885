// How much work an edge does before its keenness falls to a threshold: aggregator/edgehold/endpoints/life.py, on the ln scale of work.

import { SAME_WORK, axis, missing } from "./curve.js";
import { normalDraws } from "./draws.js";
import { decreasingFit, fallsTo } from "./isotonic.js";
import { last } from "./matrices.js";

const DRAWS = 400;
const SHARE_OUTSIDE = 0.05;
const TAIL = 0.025;
const TOUCHING = 1e-9;

/** @type {(value: CensoredValue, failed?: boolean) => { value: CensoredValue, failed: boolean }} */
const of = (value, failed = false) => ({ value, failed });

/**
 * Life to a keenness, with what censors it.
 *
 * @param {Curve} curve of the run
 * @param {number} threshold keenness that ends the life
 * @param {number} fromWork where the monotone fit begins
 * @param {number[]} key of the draws
 * @param {boolean} relative the threshold was taken from the first reading and moves with each draw of it
 * @param {Sentences} words
 */
export function life(curve, threshold, fromWork, key, relative, words) {
  const use = telling(curve, threshold, fromWork);
  if (!use.length) { return of(missing(words.endpoints.none_tells)); }
  /** @type {(values: number[]) => number[]} */
  const pick = (values) => use.map((i) => values[i]);
  const bounds = curve.low.map((low, i) => (Number.isFinite(low) ? low : curve.high[i]));
  const work = pick(curve.work), k = pick(bounds), weights = pick(curve.repeats), first = curve.first;
  const fit = decreasingFit(k, weights);
  const { at, j } = crossing(fit, work, first, threshold);
  if (j === work.length) { return of(right(last(work), words)); }
  if (j === 0 || at <= first * (1 + SAME_WORK)) {
    const below = curve.work[0] <= SAME_WORK * first && curve.high[0] <= threshold + TOUCHING;
    return of(left(Math.max(at, first), words), below);
  }
  const ends = use.filter((_, i) => fit[i] === fit[j - 1] || fit[i] === fit[j]);
  if (ends.some((i) => curve.low[i] !== curve.high[i])) { return of(interval(work[j - 1], work[j], first, words)); }
  const se = curve.se.map((one) => one || 0), u = work.map((w) => axis(w, first)), moved = new Array(k.length).fill(0);
  const drawn = normalDraws(key, DRAWS, curve.work.length).map((deviates) => {
    for (let i = 0; i < k.length; i += 1) { moved[i] = k[i] + se[use[i]] * deviates[use[i]]; }
    const reached = threshold + (relative ? se[0] * deviates[0] : 0), { place, before, after } = fallsTo(moved, weights, reached + TOUCHING);
    return place === 0 ? work[0] : place === work.length ? Infinity : between(before, after, reached, u[place - 1], u[place], first);
  });
  return of(exactOrInterval(drawn, at, work[j - 1], work[j], first, words));
}

/**
 * Readings from where the fit begins that lie wholly on one side of the threshold.
 *
 * @param {Curve} curve
 * @param {number} threshold
 * @param {number} fromWork
 */
function telling(curve, threshold, fromWork) {
  const touched = threshold + TOUCHING;
  return curve.work.flatMap((w, i) => {
    const [low, high] = [curve.low[i], curve.high[i]];
    return w >= fromWork - SAME_WORK * curve.first && (low === high || low > touched || high <= touched) ? [i] : [];
  });
}

/**
 * Work at which a fitted series first reaches the threshold, and the index of the bracket's upper end.
 *
 * @param {number[]} fit
 * @param {number[]} work
 * @param {number} first
 * @param {number} threshold
 */
function crossing(fit, work, first, threshold) {
  const reached = fit.findIndex((k) => k <= threshold + TOUCHING), j = reached < 0 ? fit.length : reached;
  if (j === 0 || j === fit.length) { return { at: j ? Infinity : work[0], j }; }
  return { at: between(fit[j - 1], fit[j], threshold, axis(work[j - 1], first), axis(work[j], first), first), j };
}

/**
 * Work at which keenness falls to the threshold, from `above` at `start` to `below` at `end` of the work axis.
 *
 * @param {number} above
 * @param {number} below
 * @param {number} threshold
 * @param {number} start
 * @param {number} end
 * @param {number} first
 */
function between(above, below, threshold, start, end, first) {
  const share = Math.min((above - threshold) / (above - below), 1);
  return Math.exp(start + share * (end - start)) - first;
}

/**
 * Exact if the reading error keeps the crossing in its bracket, else the interval in which the draws fall.
 *
 * @param {number[]} drawn
 * @param {number} at
 * @param {number} low
 * @param {number} high
 * @param {number} first
 * @param {Sentences} words
 * @returns {CensoredValue}
 */
function exactOrInterval(drawn, at, low, high, first, words) {
  const outside = drawn.filter((x) => x < low * (1 - SAME_WORK) || x > high * (1 + SAME_WORK)).length;
  if (outside / DRAWS >= SHARE_OUTSIDE) {
    const ordered = [...drawn].sort((a, b) => (a < b ? -1 : a > b ? 1 : 0)), tail = Math.floor(TAIL * DRAWS);
    return interval(Math.min(ordered[tail], at), Math.max(ordered[DRAWS - 1 - tail], at), first, words);
  }
  const logs = drawn.filter(Number.isFinite).map((x) => Math.log(Math.max(x, first)));
  const centre = logs.reduce((sum, x) => sum + x, 0) / logs.length;
  const spread = Math.sqrt(logs.reduce((sum, x) => sum + (x - centre) ** 2, 0) / (logs.length - 1));
  return { low: Math.log(at), high: Math.log(at), se: logs.every((x) => x === logs[0]) ? 0 : spread, reason: "" };
}

/**
 * @param {number} limit
 * @param {Sentences} words
 * @returns {CensoredValue}
 */
function left(limit, words) {
  return { low: -Infinity, high: Math.log(limit), se: NaN, reason: words.endpoints.reached_early };
}

/**
 * @param {number} last
 * @param {Sentences} words
 * @returns {CensoredValue}
 */
function right(last, words) {
  if (last <= 0) { return missing(words.endpoints.none_after_first_cut); }
  return { low: Math.log(last), high: Infinity, se: NaN, reason: words.endpoints.not_reached };
}

/**
 * Life between two amounts of work; open below where it may have ended before w₁.
 *
 * @param {number} low
 * @param {number} high
 * @param {number} first
 * @param {Sentences} words
 * @returns {CensoredValue}
 */
function interval(low, high, first, words) {
  const opened = low < first * (1 - SAME_WORK), lowest = opened ? -Infinity : Math.log(low);
  if (high === Infinity) {
    return opened ? missing(words.endpoints.wholly_open) : { low: lowest, high, se: NaN, reason: words.endpoints.maybe_not_reached };
  }
  return { low: lowest, high: Math.log(Math.max(high, first)), se: NaN, reason: words.endpoints.between };
}

/**
 * Life where readings only pass or fail: from the last pass before any fail to the first of the fails that end the run.
 *
 * @param {CanonicalReading[]} readings
 * @param {number} first
 * @param {Sentences} words
 */
export function passFailLife(readings, first, words) {
  if (!readings.length) { return of(missing(words.endpoints.no_readings)); }
  const work = readings.map((r) => r.work), n = work.length;
  const anyFail = readings.findIndex((r) => !r.passed.every(Boolean)), before = (anyFail < 0 ? n : anyFail) - 1;
  const lasting = readings.findLastIndex((r) => r.passed.some(Boolean)) + 1, low = before >= 0 ? work[before] : 0;
  if (lasting === n) { return of(right(low, words)); }
  if (work[lasting] <= first * (1 + SAME_WORK)) { return of(left(first, words), lasting === 0 && work[0] <= SAME_WORK * first); }
  return of(interval(low, work[lasting], first, words));
}
