// A protocol file of one's own, opened in this browser, beside a published method: threat by threat, setting by setting.

import { findingText, make } from "./dom.js";
import { handledThreats, leavesOpen, settingsCells } from "./method_rows.js";
import { schemaFindings } from "./schema.js";

const READER = "../vendor/js-yaml.mjs", HEAD = /^---[ \t]*\r?\n([\s\S]*?)^---[ \t]*(?:\r?\n|$)/mu, MOST_TOLD = 10; // findings that are listed

/** @type {(name: string) => HTMLElement} */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`form-${name}`));
/** @type {OwnMethodRules} */
const rules = JSON.parse(at("rules").textContent);
/** @type {OwnMethod | null} */
let own = null;

const beside = make("select", { id: "own-beside", on: { change: () => show() } }, rules.methods.map(({ id, version, title }, n) => make("option", { value: n }, `${title} (${id} ${version})`)));
const file = make("input", { type: "file", id: "own-file", accept: ".md,.markdown,.txt,text/markdown,text/plain", "aria-describedby": "own-file-help", on: { change: () => { void open(); } } });

async function open() {
  const [picked] = file.files ?? [];
  if (!picked) { return; }
  const { method, problems } = picked.size > rules.bytes ? { method: null, problems: [`The file has ${picked.size} bytes; at most ${rules.bytes} are read.`] } : await read(await picked.text());
  own = method;
  at("status").textContent = method ? `${method.title}: read, and shown below.` : "The file could not be read as a protocol.";
  at("found").replaceChildren(...(problems.length ? [make("ul", { class: "found grave" }, problems.slice(0, MOST_TOLD).map((text) => make("li", {}, text)))] : []));
  show();
}

/**
 * The method that a file's settings tell, or what is wrong with them.
 *
 * @param {string} text
 * @returns {Promise<{ method: OwnMethod | null, problems: string[] }>}
 */
async function read(text) {
  const head = text.startsWith("---") ? HEAD.exec(text) : null;
  if (!head) { return { method: null, problems: ["A protocol’s file begins with its settings between two lines of hyphens."] }; }
  let tree;
  try {
    const { load, CORE_SCHEMA } = await import(READER);
    tree = load(head[1], { schema: CORE_SCHEMA });
  } catch (error) {
    return { method: null, problems: [`The settings are not valid YAML: ${error instanceof Error ? error.message.split("\n")[0] : "unreadable"}`] };
  }
  const problems = schemaFindings(rules.schema, tree, rules.cures).map(({ pointer, code, cure }) => `${pointer.slice(1) || "the settings"}: ${findingText({ code, cure }, rules.messages)}`);
  if (problems.length) { return { method: null, problems }; }
  return { method: { id: tree.id, version: tree.version, title: tree.title, at: "", settings: settingsCells(tree, rules), threats: handledThreats(tree, rules) }, problems };
}

function show() {
  at("next").replaceChildren(...(own ? tables(own, rules.methods[Number(beside.value)]) : []));
}

/** @type {(both: OwnMethod, other: OwnMethod) => HTMLElement[]} */
function tables(one, other) {
  const both = [one, other];
  /** @type {(method: OwnMethod) => Content} */
  const name = ({ id, version, at: address }) => (address ? make("a", { href: address }, `${id} ${version}`) : `${id} ${version}, your own`);
  /** @type {(method: OwnMethod, than: OwnMethod) => HTMLElement} */
  const only = (method, than) => {
    const kinds = rules.threats.filter((kind) => leavesOpen(method.threats[kind]) && !leavesOpen(than.threats[kind]));
    return make("p", { class: "note" }, kinds.length ? [`Only ${method.id} leaves something open about ${kinds.join(", ")}.`] : `${method.id} leaves nothing open that the other deals with.`);
  };
  const head = (/** @type {string} */ first) => make("thead", {}, make("tr", {}, make("th", { scope: "col" }, first), both.map((method) => make("th", { scope: "col" }, name(method)))));
  /** @type {(id: string, title: string, caption: string, first: string, rows: [head: string, cells: HTMLElement[]][]) => HTMLElement} */
  const table = (id, title, caption, first, rows) => make("section", { "aria-labelledby": id }, make("h2", { id }, title), make("div", { tabindex: "0", class: "table" }, make("table", {},
    make("caption", {}, caption), head(first), make("tbody", {}, rows.map(([said, cells]) => make("tr", {}, make("th", { scope: "row" }, said), cells))))));
  return [
    only(one, other), only(other, one),
    table("threat-by-threat", "Threat by threat", "What each method does about each kind of threat, and which objections stand.", "Threat", rules.threats.map((kind) => [kind, both.map(({ threats }) => handled(threats[kind]))])),
    table("settings", "Setting by setting", "What each method asks for.", "Setting", rules.heads.map((said, n) => [said, both.map(({ settings }) => make("td", { class: "wide" }, settings[n]))])),
  ];
}

/** @type {(handled: HandledThreats) => HTMLElement} */
function handled({ threats, standing }) {
  /** @type {(step: [id: string, address: string]) => Content} */
  const link = ([id, address]) => (address ? make("a", { href: address }, id) : id);
  const told = threats.flatMap(({ text, steps }, n) => [
    n ? make("br") : null, `${text} `,
    steps.length ? make("span", { class: "quiet" }, "Dealt with in ", steps.flatMap((step, m) => [m ? ", " : null, link(step)]), ".") : make("strong", {}, "Left open."),
  ]);
  return make("td", { class: "wide" }, told.length ? told : make("span", { class: "quiet" }, "Not named."),
    standing.flatMap(([number, address, blocking]) => [" ", make("a", { href: address }, `Objection ${number} stands`), blocking ? " (blocking)." : "."]));
}

at("off").remove();
at("fields").replaceChildren(
  make("div", { class: "field" }, make("label", { for: "own-file" }, "Your protocol file"), make("p", { class: "help", id: "own-file-help" }, "The .md file, as the form or the program writes it. It is not sent anywhere."), file),
  make("div", { class: "field" }, make("label", { for: "own-beside" }, "Beside"), beside));
at("root").hidden = false;
