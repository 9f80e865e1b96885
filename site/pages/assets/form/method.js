// A method of one's own by questions: asks, keeps the answers in this browser, and writes the whole set of files that puts it in review.

import { button, findingText, later, make } from "./dom.js";
import { asked, spaced } from "./method_lines.js";
import { settings, textOf, told } from "./method_settings.js";
import { reviewFiles } from "./review_files.js";
import { thisMonth } from "./rules.js";
import { schemaFindings } from "./schema.js";
import { markdownText } from "./yaml.js";

const KEY = "edgehold/draft/method", KEEP_AFTER = 250, FIRST_EVENT = 1; // milliseconds after the last key
/** @type {Dictionary<number>} lines of a box, by the kind of question */
const ROWS = { lines: 4, sentence: 2 };

/** Places of the settings, and the question whose answer stands there; the first that fits counts. */
const ANSWERED = /** @type {[place: string, name: string][]} */ ([
  ["/question/levels", "levels"], ["/question/treatment", "treatment"], ["/question", "question"], ["/medium", "medium"], ["/work/stroke", "stroke"],
  ["/work/edge_stretch_mm", "stretch"], ["/work", "checkpoints"], ["/reading", "reading"], ["/design/order", "order"], ["/design/blinding", "blinding"],
  ["/design", "runs"], ["/needs", "needs"], ["/minutes", "minutes"], ["/people/alone", "alone"], ["/people/two", "two"], ["/threats", "threats"], ["/cautions", "cautions"], ["/id", "id"],
]);

/** @typedef {{ question: MethodQuestion, box: HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement, said: HTMLElement, field: HTMLElement }} Asked */

/** The questions, what was answered to them, and the files that follow. */
export class MethodForm {
  /**
   * @param {ProtocolRules} rules
   * @param {(text: string) => void} say what happened, to the page's status
   */
  constructor(rules, say) {
    this.rules = rules;
    this.say = say;
    /** @type {Dictionary<string>} */
    this.answers = kept();
    /** @type {Map<string, Asked>} */
    this.fields = new Map();
    /** @type {Set<string>} */
    this.left = new Set();
    this.counted = make("p", { class: "quiet" });
    this.element = make("div", { id: "form-questions" }, this.counted, rules.method.parts.map(([part, title]) => this.part(part, title)));
    this.look();
  }

  /** Whether anything was answered before. */
  get begun() {
    return Object.keys(this.answers).length > 0;
  }

  /**
   * @param {string} part
   * @param {string} title
   */
  part(part, title) {
    const questions = this.rules.method.questions.filter((question) => question.part === part), fields = questions.map((question) => this.field(question));
    if (questions.some(({ needed }) => needed)) { return make("section", { class: "part" }, make("h3", {}, title), fields); }
    return make("section", { class: "part" }, make("details", { id: `form-${part}` }, make("summary", {}, title), fields));
  }

  /** @param {MethodQuestion} question */
  field(question) {
    const { name, kind, choices, needed, usual, label, help, example } = question, id = `question-${name}`;
    const described = { id, "aria-describedby": `${id}-help ${id}-said`, "aria-required": needed ? "true" : null, name };
    const box = choices.length
      ? make("select", described, usual ? null : make("option", { value: "" }, "choose"), choices.map(([word, words]) => make("option", { value: word }, words)))
      : make(ROWS[kind] ? "textarea" : "input", { ...described, autocomplete: "off", rows: ROWS[kind], inputmode: kind === "number" ? "decimal" : null, class: kind === "number" ? "short" : null });
    box.value = this.answers[name] ?? usual;
    const said = make("p", { class: "said", id: `${id}-said`, hidden: true });
    const write = () => { this.answers[name] = box.value; this.look(); later("method", KEEP_AFTER, () => this.keep()); };
    box.addEventListener("input", write);
    box.addEventListener("change", () => { write(); this.left.add(name); this.look(); });
    box.addEventListener("focusout", () => { if (spaced(box.value)) { this.left.add(name); this.look(); } });
    const field = make("div", { class: kind === "lines" ? "field wide" : "field" }, make("label", { for: id }, label),
      make("p", { class: "help", id: `${id}-help` }, help, example ? [" ", "For example: ", make("code", {}, example)] : null), box, said);
    this.fields.set(name, { question, box, said, field });
    return field;
  }

  keep() {
    try { window.localStorage.setItem(KEY, JSON.stringify(this.answers)); return true; } catch { return false; }
  }

  forget() {
    try { window.localStorage.removeItem(KEY); } catch { /* nothing was kept */ }
    this.answers = {};
    this.left.clear();
    this.fields.forEach(({ question, box }) => { box.value = question.usual; });
    this.look();
  }

  /** Which questions there are, how many are answered, and what is wrong with those that were left. */
  look() {
    const { method } = this.rules, questions = asked(this.answers, method), needed = questions.filter((question) => question.needed);
    const done = needed.filter(({ name }) => spaced(this.answers[name] ?? "")).length;
    this.counted.textContent = `${done} of ${needed.length} places filled in. The others have an answer already, which you may change below.`;
    this.fields.forEach(({ question, field }) => { field.hidden = !questions.includes(question); });
    const { wrong } = this.judged();
    for (const [name, { box, said }] of this.fields) {
      const own = this.left.has(name) ? wrong.filter((one) => one.name === name) : [];
      said.hidden = !own.length;
      said.replaceChildren(...own.map(({ why }) => make("span", { class: "grave" }, why)));
      if (own.length) { box.setAttribute("aria-invalid", "true"); } else { box.removeAttribute("aria-invalid"); }
    }
  }

  /**
   * The settings and the protocol's text, and everything that is wrong with the answers.
   *
   * @returns {{ tree: Named, text: string, said: Dictionary<string>, wrong: WrongAnswer[] }}
   */
  judged() {
    const { method, cures, messages, characters, limits } = this.rules, { told: given, wrong } = told(this.answers, method), { said } = given;
    if (wrong.length) { return { tree: {}, text: "", said, wrong }; }
    const tree = settings(given, method), text = markdownText(tree, textOf(given, method));
    const formed = schemaFindings(method.schema, tree, cures).map(({ pointer, code, cure }) => ({ name: nameAt(pointer), code, why: findingText({ code, cure }, messages) }));
    const unfit = characters.flatMap(({ code, pattern }) => Object.keys(said).filter((name) => new RegExp(pattern, "u").test(said[name])).map((name) => ({ name, code, why: findingText({ code, cure: "" }, messages) })));
    const large = new TextEncoder().encode(text).length > limits.bytes ? [{ name: "set_up", code: "file-too-large", why: findingText({ code: "file-too-large", cure: "" }, messages) }] : [];
    return { tree, text, said, wrong: [...unfit, ...formed, ...large] };
  }

  /**
   * Look at everything; the files where nothing stands in the way, else null, with the focus at the first thing that does.
   *
   * @param {HTMLElement} place where all that is wrong is listed
   * @returns {Promise<WrittenFile[] | null>}
   */
  async files(place) {
    this.fields.forEach((_, name) => this.left.add(name));
    this.look();
    this.keep();
    const { tree, text, said, wrong } = this.judged();
    place.replaceChildren(...(wrong.length ? this.summary(wrong) : []));
    if (wrong.length) {
      this.say(`${wrong.length} ${wrong.length === 1 ? "thing is" : "things are"} still to be put right before the files are complete.`);
      this.focus(wrong[0].name);
      return null;
    }
    const { year, month } = thisMonth(), { version } = this.rules.method;
    return reviewFiles(text, tree, { id: said.id, version, by: said.by, month: `${year}-${String(month).padStart(2, "0")}`, evidence: said.evidence, first: FIRST_EVENT }, this.rules.method);
  }

  /** @param {WrongAnswer[]} wrong */
  summary(wrong) {
    /** @type {(one: WrongAnswer) => HTMLElement} */
    const line = ({ name, why }) => make("li", {}, button(`${this.fields.get(name)?.question.label}: ${why}`, () => this.focus(name), { class: "link" }));
    return [make("h3", { tabindex: "-1", id: "form-wrong" }, `To put right (${wrong.length})`), make("ul", { class: "found grave" }, wrong.map(line))];
  }

  /** @param {string} name */
  focus(name) {
    const { box } = /** @type {Asked} */ (this.fields.get(name)), around = box.closest("details");
    if (around) { around.open = true; }
    box.focus();
  }
}

/** @type {(pointer: string) => string} */
const nameAt = (pointer) => ANSWERED.find(([place]) => pointer === place || pointer.startsWith(`${place}/`))?.[1] ?? "title";

/** @returns {Dictionary<string>} */
function kept() {
  try {
    const found = JSON.parse(window.localStorage.getItem(KEY) ?? "null");
    return found && typeof found === "object" ? Object.fromEntries(Object.entries(found).filter(([, text]) => typeof text === "string")) : {};
  } catch { return {}; }
}
