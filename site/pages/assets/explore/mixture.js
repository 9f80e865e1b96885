// The distribution of Cochran's Q under heterogeneity, a positive combination of chi-squares: aggregator/edgehold/numerics/quadratic_form.py
// and the spectrum of numerics/weighted_regression.py for one mean.

const STEP = 0.25, NODES = 50, SADDLE_STEPS = 40, SMALLEST = 1e-100, CLASSES = 60, HALVINGS = 60;

/** @typedef {{ values: Float64Array, dfs: Float64Array }} Spectrum eigenvalues, and how often each counts */

/**
 * P(Σ λᵢ χ²(mᵢ) ≤ q), by the inversion integral along a parabola through its saddle (Rice 1980).
 *
 * @param {number} q
 * @param {Spectrum} of λ and m
 */
export function mixture(q, { values, dfs }) {
  if (q <= SMALLEST) { return 0; }
  let mean = 0, second = 0, third = 0, sum = 0;
  for (let i = 0; i < values.length; i += 1) { mean += dfs[i] * values[i]; }
  const aboveMean = q > mean, saddle = saddleOf(q, values, dfs, aboveMean);
  for (let i = 0; i < values.length; i += 1) {
    const ratio = values[i] / (1 + 2 * saddle * values[i]);
    second += 2 * dfs[i] * ratio * ratio;
    third -= 8 * dfs[i] * ratio * ratio * ratio;
  }
  const width = 1 / Math.sqrt(second + 1 / (saddle * saddle)), bend = third / (6 * second);
  for (let n = 0; n < NODES; n += 1) {
    const im = STEP * n * width, re = saddle + bend * im * im;
    let size = re * q, turn = im * q; // of the exponent
    for (let i = 0; i < values.length; i += 1) {
      const a = 1 + 2 * values[i] * re, b = 2 * values[i] * im;
      size -= dfs[i] / 4 * Math.log(a * a + b * b);
      turn -= dfs[i] / 2 * Math.atan2(b, a);
    }
    const below = re * re + im * im, slope = -2 * bend * im; // exp(…)·(1 + i·slope)/(re + i·im), its real part
    const top = (re + slope * im) / below, side = (slope * re - im) / below;
    sum += (n ? 1 : 0.5) * Math.exp(size) * (Math.cos(turn) * top - Math.sin(turn) * side);
  }
  return Math.min(Math.max((aboveMean ? 1 : 0) + STEP * width / Math.PI * sum, 0), 1);
}

/**
 * The root of the increasing q − 1/s − Σ mλ/(1 + 2sλ): right of the pole, or between it and the nearest branch point.
 *
 * @param {number} q
 * @param {Float64Array} values
 * @param {Float64Array} dfs
 * @param {boolean} left
 */
function saddleOf(q, values, dfs, left) {
  let all = 0, largest = 0;
  for (let i = 0; i < values.length; i += 1) {
    all += dfs[i];
    largest = Math.max(largest, values[i]);
  }
  const branch = -0.5 / largest;
  let low = left ? -30 : -Math.log(q), high = left ? 30 : Math.log((all / 2 + 1) / q);
  /** @type {(x: number) => number} */
  const place = (x) => (left ? branch / (1 + Math.exp(Math.min(x, 30))) : Math.exp(x));
  for (let step = 0; step < SADDLE_STEPS; step += 1) {
    const middle = (low + high) / 2, s = place(middle);
    let rest = q - 1 / s;
    for (let i = 0; i < values.length; i += 1) { rest -= dfs[i] * values[i] / (1 + 2 * s * values[i]); }
    if (rest < 0) { low = middle; } else { high = middle; }
  }
  return place((low + high) / 2);
}

/**
 * The eigenvalues of W − W11ᵀW/Σw but for its zero, w = 1/v, and how often each counts: the roots of Σ n w/(w − λ) between neighbouring
 * weights. More than sixty studies are sorted into sixty classes of equal width in ln w, which share their mean weight.
 *
 * @param {Float64Array} v
 * @returns {Spectrum}
 */
export function spectrum(v) {
  const classes = v.length <= CLASSES ? Array.from(v, (one) => ({ w: 1 / one, n: 1 })) : classed(v);
  const levels = classes.sort((a, b) => a.w - b.w).filter(({ w }, i) => i === 0 || w > classes[i - 1].w);
  const counts = levels.map(({ w }) => classes.reduce((n, one) => n + (one.w === w ? one.n : 0), 0));
  const values = [], dfs = [];
  for (let i = 0; i < levels.length; i += 1) {
    if (counts[i] > 1) { values.push(levels[i].w); dfs.push(counts[i] - 1); }
    if (i === 0) { continue; }
    let low = levels[i - 1].w, high = levels[i].w;
    for (let step = 0; step < HALVINGS; step += 1) {
      const middle = (low + high) / 2;
      let sum = 0;
      for (let j = 0; j < levels.length; j += 1) { sum += counts[j] * levels[j].w / (levels[j].w - middle); }
      if (sum < 0) { low = middle; } else { high = middle; }
    }
    values.push((low + high) / 2);
    dfs.push(1);
  }
  return { values: Float64Array.from(values), dfs: Float64Array.from(dfs) };
}

/** @param {Float64Array} v */
function classed(v) {
  const logs = v.map((one) => -Math.log(one)), least = logs.reduce((low, one) => Math.min(low, one), Infinity);
  const most = logs.reduce((high, one) => Math.max(high, one), -Infinity), width = (most - least) / CLASSES;
  const sums = new Float64Array(CLASSES), sizes = new Float64Array(CLASSES);
  for (let i = 0; i < v.length; i += 1) {
    const place = width > 0 ? Math.min(Math.floor((logs[i] - least) / width), CLASSES - 1) : 0;
    sums[place] += 1 / v[i];
    sizes[place] += 1;
  }
  return Array.from(sizes, (n, i) => ({ w: sums[i] / n, n })).filter(({ n }) => n > 0);
}
