// The form of one page: reads its rules from the page's block of data, renders, keeps the draft, checks, saves.

import { asideLines } from "./aside.js";
import { become, button, idOf, later, make, surely, tell } from "./dom.js";
import { curves } from "./drawing.js";
import { Drafts, keptAt, localStorageOrNone } from "./draft.js";
import { controlIn, openAround } from "./fields.js";
import { opened, opener, paster, save } from "./file.js";
import { fill, fillRows, typedHere } from "./fill.js";
import { findings, show, wholeSpot } from "./findings.js";
import { steps } from "./next.js";
import { child, lastPart, patternOf, put, valueAt } from "./places.js";
import { yourAnswer } from "./results.js";
import { thisMonth } from "./rules.js";
import { addJoined, sections } from "./view.js";

let width = 0; // of the drawing's place, asked for only when it has been laid out anyway
const SAVE_AFTER = 250, LOOK_AFTER = 300; // milliseconds after the last key

/** @type {(name: string) => HTMLElement} */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`form-${name}`));
/** @type {SubmissionRules} */
const rules = JSON.parse(at("rules").textContent);
/** @type {Drafts<SubmissionDraft>} */
const drafts = new Drafts(`submission/${rules.protocol.id}/${rules.protocol.version}`, localStorageOrNone());

/**
 * The form: its rules, its draft, and what the parts of it may ask for.
 *
 * @type {SubmissionForm}
 */
const form = {
  rules,
  kept: drafts.fresh(),
  spots: new Map(),
  distinct: [],
  refreshers: [],
  grids: [],
  touched: new Set(),
  opened: new Map(),
  unitOf: new Map(),
  all: false,
  shown: [],
  answered: "",
  elsewhere: false,
  typed: (pointer) => typedHere(form.kept, pointer),
  changed() {
    form.kept.dirty = true;
    later("save", SAVE_AFTER, keep);
    later("look", LOOK_AFTER, () => { refresh(); if (form.shown.length) { look(); } });
  },
  left(pointer) {
    form.touched.add(pointer);
    if (patternOf(pointer) === "/runs/*/work_unit" && form.unitOf.get(pointer) !== valueAt(form.kept.draft, pointer)) { form.structure(pointer); return; }
    fill(form.kept, rules, thisMonth());
    later("look", 0, () => { refresh(); look(); }); // once, for a cell and its table are left together
    later("save", 0, keep);
  },
  /** The list of fields has changed: render anew, and go on where somebody would. */
  structure(pointer, message = "", id = null) {
    form.kept.dirty = true;
    render();
    keep();
    if (message) { say(message); }
    focusOn(pointer, id);
  },
  /** Places of a list have moved: what was left or opened there is not known any more. */
  forget(pointer) {
    [...form.touched].filter((place) => place.startsWith(`${pointer}/`)).forEach((place) => form.touched.delete(place));
    [...form.opened.keys()].filter((place) => place.startsWith(`${pointer}/`)).forEach((place) => form.opened.delete(place));
  },
};

/** @param {string} text */
function say(text) {
  at("status").textContent = text;
}

function keep() {
  if (!form.kept.dirty || form.elsewhere) { return; }
  if (!drafts.save(form.kept)) { say("This browser does not keep drafts here: save a half-done file before you leave."); return; }
  tell(at("kept"), keptAt(form.kept));
}

/**
 * Another tab has written the same draft: nothing is written over it until somebody chooses.
 *
 * @param {StorageEvent} written
 */
function changedElsewhere(written) {
  if (!drafts.changedElsewhere(form.kept, written)) { return; }
  const theirs = drafts.open(form.kept.name), { name, signs } = drafts.fresh();
  const mine = () => { use({ ...form.kept, name, signs, dirty: true }, "This is a draft of its own now; the other one stands under “Other drafts”."); keep(); };
  form.elsewhere = true;
  say("Another tab has changed this draft. What you type here is not kept until you choose below which one to go on with.");
  const theirsInstead = theirs ? [button("Go on with what stands there", () => use(theirs, "This is what the other tab wrote.")), " "] : [];
  at("kept").replaceChildren("Changed in another tab: ", ...theirsInstead, button("Keep this one as well", mine));
}

function refresh() {
  form.refreshers.forEach((does) => does());
  width ||= at("curves").clientWidth;
  shown(at("curves"), curves(form.kept.draft, rules, width - 30));
}

function look() {
  const { record, found } = findings(form.kept.draft, rules);
  form.shown = show(form, found);
  at("answer").setAttribute("aria-busy", "true");
  later("answer", LOOK_AFTER, () => showAnswer(record));
  return { record, found };
}

/**
 * One part in a place of its own; what stood there stays as far as it is the same.
 *
 * @param {HTMLElement} place
 * @param {HTMLElement | null} part
 */
function shown(place, part) {
  const old = place.firstElementChild;
  if (old && part && place.childNodes.length === 1) { become(old, part); } else { place.replaceChildren(...(part ? [part] : [])); }
}

/**
 * The answer, made anew only when the record is another one: somebody may be reading it, with its figures unfolded.
 *
 * @param {SubmissionDraft} record
 */
function showAnswer(record) {
  const text = JSON.stringify(record), unfolded = [...at("answer").querySelectorAll("details")].map((part) => part.open);
  at("answer").removeAttribute("aria-busy");
  if (text === form.answered) { return; }
  form.answered = text;
  const found = yourAnswer(record, rules);
  found?.querySelectorAll("details").forEach((part, n) => { part.open = unfolded[n] ?? false; });
  shown(at("answer"), found);
}

function render() {
  fill(form.kept, rules, thisMonth());
  (form.kept.draft.runs ?? []).forEach((run) => fillRows(run, rules));
  (form.kept.draft.references ?? []).forEach((edge) => fillRows(edge, rules, rules.layout.grid.beside.checkpoints));
  form.spots = new Map();
  Object.assign(form, { distinct: [], refreshers: [], grids: [] });
  form.unitOf = new Map((form.kept.draft.runs ?? []).map((run, n) => [`/runs/${n}/work_unit`, run.work_unit]));
  const whole = make("p", { class: "said", tabindex: "-1", hidden: true });
  const spot = wholeSpot(whole);
  form.spots.set("", spot);
  form.distinct.push(spot);
  const steels = make("datalist", { id: "form-steels" }, rules.designations.map((name) => make("option", { value: name })));
  at("fields").replaceChildren(whole, ...sections(form), steels);
  refresh();
  look();
}

/**
 * @param {string | null} pointer
 * @param {string | null} id
 */
function focusOn(pointer, id) {
  const place = (id ? document.getElementById(id) : null) ?? (pointer ? document.getElementById(idOf(pointer)) : null);
  if (place instanceof HTMLDetailsElement) { place.open = true; }
  const control = controlIn(place);
  if (control) { openAround(control); control.focus(); } else if (pointer) { form.spots.get(pointer)?.focus(); }
}

/**
 * A new form has a place for everything that the least test of this protocol needs.
 *
 * @param {Kept<SubmissionDraft>} kept
 */
function begin(kept) {
  const { example } = rules;
  put(kept.draft, "/people", example.people.map(() => ({})));
  put(kept.draft, "/blades", example.blades.map(() => ({})));
  addJoined({ kept, rules }, example.runs.length);
  return kept;
}

/**
 * @param {Kept<SubmissionDraft>} kept
 * @param {string} message
 */
function use(kept, message) {
  keep();
  const whole = drafts.shown(kept, showDraft, () => begin(drafts.fresh()));
  listDrafts();
  say(whole ? message : "");
}

/** @param {Kept<SubmissionDraft>} kept */
function showDraft(kept) {
  drafts.hold(kept);
  form.kept = kept;
  form.elsewhere = false;
  at("kept").replaceChildren();
  form.touched.clear();
  form.opened.clear();
  form.all = false;
  at("next").replaceChildren();
  at("found").replaceChildren();
  render();
}

/**
 * Open what was brought; false where nothing could be made of it.
 *
 * @param {Brought} brought
 * @param {string} called
 */
async function open(brought, called) {
  const found = await opened(brought, rules);
  if (found.problem !== undefined) { say(found.problem); return false; }
  const kept = { ...drafts.fresh(found.draft), dirty: true };
  use(kept, `Opened ${called}. ${found.told}`);
  keep();
  listDrafts();
  return true;
}

/** @param {File} file */
async function openFile(file) {
  const most = rules.limits.bytes + 1; // one more than is read tells that there are more
  await open({ name: file.name, bytes: new Uint8Array(await file.slice(0, most).arrayBuffer()) }, file.name);
}

/** @param {string} text */
function openText(text) {
  return open({ name: "", bytes: new TextEncoder().encode(text) }, "what you pasted");
}

function listDrafts() {
  const all = drafts.each(({ draft }) => (draft.people ?? []).map((person) => child(person, "handle")).filter(Boolean).join(", "));
  const lines = all.filter(([kept]) => kept.name !== form.kept.name).map(([kept, who]) => {
    const when = new Date(kept.saved).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
    return make("li", {}, `${when}: ${who} `, button("Go on with it", () => use(kept, `Restored what you typed until ${when}.`), { class: "quiet" }), " ",
      surely("Throw it away", () => { drafts.forget(kept.name); listDrafts(); }));
  });
  at("drafts").replaceChildren(...asideLines(drafts.storage, drafts.prefix, listDrafts), ...(lines.length ? [make("details", {}, make("summary", {}, `Other drafts in this browser (${lines.length})`), make("ul", {}, lines))] : []));
}

/**
 * Everything found, as a list that leads to the places.
 *
 * @param {ShownFinding[]} shown
 */
function summary(shown) {
  if (!shown.length) { return []; }
  const grave = shown.filter((finding) => finding.grave), mild = shown.filter((finding) => !finding.grave);
  /** @type {(finding: ShownFinding) => HTMLElement} */
  const line = (finding) => make("li", {}, button(`${nameOf(finding)}: ${finding.text}`, () => finding.spot.focus(), { class: "link" }), takeOut(finding), answerTo(finding));
  return [
    grave.length ? make("h3", { tabindex: "-1", id: "form-wrong" }, `To put right (${grave.length})`) : null,
    grave.length ? make("ul", { class: "found grave" }, grave.map(line)) : null,
    mild.length ? make("h3", {}, `Worth a look (${mild.length})`) : null,
    mild.length ? make("p", {}, "These stop nothing. If one has a reason, say it: it is shown beside the result.") : null,
    mild.length ? make("ul", { class: "found mild" }, mild.map(line)) : null,
  ].filter((part) => part !== null);
}

/**
 * What a finding is about, in the words that stand on the page.
 *
 * @param {ShownFinding} finding
 */
function nameOf({ spot }) {
  /** @type {HTMLElement | null | undefined} */
  const card = document.getElementById(idOf(spot.place))?.closest("[data-title]") ?? document.getElementById(idOf(spot.place, "said"))?.closest("[data-title]");
  return [card?.dataset.title, spot.name].filter(Boolean).join(", ") || "The whole file";
}

/**
 * What has no field of its own, such as a unit where none is read, can only be taken out.
 *
 * @param {ShownFinding} finding
 */
function takeOut({ spot, from }) {
  if (spot.place === from || valueAt(form.kept.draft, from) === undefined || Array.isArray(valueAt(form.kept.draft, from))) { return null; }
  const owner = valueAt(form.kept.draft, from.slice(0, from.lastIndexOf("/"))), last = lastPart(from);
  if (Array.isArray(owner)) { return null; }
  return button("Take it out", () => { delete owner[last]; form.structure(null, "Taken out."); finishUp(); }, { class: "quiet" });
}

/**
 * An answer to a warning: kept in the file, shown beside the result.
 *
 * @param {ShownFinding} finding
 */
function answerTo({ grave, pointer, code }) {
  if (grave) { return null; }
  const now = (form.kept.draft.answers ?? []).find((answer) => answer.pointer === pointer && answer.code === code);
  const box = make("input", { "aria-label": `Your answer to: ${code} at ${pointer || "the whole file"}`, maxlength: 200, autocomplete: "off", placeholder: "your answer, if there is one" });
  box.value = now?.says ?? "";
  box.addEventListener("change", () => {
    const rest = (form.kept.draft.answers ?? []).filter((answer) => !(answer.pointer === pointer && answer.code === code));
    form.kept.draft.answers = box.value.trim() ? [...rest, { pointer, code, says: box.value.trim() }] : rest;
    keep();
  });
  return box;
}

/**
 * Answers to warnings that no longer stand go with them.
 *
 * @param {PlacedFinding[]} found
 */
function pruneAnswers(found) {
  const { draft } = form.kept;
  draft.answers = (draft.answers ?? []).filter((answer) => found.some((f) => f.pointer === answer.pointer && f.code === answer.code));
  if (!draft.answers.length) { delete draft.answers; }
}

/** Look at everything; true where nothing stands in the way of saving. */
function finishUp() {
  form.all = true;
  const first = look();
  pruneAnswers(first.found);
  const { record, found } = look();
  at("found").replaceChildren(...summary(form.shown));
  const grave = found.filter((finding) => finding.grave);
  if (grave.length) {
    say(`${grave.length} ${grave.length === 1 ? "thing is" : "things are"} still to be put right before the file is complete.`);
    form.shown.find((finding) => finding.grave)?.spot.focus();
    return null;
  }
  return record;
}

function saveFinished() {
  const record = finishUp();
  if (!record) { return; }
  save(record, record.id ?? "");
  keep();
  steps(record, rules).then((shown) => at("next").replaceChildren(shown));
  const asked = unanswered();
  say(`Saved ${record.id}.json.${asked.length ? ` ${asked.length} ${asked.length === 1 ? "question stands" : "questions stand"} at the readings: compare them with what was noted.` : ""}`);
  asked[0]?.spot.focus();
}

/** Questions about slips of the hand that nobody has answered yet, as they stand on the page. */
function unanswered() {
  const answers = form.kept.draft.answers ?? [];
  return form.shown.filter(({ asks, pointer, code }) => asks && !answers.some((answer) => answer.pointer === pointer && answer.code === code))
    .sort((a, b) => form.distinct.indexOf(a.spot) - form.distinct.indexOf(b.spot));
}

function saveHalf() {
  const { record } = look();
  save(record, record.id ? `${record.id}-half-done` : "half-done");
  say("Saved what stands so far. Open it here to go on.");
}

function start() {
  at("off").remove();
  at("tools").replaceChildren(
    ...opener(at("root"), openFile), " ",
    button("Start another", () => use(begin(drafts.fresh()), "A new, empty form. What you typed before is under “Other drafts”."), { class: "quiet" }), " ",
    surely("Throw this one away", () => { drafts.forget(form.kept.name); form.kept.dirty = false; use(begin(drafts.fresh()), "Thrown away. This is a new, empty form."); }),
  );
  at("tools").after(paster(openText, rules));
  at("finish").replaceChildren(button("Check and save the finished file", saveFinished, { class: "first" }), " ", button("Save it half done", saveHalf, { class: "quiet" }));
  at("root").hidden = false;
  const [last] = drafts.all();
  if (last) {
    use(last, `Restored what you typed until ${new Date(last.saved).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}.`);
  } else {
    use(begin(drafts.fresh()), "");
  }
  new ResizeObserver(() => { width = at("curves").clientWidth; later("draw", 100, refresh); }).observe(at("curves"));
  document.addEventListener("visibilitychange", () => { if (document.hidden) { keep(); } });
  window.addEventListener("pagehide", keep);
  window.addEventListener("storage", changedElsewhere);
}

start();
