// Numbers as people write them, and exact conversion between the units of the register, as aggregator/edgehold/records/units.py
// does it: in whole-number fractions, rounded once at the end. The patterns of written numbers come from there too
// (rules.numbers), the factors from the register (rules.units); nothing is retyped here but the steps.

import { remembering, rememberingFor } from "./memory.js";
import { filled } from "./sentences.js";

/** @typedef {{ top: bigint, bottom: bigint }} Fraction */

/** A number or a unit that cannot be read: what is wrong, and what would be right. */
export class WrittenError extends Error {
  /**
   * @param {string} problem
   * @param {string} cure
   */
  constructor(problem, cure) {
    super(`${problem}; ${cure}`);
    this.problem = problem;
    this.cure = cure;
  }
}

/**
 * The names of its two patterns, filled in; `grammar` is rules.numbers.
 *
 * @type {(grammar: Grammar, problem: string, cure: string, values: Named) => WrittenError}
 */
const wrong = ({ says }, problem, cure, values) => new WrittenError(filled(says[problem], values), filled(says[cure], values));

/**
 * A fraction of two whole numbers.
 *
 * @type {(top: bigint, bottom?: bigint) => Fraction}
 */
const fraction = (top, bottom = 1n) => ({ top, bottom });
/** @type {(a: Fraction, b: Fraction) => Fraction} */
const times = (a, b) => fraction(a.top * b.top, a.bottom * b.bottom);
/** @type {(a: Fraction, b: Fraction) => Fraction} */
const plus = (a, b) => fraction(a.top * b.bottom + b.top * a.bottom, a.bottom * b.bottom);
/** @type {(a: Fraction, b: Fraction) => Fraction} */
const minus = (a, b) => plus(a, fraction(-b.top, b.bottom));
/** @type {(a: Fraction, b: Fraction) => Fraction} */
const over = (a, b) => fraction(a.top * b.bottom, a.bottom * b.top);

/**
 * The binary number nearest to a fraction, ties to even: 64 bits of the quotient, the rest told by the last of them.
 *
 * @param {Fraction} exact
 */
export function nearest({ top, bottom }) {
  const negative = top < 0n !== bottom < 0n;
  let high = top < 0n ? -top : top;
  const low = bottom < 0n ? -bottom : bottom;
  if (high === 0n) { return 0; }
  const shift = BigInt(64 + low.toString(2).length - high.toString(2).length);
  high = shift > 0n ? high << shift : high;
  const divisor = shift < 0n ? low << -shift : low;
  const quotient = high / divisor;
  const sticky = high % divisor === 0n ? quotient : quotient | 1n;
  const size = Number(sticky) * 2 ** -Number(shift);
  return negative ? -size : size;
}

/**
 * The fraction that a plain decimal stands for, such as "12.5", ".5" or "1e-3".
 *
 * @param {string} text
 */
export function decimal(text) {
  const [digits, exponent = "0"] = text.toLowerCase().split("e");
  const [whole, part = ""] = digits.split(".");
  const places = part.length - Number(exponent);
  const top = BigInt(whole + part || "0");
  return places > 0 ? fraction(top, 10n ** BigInt(places)) : fraction(top * 10n ** BigInt(-places));
}

/** @type {Map<string, RegExp>} */
const compiled = new Map();

/**
 * A pattern of the program as a pattern of the browser that must match the whole text.
 *
 * @param {string} pattern
 * @returns {RegExp}
 */
export function whole(pattern) {
  const known = compiled.get(pattern);
  if (known) { return known; }
  const flags = pattern.startsWith("(?i)") ? "iu" : "u";
  const made = new RegExp(`^(?:${pattern.replace("(?i)", "").replaceAll("(?P<", "(?<")})$`, flags);
  compiled.set(pattern, made);
  return made;
}

/**
 * Read a number as a person wrote it: a number, or text with a point or comma, a fraction, an uncertainty, a unit's mark.
 *
 * @param {unknown} written
 * @param {Grammar} grammar rules.numbers
 * @returns {{ value: number, exact: Fraction, uncertainty: number | null, unit: string | null }}
 * @throws {WrittenError} what is wrong and what would be right, in the words of the program
 */
export function parseNumber(written, grammar) {
  if (typeof written === "string") { return parseText(written, grammar); }
  if (typeof written !== "number") { throw wrong(grammar, "of_other_kind", "write_number", { text: shown(written, grammar) }); }
  if (!Number.isFinite(written)) { throw wrong(grammar, "not_finite", "leave_out", { text: written }); }
  const size = decimal(String(Math.abs(written)));
  const exact = ordinary(written < 0 ? fraction(-size.top, size.bottom) : size, written, grammar);
  return { value: nearest(exact), exact, uncertainty: null, unit: null };
}

/**
 * @param {string} text
 * @param {Grammar} grammar
 */
function parseText(text, grammar) {
  if ([...text].length > grammar.longest) { throw wrong(grammar, "too_long", "number_alone", { text: shown(text, grammar), longest: grammar.longest }); }
  const { patterns } = grammar;
  let [plain, unit] = withoutMark(plainText(text, grammar), grammar);
  let uncertainty = null, match;
  if ((match = whole(patterns.parentheses).exec(plain))) {
    plain = match[1];
    uncertainty = parenthesised(plain, match[2], text, grammar);
  } else if ((match = whole(patterns.plus_minus).exec(plain))) {
    plain = match[1];
    uncertainty = unsigned(match[2], text, grammar);
  }
  const [, sign, digits] = /** @type {RegExpExecArray} */ (whole(patterns.sign).exec(plain)); // it fits any line
  const size = unsigned(digits, text, grammar);
  const exact = sign === "-" ? fraction(-size.top, size.bottom) : size;
  return { value: nearest(exact), exact, uncertainty: uncertainty && nearest(uncertainty), unit };
}

/**
 * Signs that look alike made one, fraction signs spelt out, single spaces.
 *
 * @param {string} text
 * @param {Grammar} grammar
 */
export function plainText(text, grammar) {
  const alike = [...text].map((sign) => grammar.alike[sign] ?? sign);
  return alike.map((sign) => (sign in grammar.glyphs ? ` ${grammar.glyphs[sign]}` : sign)).join("").split(/\s+/u).filter(Boolean).join(" ");
}

/**
 * @param {string} plain
 * @param {Grammar} grammar
 * @returns {[plain: string, unit: string | null]}
 */
function withoutMark(plain, grammar) {
  const found = grammar.marks.find(([mark]) => plain.endsWith(mark));
  return found ? [plain.slice(0, -found[0].length).trimEnd(), found[1]] : [plain, null];
}

/**
 * @param {string} digits
 * @param {string} text
 * @param {Grammar} grammar
 */
function unsigned(digits, text, grammar) {
  const { patterns } = grammar;
  let match;
  if ((match = whole(patterns.fraction).exec(digits))) { return ordinary(mixed(match.groups ?? {}, text, grammar), text, grammar); }
  if (whole(patterns.ambiguous).test(digits)) {
    const [units, rest] = digits.split(",");
    throw wrong(grammar, "ambiguous", "as_meant", { text: shown(text, grammar), whole: units, rest });
  }
  if (whole(patterns.grouped).test(digits)) {
    digits = digits.replaceAll(digits.indexOf(",") < digits.indexOf(".") ? "," : ".", "");
  }
  if ((match = whole(patterns.decimal).exec(digits))) {
    const { digits: found, exponent = "0" } = match.groups ?? {};
    return ordinary(decimal(`${found.replace(",", ".")}e${exponent}`), text, grammar);
  }
  const cure = grammar.cures.find(([pattern]) => whole(pattern).test(digits))?.[1] ?? "";
  throw wrong(grammar, "not_a_number", cure, { text: shown(text, grammar) });
}

/**
 * @param {Dictionary<string>} groups
 * @param {string} text
 * @param {Grammar} grammar
 */
function mixed({ whole: units, top, bottom }, text, grammar) {
  const part = fraction(BigInt(top), BigInt(bottom));
  if (units === undefined) { return part; }
  if (part.top >= part.bottom) { throw wrong(grammar, "large_fraction", "like_fraction", { text: shown(text, grammar) }); }
  return plus(fraction(BigInt(units)), part);
}

/**
 * @param {string} main
 * @param {string} inside
 * @param {string} text
 * @param {Grammar} grammar
 */
function parenthesised(main, inside, text, grammar) {
  const match = whole(grammar.patterns.decimal).exec(main.replace(/^[+\- ]+/u, ""));
  const { digits = "", exponent } = match?.groups ?? {};
  if (!match || exponent) { throw wrong(grammar, "no_plain_decimal", "like_uncertainty", { text: shown(text, grammar) }); }
  const stated = unsigned(inside, text, grammar);
  if (!/^[0-9]+$/u.test(inside)) { return stated; }
  const places = digits.split(/[.,]/u)[1]?.length ?? 0;
  return over(stated, fraction(10n ** BigInt(places)));
}

/**
 * @param {Fraction} exact
 * @param {string | number} written
 * @param {Grammar} grammar
 */
function ordinary(exact, written, grammar) {
  const largest = BigInt(grammar.largest), size = exact.top < 0n ? -exact.top : exact.top;
  if (size > largest * exact.bottom || (size > 0n && size * largest < exact.bottom)) { throw wrong(grammar, "out_of_range", "ordinary", { text: shown(written, grammar) }); }
  return exact;
}

/**
 * A written number as the program's messages show it.
 *
 * @param {unknown} value
 * @param {Grammar} grammar
 */
function shown(value, { longest }) {
  return cut(typeof value === "string" ? quoted(value) : String(value), longest + 2, longest);
}

/**
 * A text, or so many signs of it where it has more than the most.
 *
 * @param {string} text
 * @param {number} most
 * @param {number} [kept]
 */
export function cut(text, most, kept = most) {
  const signs = [...text];
  return signs.length <= most ? text : `${signs.slice(0, kept).join("")}…`;
}

/**
 * A text between quotation marks, with what cannot be seen spelt out, as Python's repr does it.
 *
 * @param {string} text
 */
export function quoted(text) {
  const mark = text.includes("'") && !text.includes('"') ? '"' : "'", /** @type {Dictionary<string>} */ short = { "\n": "\\n", "\r": "\\r", "\t": "\\t", " ": " " };
  /** @type {(sign: string) => string} */
  const seen = (sign) => short[sign] ?? spelt((sign.codePointAt(0) ?? 0).toString(16));
  return mark + text.replaceAll("\\", "\\\\").replaceAll(mark, `\\${mark}`).replace(/[\p{C}\p{Z}]/gu, seen) + mark;
}

/** @type {(code: string) => string} */
const spelt = (code) => (code.length < 3 ? `\\x${code.padStart(2, "0")}` : code.length < 5 ? `\\u${code.padStart(4, "0")}` : `\\U${code.padStart(8, "0")}`);

/**
 * The unit of the register that a symbol, mark or name stands for, or null; capitals matter in symbols, not in names.
 *
 * @param {unknown} text
 * @param {Unit[]} units
 * @returns {Unit | null}
 */
export function findUnit(text, units) {
  return foundUnit(units, String(text), () => unitNamed(String(text), units));
}

/** @type {(owner: object, name: string, work: () => Unit | null) => Unit | null} */
const foundUnit = rememberingFor(1000);

/**
 * @param {string} text
 * @param {Unit[]} units
 */
function unitNamed(text, units) {
  const wanted = text.split(/\s+/u).filter(Boolean).join(" ");
  const name = wanted.toLowerCase().replace(/\.$/u, "");
  return units.find((unit) => unit.id === wanted || unit.symbols.includes(wanted))
    ?? units.find((unit) => unit.names.some((known) => known.toLowerCase() === name)) ?? null;
}

/** @type {(owner: object, name: string, work: () => number) => number} */
const remembered = rememberingFor(20_000);

/**
 * The canonical value of a number as written in its unit.
 *
 * @param {unknown} written
 * @param {unknown} unit as written
 * @param {unknown} goal canonical unit
 * @param {UnitRules} rules
 * @throws {WrittenError}
 */
export function canonicalValue(written, unit, goal, rules) {
  return remembered(rules.units, JSON.stringify([written, unit, goal]), () => converted(written, unit, goal, rules));
}

/**
 * @param {unknown} written
 * @param {unknown} unit
 * @param {unknown} goal
 * @param {UnitRules} rules
 */
function converted(written, unit, goal, rules) {
  const grammar = rules.numbers, number = parseNumber(written, grammar), [start, end] = [findUnit(unit, rules.units), findUnit(goal, rules.units)];
  if (!start || !end) { throw new WrittenError(filled(grammar.says.no_unit, { unit: quoted(String(start ? goal : unit)) }), ""); }
  if (number.unit !== null && number.unit !== start.id) {
    throw wrong(grammar, "other_mark", "leave_mark", { text: shown(written, grammar), mark: quoted(number.unit), unit: quoted(String(unit)) });
  }
  if (start.kind !== end.kind) { throw wrong(grammar, "two_kinds", "use_kind", { unit: quoted(String(unit)), kind: start.kind, goal: quoted(String(goal)), wanted: end.kind }); }
  const base = plus(times(number.exact, factor(start.factor)), factor(start.offset));
  return nearest(over(minus(base, factor(end.offset)), factor(end.factor)));
}

/** @type {(name: string, work: () => Fraction) => Fraction} */
const factorOf = remembering(1000);

/**
 * A factor of the register: a decimal or a fraction of two whole numbers, with its sign.
 *
 * @param {string} text
 */
const factor = (text) => factorOf(text, () => parsedFactor(text));

/** @param {string} text */
function parsedFactor(text) {
  const [top, bottom = "1"] = text.replace("-", "").split("/");
  const found = over(decimal(top), decimal(bottom));
  return text.startsWith("-") ? fraction(-found.top, found.bottom) : found;
}
