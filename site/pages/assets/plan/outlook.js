// @ts-check
// How often a difference is seen: a moderated t statistic drawn many times, the same as aggregator/edgehold/planning/remedies.py.

import { chiSquaredQuantile, normal, tQuantile } from "../form/distributions.js";
import { keyOf, normalDraws } from "../form/draws.js";
import { rememberingFor } from "../form/memory.js";
import { cutOf, leastPrecise } from "./precision.js";
import { inRounds } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Design} Design */
/** @typedef {import("./what_fits.js").Spread} Spread */
/** @typedef {import("./orders.js").PlannedRun} PlannedRun */
/** @typedef {{half_width: number, seen: number[]}} Glance half width of the 95 % interval (ln), and for each true ratio the chance that it is seen */

/**
 * A design at a glance: every contrast as precise as so many runs of so many arms make it.
 * @param {Design} design
 * @param {PlannedRun[]} runs
 * @param {number} seed
 * @returns {Glance}
 */
export function glance(design, runs, seed) {
  const { asked, fits } = design;
  const compared = inRounds(asked) ? asked.sharpeners.length : asked.blades.length;
  return outlook(asked, unscaledVariance(runs, compared), fits.runs - rank(runs), seed);
}

/**
 * Half width and chances of a contrast of so much precision.
 * @param {import("./what_fits.js").Occasion} asked
 * @param {number} unscaled variance of the estimate divided by that between runs; infinite where it cannot be told
 * @param {number} df degrees of freedom of the runs' own variance
 * @param {number} seed
 * @returns {Glance}
 */
export function outlook(asked, unscaled, df, seed) {
  const spread = asked.protocol.spreads[asked.rule.id];
  if (!Number.isFinite(unscaled)) { return { half_width: Infinity, seen: asked.figures.sights.map(() => 0) }; }
  return remembered(spread, `${unscaled} ${df} ${seed}`, () => seenOf(spread, unscaled, df, seed, asked.figures));
}

/** Outlooks of the same precision. @type {(owner: object, name: string, work: () => Glance) => Glance} */
const remembered = rememberingFor(1000);

/**
 * @param {Spread} spread
 * @param {number} unscaled
 * @param {number} df
 * @param {number} seed
 * @param {import("./what_fits.js").Figures} figures
 * @returns {Glance}
 */
function seenOf(spread, unscaled, df, seed, { draws, sights }) {
  const { estimates, errors, total } = drawn(spread, unscaled, df, seed, draws), t = tQuantile(0.975, total), n = errors.length;
  let squares = 0;
  for (let i = 0; i < n; i += 1) { squares += errors[i] * errors[i]; }
  const share = (/** @type {number} */ ratio) => {
    const log = Math.log(ratio);
    let seen = 0;
    for (let i = 0; i < n; i += 1) { if (estimates[i] + log > errors[i] * t) { seen += 1; } }
    return seen / n;
  };
  return { half_width: Math.sqrt(squares / n) * t, seen: sights.map(share) };
}

/** In how many pairs more the first sharpener has the heel than the tip. @param {PlannedRun[]} runs */
export function halfBalance(runs) {
  const first = runs.map((run) => run.sharpener).sort()[0];
  return runs.filter((run) => run.sharpener === first).reduce((sum, run) => sum + (run.edge_part === "heel" ? 1 : -1), 0);
}

/** @param {PlannedRun[]} runs */
const inPairs = (runs) => runs.some((run) => run.partner !== null);

/** @param {PlannedRun[]} runs */
const inHalves = (runs) => runs.some((run) => run.partner !== null && run.edge_part !== "whole");

/** @param {PlannedRun[]} runs */
const bladesOf = (runs) => [...new Set(runs.map((run) => run.blade))].sort();

/**
 * Variance of a contrast divided by that between runs: 2/(runs of each), or of p pairs, in s of which more the first had the heel, 2p/(p² − s²);
 * of blades in pairs that of the two known least.
 * @param {PlannedRun[]} runs
 * @param {number} compared
 */
function unscaledVariance(runs, compared) {
  if (!inPairs(runs)) { return (2 * compared) / runs.length; }
  if (!inHalves(runs)) { return leastPrecise(runs.map(cutOf), "blade", bladesOf(runs)).unscaled; }
  const p = runs.length / 2, s = halfBalance(runs);
  return Math.abs(s) < p ? (2 * p) / (p * p - s * s) : Infinity;
}

/** Coefficients of the additive model of the runs. @param {PlannedRun[]} runs */
export function rank(runs) {
  if (inPairs(runs) && !inHalves(runs)) { return runs.length / 2 + bladesOf(runs).length - 1; }
  if (inPairs(runs)) { return runs.length / 2 + (Math.abs(halfBalance(runs)) < runs.length / 2 ? 2 : 1); }
  /** @param {(run: PlannedRun) => string | number} of */
  const levels = (of) => new Set(runs.map(of)).size;
  const plain = [levels((run) => run.blade), levels((run) => run.sharpener), levels((run) => run.tester)];
  const blocks = [levels((run) => run.evening), levels((run) => run.lot)].filter((n) => runs.length >= 2 * n);
  return 1 + [...plain, ...blocks].reduce((sum, n) => sum + n - 1, 0);
}

/** @typedef {{seed: number, truths: number[], runs: number[], z: number[], quantiles: Map<string, number[]>}} Draws
 * of true spreads, of the runs' own spreads and of estimates, and quantiles of chi-squared at them by their degrees of freedom */

/** @type {Draws | null} of the last seed: every design, and the same evening asked about anew, has the same */
let last = null;

/** @param {number} seed @param {number} draws */
function drawsOf(seed, draws) {
  if (last?.seed !== seed || last.z.length !== draws) {
    const [truths, runs] = normalDraws(keyOf("outlook", String(seed)), 2, draws), [z] = normalDraws(keyOf("outlook", String(seed), "estimate"), 1, draws);
    last = { seed, truths, runs, z, quantiles: new Map() };
  }
  return last;
}

/** @param {Draws} made @param {"truths" | "runs"} of @param {number} df */
function chiSquared(made, of, df) {
  const name = `${of} ${df}`, found = made.quantiles.get(name) ?? made[of].map((u) => chiSquaredQuantile(normal(u), df));
  made.quantiles.set(name, found);
  return found;
}

/**
 * Estimates at a true ratio of 1, their standard errors, and the degrees of freedom.
 * @param {Spread} spread
 * @param {number} unscaled
 * @param {number} df
 * @param {number} seed
 * @param {number} draws
 */
function drawn(spread, unscaled, df, seed, draws) {
  const pooled = spread.source === "pooled", prior = spread.prior_df ?? Infinity, worth = pooled ? Math.min(prior, spread.df_pooled) : prior;
  const s0 = Math.sqrt(spread.prior_s2), root = Math.sqrt(unscaled), made = drawsOf(seed, draws);
  const { z } = made, truths = Number.isFinite(worth) ? chiSquared(made, "truths", worth) : null, runs = df ? chiSquared(made, "runs", df) : null;
  const alike = df === 0 || prior === Infinity, total = pooled ? Math.min(prior + df, spread.df_pooled) : prior + df;
  const estimates = new Array(z.length).fill(0), errors = new Array(z.length).fill(0);
  for (let i = 0; i < z.length; i += 1) {
    const sigma = truths ? s0 * Math.sqrt(worth / truths[i]) : s0, own = sigma * sigma * (runs ? runs[i] / df : 1);
    estimates[i] = sigma * root * z[i];
    errors[i] = Math.sqrt((alike ? spread.prior_s2 : (prior * spread.prior_s2 + df * own) / (prior + df)) * unscaled);
  }
  return { estimates, errors, total };
}
