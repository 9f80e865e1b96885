// The fields of a form about objections: what it is about first, then the file's own fields from the schema, the text last but who and when.

import { button, idOf, make, surely } from "./dom.js";
import { field, register, writes } from "./fields.js";
import { below, blank, put, valueAt } from "./places.js";
import { chosen } from "./review_file.js";
import { described } from "./schema.js";

const EVIDENCE = [["probe", "a probe: a question to all runs"], ["submission", "a submission"], ["citation", "a published source"]];

/** All parts of the form. */
export function parts(form) {
  const { kind } = form.rules;
  const about = kind === "objection" ? target(form) : thread(form);
  return [
    part("What it is about", about),
    part("What you say", OWN[kind](form), kind === "outcome" ? null : evidence(form)),
    part("Who, and when", own(form, "/by", "Handle"), kind === "outcome" ? null : own(form, "/interest", "Interest", true), own(form, "/month", "Month")),
  ];
}

const OWN = {
  objection: (form) => [
    own(form, "/title", "Title"), own(form, "/threat", "Threat"), own(form, "/severity", "Severity"), body(form), own(form, "/proposed_change", "Proposed change"), repeated(form),
  ],
  response: (form) => [own(form, "/response", "Response"), revisedIn(form), body(form)],
  outcome: (form) => [own(form, "/outcome", "Outcome"), body(form)],
};

function part(title, ...inside) {
  return make("section", { class: "part" }, make("h3", {}, title), inside);
}

/** The schema of a field at the top of the record, or inside another one, with the text that stands where it is used. */
function nodeAt(form, pointer) {
  const { schema } = form.rules;
  return pointer.split("/").slice(1).reduce((node, name) => {
    const used = node.type === "array" ? node.items : node.properties[name];
    return { ...described(used, schema), text: used.description };
  }, schema);
}

function own(form, pointer, label, needed = false) {
  const must = needed || (form.rules.schema.required ?? []).includes(pointer.slice(1));
  return field(form, pointer, nodeAt(form, pointer), { label, needed: must });
}

function body(form) {
  const { label, text } = form.rules.body;
  return field(form, "/text", { type: "string", maxLength: form.rules.limits.bytes, text }, { label });
}

/** A choice whose words are explained: options [[value, text]]; `does` after another one was chosen. */
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

const versionName = ({ version, status }) => (status === "adopted" ? version : `${version}, ${status}`);

function target(form) {
  const { draft } = form.kept, { targets } = form.rules, { id, target: one, version } = chosen(draft, form.rules);
  const options = Object.entries(targets).flatMap(([name, { title, versions }]) => (versions.length
    ? versions.map((v) => [`${name}@${v.version}`, `${title} ${versionName(v)}`]) : [[name, title]]));
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

function repeated(form) {
  const { target: one } = chosen(form.kept.draft, form.rules);
  if (!one?.repeatable.length) { return null; }
  const options = one.repeatable.map(([number, title]) => [number, `${number}: ${title}`]);
  const set = (value) => { form.kept.draft.duplicate_of = value ? Number(value) : ""; form.changed(); form.left("/duplicate_of"); };
  return choice(form, "/duplicate_of", { label: "Raised before as", help: "If somebody said the same before: yours keeps its number, and is decided there.", options, nothing: "no, it is new", set }).element;
}

function thread(form) {
  const { draft } = form.kept, { threads } = form.rules, { thread: one } = chosen(draft, form.rules);
  const named = ({ protocol }) => (protocol === "analysis" ? "the analysis" : protocol);
  const options = threads.map((t) => [`${t.protocol}/${t.number}`, `${named(t)} ${t.number}: ${t.title} (${t.state})`]);
  const set = (value) => { [draft.protocol, draft.number] = value.split("/"); draft.revised_in = ""; form.structure("/number"); };
  const about = choice(form, "/number", { label: "Objection", help: "Those that were struck take no more entries.", options, nothing: "choose", get: () => one && `${one.protocol}/${one.number}`, set });
  if (!one) { return [about.element]; }
  const page = `../${one.protocol}/${String(one.number).padStart(3, "0")}/`;
  return [about.element, make("p", {}, make("a", { href: page }, "Read it with all that was said"), `, ${one.against.length ? `against ${one.against.join(", ")}, ` : ""}${one.state}.`)];
}

function revisedIn(form) {
  const { draft } = form.kept, { thread: one } = chosen(draft, form.rules);
  if (draft.response !== "revision" || !one) { return null; }
  if (!one.versions.length) { return own(form, "/revised_in", "Revised in"); }
  return choice(form, "/revised_in", { label: "Revised in", help: "The released version that changes what was objected to.", options: one.versions.map((v) => [v, v]), nothing: "choose" }).element;
}

function evidence(form) {
  const entries = form.kept.draft.evidence ??= [];
  const said = make("p", { class: "said", tabindex: "-1", id: idOf("/evidence", "said"), hidden: true });
  register(form, "/evidence", [], said, "Evidence");
  const add = button("Add evidence", () => { entries.push({ probe: "" }); form.structure(`/evidence/${entries.length - 1}`); }, { id: idOf("/evidence", "add"), class: "quiet" });
  return make("fieldset", {}, make("legend", {}, "Evidence"), make("p", { class: "help" }, nodeAt(form, "/evidence").text), said, entries.map((entry, n) => card(form, n)), make("p", {}, add));
}

function card(form, n) {
  const place = `/evidence/${n}`, entry = form.kept.draft.evidence[n], title = `Evidence ${n + 1}`;
  const kind = EVIDENCE.map(([name]) => name).find((name) => name in entry) ?? "probe";
  const set = (value) => { form.kept.draft.evidence[n] = { [value || "probe"]: "" }; form.structure(below(place, value || "probe")); };
  const which = choice(form, place, { label: "Kind", options: EVIDENCE, nothing: "choose", get: () => kind, set });
  const what = kind === "probe"
    ? choice(form, below(place, kind), { label: "Probe", options: form.rules.probes.map(([id, question]) => [id, `${id}: ${question}`]), nothing: "choose" }).element
    : field(form, below(place, kind), nodeAt(form, `/evidence/-/${kind}`), { label: kind === "submission" ? "Submission’s id" : "Source", needed: true });
  const remove = surely(`Take ${title.toLowerCase()} out`, () => { form.kept.draft.evidence.splice(n, 1); form.forget("/evidence"); form.structure(null, "", idOf("/evidence", "add")); });
  return make("fieldset", { class: "card", "data-title": title }, make("legend", {}, title), which.element, what, remove);
}

/** What an address asks for: put into a fresh draft; null where it asks for nothing that is there. */
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
