// Front matter as text, the same bytes as aggregator/edgehold/review/writing.py writes: what a reader could take for something else stands in
// double quotes, a text of several lines stands as lines.

const PLAIN = /^[A-Za-z](?:[A-Za-z0-9 _./-]*[A-Za-z0-9_./-])?$/u;
const WORDS = new Set(["y", "n", "yes", "no", "on", "off", "true", "false", "null"]);
const LINES = /^(?!\s)[\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\n]+(?<!\s)$/u;
/** @type {Dictionary<string>} */
const ESCAPES = { "\0": "\\0", "\x07": "\\a", "\b": "\\b", "\v": "\\v", "\f": "\\f", "\x1b": "\\e", "\t": "\\t",
  "\n": "\\n", "\r": "\\r", "\"": "\\\"", "\\": "\\\\", "\x85": "\\N", "\u2028": "\\L", "\u2029": "\\P" };
const ORDINARY = /^[\x20-\x7e\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd]$/u;

/**
 * A file with front matter and a body; space around the body is not kept.
 *
 * @param {Named} front
 * @param {string} body
 */
export function markdownText(front, body) {
  return `---\n${yamlText(front)}---\n\n${body.trim()}\n`;
}

/**
 * Fields of one record, in the order given.
 *
 * @param {object} tree
 * @param {string} indent
 * @returns {string}
 */
export function yamlText(tree, indent = "") {
  return Object.entries(tree).map(([name, value]) => `${indent}${name}:${after(value, indent)}`).join("");
}

/**
 * @param {unknown} value
 * @param {string} indent
 * @returns {string}
 */
function after(value, indent) {
  if (Array.isArray(value)) { return value.length ? `\n${value.map((entry) => item(entry, indent)).join("")}` : " []\n"; }
  if (value !== null && typeof value === "object") { return Object.keys(value).length ? `\n${yamlText(value, `${indent}  `)}` : " {}\n"; }
  return ` ${scalar(value, `${indent}  `)}\n`;
}

/**
 * An entry of a list: a record that begins behind its hyphen, or one value.
 *
 * @param {unknown} entry
 * @param {string} indent
 * @returns {string}
 */
function item(entry, indent) {
  if (entry === null || typeof entry !== "object") { return `${indent}- ${scalar(entry, `${indent}  `)}\n`; }
  return Object.keys(entry).length ? `${indent}- ${yamlText(entry, `${indent}  `).slice(indent.length + 2)}` : `${indent}- {}\n`;
}

/**
 * @param {unknown} value
 * @param {string} indent
 */
function scalar(value, indent) {
  if (typeof value !== "string") { return String(value); }
  if (PLAIN.test(value) && !WORDS.has(value.toLowerCase())) { return value; }
  if (value.includes("\n") && LINES.test(value) && !/ $/mu.test(value)) {
    return `|-\n${value.split("\n").map((line) => line && indent + line).join("\n")}`;
  }
  return `"${[...value].map(escaped).join("")}"`;
}

/** @param {string} sign */
function escaped(sign) {
  if (ESCAPES[sign]) { return ESCAPES[sign]; }
  if (ORDINARY.test(sign)) { return sign; }
  const code = sign.codePointAt(0) ?? 0;
  /** @type {(count: number) => string} */
  const digits = (count) => code.toString(16).toUpperCase().padStart(count, "0");
  if (code <= 0xff) { return `\\x${digits(2)}`; }
  return code <= 0xffff ? `\\u${digits(4)}` : `\\U${digits(8)}`;
}
