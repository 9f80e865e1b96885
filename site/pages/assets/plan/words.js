// @ts-check
// Patterns of the catalogue filled in as the program does it: named places with a format of general, fixed or whole figures, and plurals.

import { general } from "../form/sentences.js";

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
  return text.replace(/\{(\w+)(?::([^}]*))?\}/gu, (_, place, format) => written(values[place], format));
}

/** @param {string | number} value @param {string | undefined} format */
function written(value, format) {
  if (!format || typeof value !== "number") { return String(value); }
  const digits = Number(/^\.(\d+)/u.exec(format)?.[1] ?? 6);
  return format.endsWith("f") ? value.toFixed(digits) : general(value, digits);
}
