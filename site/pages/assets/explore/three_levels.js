// Submissions within studies, studies within the pool: aggregator/edgehold/pooling/pairwise/three_level.py and studies.py. A study is a
// cluster of submissions joined by a tester, a sharpener or a blade.

import { Studies, fitMean, heterogeneity, restricted, score, weigh } from "./mean.js";
import { globalMaximum, searchGrid } from "./roots.js";

export const LEAST_STUDIES = 3;
const CLOSE = 1e-13; // relative, of either variance: the slope in one is known no better than the other

/**
 * @typedef {object} Lines of the submissions that were chosen, each with a two-sided ratio
 * @property {Float64Array} y ln ratios
 * @property {Float64Array} v their sampling variances
 * @property {Int32Array} study number of the study that each counts in
 *
 * @typedef {object} Pooled
 * @property {Int32Array} numbers of the studies, in order of first appearance
 * @property {Studies} studies what each says; empty below three
 * @property {Float64Array} weights of the submissions in the pooled ratio; empty below three studies
 * @property {?import("./mean.js").Fit} fit null below three studies
 * @property {?number} within variance between submissions of one study; null where no study holds two
 */

/**
 * Pool the chosen lines; below three studies nothing is pooled.
 *
 * @param {Lines} lines
 * @returns {Pooled}
 */
export function pool({ y, v, study }) {
  const { numbers, place } = places(study);
  if (numbers.length < LEAST_STUDIES) {
    return { numbers, studies: new Studies(new Float64Array(), new Float64Array()), weights: new Float64Array(), fit: null, within: null };
  }
  const rows = new Rows(y, v, place, numbers.length), within = numbers.length < y.length ? rows.within() : null;
  const { mean, variance } = rows.clusters(within ?? 0), studies = new Studies(mean, variance), fit = fitMean(studies);
  const { sum } = weigh(studies, fit.tau2);
  const weights = v.map((one, i) => variance[place[i]] / (one + (within ?? 0)) / (variance[place[i]] + fit.tau2) / sum);
  return { numbers, studies, weights, fit, within };
}

/**
 * What else is told of a pooled ratio.
 *
 * @param {Pooled} pooled
 * @param {?number} vDf
 */
export const spreadOf = ({ studies, fit }, vDf) => (fit === null ? null : heterogeneity(studies, fit.tau2, vDf));

/**
 * Studies in order of first appearance, and each line's place among them.
 *
 * @param {Int32Array} study
 */
function places(study) {
  /** @type {Map<number, number>} */
  const met = new Map(), place = new Int32Array(study.length);
  for (let i = 0; i < study.length; i += 1) {
    const number = study[i], known = met.get(number) ?? met.size;
    met.set(number, known);
    place[i] = known;
  }
  return { numbers: Int32Array.from(met.keys()), place };
}

/** The lines of a fit in three levels. */
class Rows {
  /**
   * @param {Float64Array} y
   * @param {Float64Array} v
   * @param {Int32Array} place
   * @param {number} count of studies
   */
  constructor(y, v, place, count) {
    this.y = y;
    this.v = v;
    this.place = place;
    this.count = count;
  }

  /**
   * Means of studies with weights 1/(v + within), and their variances.
   *
   * @param {number} within
   */
  clusters(within) {
    const { y, v, place, count } = this, total = new Float64Array(count), mean = new Float64Array(count);
    for (let i = 0; i < y.length; i += 1) {
      const w = 1 / (v[i] + within);
      total[place[i]] += w;
      mean[place[i]] += w * y[i];
    }
    for (let j = 0; j < count; j += 1) {
      mean[j] /= total[j];
      total[j] = 1 / total[j];
    }
    return { mean, variance: total };
  }

  /** The variance between submissions of one study at which the restricted likelihood is largest. */
  within() {
    const grid = gridOf(this.y, this.v).filter((_, n) => n % 2 === 0);
    return globalMaximum((at) => this.likelihood(at), (at) => this.slope(at), grid, CLOSE);
  }

  /** @param {number} within */
  likelihood(within) {
    const { y, v, place, count } = this, { mean, variance } = this.clusters(within), studies = new Studies(mean, variance);
    let inside = (y.length - count) * Math.log(2 * Math.PI);
    for (let i = 0; i < y.length; i += 1) { inside += Math.log(v[i] + within) + (y[i] - mean[place[i]]) ** 2 / (v[i] + within); }
    for (let j = 0; j < count; j += 1) { inside -= Math.log(variance[j]); }
    return restricted(studies, between(studies)) - inside / 2;
  }

  /**
   * Derivative in the variance within studies, that between them at its best: ½(yᵀPPy − tr P). With Σⱼ⁻¹ = D⁻¹ − D⁻¹11ᵀD⁻¹·shrink
   * everything is a sum over lines or studies.
   *
   * @param {number} within
   */
  slope(within) {
    const { y, v, place, count } = this, { mean, variance } = this.clusters(within), studies = new Studies(mean, variance);
    const tau2 = between(studies), { origin } = studies;
    const shrink = variance.map((one) => tau2 / (1 + tau2 / one)), squares = new Float64Array(count);
    let ones = 0, weighted = 0, single = 0;
    for (let j = 0; j < count; j += 1) { // 1ᵀΣ⁻¹1 and 1ᵀΣ⁻¹y of a study: its weight in the mean
      const w = 1 / (variance[j] + tau2);
      ones += w;
      weighted += w * studies.y[j];
    }
    const centre = weighted / ones;
    let residual = 0, leverage = 0;
    for (let i = 0; i < y.length; i += 1) {
      const j = place[i], w = 1 / (v[i] + within), s = shrink[j] / variance[j];
      const off = w * (y[i] - origin - centre - s * (studies.y[j] - centre)), one = w * (1 - s);
      residual += off * off;
      leverage += one * one;
      single += w;
      squares[j] += w * w;
    }
    for (let j = 0; j < count; j += 1) { single -= shrink[j] * squares[j]; }
    return (residual - single + leverage / ones) / 2;
  }
}

/**
 * @param {Float64Array} y
 * @param {Float64Array} v
 */
function gridOf(y, v) {
  const n = y.length, mean = y.reduce((sum, one) => sum + one, 0) / n;
  const squares = y.reduce((sum, one) => sum + (one - mean) ** 2, 0);
  const least = v.reduce((low, one) => Math.min(low, one), Infinity), most = v.reduce((high, one) => Math.max(high, one), 0);
  return searchGrid(least / 10, squares + most);
}

/** The variance between studies at its best. @param {Studies} studies */
function between(studies) {
  const grid = searchGrid(studies.least / 10, studies.squares + studies.most);
  return globalMaximum((t) => restricted(studies, t), (t) => score(studies, t), grid, CLOSE);
}
