// @ts-check
// Patterns of the catalogue filled in as the program does it, with their plurals.

import { said } from "../form/sentences.js";

/** @typedef {string | {count: string, one: string, other: string}} Pattern */
/** @typedef {Object<string, string | number>} Values */

/**
 * The text of a pattern with its values in their places.
 * @type {(patterns: Object<string, Pattern>, name: string, values?: Values) => string}
 */
export const say = said;
