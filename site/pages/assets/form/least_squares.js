// Least squares of one submission's runs, weighted where reading errors differ much, and the moderated variance:
// aggregator/edgehold/estimates/least_squares.py, own_variance.py and repeatability.py.

import { build, prepare } from "./design.js";
import { crossProduct, dot, solve, solveMany, timesVector, transposedTimes } from "./matrices.js";

const UNEQUAL = 3 * (1 + 1e-9);
const ROUNDING = 1e-24;
const GRID = 60;

/**
 * Ordinary least squares in the orthonormal basis of a design.
 *
 * @param {number[]} y
 * @param {Design} design
 */
export function fit(y, design) {
  const theta = transposedTimes(design.basis, y), fitted = timesVector(design.basis, theta);
  let rss = y.reduce((sum, value, i) => sum + (value - fitted[i]) ** 2, 0);
  if (rss <= ROUNDING * dot(y, y)) { rss = 0; }
  const df = y.length - design.rank;
  return { theta, rss, df, s2: df ? rss / df : NaN };
}

/**
 * Relative standard deviations of exact runs whose reading variances differ more than threefold; null otherwise.
 *
 * @param {EndpointRow[]} used
 * @param {number[]} y
 * @param {Model} model
 * @param {number} assumed
 * @returns {number[] | null}
 */
export function readingWeights(used, y, model, assumed) {
  const v = used.map((row) => row.readingSe ** 2), least = Math.min(...v);
  if (v.some(Number.isNaN) || least <= 0 || Math.max(...v) <= UNEQUAL * least) { return null; }
  const { basis } = prepare(model.design.x), mean = v.reduce((sum, x) => sum + x, 0) / v.length;
  const sigma2 = basis[0].length < y.length ? remlVariance(y, basis, v) : Math.max(assumed - mean, 0);
  const total = v.map((x) => x + sigma2), centre = total.reduce((sum, x) => sum + x, 0) / total.length;
  return total.map((x) => Math.sqrt(x / centre));
}

/**
 * σ² ≥ 0 that maximises the restricted likelihood of y ~ N(Bθ, diag(v) + σ²I) (Patterson & Thompson 1971).
 *
 * @param {number[]} y
 * @param {Matrix} basis
 * @param {number[]} v
 */
function remlVariance(y, basis, v) {
  const fitted = timesVector(basis, transposedTimes(basis, y)), residual = y.map((value, i) => value - fitted[i]);
  const largest = 2 * dot(residual, residual) / (y.length - basis[0].length) + Math.max(...v);
  const grid = Array.from({ length: GRID }, (_, i) => i * largest / (GRID - 1));
  /** @type {(s: number) => { criterion: number, slope: number }} */
  const at = (s) => restricted(residual, basis, v.map((x) => x + s)), slopes = grid.map((s) => at(s).slope);
  const candidates = slopes[0] <= 0 ? [0] : [];
  for (let i = 1; i < GRID; i += 1) {
    if (slopes[i - 1] > 0 && slopes[i] <= 0) { candidates.push(root((s) => at(s).slope, grid[i - 1], grid[i])); }
  }
  if (!candidates.length) { candidates.push(largest); }
  const criteria = candidates.map((s) => at(s).criterion);
  return candidates[criteria.indexOf(Math.max(...criteria))];
}

/**
 * Twice the restricted log-likelihood, up to a constant, and its derivative in σ².
 *
 * @param {number[]} y
 * @param {Matrix} basis
 * @param {number[]} total
 */
function restricted(y, basis, total) {
  const w = total.map((x) => 1 / x), information = crossProduct(basis, w, basis);
  const theta = solve(information, transposedTimes(basis, y.map((value, i) => value * w[i]))), fitted = timesVector(basis, theta);
  const { x, logDeterminant } = solveMany(information, crossProduct(basis, w.map((weight) => weight ** 2), basis));
  /** @type {(values: number[]) => number} */
  const sum = (values) => values.reduce((so, value) => so + value, 0), rest = y.map((value, i) => value - fitted[i]);
  return {
    criterion: -sum(total.map(Math.log)) - logDeterminant - sum(rest.map((r, i) => w[i] * r * r)),
    slope: sum(rest.map((r, i) => (w[i] * r) ** 2)) - (sum(w) - sum(x.map((row, i) => row[i]))),
  };
}

const SPARE = 1e-8; // of a stretch: further from a root than this a function tells its sign
const NEAR = 1e-8;
const MOST_SECANTS = 30;

/**
 * The root of a function between two points at which its sign differs: bisection to the last bits.
 *
 * @param {(x: number) => number} f
 * @param {number} low
 * @param {number} high
 */
export function root(f, low, high) {
  const rising = f(high) > 0;
  let [from, to] = [low, high];
  for (let middle = (from + to) / 2; middle > from && middle < to; middle = (from + to) / 2) {
    if (f(middle) > 0 === rising) { to = middle; } else { from = middle; }
    if (to - from <= 4e-16 * Math.max(Math.abs(from), Math.abs(to))) { break; }
  }
  return (from + to) / 2;
}

/**
 * The root of a function that rises or falls throughout, to the very bit that bisection gives: the secant rule (Dowell & Jarratt 1971, BIT
 * 11:168–174, with half of a value that stays) leaves it a short stretch, and only there bisection has to ask the function.
 *
 * @param {(x: number) => number} f
 * @param {number} low
 * @param {number} high
 */
export function steadyRoot(f, low, high) {
  const end = f(high), rising = end > 0, spare = SPARE * (high - low);
  let [a, b] = [low, high], [below, above] = [f(low), end], kept = 0;
  for (let step = 0; step < MOST_SECANTS && b - a > 4 * spare; step += 1) {
    const share = below / (below - above), x = a + (b - a) * (share > 0 && share < 1 ? share : 0.5);
    for (const asked of [x, x - spare, x + spare]) {
      if (!(asked > a && asked < b)) { continue; }
      const value = f(asked);
      if (value > 0 === rising) {
        [b, above] = [asked, value];
        if (kept > 0) { below /= 2; }
        kept = 1;
      } else {
        [a, below] = [asked, value];
        if (kept < 0) { above /= 2; }
        kept = -1;
      }
      if (asked === x && Math.abs(value) > Math.abs(end) * NEAR) { break; }
    }
  }
  return root((x) => (x >= b ? end : x <= a ? -end : f(x)), low, high);
}

/**
 * A submission's own run variance and its degrees of freedom, every used run exact; (NaN, 0) without replicates.
 *
 * @param {EndpointRow[]} used
 * @param {number[]} y
 * @param {Model} model
 * @param {string} estimand
 * @returns {[s2: number, df: number]}
 */
function ownVariance(used, y, model, estimand) {
  if (used.length <= model.design.rank) { return [NaN, 0]; }
  const sd = readingWeights(used, y, model, NaN);
  const fitted = sd ? fit(y.map((value, i) => value / sd[i]), build(used, estimand, sd).design) : fit(y, model.design);
  return [fitted.s2, fitted.df];
}

/**
 * s̃² = (d₀s₀² + ds²)/(d₀ + d) and d₀ + d, never more than the pooled ν that all of it rests on (Smyth 2004, section 4).
 *
 * @param {RepeatabilityEntry} entry
 * @param {number} s2
 * @param {number} df
 * @returns {[variance: number, df: number]}
 */
function moderated(entry, s2, df) {
  const prior = entry.prior_df ?? Infinity, total = prior + df;
  const variance = df === 0 || prior === Infinity ? entry.prior_s2 : (prior * entry.prior_s2 + df * s2) / total;
  return [variance, entry.source === "pooled" ? Math.min(total, entry.df_pooled) : total];
}

/**
 * The fit where every used run is exact.
 *
 * @param {EndpointRow[]} used
 * @param {string} estimand
 * @param {RepeatabilityEntry} entry
 * @returns {{ model: Model, theta: number[], s2: number, df: number, replicates: number, weighted: boolean }}
 */
export function leastSquares(used, estimand, entry) {
  const y = used.map((row) => row.low), plain = build(used, estimand);
  const [s2, df] = moderated(entry, ...ownVariance(used, y, plain, estimand));
  const sd = readingWeights(used, y, plain, entry.prior_s2), model = sd ? build(used, estimand, sd) : plain;
  const fitted = fit(sd ? y.map((value, i) => value / sd[i]) : y, model.design);
  return { model, theta: fitted.theta, s2, df, replicates: fitted.df, weighted: sd !== null };
}
