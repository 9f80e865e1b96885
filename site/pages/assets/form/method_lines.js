// Answers of several lines, read: levels with their rules, needs, threats and what is done about them; and figures. The same as
// aggregator/edgehold/review/answer_lines.py reads.

import { filled } from "./sentences.js";

const FIGURE = "([0-9]{1,7}(?:\\.[0-9]{1,4})?)";
const NUMBER = new RegExp(`^${FIGURE}$`, "u"), BETWEEN = new RegExp(`^${FIGURE} to ${FIGURE}$`, "u"), BELOW = new RegExp(`^below ${FIGURE}$`, "u"), FROM = new RegExp(`^from ${FIGURE}$`, "u");
const LEVEL = "level";

/** @typedef {{ kind: string, text: string, met: string }} Guard a way to be misled; `met` is empty where nothing is done about it */

/**
 * A text in one line, one space between its words.
 *
 * @param {string} text
 */
export function spaced(text) {
  return text.replace(/[ \t\r\n]+/gu, " ").replace(/^ | $/gu, "");
}

/**
 * The lines with something in them, with their numbers.
 *
 * @param {string} text
 */
export function linesOf(text) {
  return text.split(/\r\n|\r|\n/u).map((line, n) => /** @type {[number: number, line: string]} */ ([n + 1, spaced(line)])).filter(([, line]) => line);
}

/**
 * A figure without sign or power; null where it is none.
 *
 * @param {string} text
 */
export function numberOf(text) {
  return NUMBER.test(text) ? Number(text) : null;
}

/**
 * Figures with commas or spaces between them; null where one of them is none.
 *
 * @param {string} text
 * @returns {number[] | null}
 */
export function figuresOf(text) {
  const found = text.split(/[, ]+/u).map(numberOf);
  return found.every((one) => one !== null) ? /** @type {number[]} */ (found) : null;
}

/**
 * The questions that answers leave to be asked: those about levels only where levels are compared.
 *
 * @param {Dictionary<string>} answers
 * @param {MethodRules} rules
 */
export function asked(answers, { questions }) {
  return questions.filter(({ levels }) => !levels || answers.compared === LEVEL);
}

/** @type {(rules: MethodRules) => (name: string, code: string, values?: Named) => WrongAnswer} */
const wrongIn = ({ says }) => (name, code, values = {}) => ({ name, code, why: filled(says[code], values) });

/**
 * Questions without an answer that need one, words that are none of those offered, figures that are none.
 *
 * @param {Dictionary<string>} answers
 * @param {MethodRules} rules
 * @returns {WrongAnswer[]}
 */
export function emptyOrUnknown(answers, rules) {
  const wrong = wrongIn(rules);
  return asked(answers, rules).flatMap(({ name, kind, needed, choices }) => {
    const text = spaced(answers[name] ?? ""), words = choices.map(([word]) => word);
    if (!text) { return needed ? [wrong(name, "missing")] : []; }
    if (words.length && !words.includes(text)) { return [wrong(name, "no_such_choice", { words: words.join("; ") })]; }
    if ((kind === "line" || kind === "sentence") && [...text].length > rules.longest_line) { return [wrong(name, "too_long", { most: rules.longest_line, count: [...text].length })]; }
    const code = kind === "number" ? notPositive(name, text, rules) : "";
    return code ? [wrong(name, code, { text })] : [];
  });
}

/** @type {(name: string, text: string, rules: MethodRules) => string} */
function notPositive(name, text, { whole }) {
  const value = numberOf(text);
  if (value === null) { return "not_a_number"; }
  if (whole.includes(name)) { return value > 0 && Number.isInteger(value) ? "" : "not_whole"; }
  if (value <= 0) { return "not_positive"; }
  return name === "worthwhile" && value <= 1 ? "worthwhile_small" : "";
}

/** @type {(text: string, mark: string) => [before: string, mark: string, after: string]} */
const parted = (text, mark) => {
  const at = text.indexOf(mark);
  return at < 0 ? [spaced(text), "", ""] : [spaced(text.slice(0, at)), mark, spaced(text.slice(at + mark.length))];
};

/** @type {(text: string) => [before: string, after: string]} */
const lastPart = (text) => {
  const at = text.lastIndexOf(";");
  return at < 0 ? [spaced(text), ""] : [spaced(text.slice(0, at)), spaced(text.slice(at + 1))];
};

/**
 * The levels that lines tell, as the settings hold them.
 *
 * @param {string} text
 * @param {string} fact
 * @param {MethodRules} rules
 */
export function levelsOf(text, fact, rules) {
  const wrong = wrongIn(rules), { written } = rules;
  /** @type {{ word: string, text: string, rule?: MethodLevelRule }[]} */
  const levels = [];
  /** @type {WrongAnswer[]} */
  const found = [];
  for (const [line, told] of linesOf(text)) {
    const [word, colon, rest] = parted(told, ":"), [done, ruleText] = lastPart(rest);
    const rule = fact === written ? null : ruleOf(ruleText, fact, rules);
    const say = (/** @type {string} */ code, /** @type {string} */ about) => found.push(wrong("levels", code, { line, text: about }));
    if (fact === written && ruleText) { say("level_ruled", ruleText); }
    else if (!(word && colon && done)) { say("level_form", told); }
    else if (fact !== written && !ruleText) { say("level_unruled", word); }
    else if (levels.some((level) => level.word.toLowerCase() === word.toLowerCase())) { say("level_twice", word); }
    else if (/[()]/u.test(word)) { say("level_brackets", word); }
    else if (fact === written) { levels.push({ word, text: done }); }
    else if (!rule) { say("level_number", ruleText); }
    else {
      if (levels.some((level) => level.rule && overlap(level.rule, rule, rules))) { say("levels_overlap", word); }
      levels.push({ word, text: done, rule });
    }
  }
  if (levels.length < 2 && !found.length) { found.push(wrong("levels", "too_few_levels")); }
  return { levels, wrong: found };
}

/** @type {(text: string, fact: string, rules: MethodRules) => MethodLevelRule | null} */
function ruleOf(text, fact, { numbers }) {
  if (!numbers.includes(fact)) {
    const other = text.startsWith("not "), words = (other ? text.slice(4) : text).split(" or ").map(spaced).filter(Boolean);
    return other ? { fact, other_than: words } : { fact, words };
  }
  const between = BETWEEN.exec(text), below = BELOW.exec(text), from = FROM.exec(text);
  if (between) {
    const [low, high] = [Number(between[1]), Number(between[2])];
    return low && low < high ? { fact, at_least: low, below: high } : null;
  }
  if (below && Number(below[1])) { return { fact, below: Number(below[1]) }; }
  return from && Number(from[1]) ? { fact, at_least: Number(from[1]) } : null;
}

/** @type {(one: MethodLevelRule, other: MethodLevelRule, rules: MethodRules) => boolean} */
function overlap(one, other, { numbers }) {
  if (numbers.includes(one.fact)) { return Math.max(one.at_least ?? 0, other.at_least ?? 0) < Math.min(one.below ?? Infinity, other.below ?? Infinity); }
  const [mine, theirs] = [one, other].map(({ words = [] }) => words.map((word) => word.toLowerCase()));
  return mine.some((word) => theirs.includes(word)) || !(mine.length || theirs.length);
}

/**
 * What the tester must have: item, where it is had, what does instead.
 *
 * @param {string} text
 * @param {MethodRules} rules
 */
export function needsOf(text, rules) {
  const wrong = wrongIn(rules), { places } = rules;
  /** @type {Named[]} */
  const needs = [];
  /** @type {WrongAnswer[]} */
  const found = [];
  for (const [line, told] of linesOf(text)) {
    const [item, ...more] = told.split(";").map(spaced), [where = places[0], substitute = ""] = more;
    if (!item || more.length > 2 || !places.includes(where) || (more.length > 1 && !substitute)) { found.push(wrong("needs", "need_form", { line, text: told })); }
    else { needs.push({ item, where, ...(substitute ? { substitute } : {}) }); }
  }
  return { needs, wrong: found };
}

/**
 * Ways to be misled that the author names.
 *
 * @param {string} text
 * @param {MethodRules} rules
 */
export function guardsOf(text, rules) {
  const wrong = wrongIn(rules), kinds = Object.keys(rules.usual_threats);
  /** @type {Guard[]} */
  const guards = [];
  /** @type {WrongAnswer[]} */
  const found = [];
  for (const [line, told] of linesOf(text)) {
    const [kind, colon, rest] = parted(told, ":"), [misleads, met] = lastPart(rest);
    if (!(colon && misleads) || !kinds.includes(kind)) { found.push(wrong("threats", "threat_form", { line, kinds: kinds.join(", ") })); }
    else { guards.push({ kind, text: misleads, met }); }
  }
  return { guards, wrong: found };
}
