// The fields of a form about objections: what it is about first, then the file's own fields from the schema, the text last but who and when.

import { button, idOf, make, surely } from "./dom.js";
import { field, register, writes } from "./fields.js";
import { below, blank, put, valueAt } from "./places.js";
import { chosen } from "./review_file.js";
import { described } from "./schema.js";

/**
 * A choice whose words are explained; `set` takes the place of writing what was chosen at the field's own place.
 *
 * @typedef {{ label: string, help?: string, options: [value: string | number, text: string][], nothing: string, get?: () => unknown,
 *   set?: (value: string) => void }} Choice
 */

/** @type {[kind: string, text: string][]} */
const EVIDENCE = [["probe", "a probe: a question to all runs"], ["submission", "a submission"], ["citation", "a published source"]];

/**
 * All parts of the form.
 *
 * @param {ReviewForm} form
 */
export function parts(form) {
  const { kind } = form.rules;
  const about = kind === "objection" ? target(form) : thread(form);
  return [
    part("What it is about", about),
    part("What you say", OWN[kind](form), kind === "outcome" ? null : evidence(form)),
    part("Who, and when", own(form, "/by", "Handle"), kind === "outcome" ? null : own(form, "/interest", "Interest", true), own(form, "/month", "Month")),
  ];
}

/** @type {Dictionary<(form: ReviewForm) => Contents[]>} */
const OWN = {
  objection: (form) => [
    own(form, "/title", "Title"), own(form, "/threat", "Threat"), own(form, "/severity", "Severity"), body(form), own(form, "/proposed_change", "Proposed change"), repeated(form),
  ],
  response: (form) => [own(form, "/response", "Response"), revisedIn(form), body(form)],
  outcome: (form) => [own(form, "/outcome", "Outcome"), body(form)],
};

/**
 * @param {string} title
 * @param {Contents[]} inside
 */
function part(title, ...inside) {
  return make("section", { class: "part" }, make("h3", {}, title), inside);
}

/**
 * The schema of a field at the top of the record, or inside another one, with the text that stands where it is used.
 *
 * @param {ReviewForm} form
 * @param {string} pointer
 * @returns {DescribedNode}
 */
function nodeAt(form, pointer) {
  const { schema } = form.rules;
  return pointer.split("/").slice(1).reduce((node, name) => {
    const used = (node.type === "array" ? node.items : node.properties?.[name]) ?? {};
    return { ...described(used, schema), text: used.description };
  }, /** @type {DescribedNode} */ (schema));
}

/**
 * @param {ReviewForm} form
 * @param {string} pointer
 * @param {string} label
 * @param {boolean} needed
 */
function own(form, pointer, label, needed = false) {
  const must = needed || (form.rules.schema.required ?? []).includes(pointer.slice(1));
  return field(form, pointer, nodeAt(form, pointer), { label, needed: must });
}

/** @param {ReviewForm} form */
function body(form) {
  const { label, text } = form.rules.body;
  return field(form, "/text", { type: "string", maxLength: form.rules.limits.bytes, text }, { label });
}

/**
 * A choice whose words are explained: options [[value, text]]; `does` after another one was chosen.
 *
 * @param {ReviewForm} form
 * @param {string} pointer
 * @param {Choice} about
 */
function choice(form, pointer, { label, help, options, nothing, get, set }) {
  const id = idOf(pointer), said = make("p", { class: "said", id: idOf(pointer, "said"), hidden: true });
  const about = help ? make("p", { class: "help", id: idOf(pointer, "help") }, help) : null;
  const box = make("select", { id, "aria-describedby": `${about ? `${about.id} ` : ""}${said.id}` },
    make("option", { value: "" }, nothing), options.map(([value, text]) => make("option", { value }, text)));
  const now = get ? get() : valueAt(form.kept.draft, pointer);
  box.value = blank(now) || !options.some(([value]) => String(value) === String(now)) ? "" : String(now);
  const on = writes(form, pointer, {}, () => box.value);
  box.addEventListener("change", set ? () => set(box.value) : on.change);
  box.addEventListener("focusout", on.focusout);
  const spot = register(form, pointer, [box], said, label);
  return { spot, element: make("div", { class: "field" }, make("label", { for: id }, label), about, box, said) };
}

/** @type {(version: TargetVersion) => string} */
const versionName = ({ version, status }) => (status === "adopted" ? version : `${version}, ${status}`);

/** @param {ReviewForm} form */
function target(form) {
  const { draft } = form.kept, { targets } = form.rules, { id, target: one, version } = chosen(draft, form.rules);
  /** @type {Choice["options"]} */
  const options = Object.entries(targets).flatMap(([name, { title, versions }]) => (versions.length
    ? versions.map((v) => /** @type {[string, string]} */ ([`${name}@${v.version}`, `${title} ${versionName(v)}`])) : [[name, title]]));
  /** @type {(value: string) => void} */
  const set = (value) => {
    const [protocol, number] = value.split("@");
    draft.against = number ? { protocol, version: number } : {};
    draft.analysis = value && !number ? "yes" : "";
    draft.duplicate_of = "";
    form.structure("/against");
  };
  const get = () => (version ? `${id}@${version.version}` : one && id);
  const against = choice(form, "/against", { label: "Against", help: "Which version of which method, or the analysis.", options, nothing: "choose", get, set });
  ["/against/protocol", "/against/version"].forEach((place) => form.spots.set(place, against.spot));
  if (!version) { return [against.element]; }
  const step = choice(form, "/against/step", { label: "Step", help: "The step that lets the flaw in.", options: version.steps.map(([name, title]) => [name, title ? `${name}: ${title}` : name]), nothing: "the method as a whole" });
  const endpoint = choice(form, "/against/endpoint", { label: "Endpoint", help: "Only where one of the computed quantities is meant.", options: version.endpoints, nothing: "none in particular" });
  return [against.element, step.element, endpoint.element];
}

/** @param {ReviewForm} form */
function repeated(form) {
  const { target: one } = chosen(form.kept.draft, form.rules);
  if (!one?.repeatable.length) { return null; }
  /** @type {Choice["options"]} */
  const options = one.repeatable.map(([number, title]) => [number, `${number}: ${title}`]);
  /** @type {(value: string) => void} */
  const set = (value) => { form.kept.draft.duplicate_of = value ? Number(value) : ""; form.changed(); form.left("/duplicate_of"); };
  return choice(form, "/duplicate_of", { label: "Raised before as", help: "If somebody said the same before. Yours keeps its number, and is decided there.", options, nothing: "no, it is new", set }).element;
}

/** @param {ReviewForm} form */
function thread(form) {
  const { draft } = form.kept, { threads } = form.rules, { thread: one } = chosen(draft, form.rules);
  /** @type {(thread: Thread) => string} */
  const named = ({ protocol }) => (protocol === "analysis" ? "the analysis" : protocol);
  /** @type {Choice["options"]} */
  const options = threads.map((t) => [`${t.protocol}/${t.number}`, `${named(t)} ${t.number}: ${t.title} (${t.state})`]);
  /** @type {(value: string) => void} */
  const set = (value) => { [draft.protocol, draft.number] = value.split("/"); draft.revised_in = ""; form.structure("/number"); };
  const about = choice(form, "/number", { label: "Objection", help: "Struck objections cannot be answered.", options, nothing: "choose", get: () => one && `${one.protocol}/${one.number}`, set });
  if (!one) { return [about.element]; }
  const page = `../${one.protocol}/${String(one.number).padStart(3, "0")}/`;
  return [about.element, make("p", {}, make("a", { href: page }, "Read the whole thread"), `, ${one.against.length ? `against ${one.against.join(", ")}, ` : ""}${one.state}.`)];
}

/** @param {ReviewForm} form */
function revisedIn(form) {
  const { draft } = form.kept, { thread: one } = chosen(draft, form.rules);
  if (draft.response !== "revision" || !one) { return null; }
  if (!one.versions.length) { return own(form, "/revised_in", "Revised in"); }
  return choice(form, "/revised_in", { label: "Revised in", help: "The released version that changes what was objected to.", options: one.versions.map((v) => [v, v]), nothing: "choose" }).element;
}

/** @param {ReviewForm} form */
function evidence(form) {
  const entries = form.kept.draft.evidence ??= [];
  const said = make("p", { class: "said", tabindex: "-1", id: idOf("/evidence", "said"), hidden: true });
  register(form, "/evidence", [], said, "Evidence");
  const add = button("Add evidence", () => { entries.push({ probe: "" }); form.structure(`/evidence/${entries.length - 1}`); }, { id: idOf("/evidence", "add"), class: "quiet" });
  return make("fieldset", {}, make("legend", {}, "Evidence"), make("p", { class: "help" }, nodeAt(form, "/evidence").text), said, entries.map((entry, n) => card(form, n)), make("p", {}, add));
}

/**
 * @param {ReviewForm} form
 * @param {number} n
 */
function card(form, n) {
  const entries = form.kept.draft.evidence ?? [], place = `/evidence/${n}`, entry = entries[n], title = `Evidence ${n + 1}`;
  const kind = EVIDENCE.map(([name]) => name).find((name) => name in entry) ?? "probe";
  /** @type {(value: string) => void} */
  const set = (value) => { entries[n] = { [value || "probe"]: "" }; form.structure(below(place, value || "probe")); };
  const which = choice(form, place, { label: "Kind", options: EVIDENCE, nothing: "choose", get: () => kind, set });
  const what = kind === "probe"
    ? choice(form, below(place, kind), { label: "Probe", options: form.rules.probes.map(([id, question]) => [id, `${id}: ${question}`]), nothing: "choose" }).element
    : field(form, below(place, kind), nodeAt(form, `/evidence/-/${kind}`), { label: kind === "submission" ? "Submission’s id" : "Source", needed: true });
  const remove = surely(`Take ${title.toLowerCase()} out`, () => { entries.splice(n, 1); form.forget("/evidence"); form.structure(null, "", idOf("/evidence", "add")); });
  return make("fieldset", { class: "card", "data-title": title }, make("legend", {}, title), which.element, what, remove);
}

/**
 * What an address asks for: put into a fresh draft; null where it asks for nothing that is there.
 *
 * @param {string} search
 * @param {ReviewRules} rules
 * @returns {ReviewDraft | null}
 */
export function asked(search, rules) {
  const words = new URLSearchParams(search), protocol = words.get("protocol") ?? "", draft = {};
  if (rules.kind !== "objection") {
    Object.assign(draft, { protocol, number: words.get("number") ?? "" });
    return chosen(draft, rules).thread ? draft : null;
  }
  if (protocol === "analysis") { return { against: {}, analysis: "yes" }; }
  put(draft, "/against", { protocol, version: words.get("version") ?? "" });
  const { version } = chosen(draft, rules), step = words.get("step");
  if (!version) { return null; }
  if (version.steps.some(([name]) => name === step)) { put(draft, "/against/step", step); }
  return draft;
}
