// Where the next comparable study would fall: aggregator/edgehold/pooling/pairwise/prediction.py, the confidence-distribution interval of
// Nagashima, Noma & Furukawa 2019, on the same quasi-random points.

import { chiSquaredQuantile, normal, normalQuantile, tBeyond } from "../form/distributions.js";
import { weigh } from "./mean.js";
import { mixture, spectrum } from "./mixture.js";
import { rootOfDecreasing } from "./roots.js";

const GRID_POINTS = 32, EXTREME = 1e-6, ROUGHLY = 1e-3, NEGLIGIBLE = 1e-9;
const SMALLEST = 2 ** -40, BITS = 2 ** 30, TAILS = [0.025, 0.975], NODES = 64;

/** @typedef {{ shifts: number[], directions: number[][] }} Digits of the points: what the program's scrambled Sobol sequence is made of */
/** @typedef {{ logOdds: Float64Array, z: Float64Array, u: Float64Array, normalOfU: Float64Array, farthest: number, t: Map<number, Float64Array> }} Points */

/**
 * The points on which every interval stands, made once.
 *
 * @param {Digits} digits
 * @returns {Points}
 */
export function pointsOf({ shifts, directions }) {
  const size = 2 ** directions[0].length;
  const columns = shifts.map((shift, d) => {
    const column = new Float64Array(size);
    for (let i = 0, now = shift; i < size; i += 1) {
      if (i) { now ^= directions[d][Math.log2(i & -i)]; }
      column[i] = Math.min(Math.max((now >>> 0) / BITS, SMALLEST), 1 - SMALLEST);
    }
    return column;
  });
  const normalOfU = columns[2].map(normalQuantile);
  return {
    logOdds: columns[0].map(logOdds), z: columns[1].map(normalQuantile), u: columns[2], normalOfU,
    farthest: normalOfU.reduce((most, one) => Math.max(most, Math.abs(one)), 0), t: new Map(),
  };
}

/** @type {(p: number) => number} */
const logOdds = (p) => Math.log(p / (1 - p));

/**
 * The interval for the true effect of the next study, on the ln scale.
 *
 * @param {import("./mean.js").Studies} studies three or more
 * @param {import("./mean.js").Fit} fit
 * @param {number} more variance that the next study has beside tau2: that between submissions of one study
 * @param {Points} points
 * @returns {[low: number, high: number]}
 */
export function predicted(studies, fit, more, points) {
  const df = studies.k - 1, extra = Math.max(0, 1 - fit.scatter / df) * fit.variance;
  const t = tOf(points, df), { tau2, centre, variance } = drawn(studies, points.logOdds), found = new Float64Array(t.length);
  for (let i = 0; i < found.length; i += 1) {
    found[i] = centre[i] + points.z[i] * Math.sqrt(tau2[i] + more) - t[i] * Math.sqrt(variance[i] + extra);
  }
  found.sort();
  const [low, high] = TAILS.map((p) => {
    const at = p * (found.length - 1), below = Math.floor(at);
    return found[below] + (at - below) * (found[below + 1] - found[below]);
  });
  return [studies.origin + low, studies.origin + high];
}

/**
 * t at every point, kept for each number of degrees of freedom. With z the normal quantile of the same probability, ln(t/z) is smooth in
 * z² and is read off a polynomial through Chebyshev nodes; two degrees of freedom have a closed form.
 *
 * @param {Points} points
 * @param {number} df
 */
function tOf(points, df) {
  const kept = points.t.get(df);
  if (kept) { return kept; }
  const values = df === 2 ? points.u.map((u) => (2 * u - 1) / Math.sqrt(2 * u * (1 - u))) : bent(points, df);
  points.t.set(df, values);
  return values;
}

/**
 * @param {Points} points
 * @param {number} df
 */
function bent({ normalOfU, farthest }, df) {
  const nodes = Array.from({ length: NODES }, (_, n) => Math.cos(Math.PI * (n + 0.5) / NODES));
  const values = nodes.map((x) => {
    const z = farthest * Math.sqrt((1 + x) / 2);
    return Math.log(tBeyond(normal(-z), df) / z);
  });
  const terms = nodes.map((_, m) => (m ? 2 : 1) / NODES * values.reduce((sum, value, n) => sum + value * Math.cos(Math.PI * m * (n + 0.5) / NODES), 0));
  let most = NODES;
  while (most > 1 && Math.abs(terms[most - 1]) < 1e-15) { most -= 1; }
  return normalOfU.map((z) => {
    const x = 2 * (z / farthest) ** 2 - 1;
    let one = 0, two = 0;
    for (let m = most - 1; m > 0; m -= 1) {
      const next = 2 * x * one - two + terms[m];
      two = one;
      one = next;
    }
    return z * Math.exp(x * one - two + terms[0]);
  });
}

/**
 * tau2 drawn from its confidence distribution, with the mean and its Hartung–Knapp variance there.
 *
 * @param {import("./mean.js").Studies} studies
 * @param {Float64Array} odds log-odds of the probabilities at which it is drawn
 */
function drawn(studies, odds) {
  const df = studies.k - 1, { scatter: q } = weigh(studies, 0), parts = spectrum(studies.v);
  /** @type {(tau2: number) => number} */
  const probability = (tau2) => 1 - mixture(q, { values: parts.values.map((value) => 1 + tau2 * value), dfs: parts.dfs });
  const small = studies.least / 10, grid = gridOf(studies, q, probability, small);
  const fits = grid.map((tau2) => weigh(studies, tau2)), centres = fits.map(({ mean }) => mean);
  const variances = fits.map(({ sum, scatter }) => scatter / df / sum);
  const tau2 = new Float64Array(odds.length).fill(grid[0]), centre = new Float64Array(odds.length).fill(centres[0]);
  const variance = new Float64Array(odds.length).fill(variances[0]);
  if (grid.length === 1) { return { tau2, centre, variance }; }
  const scale = grid.map((tau2) => Math.log(tau2 + small));
  let highest = 0;
  const known = grid.map((tau2) => logOdds(highest = Math.max(highest, Math.min(Math.max(probability(tau2), EXTREME / 1000), 1 - EXTREME / 1000))));
  const fresh = known.map((value, n) => n === 0 || value > known[n - 1]).map((is, n) => (is ? n : -1)).filter((n) => n >= 0);
  const scaleOf = monotone(fresh.map((n) => known[n]), fresh.map((n) => scale[n])), centreOf = monotone(scale, centres), varianceOf = monotone(scale, variances);
  const first = known[0], last = known[known.length - 1];
  for (let i = 0; i < odds.length; i += 1) {
    const at = scaleOf(Math.min(Math.max(odds[i], first), last));
    tau2[i] = Math.max(Math.exp(at) - small, 0);
    centre[i] = centreOf(at);
    variance[i] = Math.max(varianceOf(at), 0);
  }
  return { tau2, centre, variance };
}

/**
 * Points from the lowest to the highest tau2 that count, even in ln(tau2 + small); a single 0 where all probability is there.
 *
 * @param {import("./mean.js").Studies} studies
 * @param {number} q
 * @param {(tau2: number) => number} probability
 * @param {number} small
 */
function gridOf({ k, most }, q, probability, small) {
  const ceiling = Math.max(q / chiSquaredQuantile(EXTREME, k - 1), 1) * most;
  const high = rootOfDecreasing((t) => 1 - EXTREME - probability(t), 0, ceiling, ROUGHLY);
  if (high <= NEGLIGIBLE * small) { return [0]; }
  const low = rootOfDecreasing((t) => EXTREME - probability(t), 0, high, ROUGHLY);
  const from = Math.log(low + small), to = Math.log(high + small);
  return Array.from({ length: GRID_POINTS }, (_, n) => (n ? Math.exp(from + (to - from) * n / (GRID_POINTS - 1)) - small : low));
}

/**
 * Cubic interpolation that turns nowhere between points (Fritsch & Butland 1984), as the program's library does it.
 *
 * @param {number[]} x rising
 * @param {number[]} y
 * @returns {(at: number) => number}
 */
export function monotone(x, y) {
  if (x.length === 1) { return () => y[0]; }
  const n = x.length - 1, h = Array.from({ length: n }, (_, i) => x[i + 1] - x[i]), m = h.map((width, i) => (y[i + 1] - y[i]) / width);
  const slopes = x.map((_, i) => {
    if (n === 1) { return m[0]; }
    if (i === 0) { return atEnd(h[0], h[1], m[0], m[1]); }
    if (i === n) { return atEnd(h[n - 1], h[n - 2], m[n - 1], m[n - 2]); }
    if (m[i - 1] * m[i] <= 0) { return 0; }
    const one = 2 * h[i] + h[i - 1], other = h[i] + 2 * h[i - 1];
    return (one + other) / (one / m[i - 1] + other / m[i]);
  });
  return (at) => {
    let low = 0, high = n;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= at) { low = middle; } else { high = middle; }
    }
    const off = at - x[low], width = h[low], rest = m[low];
    const square = (3 * rest - 2 * slopes[low] - slopes[low + 1]) / width, cube = (slopes[low] + slopes[low + 1] - 2 * rest) / (width * width);
    return y[low] + off * (slopes[low] + off * (square + off * cube));
  };
}

/** @type {(h0: number, h1: number, m0: number, m1: number) => number} */
function atEnd(h0, h1, m0, m1) {
  const slope = ((2 * h0 + h1) * m0 - h0 * m1) / (h0 + h1);
  if (Math.sign(slope) !== Math.sign(m0)) { return 0; }
  return Math.sign(m0) !== Math.sign(m1) && Math.abs(slope) > 3 * Math.abs(m0) ? 3 * m0 : slope;
}
