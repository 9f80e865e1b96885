// @ts-check
// The drawn order and the codes: the same as aggregator/edgehold/planning (draws, orders, plans), to the last run of every seed.

import { keyOf, philox } from "../form/draws.js";
import { arms, asLeft, bladesInTurn, compared, halves, inRounds, inTurn } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Design} Design */
/** @typedef {{order: number, block: number, evening: number, lot: number, coil_position_m: number, blade: string, sharpener: string,
 *   edge_part: string, partner: ?number, tester: string, code: ?string}} PlannedRun */

const WORDS = 2 ** 32;

/** A series of draws that its names fix. */
class Draws {
  /** @param {...string} names */
  constructor(...names) {
    this.key = keyOf(...names);
    this.counter = 0;
    /** @type {number[]} */
    this.words = [];
  }

  /** A whole number from 0 to n − 1: words beyond the last whole multiple of n are passed over. @param {number} n @returns {number} */
  below(n) {
    for (;;) {
      if (!this.words.length) { this.words = philox([this.counter, 0, 0, 0], this.key); this.counter += 1; }
      const word = /** @type {number} */ (this.words.shift());
      if (word < WORDS - (WORDS % n)) { return word % n; }
    }
  }

  /** The items in random order (Durstenfeld 1964). @template T @param {readonly T[]} items @returns {T[]} */
  shuffled(items) {
    const mixed = [...items];
    for (let i = mixed.length - 1; i > 0; i -= 1) {
      const j = this.below(i + 1);
      [mixed[i], mixed[j]] = [mixed[j], mixed[i]];
    }
    return mixed;
  }
}

/** @param {number} n */
const upTo = (n) => Array.from({ length: n }, (_, i) => i);

/** Rows of a Williams square, or of the pair of squares (Williams 1949). @param {number} t @returns {number[][]} */
export function williams(t) {
  const first = [0, ...upTo(t).slice(1).map((i) => (i % 2 ? (i + 1) / 2 : t - i / 2))];
  const square = upTo(t).map((shift) => first.map((x) => (x + shift) % t));
  return t % 2 ? [...square, ...square.map((row) => [...row].reverse())] : square;
}

/** All rows once, in random order; open ones each followed by its mirror image. @param {number[][]} rows @param {boolean} coded @param {Draws} draws */
function cycle(rows, coded, draws) {
  if (coded) {
    const drawn = draws.shuffled(rows), other = drawn.findIndex((row) => row[0] !== drawn[0][0]);
    [drawn[1], drawn[other]] = [drawn[other], drawn[1]];
    return drawn;
  }
  const pairs = new Map();
  for (const row of rows) {
    const pair = [row, [...row].reverse()].sort(compared);
    pairs.set(pair.join(";"), pair);
  }
  const sorted = [...pairs.values()].sort((a, b) => compared(a.flat(), b.flat()));
  return draws.shuffled(sorted).flatMap((pair) => draws.shuffled(pair));
}

/** @param {number[]} order */
function imbalance(order) {
  const counts = [0, 0, 0, 0], places = [0, 0];
  order.forEach((x, i) => { places[x] += i; if (i) { counts[2 * order[i - 1] + x] += 1; } });
  return Math.max(...counts) - Math.min(...counts) + Math.abs(places[0] - places[1]) / (order.length / 2);
}

/** Whether one recognised edge tells another. @param {number[][]} orders */
function givesAway(orders) {
  return upTo(orders[0].length).some((place) => [0, 1].some((treatment) => {
    const left = orders.filter((order) => order[place] === treatment);
    return left.length > 0 && upTo(orders[0].length).some((j) => j !== place && new Set(left.map((order) => order[j])).size === 1);
  }));
}

/** Orders of two treatments among which a coded block is drawn. @param {number} size @returns {number[][]} */
export function codedOrders(size) {
  const all = upTo(2 ** size).map((bits) => upTo(size).map((i) => (bits >> (size - 1 - i)) & 1)).filter((order) => order.reduce((sum, x) => sum + x, 0) === size / 2);
  const ranked = all.map((order) => ({ order, level: imbalance(order) })).sort((a, b) => a.level - b.level || compared(a.order, b.order));
  /** @type {number[][]} */
  const kept = [];
  for (const level of [...new Set(ranked.map((one) => one.level))]) {
    kept.push(...ranked.filter((one) => one.level === level).map((one) => one.order));
    if (!givesAway(kept)) { break; }
  }
  return kept;
}

/** @param {number} blades @param {number} sharpeners @param {number} blocks @param {Draws} draws */
function roundOrder(blades, sharpeners, blocks, draws) {
  /** @type {number[][]} */
  const rounds = [];
  while (rounds.length < blades * blocks) {
    const names = draws.shuffled(upTo(sharpeners));
    rounds.push(...cycle(williams(sharpeners), false, draws).map((/** @type {number[]} */ row) => row.map((x) => names[x])));
  }
  return upTo(blocks).flatMap((block) => draws.shuffled(upTo(blades)).flatMap((blade, place) => rounds[block * blades + place].map((x) => blade * sharpeners + x)));
}

/** @param {number} t @param {number[]} sizes @param {boolean} coded @param {Draws} draws */
function drawOrder(t, sizes, coded, draws) {
  if (t === 2 && coded) { return sizes.flatMap((size) => { const orders = codedOrders(size); return orders[draws.below(orders.length)]; }); }
  /** @type {number[]} */
  const order = [];
  while (order.length < t * sizes.length) {
    const names = draws.shuffled(upTo(t));
    order.push(...cycle(williams(t), coded, draws).flat().map((x) => names[x]));
  }
  return order.slice(0, t * sizes.length);
}

/**
 * Pairs of two blades by one sharpener, of three blades or more in a ring; every second round is the mirror image of the one before.
 * @param {number} blades
 * @param {number} sharpeners
 * @param {number} rounds
 * @param {Draws} draws
 */
function pairOrder(blades, sharpeners, rounds, draws) {
  /** @type {number[]} */
  const order = [];
  const size = 2 * sharpeners * (blades > 2 ? blades : 1);
  while (order.length < size * rounds) {
    const ring = draws.shuffled(upTo(blades)), hands = draws.shuffled(upTo(sharpeners));
    const pairs = (blades > 2 ? ring : ring.slice(0, 1)).map((one, place) => [one, ring[(place + 1) % blades]]);
    const round = hands.flatMap((hand, turn) => pairs.flatMap(([one, other]) => (turn % 2 ? [other, one] : [one, other]).map((blade) => blade * sharpeners + hand)));
    order.push(...round, ...[...round].reverse());
  }
  return order.slice(0, size * rounds);
}

/** The pair of two blades as each sharpener left them, then that of whoever is there. @param {import("./what_fits.js").Occasion} asked */
function leftPairs(asked) {
  const edges = arms(asked), left = asLeft(asked), hands = asked.sharpeners.length;
  const ranked = upTo(hands).sort((a, b) => Number(!isIn(left, edges[a])) - Number(!isIn(left, edges[b])));
  return ranked.flatMap((hand, turn) => (turn % 2 ? [1, 0] : [0, 1]).map((blade) => blade * hands + hand));
}

/** Codes of two letters, none twice. @param {number} count @param {string} letters @param {string} seed */
export function drawCodes(count, letters, seed) {
  const pairs = [...letters].flatMap((a) => [...letters].filter((b) => b !== a).map((b) => a + b));
  return new Draws("codes", seed).shuffled(pairs).slice(0, count);
}

/** The runs of a design in their order. @param {Design} design @param {number} seed @returns {PlannedRun[]} */
export function drawnRuns({ asked, fits }, seed) {
  const edges = arms(asked), left = asLeft(asked), sizes = fits.blocks.map((block) => block.evenings.length), name = String(seed);
  const draws = new Draws("order", name);
  /** @type {number[]} */
  let order;
  if (left.length && bladesInTurn(asked)) {
    order = leftPairs(asked);
  } else if (left.length && halves(asked)) { // cut in turn, so that neither comes later; on every second blade the other one begins, and has the other half
    order = upTo(asked.blades.length).flatMap((n) => (n % 2 ? [2 * n + 1, 2 * n] : [2 * n, 2 * n + 1]));
  } else if (left.length) {
    order = upTo(edges.length).sort((a, b) => Number(!isIn(left, edges[a])) - Number(!isIn(left, edges[b])));
  } else if (bladesInTurn(asked)) {
    order = pairOrder(asked.blades.length, asked.sharpeners.length, sizes.length, draws);
  } else if (inRounds(asked)) {
    order = roundOrder(asked.blades.length, asked.sharpeners.length, sizes.length, draws);
  } else {
    order = drawOrder(edges.length, sizes, asked.coder !== null, draws);
  }
  const first = new Draws("testers", name).below(asked.testers.length);
  const codes = asked.coder === null ? [] : drawCodes(order.length, asked.figures.letters, name);
  const places = fits.blocks.flatMap((block, n) => block.evenings.map((evening) => ({ evening, lot: block.lot, tester: block.tester, block: n + 1 })));
  const paired = inTurn(asked), parted = halves(asked), begins = parted ? new Draws("halves", name).below(2) : 0;
  /** @type {Map<number, number>} */
  const used = new Map();
  return places.map((place, n) => {
    const cut = used.get(place.lot) ?? 0, before = paired ? cut - (cut % 2) : cut;
    used.set(place.lot, cut + 1);
    return {
      order: n + 1,
      block: place.block,
      evening: place.evening,
      lot: place.lot,
      coil_position_m: Math.round(before * fits.run_m * 1e6) / 1e6,
      ...edges[order[n]],
      edge_part: parted ? ["heel", "tip"][(n + begins) % 2] : "whole",
      partner: paired ? n + (n % 2 ? 0 : 2) : null,
      tester: asked.testers[(place.tester + first) % asked.testers.length],
      code: codes[n] ?? null,
    };
  });
}

/** @param {{blade: string, sharpener: string}[]} edges @param {{blade: string, sharpener: string}} edge */
const isIn = (edges, edge) => edges.some((one) => one.blade === edge.blade && one.sharpener === edge.sharpener);
