// A method of one's own by questions, or a draft of a protocol version: a version's text with another number, edited as text; what can be
// told of its head is told here, and the check tells the rest.

import { button, findingText, make, surely } from "./dom.js";
import { saveText } from "./file.js";
import { MethodForm } from "./method.js";
import { sending, sendingAll } from "./next.js";
import { below } from "./places.js";
import { hashes } from "./review_files.js";
import { schemaFindings } from "./schema.js";
import { yamlText } from "./yaml.js";
import { zipped } from "./zip.js";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Control */

/** @type {(name: string) => HTMLElement} */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`form-${name}`));
/** @type {ProtocolRules} */
const rules = JSON.parse(at("rules").textContent);
const wanted = new URLSearchParams(window.location.search);
const KEY = `edgehold/draft/protocol/${wanted.get("protocol") ?? ""}/${wanted.get("version") ?? ""}`, TO_FILL = "say here what is new", QUESTIONS = "questions";
const HEAD = /^---[ \t]*\r?\n([\s\S]*?^)---[ \t]*(?:\r?\n|$(?![\s\S]))([\s\S]*)$/mu;
/** @type {Dictionary<Control>} */
const boxes = {};

/**
 * Head and body of a text; null without a head.
 *
 * @param {string} text
 */
function split(text) {
  const found = HEAD.exec(text);
  return text.startsWith("---") && found ? { head: found[1], body: found[2] } : null;
}

/** @type {(name: string) => RegExp} */
const fieldPattern = (name) => new RegExp(`^${name}:(.*)\\n(?:[ \\t]+.*\\n|[ \\t]*\\n)*`, "mu");

/**
 * What a field at the top of the head says, where it stands on one line: plain, or in quotes.
 *
 * @param {string} head
 * @param {string} name
 */
function said(head, name) {
  const found = fieldPattern(name).exec(head);
  if (!found) { return undefined; }
  const text = found[0].slice(name.length + 1).trim();
  if (text.startsWith("\"")) { try { return JSON.parse(text.replace(/\s*\n\s*/gu, " ")); } catch { return text; } }
  return text.startsWith("'") ? text.slice(1, -1).replaceAll("''", "'") : text.replace(/^[|>][-+]?\s/u, "").replace(/\s+#.*$/mu, "").replace(/\s*\n\s*/gu, " ");
}

/**
 * The text with one field of its head exchanged.
 *
 * @param {string} text
 * @param {string} name
 * @param {string} value
 */
function withField(text, name, value) {
  const parts = split(text);
  if (!parts || !fieldPattern(name).test(parts.head)) { return text; }
  return text.replace(parts.head, () => parts.head.replace(fieldPattern(name), () => yamlText({ [name]: value })));
}

/**
 * The version after the newest of some: its second number one larger.
 *
 * @param {string[]} known
 */
function nextMinor(known = []) {
  const numbers = known.map((version) => version.split(".").map(Number)).sort((a, b) => b[0] - a[0] || b[1] - a[1] || b[2] - a[2]);
  return numbers.length ? `${numbers[0][0]}.${numbers[0][1] + 1}.0` : "1.0.0";
}

/**
 * Everything found: [{pointer, code, cure, text?}].
 *
 * @param {string} text
 */
function judge(text) {
  /** @type {Finding[]} */
  const found = [];
  const say = (/** @type {string} */ pointer, /** @type {string} */ code, cure = "") => found.push({ pointer, code, cure });
  if (new TextEncoder().encode(text).length > rules.limits.bytes) { say("", "file-too-large"); }
  rules.characters.filter(({ pattern }) => new RegExp(pattern, "u").test(text)).forEach(({ code }) => say("", code));
  const parts = split(text);
  if (!parts) { say("", "no-front-matter"); return found; }
  if (!parts.body.trim()) { say("", "empty-body"); }
  /** @type {Dictionary<string>} */
  const record = {};
  for (const name of Object.keys(rules.schema.properties ?? {})) {
    const value = said(parts.head, name);
    if (value !== undefined) { record[name] = value; }
  }
  found.push(...schemaFindings(rules.schema, record, rules.cures));
  if (rules.reserved.includes(record.id)) { say(below("", "id"), "reserved-id"); }
  return found;
}

/**
 * What the check would not say, but whoever publishes wants to know.
 *
 * @param {string} text
 */
function hints(text) {
  const { head } = split(text) ?? { head: "" }, id = said(head, "id"), version = said(head, "version"), known = rules.known[id] ?? [];
  return [
    known.includes(version) ? `Version ${version} of ${id} is there already and never changes: choose another number, such as ${nextMinor(known)}.` : "",
    said(head, "changes") === TO_FILL ? "Say under “What is new” what this version changes." : "",
    /^figures:[ \t]*\n/mu.test(head) && !known.length ? "The drawings of the source belong beside the new file, under figures/: send them in with it, or take the list out." : "",
  ].filter(Boolean);
}

/** @param {string} text */
function say(text) {
  at("status").textContent = text;
}

function keep() {
  try { window.localStorage.setItem(KEY, boxes.text.value); at("kept").textContent = "Kept in this browser."; } catch { at("kept").textContent = "This browser does not keep drafts here: save the file before you leave."; }
}

function kept() {
  try { return window.localStorage.getItem(KEY); } catch { return null; }
}

/**
 * A label, its help and its control.
 *
 * @param {string} name
 * @param {string} label
 * @param {string} help
 * @param {Control} control
 */
function labelled(name, label, help, control) {
  boxes[name] = control;
  control.id = `field-${name}`;
  control.setAttribute("aria-describedby", `field-${name}-help`);
  return make("div", { class: name === "text" ? "field wide" : "field" }, make("label", { for: control.id }, label), make("p", { class: "help", id: `field-${name}-help` }, help), control);
}

/** The small fields say what the text says. */
function mirror() {
  const { head } = split(boxes.text.value) ?? { head: "" };
  ["id", "version", "changes"].forEach((name) => { if (document.activeElement !== boxes[name]) { boxes[name].value = said(head, name) ?? ""; } });
}

/**
 * @param {string} name
 * @param {string} label
 * @param {string} help
 */
function field(name, label, help) {
  const box = make("input", { autocomplete: "off", autocapitalize: "none", spellcheck: name === "changes" ? null : "false" });
  box.addEventListener("input", () => {
    boxes.text.value = withField(boxes.text.value, name, box.value.trim());
    if (name === "id") { boxes.text.value = withField(boxes.text.value, "version", nextMinor(rules.known[box.value.trim()])); mirror(); }
    keep();
  });
  return labelled(name, label, help, box);
}

/**
 * Begin with a version's text under its next number, or with the skeleton, which has no status.
 *
 * @param {ProtocolSource} source
 */
function from(source) {
  boxes.text.value = source.status ? withField(withField(source.text, "version", nextMinor(rules.known[source.id])), "changes", TO_FILL) : source.text;
  mirror();
  keep();
  say(source.status ? `This is ${source.title} ${source.version} with another number.` : "Every field says what it is for. Choose an id first.");
}

/**
 * @param {Finding[]} found
 * @param {string[]} told
 */
function summary(found, told) {
  /** @type {(finding: Finding) => HTMLElement} */
  const line = ({ pointer, code, cure }) => make("li", {}, `${pointer.slice(1) || "The whole file"}: ${findingText({ code, cure }, rules.messages)}`);
  return [
    found.length ? make("h3", { tabindex: "-1", id: "form-wrong" }, `To put right (${found.length})`) : null,
    found.length ? make("ul", { class: "found grave" }, found.map(line)) : null,
    told.length ? make("h3", {}, `Worth a look (${told.length})`) : null,
    told.length ? make("ul", { class: "found mild" }, told.map((text) => make("li", {}, text))) : null,
  ].filter((part) => part !== null);
}

function finish() {
  const text = boxes.text.value, found = judge(text);
  at("found").replaceChildren(...summary(found, hints(text)));
  at("next").replaceChildren();
  if (found.length) {
    say(`${found.length} ${found.length === 1 ? "thing is" : "things are"} still to be put right before the file is complete.`);
    at("wrong").focus();
    return;
  }
  const { head } = split(text) ?? { head: "" }, path = `protocols/${said(head, "id")}/${said(head, "version")}.md`;
  saveText(text, path.slice(path.lastIndexOf("/") + 1), "text/markdown");
  say("Saved.");
  at("next").replaceChildren(make("p", {}, "In the repository its place is ", make("code", { id: "form-path" }, path), ". All other fields are checked when it is sent in, or by ", make("code", {}, "edgehold check"), "."),
    sending(path, text, rules, rules.sending.whole_draft));
}

/** Answers to the questions as one archive of files, with what to do with it. */
async function writeAll() {
  const files = await method.files(at("found"));
  at("next").replaceChildren();
  if (!files) { return; }
  const [{ path, text }] = files, archive = `${path.split("/")[1]}.zip`;
  saveText(zipped(files), archive, "application/zip");
  say("Saved.");
  at("next").replaceChildren(sendingAll(files, archive, rules), make("p", {}, button("Go on in the text itself", () => { edit(); boxes.text.value = text; mirror(); keep(); boxes.text.focus(); }, { class: "quiet" }), " The answers stay as they are."));
}

/** Ask the questions. */
function ask() {
  at("editor").hidden = true;
  method.element.hidden = false;
  const one = button("Check and save the files", () => { void writeAll(); }, { class: "first" });
  at("finish").replaceChildren(...(hashes() ? [one] : [make("p", {}, rules.sending.no_hashes)]));
}

/** Edit a text. */
function edit() {
  at("editor").hidden = false;
  method.element.hidden = true;
  at("finish").replaceChildren(button("Check and save the file", finish, { class: "first" }));
}

const method = new MethodForm(rules, say);

function start() {
  at("off").remove();
  const pick = make("select", {}, make("option", { value: QUESTIONS }, "questions, for a method of your own"), rules.sources.map(({ id, version, title, status }, n) => make("option", { value: n }, status ? `${title} ${version} (${id}, ${status})` : `${title}: a skeleton`)));
  pick.addEventListener("change", () => {
    at("found").replaceChildren();
    at("next").replaceChildren();
    if (pick.value === QUESTIONS) { ask(); } else { edit(); from(rules.sources[Number(pick.value)]); }
  });
  const text = make("textarea", { rows: 30, spellcheck: "false", class: "source" });
  text.addEventListener("input", () => { mirror(); keep(); });
  const editor = make("div", { id: "form-editor" },
    field("id", "Id", "Keep it for a new version of a method; choose another for a separate method: lower-case letters, digits and hyphens."),
    field("version", "Version", "MAJOR.MINOR.PATCH: MAJOR when something is computed otherwise, MINOR when something is added, PATCH for wording."),
    field("changes", "What is new", "In a sentence; “first version” for a separate method."),
    labelled("text", "The file", "Settings between two lines of hyphens, then the method. Every step’s heading begins with an id.", text));
  at("fields").replaceChildren(
    labelled("source", "Start from", "Questions lead from nothing to a whole set of files. A version’s text is edited as text; a retired version is not offered.", pick), method.element, editor);
  at("tools").replaceChildren(surely("Throw the answers away", () => { method.forget(); say("Thrown away."); }));
  at("root").hidden = false;
  const before = kept(), wantedSource = rules.sources.findIndex(({ id, version }) => id === wanted.get("protocol") && (!wanted.get("version") || version === wanted.get("version")));
  ask();
  if (wantedSource < 0 && (method.begun || !before)) { return; }
  pick.value = wantedSource < 0 ? String(rules.sources.length - 1) : String(wantedSource);
  edit();
  if (before) { text.value = before; mirror(); say("Restored what you typed before."); } else { from(rules.sources[wantedSource]); }
}

start();
