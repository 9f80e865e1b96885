// The pooled ratio without each study in turn: aggregator/edgehold/pooling/pairwise/influence.py, in time linear in the studies.
//
// All that a fit without one study needs is sums over studies less that study's own part. As functions of tau2 these sums are analytic but
// for poles at −v, so that between two points of the search grid a polynomial through Chebyshev nodes gives them to the last digits
// (Trefethen 2013, Approximation Theory and Approximation Practice, chapter 8). Each fit is then the same global search as that of all
// studies, at a cost that does not grow with them.

import { tQuantile } from "../form/distributions.js";
import { LEVEL, scoreOf, told } from "./mean.js";
import { rootBetween, searchGrid } from "./roots.js";

const NODES = 18; // a stretch's nearest pole lies 3.5 half-widths from its middle, so that 7⁻¹⁸ of a sum is lost
const SUMS = 7; // Σw, Σwy, Σwy², Σw², Σw²y, Σw²y², Σln(v + tau2)
const CLOSE = 1e-14;

/**
 * The fit without each study, in the order of the studies; there are three or more.
 *
 * @param {import("./mean.js").Studies} studies
 * @returns {import("./mean.js").Fit[]}
 */
export function withoutEach(studies) {
  const { k } = studies, quantile = tQuantile((1 + LEVEL) / 2, k - 2);
  const grid = searchGrid(studies.least / 10, studies.squares / (k - 2) + studies.most), ends = Array.from(grid, (t) => sumsAt(studies, t));
  /** @type {(Stretch | undefined)[]} */
  const stretches = [];
  /** @type {(n: number) => Stretch} the stretch that ends at a point of the grid */
  const stretch = (n) => (stretches[n] ??= new Stretch(studies, grid[n - 1], grid[n]));
  const others = new Others(studies);
  return Array.from({ length: k }, (_, i) => {
    const turns = [];
    others.leave(i);
    let before = others.set(ends[0], 0).score();
    if (before <= 0) { turns.push({ tau2: 0, n: 1 }); }
    for (let n = 1; n < grid.length; n += 1) {
      const now = others.set(ends[n], grid[n]).score();
      if (before > 0 && now <= 0) {
        turns.push({ tau2: rootBetween((t) => others.set(stretch(n).at(t), t).score(), grid[n - 1], grid[n], CLOSE), n });
      }
      before = now;
    }
    if (!turns.length) { turns.push({ tau2: grid[grid.length - 1], n: grid.length - 1 }); }
    const likelihoods = turns.map(({ tau2, n }) => others.set(stretch(n).at(tau2), tau2).likelihood());
    const { tau2, n } = turns[likelihoods.indexOf(Math.max(...likelihoods))], { sum, mean, scatter } = others.set(stretch(n).at(tau2), tau2);
    return told(studies.origin + mean, tau2, sum, scatter, k - 1, quantile);
  });
}

/** The sums of all studies less one study's part. */
class Others {
  /** @param {import("./mean.js").Studies} studies */
  constructor(studies) {
    this.studies = studies;
    this.sums = new Float64Array(SUMS);
    this.y = 0;
    this.v = 0;
  }

  /** @param {number} i the study left out from now on */
  leave(i) {
    this.y = this.studies.y[i];
    this.v = this.studies.v[i];
  }

  /**
   * @param {Float64Array} all sums of all studies at tau2
   * @param {number} tau2
   */
  set(all, tau2) {
    for (let m = 0; m < SUMS; m += 1) { this.sums[m] = all[m]; }
    add(this.sums, this.y, this.v + tau2, -1);
    return this;
  }

  get sum() { return this.sums[0]; }

  get mean() { return this.sums[1] / this.sums[0]; }

  get scatter() { return this.sums[2] - this.sums[1] * this.mean; }

  score() {
    const { sums } = this;
    return scoreOf(sums[0], sums[1], sums[3], sums[4], sums[5]);
  }

  /** Restricted log-likelihood but for its constant. */
  likelihood() { return -(this.sums[6] + Math.log(this.sum) + this.scatter) / 2; }
}

/**
 * @param {Float64Array} sums
 * @param {number} y
 * @param {number} total v + tau2
 * @param {number} sign
 */
function add(sums, y, total, sign) {
  const w = 1 / total, signed = sign * w, wy = w * y;
  sums[0] += signed;
  sums[1] += signed * y;
  sums[2] += signed * y * y;
  sums[3] += signed * w;
  sums[4] += signed * wy;
  sums[5] += sign * wy * wy;
  sums[6] += sign * Math.log(total);
}

/**
 * @param {import("./mean.js").Studies} studies
 * @param {number} tau2
 */
function sumsAt({ y, v, k }, tau2) {
  const found = new Float64Array(SUMS);
  for (let i = 0; i < k; i += 1) { add(found, y[i], v[i] + tau2, 1); }
  return found;
}

/** The sums of all studies between two points of the grid, through Chebyshev nodes of the second kind by the barycentric formula. */
class Stretch {
  /**
   * @param {import("./mean.js").Studies} studies
   * @param {number} low
   * @param {number} high
   */
  constructor(studies, low, high) {
    this.nodes = Float64Array.from({ length: NODES }, (_, n) => low + (high - low) * Math.sin(Math.PI * n / (NODES - 1) / 2) ** 2);
    this.values = Array.from(this.nodes, (t) => sumsAt(studies, t));
    this.found = new Float64Array(SUMS);
  }

  /** @param {number} t */
  at(t) {
    const { nodes, values, found } = this;
    let below = 0;
    found.fill(0);
    for (let n = 0; n < NODES; n += 1) {
      const off = t - nodes[n];
      if (off === 0) { return values[n]; }
      const share = (n % 2 ? -1 : 1) * (n === 0 || n === NODES - 1 ? 0.5 : 1) / off, own = values[n];
      below += share;
      for (let m = 0; m < SUMS; m += 1) { found[m] += share * own[m]; }
    }
    for (let m = 0; m < SUMS; m += 1) { found[m] /= below; }
    return found;
  }
}
