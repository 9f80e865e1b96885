// Monotone fit by the max-min formula (Robertson, Wright & Dykstra 1988, section 1.4), as aggregator/edgehold/numerics/isotonic.py.

/**
 * Weighted least-squares fit among series that never rise.
 *
 * @param {number[]} y
 * @param {number[]} weights
 */
export function decreasingFit(y, weights) {
  const fit = y.map(() => Infinity);
  for (let a = 0; a < y.length; a += 1) {
    const means = [];
    let sum = 0, total = 0;
    for (let b = a; b < y.length; b += 1) {
      sum += weights[b] * y[b];
      total += weights[b];
      means.push(sum / total);
    }
    let highest = -Infinity;
    for (let b = y.length - 1; b >= a; b -= 1) {
      highest = Math.max(highest, means[b - a]);
      fit[b] = Math.min(fit[b], highest);
    }
  }
  return fit;
}

/**
 * Where the fit first comes down to a level, without the rest of it: the places above it maximise the weighted sum of what exceeds it.
 *
 * @param {number[]} y
 * @param {number[]} weights
 * @param {number} level
 * @returns {{ place: number, before: number, after: number }} the place at which it is at the level or below, as many as there are where nowhere;
 *   the fit before and at it, NaN where the fall is not between two places
 */
export function fallsTo(y, weights, level) {
  let gained = 0, most = 0, place = 0;
  for (let i = 0; i < y.length; i += 1) {
    gained += weights[i] * (y[i] - level);
    if (gained > most) { [most, place] = [gained, i + 1]; }
  }
  if (place === 0 || place === y.length) { return { place, before: NaN, after: NaN }; }
  let before = Infinity, after = -Infinity;
  for (let start = 0; start < place; start += 1) { before = Math.min(before, mean(y, weights, start, place)); }
  for (let end = place + 1; end <= y.length; end += 1) { after = Math.max(after, mean(y, weights, place, end)); }
  return { place, before, after };
}

/**
 * @param {number[]} y
 * @param {number[]} weights
 * @param {number} start
 * @param {number} end
 */
function mean(y, weights, start, end) {
  let sum = 0, total = 0;
  for (let i = start; i < end; i += 1) {
    sum += weights[i] * y[i];
    total += weights[i];
  }
  return sum / total;
}
