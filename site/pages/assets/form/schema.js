// What a JSON Schema (2020-12) says of a value, for the keywords that Edgehold's schemas use. A finding is a place and a code of
// aggregator/edgehold/records/codes.py; tests/forms hold this interpreter and the program to the same ones.

import { rememberingFor } from "./memory.js";
import { below, child, lastPart } from "./places.js";

/**
 * @typedef {{ root: SchemaNode, cures: Dictionary<string>, within?: boolean, say: (pointer: string, code: string, cure?: string) => void }} Context
 * @typedef {{ name: string, is: (value: unknown) => boolean, check: (node: SchemaNode, value: any, at: string, context: Context) => void }} Kind
 */

const ANNOTATIONS = ["$schema", "$id", "title", "description", "default", "$defs"];

/** Every keyword that is understood; a schema with any other must not be used here. */
export const KEYWORDS = new Set([
  ...ANNOTATIONS, "$ref", "anyOf", "oneOf", "const", "enum", "type", "properties", "required", "additionalProperties", "patternProperties",
  "items", "minItems", "maxItems", "minLength", "maxLength", "pattern", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum",
]);

/**
 * Everything a schema finds in a value: [{pointer, code, cure}]; cure is empty where the code's own says it all.
 *
 * @param {SchemaNode} schema
 * @param {unknown} value
 * @param {Dictionary<string>} cures
 */
export function schemaFindings(schema, value, cures = {}) {
  /** @type {Finding[]} */
  const found = [];
  check(schema, value, "", { root: schema, cures, say: (pointer, code, cure = "") => found.push({ pointer, code, cure }) });
  return found;
}

/**
 * The schema that really describes a value: references followed, "or null" left out; null where several remain.
 *
 * @param {SchemaNode} node
 * @param {SchemaNode} root
 * @returns {DescribedNode}
 */
export const described = (node, root) => descriptions(node, "", () => describedAnew(node, root));

/** A node stands in one schema. @type {(owner: object, name: string, work: () => DescribedNode) => DescribedNode} */
const descriptions = rememberingFor(1);

/**
 * @param {SchemaNode} node
 * @param {SchemaNode} root
 * @returns {DescribedNode}
 */
function describedAnew(node, root) {
  if (node.$ref) { return described(child(root.$defs, lastPart(node.$ref)), root); }
  const options = (node.anyOf ?? []).map((option) => described(option, root)).filter((option) => option?.type !== "null");
  if (!node.anyOf) { return node; }
  return options.length === 1 ? options[0] : { options };
}

/** @type {Map<string, RegExp>} */
const patterns = new Map();

/**
 * A pattern of a schema as a regular expression (ECMAScript, flag u, as JSON Schema 2020-12 asks for).
 *
 * @param {string} text
 * @returns {RegExp}
 */
export function pattern(text) {
  const known = patterns.get(text);
  if (known) { return known; }
  const made = new RegExp(text, "u");
  patterns.set(text, made);
  return made;
}

/**
 * @param {SchemaNode} node
 * @param {unknown} value
 * @param {string} at
 * @param {Context} context
 * @returns {void}
 */
function check(node, value, at, context) {
  if (node.$ref) { check(described(node, context.root), value, at, context); return; }
  if (node.anyOf) { checkAny(node.anyOf, value, at, context); return; }
  if (node.oneOf) { checkOne(node.oneOf, value, at, context); return; }
  if ("const" in node || "enum" in node) { checkWord(node.enum ?? [node.const], value, at, context); return; }
  const kind = KINDS[node.type ?? ""];
  if (!kind) { return; }
  if (kind.is(value)) { kind.check(node, value, at, context); } else { context.say(at, "wrong-type", `write ${kind.name}`); }
}

/**
 * @param {SchemaNode[]} options
 * @param {unknown} value
 * @param {string} at
 * @param {Context} context
 */
function checkAny(options, value, at, context) {
  const some = options.map((option) => (option.$ref ? described(option, context.root) : option));
  if (value === null && some.some((option) => option.type === "null")) { return; }
  const rest = some.filter((option) => option.type !== "null");
  const fits = rest.length === 1 ? rest : rest.filter((option) => KINDS[option.type ?? ""]?.is(value));
  if (fits.length === 1) { check(fits[0], value, at, context); return; }
  context.say(at, "wrong-type", `write ${rest.map((option) => KINDS[option.type ?? ""]?.name ?? "one of the words").join(" or ")}`);
}

/**
 * Alternatives that are told apart by a constant word.
 *
 * @param {SchemaNode[]} options
 * @param {unknown} value
 * @param {string} at
 * @param {Context} context
 */
function checkOne(options, value, at, context) {
  const branches = options.map((option) => described(option, context.root));
  /** @type {(name: string) => unknown[]} */
  const words = (name) => branches.map((branch) => child(branch.properties, name)?.const);
  /** @type {(name: string) => boolean} */
  const tells = (name) => words(name).every((word) => word !== undefined) && new Set(words(name)).size === branches.length;
  const mark = Object.keys(branches[0].properties ?? {}).find(tells) ?? "", said = words(mark);
  const branch = branches.find((_, n) => child(value, mark) === said[n]);
  if (branch) { check(branch, value, at, context); return; }
  if (!KINDS.object.is(value)) { context.say(at, "wrong-type", `write ${KINDS.object.name}`); return; }
  checkWord(said, child(value, mark), below(at, mark), context);
}

/**
 * @param {unknown[]} words
 * @param {unknown} value
 * @param {string} at
 * @param {Context} context
 */
function checkWord(words, value, at, { say }) {
  if (words.includes(value)) { return; }
  if (at === "/format") { say(at, "unknown-format", `write ${words[0]}`); return; }
  say(at, "unknown-word", words.length > 1 ? `use one of: ${words.join(", ")}` : `write ${words[0]}`);
}

/**
 * @param {SchemaNode} node
 * @param {object} value
 * @param {string} at
 * @param {Context} context
 */
function checkObject(node, value, at, context) {
  const free = Object.entries(node.patternProperties ?? {});
  for (const name of node.required ?? []) {
    if (child(value, name) === undefined) { context.say(below(at, name), "missing-field"); }
  }
  for (const [name, inside] of Object.entries(value)) {
    const known = child(node.properties ?? {}, name) ?? free.find(([names]) => pattern(names).test(name))?.[1];
    if (known) { check(known, inside, below(at, name), context); }
    else if (free.length) { context.say(below(at, name), "wrong-form", context.cures[free[0][0]]); }
    else if (node.additionalProperties === false) { context.say(below(at, name), "unknown-field"); }
  }
}

/**
 * @param {SchemaNode} node
 * @param {unknown[]} value
 * @param {string} at
 * @param {Context} context
 */
function checkList(node, value, at, context) {
  if (value.length < (node.minItems ?? 0)) { context.say(at, "empty-list"); }
  if (value.length > (node.maxItems ?? Infinity)) { context.say(at, "out-of-range", `give at most ${node.maxItems} entries`); }
  const { items } = node;
  if (items) { value.forEach((entry, n) => (context.within ? check : checkAgain)(items, entry, below(at, n), context)); }
}

/** What was found in entries of lists when they stood so the last time. @type {(owner: object, name: string, work: () => Finding[]) => Finding[]} */
const foundBefore = rememberingFor(1000);
const ENTRY = "/*";

/**
 * The check of an entry of an outermost list, a run for one: looked at anew only where something in it has changed.
 *
 * @param {SchemaNode} node
 * @param {unknown} value
 * @param {string} at
 * @param {Context} context
 */
function checkAgain(node, value, at, context) {
  const again = foundBefore(node, JSON.stringify(value) ?? "", () => {
    /** @type {Finding[]} */
    const found = [];
    check(node, value, ENTRY, { ...context, within: true, say: (pointer, code, cure = "") => found.push({ pointer, code, cure }) });
    return found;
  });
  again.forEach(({ pointer, code, cure }) => context.say(at + pointer.slice(ENTRY.length), code, cure));
}

/**
 * @param {SchemaNode} node
 * @param {string} value
 * @param {string} at
 * @param {Context} context
 */
function checkText(node, value, at, { say, cures }) {
  const length = [...value].length;
  if (length < (node.minLength ?? 0)) { say(at, "text-length"); }
  if (length > (node.maxLength ?? Infinity)) { say(at, "text-length", `shorten it to ${node.maxLength} characters at most`); }
  if (!node.pattern || pattern(node.pattern).test(value)) { return; }
  const lower = value.toLowerCase();
  if (value !== lower && pattern(node.pattern).test(lower)) { say(at, "wrong-case", `write ${lower}`); return; }
  say(at, "wrong-form", cures[node.pattern]);
}

/** @type {[name: "minimum" | "maximum" | "exclusiveMinimum" | "exclusiveMaximum", words: string, holds: (value: number, limit: number) => boolean][]} */
const LIMITS = [
  ["minimum", "at least", (value, limit) => value >= limit],
  ["maximum", "at most", (value, limit) => value <= limit],
  ["exclusiveMinimum", "above", (value, limit) => value > limit],
  ["exclusiveMaximum", "below", (value, limit) => value < limit],
];

/**
 * @param {SchemaNode} node
 * @param {number} value
 * @param {string} at
 * @param {Context} context
 */
function checkNumber(node, value, at, { say }) {
  const broken = LIMITS.find(([name, , holds]) => {
    const limit = node[name];
    return limit !== undefined && !holds(value, limit);
  });
  if (broken) { say(at, "out-of-range", `give a number ${broken[1]} ${node[broken[0]]}`); }
}

/**
 * @param {unknown} value
 * @returns {value is number}
 */
const isNumber = (value) => typeof value === "number" && Number.isFinite(value);

/** @type {Dictionary<Kind>} */
const KINDS = {
  object: { name: "an object with named fields", is: (v) => v !== null && typeof v === "object" && !Array.isArray(v), check: checkObject },
  array: { name: "a list", is: Array.isArray, check: checkList },
  string: { name: "text", is: (v) => typeof v === "string", check: checkText },
  number: { name: "a number", is: isNumber, check: checkNumber },
  integer: { name: "a whole number", is: (v) => isNumber(v) && Number.isInteger(v), check: checkNumber },
  boolean: { name: "true or false", is: (v) => typeof v === "boolean", check: () => {} },
  null: { name: "null", is: (v) => v === null, check: () => {} },
};
