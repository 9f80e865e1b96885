// Between what is typed and the file: a draft is shaped like the record, may have gaps, and holds free names as a list.
// `finish` gives the record that the draft says so far; `load` the draft of a record, and what the form has no place for.

import { below, blank, child, patternOf } from "./places.js";
import { described } from "./schema.js";
import { WrittenError, parseNumber } from "./units.js";

/**
 * @typedef {{ rules: FormRules, places: Map<string, string> }} Finishing
 * @typedef {{ root: SchemaNode, leftOut: string[] }} Loading
 */

/**
 * The record that a draft says so far, in the order of the schema, and where each of its places lies in the draft.
 *
 * @template {Named} D
 * @param {D} draft
 * @param {FormRules} rules
 */
export function finish(draft, rules) {
  /** @type {Map<string, string>} */
  const places = new Map();
  const record = /** @type {D} */ (finished(rules.schema, draft, "", "", { rules, places }));
  return { record, places };
}

/**
 * The finished file's text: two spaces, in the order of the schema.
 *
 * @param {Named} record
 */
export function fileText(record) {
  return `${JSON.stringify(record, null, 2)}\n`;
}

/**
 * The same without indentation, for where there is little room; the check reads either.
 *
 * @param {Named} record
 */
export function compactText(record) {
  return `${JSON.stringify(record)}\n`;
}

/**
 * @param {SchemaNode} schema
 * @param {unknown} value
 * @param {string} at
 * @param {string} from
 * @param {Finishing} context
 * @returns {unknown}
 */
function finished(schema, value, at, from, context) {
  const node = described(schema, context.rules.schema);
  context.places.set(at, from);
  if (node.patternProperties) { return freeNames(value, at, from, context); }
  if (node.type === "object") { return object(node, value, at, from, context); }
  if (node.type === "array") { return list(node, value, at, from, context); }
  return blank(value) ? undefined : value;
}

/**
 * @param {SchemaNode} node
 * @param {unknown} value
 * @param {string} at
 * @param {string} from
 * @param {Finishing} context
 */
function object(node, value, at, from, context) {
  /** @type {Named} */
  const found = {};
  const needed = node.required ?? [];
  for (const [name, schema] of Object.entries(node.properties ?? {})) {
    const place = below(at, name), drawn = at === from ? place : below(from, name);
    const inside = finished(schema, child(value, name), place, drawn, context);
    if (needed.includes(name) ? inside !== undefined : !empty(inside)) { found[name] = inside; }
  }
  return found;
}

/**
 * @param {SchemaNode} node
 * @param {unknown} value
 * @param {string} at
 * @param {string} from
 * @param {Finishing} context
 */
function list(node, value, at, from, context) {
  /** @type {unknown[]} */
  const found = [];
  const { grid } = context.rules.layout, inGrid = grid && [grid.at, grid.beside.at].some((at) => patternOf(from).startsWith(at));
  (Array.isArray(value) ? value : []).forEach((entry, n) => {
    const inside = finished(node.items ?? {}, entry, below(at, found.length), below(from, n), context);
    if (inside !== undefined && !(inGrid && untouched(inside))) { found.push(inside); }
  });
  return found;
}

/**
 * @param {unknown} value
 * @param {string} at
 * @param {string} from
 * @param {Finishing} context
 */
function freeNames(value, at, from, context) {
  const found = {};
  (Array.isArray(value) ? value : []).forEach((pair, n) => {
    const name = child(pair, "name") ?? "", inside = child(pair, "value");
    if (blank(name) && blank(inside)) { return; }
    Object.defineProperty(found, name, { value: blank(inside) ? null : inside, writable: true, enumerable: true, configurable: true });
    context.places.set(below(at, name), below(from, n));
  });
  return found;
}

/**
 * Whether nothing is written in a part, however deep.
 *
 * @type {(value: unknown) => boolean}
 */
const empty = (value) => value === undefined || (value !== null && typeof value === "object" && Object.values(value).every(empty));

/**
 * A row in which only the amount of work stands, or a value that is only a limit, was not read.
 *
 * @param {unknown} entry
 */
function untouched(entry) {
  return empty(entry) || (entry !== null && typeof entry === "object" && Object.keys(entry).every((name) => ["work", "limit", "canonical"].includes(name)));
}

/**
 * The draft of a record, and the places of what the form cannot show.
 *
 * @param {unknown} record
 * @param {FormRules} rules
 * @returns {{ draft: SubmissionDraft, leftOut: string[] }}
 */
export function load(record, rules) {
  /** @type {string[]} */
  const leftOut = [];
  const draft = /** @type {SubmissionDraft} */ (loaded(rules.schema, record, "", { root: rules.schema, leftOut }) ?? {});
  return { draft, leftOut };
}

/**
 * @param {SchemaNode} schema
 * @param {unknown} value
 * @param {string} at
 * @param {Loading} context
 * @returns {unknown}
 */
function loaded(schema, value, at, context) {
  const node = described(schema, context.root);
  if (value === null || value === undefined) { return undefined; }
  if (node.type === "object") { return loadedObject(node, value, at, context); }
  if (node.type === "array") {
    if (!Array.isArray(value)) { context.leftOut.push(at); return undefined; }
    const items = node.items ?? {}, nothing = described(items, context.root).type === "object" ? () => ({}) : () => "";
    return value.map((entry, n) => loaded(items, entry, below(at, n), context) ?? nothing());
  }
  if (typeof value === "object") { context.leftOut.push(at); return undefined; }
  return value;
}

/**
 * @param {SchemaNode} node
 * @param {object} value
 * @param {string} at
 * @param {Loading} context
 * @returns {unknown}
 */
function loadedObject(node, value, at, context) {
  if (typeof value !== "object" || Array.isArray(value)) { context.leftOut.push(at); return undefined; }
  if (node.patternProperties) {
    return Object.entries(value).map(([name, inside]) => ({ name, value: inside !== null && typeof inside === "object" ? "" : inside }));
  }
  /** @type {Named} */
  const found = {};
  for (const [name, inside] of Object.entries(value)) {
    const schema = child(node.properties, name);
    const kept = schema && loaded(schema, inside, below(at, name), context);
    if (kept !== undefined) { found[name] = kept; } else if (!schema) { context.leftOut.push(below(at, name)); }
  }
  return found;
}

/**
 * What a typed text stands for in a field: a number where the field wants one and the text is one, otherwise the text.
 * Where text and number may both stand (written values), the text stays unless it is a plain number already.
 *
 * @param {string} text
 * @param {DescribedNode} node
 * @param {FormRules} rules
 */
export function typed(text, node, rules) {
  const trimmed = text.trim();
  if (node.options) { return trimmed !== "" && String(Number(trimmed)) === trimmed && Number.isFinite(Number(trimmed)) ? Number(trimmed) : trimmed; }
  if (node.type !== "number" && node.type !== "integer") { return trimmed; }
  try {
    const { numbers } = /** @type {FormRules & UnitRules} */ (rules); // a form that asks for numbers is told how they are read
    const { value, unit, uncertainty } = parseNumber(trimmed, numbers);
    return unit === null && uncertainty === null ? value : trimmed;
  } catch (error) {
    if (error instanceof WrittenError) { return trimmed; }
    throw error;
  }
}
