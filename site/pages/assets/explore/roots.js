// Roots of a function of one variable, and the best of its local maxima: aggregator/edgehold/numerics/root_search.py.

/** The finest relative tolerance, and the absolute one, which is out of its way: those of the program. */
export const FINEST = 4 * Number.EPSILON;
const ABSOLUTE = Number.MIN_VALUE, MOST_STEPS = 500;

/**
 * The root of a function between two points at which its sign differs (Brent 1973, Algorithms for Minimization without
 * Derivatives, chapter 4), step by step as the program's library takes it, so that a rough tolerance ends at the same point.
 *
 * @param {(x: number) => number} f
 * @param {number} low
 * @param {number} high
 * @param {number} relative tolerance
 */
export function rootBetween(f, low, high, relative = FINEST) {
  let before = low, now = high, other = 0, fBefore = f(before), fNow = f(now), fOther = 0, stepBefore = 0, step = 0;
  if (fBefore === 0) { return before; }
  if (fNow === 0) { return now; }
  if (fBefore > 0 === fNow > 0) { throw new RangeError(`no change of sign between ${low} and ${high}`); }
  for (let n = 0; n < MOST_STEPS; n += 1) {
    if (fBefore !== 0 && fNow !== 0 && fBefore > 0 !== fNow > 0) {
      other = before; fOther = fBefore; step = now - before; stepBefore = step;
    }
    if (Math.abs(fOther) < Math.abs(fNow)) {
      before = now; now = other; other = before;
      fBefore = fNow; fNow = fOther; fOther = fBefore;
    }
    const close = (ABSOLUTE + relative * Math.abs(now)) / 2, half = (other - now) / 2;
    if (fNow === 0 || Math.abs(half) < close) { return now; }
    let next = half;
    if (Math.abs(stepBefore) > close && Math.abs(fNow) < Math.abs(fBefore)) {
      const tried = before === other
        ? -fNow * (now - before) / (fNow - fBefore)
        : extrapolated(before, now, other, fBefore, fNow, fOther);
      if (2 * Math.abs(tried) < Math.min(Math.abs(stepBefore), 3 * Math.abs(half) - close)) { next = tried; stepBefore = step; }
      else { stepBefore = half; }
    } else { stepBefore = half; }
    step = next;
    before = now; fBefore = fNow;
    now += Math.abs(step) > close ? step : half > 0 ? close : -close;
    fNow = f(now);
  }
  return now;
}

/** @type {(a: number, b: number, c: number, fa: number, fb: number, fc: number) => number} */
function extrapolated(a, b, c, fa, fb, fc) {
  const slopeA = (fa - fb) / (a - b), slopeC = (fc - fb) / (c - b);
  return -fb * (fc * slopeC - fa * slopeA) / (slopeC * slopeA * (fc - fa));
}

/**
 * The root of a decreasing function; the lower end where it is already at or below zero there, the upper where rounding keeps it above.
 *
 * @param {(x: number) => number} f
 * @param {number} low
 * @param {number} high
 * @param {number} relative
 */
export function rootOfDecreasing(f, low, high, relative = FINEST) {
  if (f(low) <= 0) { return low; }
  return f(high) >= 0 ? high : rootBetween(f, low, high, relative);
}

/**
 * Zero and geometric points, so many a factor of ten.
 *
 * @param {number} low
 * @param {number} high
 * @param {number} perDecade
 */
export function searchGrid(low, high, perDecade = 4) {
  const steps = Math.ceil(perDecade * Math.max(Math.log10(high / low), 1)), grid = new Float64Array(steps + 2);
  for (let n = 0; n <= steps; n += 1) { grid[n + 1] = n === steps ? high : low * (high / low) ** (n / steps); }
  return grid;
}

/**
 * Where a criterion is largest over a grid at whose end it falls: every turn of its derivative from up to down is refined as a root.
 *
 * @param {(x: number) => number} criterion
 * @param {(x: number) => number} slope
 * @param {Float64Array} grid
 * @param {number} relative tolerance of a root
 */
export function globalMaximum(criterion, slope, grid, relative = FINEST) {
  const slopes = grid.map(slope), candidates = slopes[0] <= 0 ? [grid[0]] : [];
  for (let n = 1; n < grid.length; n += 1) {
    if (slopes[n - 1] > 0 && slopes[n] <= 0) { candidates.push(rootBetween(slope, grid[n - 1], grid[n], relative)); }
  }
  if (!candidates.length) { candidates.push(grid[grid.length - 1]); }
  if (candidates.length === 1) { return candidates[0]; }
  const values = candidates.map(criterion);
  return candidates[values.indexOf(Math.max(...values))];
}
