// The form for an objection, a response or an outcome: reads its rules from the page's block of data, renders, keeps the draft,
// checks as the program does, saves the file and says where it belongs.

import { alike } from "./alike.js";
import { button, idOf, later, make, surely } from "./dom.js";
import { Drafts, keptAt, localStorageOrNone } from "./draft.js";
import { controlIn, openAround } from "./fields.js";
import { saveText } from "./file.js";
import { fill, typedHere } from "./fill.js";
import { show, wholeSpot } from "./findings.js";
import { sending } from "./next.js";
import { valueAt } from "./places.js";
import { asked, parts } from "./review_fields.js";
import { aimed, findings, pathOf, rulesFor } from "./review_file.js";
import { thisMonth } from "./rules.js";
import { markdownText } from "./yaml.js";

const SAVE_AFTER = 250, LOOK_AFTER = 300; // milliseconds after the last key
const REDRAWN = new Set(["/response"]); // places on which other fields depend
const SHOWN_ELSEWHERE = "Another tab has changed this draft. What you type here is not kept: load the page again to go on with what stands there.";

/** @type {(name: string) => HTMLElement} */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`form-${name}`));
/** @type {ReviewRules} */
const rules = JSON.parse(at("rules").textContent);
/** @type {Drafts<ReviewDraft>} */
const drafts = new Drafts(rules.kind, localStorageOrNone());

/**
 * The form: its rules, its draft, and what the parts of it may ask for.
 *
 * @type {ReviewForm}
 */
const form = {
  rules,
  kept: drafts.fresh(),
  spots: new Map(),
  distinct: [],
  refreshers: [],
  grids: [],
  touched: new Set(),
  all: false,
  elsewhere: false,
  typed: (pointer) => typedHere(form.kept, pointer),
  changed() {
    form.kept.dirty = true;
    later("save", SAVE_AFTER, keep);
    later("look", LOOK_AFTER, look);
  },
  left(pointer) {
    form.touched.add(pointer);
    if (REDRAWN.has(pointer) && form.drawn !== valueAt(form.kept.draft, pointer)) { form.structure(pointer); return; }
    later("look", LOOK_AFTER, look); // not at once: what is said moves the button that somebody may just be pressing
    later("save", 0, keep);
  },
  structure(pointer, message = "", id = null) {
    form.kept.dirty = true;
    render();
    keep();
    if (message) { say(message); }
    focusOn(pointer, id);
  },
  forget(pointer) {
    [...form.touched].filter((place) => place.startsWith(`${pointer}/`)).forEach((place) => form.touched.delete(place));
  },
};

/** @param {string} text */
function say(text) {
  at("status").textContent = text;
}

function keep() {
  if (!form.kept.dirty || form.elsewhere) { return; }
  if (!drafts.save(form.kept)) { say("This browser does not keep drafts here: save the file before you leave."); return; }
  at("kept").textContent = keptAt(form.kept);
}

/** Everything that is found, shown at the fields that were left. */
function look() {
  const { record, body, found } = findings(form.kept.draft, rules, thisMonth());
  showAlike(String(form.kept.draft.title ?? ""), body);
  return { record, body, found, shown: show(form, found) };
}

/**
 * What was objected before and is like what is being written.
 *
 * @param {string} title
 * @param {string} body
 */
function showAlike(title, body) {
  const found = rules.said ? alike(title, body, rules.said) : [];
  at("alike").hidden = !found.length;
  at("alike-list").replaceChildren(...found.map(({ said }) => make("li", {},
    make("a", { href: `../${said.at}` }, `${said.title} (${said.protocol} ${said.number})`), `: ${said.state}${said.why ? `. ${said.why}` : ""}`)));
}

function render() {
  fill(form.kept, rules, thisMonth());
  form.rules = rulesFor(form.kept.draft, rules);
  form.spots = new Map();
  Object.assign(form, { distinct: [], refreshers: [], drawn: valueAt(form.kept.draft, "/response") });
  const whole = make("p", { class: "said", tabindex: "-1", hidden: true });
  const spot = wholeSpot(whole);
  form.spots.set("", spot);
  form.distinct.push(spot);
  at("fields").replaceChildren(whole, ...parts(form));
  look();
}

/**
 * @param {string | null} pointer
 * @param {string | null} id
 */
function focusOn(pointer, id) {
  const place = document.getElementById(id ?? idOf(pointer ?? ""));
  const control = controlIn(place);
  if (control) { openAround(control); control.focus(); }
}

/**
 * @param {Kept<ReviewDraft>} kept
 * @param {string} message
 */
function use(kept, message) {
  keep();
  drafts.hold(kept);
  form.kept = kept;
  form.elsewhere = false;
  form.touched.clear();
  form.all = false;
  ["kept", "next", "found"].forEach((name) => at(name).replaceChildren());
  render();
  listDrafts();
  say(message);
}

/** @type {(kept: { saved: string }) => string} */
const when = ({ saved }) => new Date(saved).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });

/**
 * What a draft is about, in a line.
 *
 * @param {{ draft: ReviewDraft }} kept
 */
function about({ draft }) {
  const { against, protocol, number, title } = draft;
  const target = protocol ? `${protocol} ${number ?? ""}` : against?.protocol ? `${against.protocol} ${against.version} ${against.step ?? ""}` : draft.analysis ? "the analysis" : "";
  return [target.trim(), title].filter(Boolean).join(": ");
}

function listDrafts() {
  const lines = drafts.all().filter((kept) => kept.name !== form.kept.name).map((kept) => make("li", {}, `${when(kept)}: ${about(kept)} `,
    button("Go on with it", () => use(kept, `Restored what you typed until ${when(kept)}.`), { class: "quiet" }), " ",
    surely("Throw it away", () => { drafts.forget(kept.name); listDrafts(); })));
  at("drafts").replaceChildren(...(lines.length ? [make("details", {}, make("summary", {}, `Other drafts in this browser (${lines.length})`), make("ul", {}, lines))] : []));
}

/**
 * Everything found, as a list that leads to the places.
 *
 * @param {ShownFinding[]} shown
 */
function summary(shown) {
  return [["grave", "To put right"], ["mild", "Worth a look"]].flatMap(([kind, title]) => {
    const some = shown.filter(({ grave }) => grave === (kind === "grave"));
    /** @type {(finding: ShownFinding) => HTMLElement} */
    const line = ({ spot, text }) => make("li", {}, button(`${spot.name || "The whole file"}: ${text}`, () => spot.focus(), { class: "link" }));
    return some.length ? [make("h3", { tabindex: "-1", id: kind === "grave" ? "form-wrong" : "form-look" }, `${title} (${some.length})`), make("ul", { class: `found ${kind}` }, some.map(line))] : [];
  });
}

/** Look at everything; the file where nothing stands in the way of saving. */
function finishUp() {
  form.all = true;
  const { record, body, found, shown } = look();
  at("found").replaceChildren(...summary(shown));
  at("next").replaceChildren();
  if (!aimed(form.kept.draft, rules)) {
    say("Choose first what it is about.");
    form.spots.get(rules.kind === "objection" ? "/against" : "/number")?.focus();
    return null;
  }
  const grave = found.filter((finding) => finding.grave).length;
  if (grave) {
    say(`${grave} ${grave === 1 ? "thing is" : "things are"} still to be put right before the file is complete.`);
    shown.find((finding) => finding.grave)?.spot.focus();
    return null;
  }
  return { path: pathOf(form.kept.draft, rules), text: markdownText(record, body) };
}

function saveFinished() {
  const file = finishUp();
  if (!file) { return; }
  saveText(file.text, file.path.slice(file.path.lastIndexOf("/") + 1), "text/markdown");
  say("Saved.");
  const place = make("p", {}, "In the repository its place is ", make("code", { id: "form-path" }, file.path),
    ". The number is the next one free when this site was built: if somebody else was first, a maintainer gives yours the next.");
  at("next").replaceChildren(place, make("pre", { tabindex: "0", "aria-label": "The file", id: "form-text" }, make("code", {}, file.text)),
    sending(file.path, file.text, rules, rules.sending.whole_text));
  keep();
}

/**
 * The draft that an address asks for: one that was begun for the same, or a new one.
 *
 * @returns {[kept: Kept<ReviewDraft>, message: string]}
 */
function begin() {
  const wanted = asked(window.location.search, rules), [last] = drafts.all();
  if (!wanted) { return last ? [last, `Restored what you typed until ${when(last)}.`] : [drafts.fresh(), ""]; }
  const same = drafts.all().find((kept) => about({ draft: { ...kept.draft, title: "" } }) === about({ draft: wanted }));
  return same ? [same, `Restored what you typed until ${when(same)}.`] : [drafts.fresh(wanted), ""];
}

function start() {
  at("off").remove();
  at("tools").replaceChildren(
    button("Start another", () => use(drafts.fresh(), "A new, empty form. What you typed before is under “Other drafts”."), { class: "quiet" }), " ",
    surely("Throw this one away", () => { drafts.forget(form.kept.name); form.kept.dirty = false; use(drafts.fresh(), "Thrown away. This is a new, empty form."); }));
  at("finish").replaceChildren(button("Check and save the file", saveFinished, { class: "first" }));
  at("root").hidden = false;
  use(...begin());
  document.addEventListener("visibilitychange", () => { if (document.hidden) { keep(); } });
  window.addEventListener("pagehide", keep);
  window.addEventListener("storage", (written) => {
    if (drafts.changedElsewhere(form.kept, written)) { form.elsewhere = true; say(SHOWN_ELSEWHERE); }
  });
}

start();
