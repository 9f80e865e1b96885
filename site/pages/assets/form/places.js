// Places in a tree of plain values: JSON pointers (RFC 6901), and patterns of them in which "*" is any entry of a list.

import { remembering } from "./memory.js";

/** @typedef {{ pointer: string, value: any, stars: number[] }} Place a value where it stands; stars are the places in lists on the way */

/** @type {(name: string, work: () => readonly string[]) => readonly string[]} */
const remembered = remembering(20_000);

/**
 * The names a pointer leads through.
 *
 * @param {string} pointer
 */
export function parts(pointer) {
  return remembered(pointer, () => pointer.split("/").slice(1).map((part) => part.replaceAll("~1", "/").replaceAll("~0", "~")));
}

/**
 * The last name of a pointer.
 *
 * @param {string} pointer
 */
export function lastPart(pointer) {
  return parts(pointer).at(-1) ?? "";
}

/**
 * The pointer that goes one name further.
 *
 * @param {string} pointer
 * @param {string | number} name
 */
export function below(pointer, name) {
  return `${pointer}/${String(name).replaceAll("~", "~0").replaceAll("/", "~1")}`;
}

/**
 * What stands one name further, or undefined; only what the tree itself holds.
 *
 * @param {unknown} tree
 * @param {string | number} name
 * @returns {any}
 */
export function child(tree, name) {
  return tree !== null && typeof tree === "object" && Object.hasOwn(tree, name) ? /** @type {any} */ (tree)[name] : undefined;
}

/**
 * What stands at a pointer, or undefined.
 *
 * @param {unknown} tree
 * @param {string} pointer
 * @returns {any}
 */
export function valueAt(tree, pointer) {
  let inside = tree;
  for (const name of parts(pointer)) { inside = child(inside, name); }
  return inside;
}

/**
 * Whether nothing is written: no value, null or an empty text.
 *
 * @param {unknown} value
 * @returns {value is undefined | null | ""}
 */
export function blank(value) {
  return value === undefined || value === null || value === "";
}

/**
 * Write a value at a pointer; objects on the way are made where there are none.
 *
 * @param {Named} tree
 * @param {string} pointer
 * @param {unknown} value
 */
export function put(tree, pointer, value) {
  const names = parts(pointer).slice(0, -1), last = lastPart(pointer);
  let inside = /** @type {any} */ (tree);
  for (const name of names) {
    if (inside[name] === undefined || inside[name] === null) {
      Object.defineProperty(inside, name, { value: {}, writable: true, enumerable: true, configurable: true });
    }
    inside = inside[name];
  }
  Object.defineProperty(inside, last, { value, writable: true, enumerable: true, configurable: true });
}

/**
 * A pattern with its first stars replaced by places in lists.
 *
 * @param {string} pattern
 * @param {number[]} stars
 */
export function bind(pattern, stars) {
  let next = 0;
  return pattern.split("/").map((part) => (part === "*" && next < stars.length ? String(stars[next++]) : part)).join("/");
}

/**
 * The pattern of a pointer: every number becomes a star.
 *
 * @param {string} pointer
 */
export function patternOf(pointer) {
  return pointer.replace(/\/[0-9]+(?=\/|$)/gu, "/*");
}

/**
 * Every place that a pattern names and that holds something: {pointer, value, stars}.
 *
 * @param {unknown} tree
 * @param {string} pattern
 * @returns {Place[]}
 */
export function expand(tree, pattern) {
  /** @type {Place[]} */
  const found = [];
  follow({ pointer: "", value: tree, stars: [] }, parts(pattern), 0, found);
  return found;
}

/**
 * Go on from a place by the names of a pattern from number ``at`` on.
 *
 * @param {Place} place
 * @param {readonly string[]} names
 * @param {number} at
 * @param {Place[]} found
 */
function follow(place, names, at, found) {
  if (at === names.length) { found.push(place); return; }
  const { pointer, value, stars } = place, name = names[at];
  if (name !== "*") {
    const inside = child(value, name);
    if (!blank(inside)) { follow({ pointer: below(pointer, name), value: inside, stars }, names, at + 1, found); }
    return;
  }
  if (!Array.isArray(value)) { return; }
  for (const [n, entry] of value.entries()) {
    if (!blank(entry)) { follow({ pointer: `${pointer}/${n}`, value: entry, stars: [...stars, n] }, names, at + 1, found); }
  }
}
