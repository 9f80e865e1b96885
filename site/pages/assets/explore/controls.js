// What a reader sets: which pair and endpoint, rules that leave submissions out, and a tick for each submission.

import { button, later, make } from "../form/dom.js";
import { ruledOut } from "./choice.js";

/**
 * @typedef {import("./choice.js").Choice} Choice
 * @typedef {import("./choice.js").Pair} Pair
 * @typedef {import("./words.js").Words} Words
 * @typedef {(change: (choice: Choice) => void) => void} Chosen takes a change of the choice
 */

const PAGE = 50;
const GRADES = [2, 3, 4, 5]; // that leave others out

/** @type {(label: string, options: [value: string, text: string][], value: string, does: (value: string) => void, id: string) => HTMLElement} */
function choiceOf(label, options, value, does, id) {
  const select = make("select", { id, on: { change: (event) => does(event.target.value) } }, options.map(([one, text]) => make("option", { value: one, selected: one === value }, text)));
  return make("div", {}, make("label", { for: id }, label), select);
}

/**
 * Pool, pair and endpoint.
 *
 * @param {import("./words.js").ListedPool[]} pools
 * @param {?Pair} pair null while it is not there
 * @param {Choice} choice
 * @param {Words} words
 * @param {(pool: string, pair: string, endpoint: string) => void} goes
 */
export function whichPair(pools, pair, choice, words, goes) {
  const pairs = pools.find(({ id }) => id === choice.pool)?.pairs ?? [];
  /** @type {(one: { first: string, second: string }) => string} */
  const name = ({ first, second }) => words.say("pair_name", { first, second });
  return [
    choiceOf(words.say("pool"), pools.map((one) => [one.id, one.name]), choice.pool, (id) => goes(id, "", ""), "explore-pool"),
    choiceOf(words.say("pair"), pairs.map((one) => [one.id, name(one)]), choice.pair, (id) => goes(choice.pool, id, ""), "explore-pair"),
    choiceOf(words.say("endpoint"), (pair?.endpoints ?? []).map((one) => [one.id, `${one.title} (${one.role})`]), choice.endpoint, (id) => goes(choice.pool, choice.pair, id), "explore-endpoint"),
  ];
}

/** @type {(id: string, checked: boolean, label: (string | Node)[], does: (checked: boolean) => void, disabled?: boolean) => HTMLElement} */
function tick(id, checked, label, does, disabled = false) {
  const box = make("input", { type: "checkbox", id, checked, disabled, on: { change: (event) => does(event.target.checked) } });
  return make("p", { class: "explore-tick-line" }, box, make("label", { for: id }, label));
}

/** @type {<T>(set: Set<T>, value: T, inside: boolean) => void} */
function put(set, value, inside) {
  if (inside) { set.add(value); } else { set.delete(value); }
}

/**
 * The rules that leave submissions out, each with how many it is about.
 *
 * @param {Pair} pair
 * @param {Choice} choice
 * @param {Words} words
 * @param {Chosen} chosen
 */
export function rulesForm({ submissions }, choice, words, chosen) {
  /** @type {(is: (one: import("./choice.js").Submission) => boolean) => number} */
  const count = (is) => submissions.filter(is).length;
  const versions = [...new Set(submissions.map(({ version }) => version))].sort(), months = [...new Set(submissions.map(({ month }) => month))].sort();
  /** @type {[value: string, text: string][]} */
  const grades = [["", words.say("any_grade")], ...GRADES.map((grade) => /** @type {[string, string]} */ ([String(grade), words.say("grade_from", { grade, count: count((one) => one.grade >= grade) })]))];
  /** @type {[value: string, text: string][]} */
  const options = [["", words.say("any_month")], ...months.map((month) => /** @type {[string, string]} */ ([month, words.month(month)]))];
  const interested = ["maker", "seller"];
  return make("fieldset", {}, make("legend", {}, words.say("rules")),
    tick("explore-interest", choice.interest, [words.say("rule_interest", { count: count(({ interest }) => interested.includes(interest)) })], (on) => chosen((now) => { now.interest = on; })),
    tick("explore-blind", choice.blind, [words.say("rule_blind", { count: count(({ blinding }) => blinding !== "every run") })], (on) => chosen((now) => { now.blind = on; })),
    versions.length > 1 && versions.map((version) => tick(`explore-version-${version}`, choice.versions.has(version), [words.say("rule_version", { version, count: count((one) => one.version === version) })],
      (on) => chosen((now) => put(now.versions, version, on)))),
    choiceOf(words.say("rule_grade"), grades, String(choice.grade || ""), (grade) => chosen((now) => { now.grade = Number(grade); }), "explore-grade"),
    make("div", { class: "explore-months" },
      choiceOf(words.say("rule_from"), options, choice.from, (month) => chosen((now) => { now.from = month; }), "explore-from"),
      choiceOf(words.say("rule_to"), options, choice.to, (month) => chosen((now) => { now.to = month; }), "explore-to")));
}

/** Bring the rules up to date, where they stand. @param {Choice} choice */
export function refreshRules(choice) {
  /** @type {(name: string) => NodeListOf<HTMLInputElement>} */
  const inputs = (name) => document.querySelectorAll(`#explore-rules-form ${name}`);
  inputs("[id=explore-interest]").forEach((box) => { box.checked = choice.interest; });
  inputs("[id=explore-blind]").forEach((box) => { box.checked = choice.blind; });
  inputs("[id^=explore-version-]").forEach((box) => { box.checked = choice.versions.has(box.id.replace("explore-version-", "")); });
  inputs("[id=explore-grade]").forEach((one) => { one.value = String(choice.grade || ""); });
  inputs("[id=explore-from]").forEach((one) => { one.value = choice.from; });
  inputs("[id=explore-to]").forEach((one) => { one.value = choice.to; });
}

/** The ticks of all submissions, fifty at a time. */
export class Ticks {
  /**
   * @param {HTMLElement} root
   * @param {Words} words
   * @param {Chosen} chosen
   * @param {(id: string) => string} address of a submission's page
   */
  constructor(root, words, chosen, address) {
    this.root = root;
    this.words = words;
    this.chosen = chosen;
    this.address = address;
    this.from = 0;
    /** @type {(() => void)[]} what brings each box up to date */
    this.boxes = [];
  }

  /**
   * Another pair.
   *
   * @param {Pair} pair
   * @param {() => Choice} choice now
   */
  fill(pair, choice) {
    const { words } = this, all = pair.submissions.length;
    this.pair = pair;
    this.choice = choice;
    this.from = 0;
    this.found = pair.submissions.map((_, i) => i);
    this.list = make("div", { class: "explore-list", tabindex: "0", role: "group", "aria-label": words.say("ticks") });
    this.paging = make("div", { class: "explore-paging" });
    const find = make("input", { type: "search", id: "explore-find", autocomplete: "off", on: { input: () => later("explore-find", 150, () => this.find(find.value)) } });
    this.root.replaceChildren(make("fieldset", {}, make("legend", {}, words.say("ticks")), make("p", { class: "quiet" }, words.say("ticks_help")),
      all > PAGE && make("div", {}, make("label", { for: "explore-find" }, words.say("find", { all })), find), this.list, this.paging));
    this.draw();
  }

  /** @param {string} typed */
  find(typed) {
    const asked = typed.trim().toLowerCase(), { pair, words } = this;
    if (!pair) { return; }
    this.found = pair.submissions.flatMap((one, i) => {
      const texts = [String(i + 1), words.say("tick", { number: i + 1 }), words.say("study", { study: one.study, submissions: 1 }), one.id, one.month, words.month(one.month)];
      return !asked || texts.some((text, n) => (n ? text.toLowerCase().includes(asked) : text === asked)) ? [i] : [];
    });
    this.from = 0;
    this.draw();
  }

  /** The submissions of this page, by study. */
  draw() {
    const { pair, found = [], list, paging, words } = this;
    if (!pair || !list || !paging) { return; }
    const shown = found.slice(this.from, this.from + PAGE), sizes = new Map();
    pair.submissions.forEach(({ study }) => sizes.set(study, (sizes.get(study) ?? 0) + 1));
    this.boxes = [];
    const groups = [...new Set(shown.map((i) => pair.submissions[i].study))].map((study) => {
      const own = shown.filter((i) => pair.submissions[i].study === study).map((i) => this.line(i));
      return make("div", { class: "explore-study" }, sizes.get(study) > 1 && this.studyLine(study, sizes.get(study)), make("div", { class: "explore-study" }, own));
    });
    list.replaceChildren(...groups);
    list.scrollTop = 0;
    paging.replaceChildren(...(found.length > PAGE ? this.pages(found.length) : []));
    paging.hidden = found.length <= PAGE;
    list.setAttribute("aria-label", words.say("ticks"));
    this.refresh();
  }

  /** @param {number} all */
  pages(all) {
    const { words } = this;
    /** @type {(by: number) => void} */
    const go = (by) => {
      this.from += by;
      this.draw();
      this.list?.focus();
    };
    return [
      button(words.say("earlier"), () => go(-PAGE), { disabled: this.from === 0 }),
      make("span", { class: "quiet" }, words.say("shown", { from: this.from + 1, to: Math.min(this.from + PAGE, all), all })),
      button(words.say("later"), () => go(PAGE), { disabled: this.from + PAGE >= all }),
    ];
  }

  /** @param {number} study @param {number} submissions */
  studyLine(study, submissions) {
    const line = tick(`explore-study-${study}`, true, [make("strong", {}, this.words.say("study", { study, submissions }))], (on) => this.chosen((now) => put(now.studies, study, !on)));
    this.boxes.push(() => { /** @type {HTMLInputElement} */ (line.firstElementChild).checked = !this.choice?.().studies.has(study); });
    return line;
  }

  /** @param {number} i */
  line(i) {
    const { words, pair } = this, one = /** @type {Pair} */ (pair).submissions[i], why = make("span", { class: "explore-why" });
    const facts = words.say("tick_note", { month: words.month(one.month), version: one.version, interest: words.interest(one.interest), blinding: one.blinding, grade: one.grade });
    const label = [words.say("tick", { number: i + 1 }), " ", make("span", { class: "quiet" }, facts), " ", why];
    const line = tick(`explore-keep-${i}`, true, label, (on) => this.chosen((now) => put(now.leave, one.id, !on)));
    line.append(make("a", { href: this.address(one.id), class: "explore-page" }, words.say("page_of"), make("span", { class: "sr" }, `: ${words.say("tick", { number: i + 1 })}`)));
    const box = /** @type {HTMLInputElement} */ (line.firstElementChild);
    this.boxes.push(() => {
      const choice = this.choice?.();
      if (!choice) { return; }
      const rule = ruledOut(one, choice);
      box.disabled = rule !== "";
      box.checked = rule === "" && !choice.leave.has(one.id);
      const silent = pair?.endpoints.some(({ id, ln_variance: v }) => id === choice.endpoint && v[i] === null);
      why.textContent = rule ? words.say(`left_${rule}`) : silent ? words.say("no_own") : "";
    });
    return line;
  }

  /** Bring every box up to date, where it stands. */
  refresh() { this.boxes.forEach((update) => update()); }
}
