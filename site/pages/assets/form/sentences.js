// Numbers and sentences, filled into the patterns that the program hands over (rules.sentences). Nothing is worded here.

/**
 * A pattern with its {names} filled in; {name:g} is a number without needless zeros, {name:.1f} one with so many places.
 *
 * @param {string} pattern
 * @param {Named} values
 */
export function filled(pattern, values) {
  return pattern.replace(/\{(\w+)(?::([^}]*))?\}/gu, (_, name, format) => written(values[name], format));
}

/**
 * The text of a pattern by its name, with its plural.
 *
 * @param {Dictionary<Pattern>} patterns
 * @param {string} name
 * @param {Named} values
 */
export function said(patterns, name, values = {}) {
  const pattern = patterns[name];
  return filled(typeof pattern === "string" ? pattern : pattern[values[pattern.count] === 1 ? "one" : "other"], values);
}

/**
 * A month as people write it; one that a file has otherwise as it stands there.
 *
 * @param {Dictionary<Pattern>} patterns those of cards
 * @param {string} month
 */
export function monthWords(patterns, month) {
  const [year, number] = month.split("-");
  return `month_${number}` in patterns ? said(patterns, `month_${number}`, { year }) : month;
}

/** @type {(value: unknown, format: string | undefined) => string} */
function written(value, format) {
  if (!format || typeof value !== "number") { return String(value); }
  const digits = Number(/^\.(\d+)/u.exec(format)?.[1] ?? 6);
  return format.endsWith("f") ? value.toFixed(digits) : general(value, digits);
}

/**
 * Figures and power of ten of a number to so many significant digits, ties of the binary number itself to the even digit.
 *
 * @param {number} value
 * @param {number} digits
 * @returns {[figures: string, power: number]}
 */
function significant(value, digits) {
  const [figures, power] = value.toExponential(digits - 1).split("e");
  if (!/5e/u.test(value.toExponential(digits))) { return [figures, Number(power)]; } // no tie, which all its digits would tell
  const exact = Math.abs(value).toExponential(100).split("e")[0].replace(".", "");
  if (/^50*$/u.test(exact.slice(digits)) && Number(exact[digits - 1]) % 2 === 0) {
    return [`${value < 0 ? "-" : ""}${exact[0]}${digits > 1 ? "." : ""}${exact.slice(1, digits)}`, Number(power)];
  }
  return [figures, Number(power)];
}

/** @type {(text: string) => string} */
const bare = (text) => (text.includes(".") ? text.replace(/\.?0+$/u, "") : text);

/**
 * A number with so many significant digits and no more zeros than it needs, as C's "%g" writes it.
 *
 * @param {number} value
 * @param {number} digits
 */
export function general(value, digits = 6) {
  if (value === 0) { return "0"; }
  const [figures, power] = significant(value, digits);
  if (power >= -4 && power < digits) { return bare(Number(`${figures}e${power}`).toFixed(digits - 1 - power)); }
  return `${bare(figures)}${exponent(power)}`;
}

/** @type {(power: number) => string} */
const exponent = (power) => `e${power < 0 ? "-" : "+"}${String(Math.abs(power)).padStart(2, "0")}`;

/**
 * Ten significant digits, so that the last bits of two machines do not decide a rounding.
 *
 * @type {(value: number) => number}
 */
const settled = (value) => Number(value.toPrecision(10));

/**
 * Three significant digits, no exponent for everyday sizes.
 *
 * @param {number} number
 */
export function amount(number) {
  const value = settled(number), size = Math.abs(value);
  if (value === 0) { return "0"; }
  const [figures, power] = significant(value, 3);
  if (size >= 999.5 && size < 1e5) { return String(Number(`${figures}e${power}`)); }
  return size >= 1e-3 && size < 1e5 ? general(value, 3) : `${figures}${exponent(power)}`;
}

/**
 * To the nearest whole number, halves to the even one.
 *
 * @param {number} value
 */
export function rounded(value) {
  const below = Math.floor(value), rest = value - below;
  return rest > 0.5 || (rest === 0.5 && below % 2 !== 0) ? below + 1 : below;
}

/** @type {(unit: string, words: Sentences) => string} */
const plural = (unit, words) => words.plurals[unit] ?? unit;

/**
 * A number and its unit in a sentence.
 *
 * @param {number} value
 * @param {string} unit
 * @param {Sentences} words
 */
export function quantityText(value, unit, words) {
  return `${general(value)} ${value === 1 ? unit : plural(unit, words)}`;
}

/** @type {(kind: string) => string} */
const topic = (kind) => (kind === "life" ? "life" : "other");

/**
 * A ratio as people say it, to stand between two names; with the ending "_end" to stand alone.
 *
 * @param {string} kind
 * @param {number} ratio
 * @param {Sentences} words
 * @param {string} ending
 */
function compared(kind, ratio, words, ending = "") {
  const percent = rounded(settled(Math.abs(ratio - 1) * 100));
  const how = percent === 0 ? "same" : ratio < 1 ? "less" : percent >= words.least_times ? "times" : "more";
  return filled(words.own_answer[`${topic(kind)}_${how}${ending}`], { figure: how === "times" ? amount(ratio) : percent });
}

/**
 * One end of an interval as people say it.
 *
 * @param {string} kind
 * @param {number} ratio
 * @param {Sentences} words
 */
function difference(kind, ratio, words) {
  return ratio === Infinity ? words.own_answer.without_limit : compared(kind, ratio, words, "_end");
}

/**
 * Which part of the dulling an endpoint speaks of, inside a sentence.
 *
 * @param {EndpointRule} rule
 * @param {string} unit
 * @param {Sentences} words
 */
function inside(rule, unit, words) {
  const figures = { at: general(rule.at ?? 0), start: general(rule.start ?? 0), end: general(rule.end ?? 0), unit: plural(unit, words) };
  return filled(words.own_answer[`inside_${rule.kind}`], figures);
}

/**
 * How one side of a comparison is called; the beginning is that of a pattern's name: "named" inside a sentence, "short" beside a bar.
 *
 * @param {string} factor
 * @param {string} name
 * @param {Sentences} words
 * @param {string} beginning
 * @param {string} ending "_first" where a sentence begins with it
 */
function named(factor, name, words, beginning = "named", ending = "") {
  return filled(words.own_answer[`${beginning}_${factor}${ending}`] ?? "{name}", { name });
}

/** @type {Dictionary<string>} verdicts that say which of the two did not do better, by their code */
const OPEN = { "undecided": "undecided", "no difference worth having": "nothing", "one-sided": "one_sided", "none": "none", "": "no_ratio" };

/**
 * What a contrast comes to, to begin a sentence with: from the code of its verdict alone.
 *
 * @param {Contrast} contrast
 * @param {EndpointRule} rule
 * @param {Sentences} words
 */
function verdictWords({ verdict, estimate, factor, first, second }, rule, words) {
  const patterns = words.own_answer;
  if (verdict in OPEN) { return filled(patterns[`verdict_${OPEN[verdict]}`], {}); }
  const less = (estimate ?? 0) < 0, how = verdict === "different, size undecided" ? `${less ? "less" : "more"}_open` : verdict;
  return filled(patterns[`verdict_${topic(rule.kind)}_${how}`], { first: named(factor, first, words, "named", "_first"), second: named(factor, second, words) });
}

/**
 * What one submission says about one contrast, its verdict first.
 *
 * @param {Contrast} contrast with estimate, low and high on the ln scale; or bound {side, ln}; or reason
 * @param {EndpointRule} rule the endpoint
 * @param {string} unit
 * @param {Sentences} words
 * @param {boolean} excluding whether the difference that the verdict rules out shall be told, too
 */
export function answerSentence(contrast, rule, unit, words, excluding = true) {
  const patterns = words.own_answer;
  const names = {
    verdict: verdictWords(contrast, rule, words),
    opening: inside(rule, unit, words),
    first: named(contrast.factor, contrast.first, words),
    second: named(contrast.factor, contrast.second, words),
  };
  if (contrast.estimate !== null) { return withRatio({ ...contrast, estimate: contrast.estimate }, rule, names, words, excluding); }
  if (contrast.bound) {
    return filled(patterns[`told_${topic(rule.kind)}_bound`], { ...names, side: contrast.bound.side, figure: amount(Math.exp(contrast.bound.ln)) });
  }
  return filled(patterns.told_no_ratio, { ...names, reason: contrast.reason });
}

/**
 * A ratio with its interval; where the verdict names both sides, they are not named again.
 *
 * @param {Contrast & { estimate: number }} contrast
 * @param {EndpointRule} rule
 * @param {Named} names
 * @param {Sentences} words
 * @param {boolean} excluding
 */
function withRatio({ estimate, low, high, excludes, verdict }, rule, names, words, excluding) {
  const clear = !(verdict in OPEN), name = clear ? "told_clear" : "told";
  /** @type {(ln: number) => string} */
  const end = (ln) => difference(rule.kind, Math.exp(ln), words);
  const told = { ...names, compared: compared(rule.kind, Math.exp(estimate), words, clear ? "_end" : ""), low: end(low), high: end(high) };
  if (excludes === Infinity || !excluding) { return filled(words.own_answer[name], told); }
  return filled(words.own_answer[`${name}_and_excluded`], { ...told, excluded: times(excludes, words) });
}

/**
 * A ratio of amounts as people say it.
 *
 * @param {number} ratio
 * @param {AnswerRules} rules
 */
function share(ratio, { report, card: { figures } }) {
  const percent = rounded(settled(Math.abs(ratio - 1) * 100));
  const how = percent === 0 ? "same" : ratio < 1 ? "less" : percent >= figures.most_percent ? "times" : "more";
  return said(report, `share_${how}`, { figure: how === "times" ? amount(ratio) : percent });
}

/**
 * The verdict on two lives, then how much more can be cut before the edge is as dull; empty where no life tells.
 *
 * @param {Contrast} contrast
 * @param {EndpointRule} rule
 * @param {AnswerRules} rules
 */
export function ownerSentence(contrast, rule, rules) {
  const { sentences: words, report } = rules, ending = rule.threshold?.relative ? "_relative" : "", medium = rules.protocol.medium.name.split(",")[0].trim();
  const verdict = verdictWords(contrast, rule, words), clear = !(contrast.verdict in OPEN);
  const names = { verdict, medium, first: named(contrast.factor, contrast.first, words), second: named(contrast.factor, contrast.second, words) };
  /** @type {(ln: number) => string} */
  const end = (ln) => (Number.isFinite(ln) ? share(Math.exp(Math.min(ln, 700)), rules) : ln > 0 ? words.own_answer.without_limit : said(report, "share_nothing"));
  if (contrast.estimate !== null) {
    const figures = { ratio: share(Math.exp(contrast.estimate), rules), low: end(contrast.low ?? -Infinity), high: end(contrast.high ?? Infinity) };
    return said(report, `owner${clear ? "_clear" : ""}${ending}`, { ...names, ...figures });
  }
  return contrast.bound ? said(report, `owner_bound${ending}`, { ...names, side: contrast.bound.side, figure: amount(Math.exp(contrast.bound.ln)) }) : "";
}

/**
 * A ratio such as "×1.32".
 *
 * @param {number} ratio
 * @param {Sentences} words
 */
export const times = (ratio, words) => filled(words.own_answer.times, { figure: amount(ratio) });

/**
 * What a bar's end means: the side that does better there.
 *
 * @param {string} factor
 * @param {string} name
 * @param {string} kind of the endpoint
 * @param {Sentences} words
 */
export function sideWords(factor, name, kind, words) {
  return filled(words.own_answer[`side_${topic(kind)}`], { name: named(factor, name, words, "short") });
}

/**
 * A ratio with its interval, or the bound that is known of it, in few signs.
 *
 * @param {{ ratio: number | null, low: number | null, high: number | null }} figures
 * @param {Sentences} words
 */
export function figuresText({ ratio, low, high }, words) {
  const ending = ratio !== null ? "" : low !== null ? "_at_least" : high !== null ? "_at_most" : "_none";
  /** @type {(value: number | null) => string} */
  const text = (value) => (value === null ? words.own_answer.unbounded : times(value, words));
  return filled(words.own_answer[`cell${ending}`], { ratio: text(ratio), low: text(low), high: text(high) });
}
