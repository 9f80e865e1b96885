// Random-effects meta-analysis of one mean: aggregator/edgehold/pooling/pairwise/random_effects.py and heterogeneity.py. The symbols are
// theirs: y estimates, v their variances, w = 1/(v + τ²), Q Cochran's statistic.

import { chiSquaredQuantile, chiSquaredUpper, fQuantileOf, fUpper, tQuantile } from "../form/distributions.js";
import { globalMaximum, rootOfDecreasing, searchGrid } from "./roots.js";

export const LEVEL = 0.95;
const LEAST_FOR_INTERVAL = 3;

/**
 * @typedef {object} Fit of the mean
 * @property {number} estimate
 * @property {number} se with the guarded Knapp–Hartung factor
 * @property {number} df
 * @property {?number} low null below three studies, as is `high`
 * @property {?number} high
 * @property {number} tau2
 * @property {number} scatter Σw(y − mean)² at that tau2
 * @property {number} variance 1/Σw there, without the factor
 *
 * @typedef {object} Heterogeneity
 * @property {number} q at tau2 = 0
 * @property {number} qP
 * @property {number} i2 as a fraction
 * @property {?number} tau2Low null where no spread is estimable
 * @property {?number} tau2High
 */

/** Estimates about their plain mean, so that no digits are lost to a large common part. */
export class Studies {
  /**
   * @param {Float64Array} y
   * @param {Float64Array} v
   */
  constructor(y, v) {
    const k = y.length;
    let sum = 0, squares = 0, least = Infinity, most = 0;
    for (let i = 0; i < k; i += 1) {
      sum += y[i];
      least = Math.min(least, v[i]);
      most = Math.max(most, v[i]);
    }
    this.k = k;
    this.origin = sum / k;
    this.y = new Float64Array(k);
    for (let i = 0; i < k; i += 1) {
      const off = y[i] - this.origin;
      this.y[i] = off;
      squares += off * off;
    }
    this.v = v;
    this.squares = squares;
    this.least = least;
    this.most = most;
  }
}

/**
 * The mean, the scatter about it and Σw at one tau2.
 *
 * @param {Studies} studies
 * @param {number} tau2
 */
export function weigh({ y, v, k }, tau2) {
  let sum = 0, weighted = 0, scatter = 0;
  for (let i = 0; i < k; i += 1) {
    const w = 1 / (v[i] + tau2);
    sum += w;
    weighted += w * y[i];
  }
  const mean = weighted / sum;
  for (let i = 0; i < k; i += 1) { scatter += (y[i] - mean) ** 2 / (v[i] + tau2); }
  return { sum, mean, scatter };
}

/**
 * Derivative in tau2 of the restricted log-likelihood: ½(Σ(wr)² − tr P), tr P = Σw − Σw²/Σw.
 *
 * @param {Studies} studies
 * @param {number} tau2
 */
export function score({ y, v, k }, tau2) {
  let w1 = 0, wy = 0, w2 = 0, w2y = 0, w2yy = 0;
  for (let i = 0; i < k; i += 1) {
    const w = 1 / (v[i] + tau2), part = w * y[i];
    w1 += w;
    wy += part;
    w2 += w * w;
    w2y += w * part;
    w2yy += part * part;
  }
  return scoreOf(w1, wy, w2, w2y, w2yy);
}

/** @type {(w1: number, wy: number, w2: number, w2y: number, w2yy: number) => number} */
export function scoreOf(w1, wy, w2, w2y, w2yy) {
  const mean = wy / w1;
  return (w2yy - mean * (2 * w2y - mean * w2) - w1 + w2 / w1) / 2;
}

/**
 * Restricted log-likelihood at one tau2.
 *
 * @param {Studies} studies
 * @param {number} tau2
 */
export function restricted(studies, tau2) {
  const { sum, scatter } = weigh(studies, tau2);
  let logs = 0;
  for (let i = 0; i < studies.k; i += 1) { logs += Math.log(studies.v[i] + tau2); }
  return -((studies.k - 1) * Math.log(2 * Math.PI) + logs + Math.log(sum) + scatter) / 2;
}

/** Up to where the restricted likelihood falls for certain. @param {Studies} studies */
const gridOf = ({ least, most, squares, k }) => searchGrid(least / 10, squares / (k - 1) + most);

/**
 * The fit of two studies or more by restricted maximum likelihood, with the guarded Knapp–Hartung interval.
 *
 * @param {Studies} studies
 * @returns {Fit}
 */
export function fitMean(studies) {
  const tau2 = globalMaximum((t) => restricted(studies, t), (t) => score(studies, t), gridOf(studies));
  const { sum, mean, scatter } = weigh(studies, tau2);
  return told(studies.origin + mean, tau2, sum, scatter, studies.k, tQuantile((1 + LEVEL) / 2, studies.k - 1));
}

/**
 * A mean with its interval: the factor is never below 1 (Röver, Knapp & Friede 2015).
 *
 * @param {number} estimate
 * @param {number} tau2
 * @param {number} sum Σw
 * @param {number} scatter
 * @param {number} k
 * @param {number} quantile of t with k − 1 degrees of freedom
 * @returns {Fit}
 */
export function told(estimate, tau2, sum, scatter, k, quantile) {
  const df = k - 1, se = Math.sqrt(Math.max(1, scatter / df) / sum), half = quantile * se, given = k >= LEAST_FOR_INTERVAL;
  return { estimate, se, df, low: given ? estimate - half : null, high: given ? estimate + half : null, tau2, scatter, variance: 1 / sum };
}

/**
 * Cochran's Q with its p value, I², and the Q-profile interval of tau2 (Viechtbauer 2007).
 *
 * @param {Studies} studies
 * @param {number} tau2
 * @param {?number} vDf degrees of freedom of the pooled variance behind v; null where it counts as known
 * @returns {Heterogeneity}
 */
export function heterogeneity(studies, tau2, vDf) {
  const df = studies.k - 1, q = weigh(studies, 0).scatter, typical = df / trace(studies);
  /** @type {(p: number) => number} */
  const quantile = (p) => (vDf === null ? chiSquaredQuantile(p, df) : df * fQuantileOf(p, df, vDf));
  /** @type {(target: number) => number} */
  const limit = (target) => rootOfDecreasing((t) => weigh(studies, t).scatter - target, 0, studies.squares / target, 1e-13);
  const high = limit(quantile((1 - LEVEL) / 2));
  return {
    q,
    qP: vDf === null ? chiSquaredUpper(q, df) : fUpper(q / df, df, vDf),
    i2: tau2 / (tau2 + typical),
    tau2Low: high > 0 ? limit(quantile((1 + LEVEL) / 2)) : null,
    tau2High: high > 0 ? high : null,
  };
}

/** tr P at tau2 = 0. @param {Studies} studies */
function trace({ v, k }) {
  let w1 = 0, w2 = 0;
  for (let i = 0; i < k; i += 1) {
    w1 += 1 / v[i];
    w2 += 1 / v[i] ** 2;
  }
  return w1 - w2 / w1;
}
