// @ts-check
// Patterns of the catalogue filled in as the program does it, with their plurals.

import { filled } from "../form/sentences.js";

/** @typedef {string | {count: string, one: string, other: string}} Pattern */
/** @typedef {Object<string, string | number>} Values */

/**
 * The text of a pattern with its values in their places.
 * @param {Object<string, Pattern>} patterns
 * @param {string} name
 * @param {Values} values
 * @returns {string}
 */
export function say(patterns, name, values = {}) {
  const pattern = patterns[name];
  const text = typeof pattern === "string" ? pattern : pattern[values[pattern.count] === 1 ? "one" : "other"];
  return filled(text, values);
}
