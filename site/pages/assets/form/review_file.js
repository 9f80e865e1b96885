// An objection, a response or an outcome as a file: its place, its text, and everything that is found in it.

import { blank, child } from "./places.js";
import { finish } from "./record.js";
import { check } from "./rules.js";
import { schemaFindings } from "./schema.js";
import { markdownText } from "./yaml.js";

/**
 * What a file is about: a thread where one is answered or decided, else a target and, but for the analysis, a version of it.
 *
 * @typedef {{ thread?: Thread | null, id?: string, target?: Target | null, version?: TargetVersion | null }} Chosen
 */

const ANALYSIS = "analysis", LONGEST_NAME = 50;

/**
 * The draft of one kind of file, and what it is about: the target of an objection, or the thread of what follows.
 *
 * @param {ReviewDraft} draft
 * @param {ReviewRules} rules
 * @returns {Chosen}
 */
export function chosen(draft, rules) {
  if (rules.kind !== "objection") {
    return { thread: rules.threads.find(({ protocol, number }) => protocol === draft.protocol && number === Number(draft.number)) ?? null };
  }
  const { protocol, version } = draft.against ?? {}, id = blank(protocol) && !blank(draft.analysis) ? ANALYSIS : protocol;
  /** @type {Target | null} */
  const target = child(rules.targets, id ?? "") ?? null;
  return { id, target, version: target?.versions.find((one) => one.version === version) ?? null };
}

/**
 * The rules for what was chosen.
 *
 * @param {ReviewDraft} draft
 * @param {ReviewRules} rules
 * @returns {ReviewRules}
 */
export function rulesFor(draft, rules) {
  const { thread, target, version } = chosen(draft, rules);
  return { ...rules, table: [...rules.table, ...(thread ?? target)?.table ?? [], ...version?.table ?? []] };
}

/**
 * Whether it is known what the file is about; without that it has no place.
 *
 * @param {ReviewDraft} draft
 * @param {ReviewRules} rules
 */
export function aimed(draft, rules) {
  const { thread, id, target, version } = chosen(draft, rules);
  return Boolean(thread) || (Boolean(target) && (id === ANALYSIS || Boolean(version)));
}

/**
 * Everything found in a record and the body below it: [{pointer, code, cure}], what is in the body with `body`. As `check` of rules.js.
 *
 * @param {Named} record
 * @param {string} body
 * @param {ReviewRules} rules
 * @param {Month} today
 * @param {boolean} unfinished
 * @returns {(Finding & { body?: boolean })[]}
 */
export function judge(record, body, rules, today, unfinished = false) {
  /** @type {(code: string) => Finding & { body: boolean }} */
  const say = (code) => ({ pointer: "", code, cure: "", body: true });
  const size = new TextEncoder().encode(markdownText(record, body)).length;
  const large = size > rules.limits.bytes ? [say("file-too-large")] : [], unfit = matching(rules.characters, body).map(say);
  const found = check(record, rules, today, unfinished);
  if (!unfinished && large.length) { return large; }
  if (!unfinished && unfit.length) { return [...unfit, ...found.filter(({ code }) => rules.characters.some((one) => one.code === code))]; }
  const empty = body.trim() ? [] : [say("empty-body")], formed = unfinished || !schemaFindings(rules.schema, record).length;
  return [...found, ...large, ...unfit, ...empty, ...(formed ? matching(rules.body.matches, body).map(say) : [])];
}

/**
 * @param {CodedPattern[]} patterns
 * @param {string} text
 */
function matching(patterns, text) {
  return patterns.filter(({ pattern }) => new RegExp(pattern, "u").test(text)).map(({ code }) => code);
}

/**
 * The record that a draft says so far, its body, and what is found; `from` is the place in the draft.
 *
 * @param {ReviewDraft} draft
 * @param {ReviewRules} rules
 * @param {Month} today
 */
export function findings(draft, rules, today) {
  const own = rulesFor(draft, rules), { record } = finish(draft, own), body = draft.text ?? "";
  const found = judge(record, body, own, today, true).map((finding) => ({
    ...finding, from: finding.body ? "/text" : finding.pointer, grave: rules.messages[finding.code].severity === "error",
  }));
  return { record, body, found };
}

/**
 * Where the file belongs.
 *
 * @param {ReviewDraft} draft
 * @param {ReviewRules} rules
 */
export function pathOf(draft, rules) {
  const { thread, id, target } = chosen(draft, rules);
  if (thread) { return `${thread.folder}/${String(thread.next).padStart(2, "0")}-${rules.kind}.md`; }
  return `protocols/${id}/objections/${String(target?.next).padStart(3, "0")}-${nameOf(draft.title ?? "")}/00-objection.md`;
}

/**
 * A folder's name from a title, as aggregator/edgehold/review/drafts.py makes it.
 *
 * @param {string} title
 * @param {string} otherwise where none is left
 */
export function nameOf(title, otherwise = "objection") {
  const words = title.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().match(/[a-z0-9]+/gu) ?? [];
  let name = words[0] ?? "";
  for (const word of words.slice(1)) {
    if (name.length + 1 + word.length > LONGEST_NAME) { break; }
    name += `-${word}`;
  }
  return name.slice(0, LONGEST_NAME) || otherwise;
}
