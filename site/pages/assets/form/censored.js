// Gaussian regression where a response may be known only to lie between two limits: aggregator/edgehold/estimates/censored.py. The
// likelihood is written in γ = θ/σ and φ = 1/σ, in which it is concave (Burridge 1981, J. R. Statist. Soc. B 43:41–45), so
// that Newton's method finds the one maximum from any start.

import { logDensity, logNormal } from "./distributions.js";
import { dot, inverse, last, solve, timesVector, transposedTimes, zeros } from "./matrices.js";

/**
 * @typedef {{ df: number, s2: number }} Prior d₀ and s₀²
 * @typedef {{ low: number[], high: number[], x: Matrix, prior: Prior }} Problem
 * @typedef {{ value: number, gradient: number[], hessian: Matrix }} Evaluated the objective and its derivatives
 * @typedef {{ theta: number[], sigma: number, objective: number, readonly covariance: Matrix }} CensoredFit
 */

const MOST_STEPS = 200;
const DECREMENT = 1e-12;
const SAFE = 1e-9;
const ARMIJO = 1e-4;
const RIDGE = 1e-12;

/**
 * Maximise Σ ln(term) − d₀(ln σ + s₀²/2σ²).
 *
 * @param {number[]} low
 * @param {number[]} high limits of the responses; infinite where open
 * @param {number[][]} x design of full column rank, orthonormal unless a start is given
 * @param {Prior} prior d₀ and s₀²
 * @param {number[] | null} start γ and φ
 * @param {number} lastSteps whole Newton steps after nothing more can be gained
 * @returns {CensoredFit}
 */
export function fitCensored(low, high, x, prior, start = null, lastSteps = 1) {
  const problem = { low, high, x, prior };
  let eta = start ?? firstGuess(problem), now = evaluate(problem, eta), converged = false;
  for (let step = 0; !converged && step < MOST_STEPS; step += 1) {
    const direction = solve(stiffened(now.hessian), now.gradient);
    converged = dot(now.gradient, direction) / 2 < DECREMENT;
    if (!converged) {
      const moved = advanced(problem, eta, now, direction);
      converged = moved === null;
      if (moved) { [eta, now] = moved; }
    }
  }
  for (let step = 0; step < lastSteps; step += 1) {
    const direction = solve(stiffened(now.hessian), now.gradient);
    if (dot(now.gradient, direction) / 2 < SAFE && last(eta) + last(direction) > 0) {
      eta = eta.map((value, i) => value + direction[i]);
      now = evaluate(problem, eta);
    }
  }
  return result(eta, now);
}

/**
 * Least squares on midpoints and finite limits.
 *
 * @param {Problem} problem
 */
function firstGuess({ low, high, x, prior }) {
  const y = low.map((l, i) => (l === -Infinity ? high[i] : high[i] === Infinity ? l : (l + high[i]) / 2));
  const theta = transposedTimes(x, y), fitted = timesVector(x, theta);
  const rss = y.reduce((sum, value, i) => sum + (value - fitted[i]) ** 2, 0);
  const widths = low.map((l, i) => high[i] - l).filter(Number.isFinite);
  const floor = widths.length ? dot(widths, widths) / widths.length / 12 : 0;
  const s2 = (rss + y.length * floor + prior.df * prior.s2) / (y.length + prior.df), sigma = s2 > 0 ? Math.sqrt(s2) : 1;
  return [...theta, 1].map((value) => value / sigma);
}

/**
 * ln of one term without ln φ, and its derivatives in the standardised limits a and b.
 *
 * @param {number} a
 * @param {number} b
 * @param {boolean} exact
 */
function term(a, b, exact) {
  if (exact) { return { value: logDensity(b), da: 0, db: -b, daa: 0, dbb: -1, dab: 0 }; }
  const [lower, upper] = a > 0 ? [-b, -a] : [a, b], top = logNormal(upper);
  const value = top + Math.log1p(-Math.exp(logNormal(lower) - top));
  /** @type {(z: number) => number} */
  const mills = (z) => (Number.isFinite(z) ? Math.exp(logDensity(z) - value) : 0);
  const [ma, mb] = [mills(a), mills(b)];
  const [sa, sb] = [a, b].map((z) => (Number.isFinite(z) ? z : 0));
  return { value, da: -ma, db: mb, daa: sa * ma - ma * ma, dbb: -sb * mb - mb * mb, dab: ma * mb };
}

/**
 * Value, gradient and Hessian of the objective at (γ, φ).
 *
 * @param {Problem} problem
 * @param {number[]} eta
 */
function evaluate({ low, high, x, prior }, eta) {
  const p = eta.length, end = p - 1, phi = eta[end], gradient = new Array(p).fill(0), hessian = zeros(p, p);
  const ra = new Array(p).fill(0), rb = new Array(p).fill(0); // slopes of both limits
  let value = 0, exacts = 0;
  for (let i = 0; i < x.length; i += 1) {
    const row = x[i], exact = low[i] === high[i];
    let shift = 0;
    for (let j = 0; j < end; j += 1) {
      shift += row[j] * eta[j];
      ra[j] = rb[j] = -row[j];
    }
    ra[end] = Number.isFinite(low[i]) ? low[i] : 0;
    rb[end] = Number.isFinite(high[i]) ? high[i] : 0;
    const t = term(phi * low[i] - shift, phi * high[i] - shift, exact);
    value += t.value;
    exacts += exact ? 1 : 0;
    for (let j = 0; j < p; j += 1) {
      gradient[j] += ra[j] * t.da + rb[j] * t.db;
      for (let k = 0; k <= j; k += 1) {
        hessian[j][k] += ra[j] * ra[k] * t.daa + rb[j] * rb[k] * t.dbb + (ra[j] * rb[k] + rb[j] * ra[k]) * t.dab;
      }
    }
  }
  for (let j = 0; j < p; j += 1) { for (let k = 0; k < j; k += 1) { hessian[k][j] = hessian[j][k]; } }
  const counted = exacts + prior.df;
  gradient[end] += counted / phi - prior.df * prior.s2 * phi;
  hessian[end][end] -= counted / phi ** 2 + prior.df * prior.s2;
  return { value: value + counted * Math.log(phi) - prior.df * prior.s2 * phi ** 2 / 2, gradient, hessian };
}

/**
 * −H with its diagonal a trace larger, so that it can be solved where the likelihood is flat.
 *
 * @param {Matrix} hessian
 */
function stiffened(hessian) {
  let largest = 0;
  for (let i = 0; i < hessian.length; i += 1) { largest = Math.max(largest, Math.abs(hessian[i][i])); }
  return hessian.map((row, i) => {
    const made = row.map((value) => -value);
    made[i] += RIDGE * (Math.abs(row[i]) + RIDGE * largest);
    return made;
  });
}

/**
 * A step, halved until φ > 0 and it gains enough; null when rounding leaves nothing to gain.
 *
 * @param {Problem} problem
 * @param {number[]} eta
 * @param {Evaluated} now
 * @param {number[]} direction
 * @returns {[eta: number[], now: Evaluated] | null}
 */
function advanced(problem, eta, now, direction) {
  const slope = dot(now.gradient, direction);
  for (let size = 1; size > 1e-12; size /= 2) {
    const trial = eta.map((value, i) => value + size * direction[i]);
    if (last(trial) <= 0) { continue; }
    const next = evaluate(problem, trial);
    if (Number.isFinite(next.value) && next.value >= now.value + ARMIJO * size * slope) { return [trial, next]; }
  }
  return null;
}

/**
 * Back to θ and σ; the covariance of θ, from the inverse of the observed information of all parameters, is worked out where it is asked for.
 *
 * @param {number[]} eta
 * @param {Evaluated} now
 * @returns {CensoredFit}
 */
function result(eta, now) {
  const phi = last(eta), theta = eta.slice(0, -1).map((value) => value / phi);
  return { theta, sigma: 1 / phi, objective: now.value, get covariance() { return covarianceOf(theta, eta, now); } };
}

/**
 * @param {number[]} theta
 * @param {number[]} eta
 * @param {Evaluated} now
 */
function covarianceOf(theta, eta, now) {
  const phi = last(eta), p = theta.length, information = inverse(stiffened(now.hessian));
  const jacobian = theta.map((value, i) => eta.map((_, j) => (j === p ? -value / phi : i === j ? 1 / phi : 0)));
  return jacobian.map((left) => jacobian.map((right) => dot(left, timesVector(information, right))));
}
