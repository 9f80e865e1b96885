// Normal draws that are the same on every machine, from names alone: aggregator/edgehold/endpoints/draws.py draws the same ones.
// Philox4x32 with ten rounds (Salmon, Moraes, Dror & Shaw 2011, Proceedings of SC11), keyed by SHA-256 (FIPS 180-4).

import { normalQuantile } from "./distributions.js";
import { remembering } from "./memory.js";

const ROUNDS = 10;
const MULTIPLIERS = [0xD2511F53, 0xCD9E8D57];
const KEY_STEPS = [0x9E3779B9, 0xBB67AE85];

/**
 * The first primes, from which SHA-256 takes its constants.
 *
 * @param {number} count
 */
function primes(count) {
  /** @type {number[]} */
  const found = [];
  for (let n = 2; found.length < count; n += 1) {
    if (found.every((p) => n % p)) { found.push(n); }
  }
  return found;
}

/**
 * The first 32 bits behind the point of the root of a whole number: root is 2 or 3, in whole-number arithmetic.
 *
 * @param {number} n
 * @param {2 | 3} root
 */
function fractionBits(n, root) {
  const power = BigInt(root), goal = BigInt(n) << (32n * power);
  let low = 0n, high = 1n << 40n;
  while (high - low > 1n) {
    const middle = (low + high) >> 1n;
    if (middle ** power <= goal) { low = middle; } else { high = middle; }
  }
  return Number(low & 0xFFFFFFFFn);
}

const START = primes(8).map((p) => fractionBits(p, 2));
const ROUND_CONSTANTS = primes(64).map((p) => fractionBits(p, 3));
/** @type {(x: number, by: number) => number} */
const turned = (x, by) => (x >>> by) | (x << (32 - by));

/**
 * SHA-256 of a text in UTF-8, as eight words.
 *
 * @param {string} text
 */
export function sha256(text) {
  const bytes = new TextEncoder().encode(text);
  const padded = new DataView(new ArrayBuffer(((bytes.length + 8 >> 6) + 1) * 64));
  bytes.forEach((byte, i) => padded.setUint8(i, byte));
  padded.setUint8(bytes.length, 0x80);
  padded.setUint32(padded.byteLength - 8, Math.floor(bytes.length / 2 ** 29));
  padded.setUint32(padded.byteLength - 4, bytes.length * 8 >>> 0);
  let state = START;
  for (let at = 0; at < padded.byteLength; at += 64) { state = compressed(state, padded, at); }
  return state;
}

/**
 * @param {number[]} state
 * @param {DataView} data
 * @param {number} at
 */
function compressed(state, data, at) {
  const w = Array.from({ length: 16 }, (_, i) => data.getUint32(at + 4 * i));
  for (let i = 16; i < 64; i += 1) {
    const s0 = turned(w[i - 15], 7) ^ turned(w[i - 15], 18) ^ (w[i - 15] >>> 3);
    const s1 = turned(w[i - 2], 17) ^ turned(w[i - 2], 19) ^ (w[i - 2] >>> 10);
    w[i] = (w[i - 16] + s0 + w[i - 7] + s1) >>> 0;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let i = 0; i < 64; i += 1) {
    const choice = (e & f) ^ (~e & g), majority = (a & b) ^ (a & c) ^ (b & c);
    const one = (h + (turned(e, 6) ^ turned(e, 11) ^ turned(e, 25)) + choice + ROUND_CONSTANTS[i] + w[i]) >>> 0;
    const two = ((turned(a, 2) ^ turned(a, 13) ^ turned(a, 22)) + majority) >>> 0;
    [a, b, c, d, e, f, g, h] = [(one + two) >>> 0, a, b, c, (d + one) >>> 0, e, f, g];
  }
  return [a, b, c, d, e, f, g, h].map((word, i) => (word + state[i]) >>> 0);
}

/**
 * The key of a series of draws: the first two words of SHA-256 over the names, one a line.
 *
 * @type {(...names: string[]) => number[]}
 */
export const keyOf = (...names) => remembered(names.join("\n"), () => sha256(names.join("\n")).slice(0, 2));

/** @type {(name: string, work: () => number[]) => number[]} */
const remembered = remembering(1000);

/**
 * High and low word of the product of two words.
 *
 * @param {number} a
 * @param {number} b
 */
function product(a, b) {
  const low = (a & 0xFFFF) * (b & 0xFFFF), left = (a >>> 16) * (b & 0xFFFF), right = (a & 0xFFFF) * (b >>> 16);
  const middle = left + (low / 65536 >>> 0) + (right & 0xFFFF);
  return [((a >>> 16) * (b >>> 16) + Math.floor(middle / 65536) + (right >>> 16)) >>> 0, Math.imul(a, b) >>> 0];
}

/**
 * Philox4x32-10: four words of a counter to four words.
 *
 * @param {number[]} counter
 * @param {number[]} key
 */
export function philox([a, b, c, d], [first, second]) {
  for (let round = 0; round < ROUNDS; round += 1) {
    const [highA, lowA] = product(MULTIPLIERS[0], a), [highC, lowC] = product(MULTIPLIERS[1], c);
    [a, b, c, d] = [(highC ^ b ^ first) >>> 0, lowC, (highA ^ d ^ second) >>> 0, lowA];
    first = (first + KEY_STEPS[0]) >>> 0;
    second = (second + KEY_STEPS[1]) >>> 0;
  }
  return [a, b, c, d];
}

/** Those of the last keys: the same run is looked at anew whenever another one changes. @type {(name: string, work: () => number[][]) => readonly number[][]} */
const drawn = remembering(300);

/**
 * Standard normal deviates, `rows` arrays of `columns`, words taken in row order.
 *
 * @param {number[]} key
 * @param {number} rows
 * @param {number} columns
 * @returns {readonly number[][]}
 */
export function normalDraws(key, rows, columns) {
  return drawn([...key, rows, columns].join(" "), () => freshDraws(key, rows, columns));
}

/**
 * @param {number[]} key
 * @param {number} rows
 * @param {number} columns
 */
function freshDraws(key, rows, columns) {
  /** @type {number[]} */
  const words = [];
  for (let block = 0; words.length < rows * columns; block += 1) { words.push(...philox([block, 0, 0, 0], key)); }
  /** @type {(row: number, column: number) => number} */
  const deviate = (row, column) => normalQuantile((words[row * columns + column] + 0.5) / 2 ** 32);
  return Array.from({ length: rows }, (_, row) => Array.from({ length: columns }, (_, column) => deviate(row, column)));
}
