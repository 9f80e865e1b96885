// Intervals for contrasts of censored runs, by the likelihood ratio scaled to small samples: aggregator/edgehold/estimates/profile.py.

import { fitCensored } from "./censored.js";
import { fQuantile } from "./distributions.js";
import { steadyRoot } from "./least_squares.js";
import { complement, dot, length, product, timesVector, transposedTimes } from "./matrices.js";

/** @typedef {ReturnType<typeof fitRuns>} FittedRuns */

const LEVEL_TOP = 1e-4;
const SETTLED = 1e-6;
const FAR = 40;
const LAST_STEPS = 5;

/**
 * The fit of one submission's censored runs and what its intervals need; prior {df, s2}.
 *
 * @param {number[]} low
 * @param {number[]} high
 * @param {Matrix} basis
 * @param {import("./censored.js").Prior} prior
 */
export function fitRuns(low, high, basis, prior) {
  const n = low.length + prior.df;
  return { low, high, basis, prior, fit: fitCensored(low, high, basis, prior, null, LAST_STEPS), n, df: n - basis[0].length };
}

/**
 * Twice the fall of the objective along δ = vᵀθ, each fit starting from the one before.
 *
 * @param {FittedRuns} runs
 * @param {number[]} vector
 */
function fallAlong(runs, vector) {
  const size2 = dot(vector, vector), direction = timesVector(runs.basis, vector).map((value) => value / size2);
  const rest = complement(vector), x = product(runs.basis, rest);
  const best = [...transposedTimes(rest, runs.fit.theta), 1].map((value) => value / runs.fit.sigma);
  let start = best;
  /** @type {(delta: number, from?: number[]) => number} */
  const fall = (delta, from = start) => {
    /** @type {(limits: number[]) => number[]} */
    const shifted = (limits) => limits.map((limit, i) => limit - direction[i] * delta);
    const fitted = fitCensored(shifted(runs.low), shifted(runs.high), x, runs.prior, from);
    start = [...fitted.theta, 1].map((value) => value / fitted.sigma);
    return Math.max(0, 2 * (runs.fit.objective - fitted.objective));
  };
  return { fall, last: () => start, reset: () => { start = best; } };
}

/**
 * Estimate and limits of δ = vᵀθ; δ is inside where (exp(LR/N) − 1)·ν ≤ F(1, ν), N = n + d₀ and ν = n − p + d₀.
 *
 * @param {FittedRuns} runs of fitRuns
 * @param {number[]} vector the contrast in the basis
 * @param {number} margin ln of the worthwhile ratio, for the 90 % interval
 * @returns {{estimate: number, low: number, high: number, inside: boolean}} infinite on a side on which the likelihood never falls
 */
export function profileLimits(runs, vector, margin) {
  const { fall, last, reset } = fallAlong(runs, vector), best = dot(vector, runs.fit.theta), size = length(vector);
  const finite = [...runs.low, ...runs.high].filter(Number.isFinite), step = runs.fit.sigma * size;
  const reach = (Math.max(...finite) - Math.min(...finite)) * size + FAR * step;
  /** @type {(level: number) => number} */
  const allowed = (level) => runs.n * Math.log1p(fQuantile(level, runs.df) / runs.df);
  /** @type {(side: number) => boolean} */
  const flat = (side) => {
    const settled = fall(best + side * reach) < SETTLED;
    reset();
    return settled;
  };
  /** @type {(side: number, largest: number) => number} */
  const limit = (side, largest) => {
    const target = Math.sqrt(largest);
    let inner = best;
    reset();
    let near = last();
    for (let width = step; width < 2 * reach; width *= 2) {
      const outer = best + side * width;
      if (Math.sqrt(fall(outer)) > target) {
        const start = near;
        return steadyRoot((delta) => Math.sqrt(fall(delta, start)) - target, Math.min(inner, outer), Math.max(inner, outer));
      }
      [inner, near] = [outer, last()];
    }
    return side * Infinity;
  };
  const oneSided = finite.length < 2 * runs.low.length;
  const [openLow, openHigh] = [oneSided && flat(-1), oneSided && flat(+1)];
  if (openLow && openHigh) { return { estimate: NaN, low: -Infinity, high: Infinity, inside: false }; }
  const [low, high] = [openLow ? -Infinity : limit(-1, allowed(0.95)), openHigh ? Infinity : limit(+1, allowed(0.95))];
  if (openLow || openHigh) { return { estimate: openLow ? -Infinity : Infinity, low, high, inside: false }; }
  const variance = dot(vector, timesVector(runs.fit.covariance, vector));
  const level = Number.isFinite(high - low) && variance > ((high - low) / 2) ** 2;
  const inside = Math.abs(best) < margin && Math.min(fall(margin), fall(-margin)) > allowed(0.9);
  return { estimate: level ? (limit(-1, LEVEL_TOP) + limit(+1, LEVEL_TOP)) / 2 : best, low, high, inside };
}
