// The normal, t, F and chi-squared distributions, to about thirteen digits. Formulas: Abramowitz & Stegun 1964, Handbook of Mathematical
// Functions, by their numbers there.

import { remembering } from "./memory.js";

const HALF_LOG_2PI = Math.log(2 * Math.PI) / 2;
const SMALL = 1e-300;
const CLOSE = 1e-16;

/**
 * Value of a continued fraction b₀ + a₁/(b₁ + a₂/(b₂ + …)) by the modified Lentz method (Thompson & Barnett 1986).
 *
 * @param {number} first
 * @param {(n: number) => [a: number, b: number]} term
 */
function continuedFraction(first, term, most = 10000) {
  let value = first || SMALL, top = value, bottom = 0;
  for (let n = 1; n <= most; n += 1) {
    const [a, b] = term(n);
    bottom = 1 / (b + a * bottom || SMALL);
    top = b + a / top || SMALL;
    value *= top * bottom;
    if (Math.abs(top * bottom - 1) < CLOSE) { break; }
  }
  return value;
}

/**
 * ln of the normal density.
 *
 * @type {(z: number) => number}
 */
export const logDensity = (z) => -z * z / 2 - HALF_LOG_2PI;

/**
 * Probability between 0 and z under the normal density: the series 26.2.11, all terms of one sign.
 *
 * @param {number} z
 */
function fromCentre(z) {
  let term = z, sum = z;
  for (let n = 1; Math.abs(term) > CLOSE * Math.abs(sum); n += 1) {
    term *= z * z / (2 * n + 1);
    sum += term;
  }
  return Math.exp(logDensity(z)) * sum;
}

/**
 * Probability beyond z ≥ 2 divided by the density there: the continued fraction 26.2.14.
 *
 * @type {(z: number) => number}
 */
const tailShare = (z) => 1 / continuedFraction(z, (n) => [n, z]);

/**
 * Normal distribution function.
 *
 * @param {number} z
 * @returns {number}
 */
export function normal(z) {
  if (!Number.isFinite(z)) { return z > 0 ? 1 : 0; }
  if (z < -2) { return Math.exp(logDensity(z)) * tailShare(-z); }
  return z > 2 ? 1 - normal(-z) : 0.5 + fromCentre(z);
}

/**
 * ln of the normal distribution function, exact far out too.
 *
 * @param {number} z
 */
export function logNormal(z) {
  if (z === -Infinity) { return -Infinity; }
  if (z < -2) { return logDensity(z) + Math.log(tailShare(-z)); }
  return z > 2 ? Math.log1p(-normal(-z)) : Math.log(normal(z));
}

/**
 * Normal quantile: the start 26.2.23, then Halley's steps on the distribution function.
 *
 * @param {number} p
 * @returns {number}
 */
export function normalQuantile(p) {
  if (p > 0.5) { return -normalQuantile(1 - p); }
  const t = Math.sqrt(-2 * Math.log(p));
  let z = (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))) - t;
  for (let step = 0; step < 3; step += 1) {
    const error = (normal(z) - p) / Math.exp(logDensity(z));
    z -= error / (1 + z * error / 2);
  }
  return z;
}

/**
 * ln Γ(x) for x > 0: Stirling's series 6.1.41 from 15 on, the recurrence 6.1.15 below.
 *
 * @param {number} x
 */
export function logGamma(x) {
  let shift = 0;
  while (x < 15) {
    shift += Math.log(x);
    x += 1;
  }
  const r = 1 / (x * x);
  const series = (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r * (1 / 1680 - r * (1 / 1188 - r * 691 / 360360))))) / x;
  return (x - 0.5) * Math.log(x) - x + HALF_LOG_2PI + series - shift;
}

/**
 * Regularised incomplete beta function I_x(a, b): the continued fraction 26.5.8, on the side where it is quick.
 *
 * @param {number} a
 * @param {number} b
 * @param {number} x
 * @returns {number}
 */
export function incompleteBeta(a, b, x) {
  if (x <= 0 || x >= 1) { return x <= 0 ? 0 : 1; }
  if (x > (a + 1) / (a + b + 2)) { return 1 - incompleteBeta(b, a, 1 - x); }
  const front = logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log1p(-x);
  const fraction = continuedFraction(1, (n) => {
    const m = Math.floor(n / 2);
    const share = n % 2
      ? -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
      : m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    return [share, 1];
  });
  return Math.exp(front) / (a * fraction);
}

/**
 * Probability that t with df degrees of freedom is above t ≥ 0 (26.7.1).
 *
 * @param {number} t
 * @param {number} df
 */
function tUpper(t, df) {
  return df === Infinity ? normal(-t) : incompleteBeta(df / 2, 0.5, df / (df + t * t)) / 2;
}

/**
 * Quantile of t at p > 0.5.
 *
 * @param {number} p
 * @param {number} df
 */
export function tQuantile(p, df) {
  return df === Infinity ? normalQuantile(p) : tBeyond(1 - p, df);
}

/**
 * The t > 0 that is exceeded with a probability below a half: doubling, then bisection to the last bit of the number.
 *
 * @param {number} tail
 * @param {number} df
 */
export const tBeyond = (tail, df) => quantiles(`${tail} ${df}`, () => freshBeyond(tail, df));

/** @type {(name: string, work: () => number) => number} */
const quantiles = remembering(1000);

/**
 * @param {number} tail
 * @param {number} df
 */
function freshBeyond(tail, df) {
  let low = 0, high = 1;
  while (tUpper(high, df) > tail) {
    low = high;
    high *= 2;
  }
  for (let middle = (low + high) / 2; middle > low && middle < high; middle = (low + high) / 2) {
    if (tUpper(middle, df) > tail) { low = middle; } else { high = middle; }
  }
  return high;
}

/**
 * Quantile of F with 1 and df degrees of freedom: the square of t's (26.6.4's relation for one degree of freedom).
 *
 * @param {number} p
 * @param {number} df
 */
export function fQuantile(p, df) {
  return tQuantile((1 + p) / 2, df) ** 2;
}

/**
 * Probability that F with df1 and df2 degrees of freedom is above x > 0 (26.6.2).
 *
 * @param {number} x
 * @param {number} df1
 * @param {number} df2
 */
export function fUpper(x, df1, df2) {
  return incompleteBeta(df2 / 2, df1 / 2, df2 / (df2 + df1 * x));
}

/**
 * Quantile of F with df1 and df2 degrees of freedom: doubling or halving, then bisection to the last bit of the number.
 *
 * @param {number} p
 * @param {number} df1
 * @param {number} df2
 */
export function fQuantileOf(p, df1, df2) {
  /** @type {(x: number) => boolean} */
  const beyond = (x) => (p < 0.5 ? incompleteBeta(df1 / 2, df2 / 2, df1 * x / (df1 * x + df2)) > p : fUpper(x, df1, df2) < 1 - p);
  let low = 1, high = 1;
  while (beyond(low)) { low /= 2; }
  while (!beyond(high)) { high *= 2; }
  for (let middle = (low + high) / 2; middle > low && middle < high; middle = (low + high) / 2) {
    if (beyond(middle)) { high = middle; } else { low = middle; }
  }
  return high;
}

/**
 * Regularised incomplete gamma functions P(a, x) and Q(a, x): the series 6.5.29 below a + 1, the continued fraction 6.5.31 above.
 *
 * @param {number} a
 * @param {number} x
 * @param {number} logarithm ln Γ(a)
 * @returns {[below: number, above: number]}
 */
function incompleteGamma(a, x, logarithm = logGamma(a)) {
  const front = Math.exp(a * Math.log(x) - x - logarithm);
  if (x < a + 1) {
    let term = 1 / a, sum = term;
    for (let n = 1; term > CLOSE * sum; n += 1) {
      term *= x / (a + n);
      sum += term;
    }
    return [front * sum, 1 - front * sum];
  }
  const upper = front / continuedFraction(x + 1 - a, (n) => [-n * (n - a), x + 2 * n + 1 - a]);
  return [1 - upper, upper];
}

/**
 * Quantile of chi-squared: the start 26.4.17, then Newton's steps on the distribution function, kept between bounds.
 *
 * @param {number} p
 * @param {number} df
 */
export function chiSquaredQuantile(p, df) {
  const a = df / 2, logarithm = logGamma(a), h = 2 / (9 * df), start = df * (1 - h + normalQuantile(p) * Math.sqrt(h)) ** 3;
  let low = 0, high = Infinity, x = start > 1e-3 ? start / 2 : Math.exp((Math.log(p * a) + logarithm) / a);
  for (let step = 0; step < 100; step += 1) {
    const [below, above] = incompleteGamma(a, x, logarithm), error = p < 0.5 ? below - p : 1 - p - above;
    if (error > 0) { high = x; } else { low = x; }
    let next = x - error / Math.exp((a - 1) * Math.log(x) - x - logarithm);
    if (!(next > low && next < high)) { next = high === Infinity ? 2 * x : (low + high) / 2; }
    if (Math.abs(next - x) <= 1e-14 * x) { return 2 * next; }
    x = next;
  }
  return 2 * x;
}

/**
 * Probability that chi-squared is above x.
 *
 * @param {number} x
 * @param {number} df
 */
export function chiSquaredUpper(x, df) {
  return x <= 0 ? 1 : incompleteGamma(df / 2, x / 2)[1];
}
