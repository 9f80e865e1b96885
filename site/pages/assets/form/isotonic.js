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
