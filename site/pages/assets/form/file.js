// Files in and out: a half-done or finished one, or a filled-in sheet, is picked or dropped and becomes the draft; the finished one
// is saved with its id as its name. A file is read in this browser and goes nowhere.

import { cellName } from "./csv.js";
import { button, fold, make } from "./dom.js";
import { fromLetters, holdsLetters, packs } from "./letters.js";
import { fileText, load } from "./record.js";
import { beginsSheet, isSheet, readSheet } from "./sheet.js";

const MOST_TOLD = 40; // questions about a sheet that are listed

/**
 * @typedef {{ draft: SubmissionDraft, told: string, problem?: undefined } | { problem: string }} Opened
 */

/**
 * Read what was brought into a draft: {draft, told}, or {problem} in words. It may be a record, a sheet, or a text with a block of letters.
 *
 * @param {Brought} brought
 * @param {SubmissionRules} rules
 * @returns {Promise<Opened>}
 */
export async function opened({ name, bytes }, rules) {
  if (bytes.length > rules.limits.bytes) { return { problem: `The file has ${bytes.length} bytes; at most ${rules.limits.bytes} are read.` }; }
  if (bytes[0] === 0x50 && bytes[1] === 0x4B) { return { problem: "This is a workbook (XLSX) or another archive. Save the sheet as CSV UTF-8 and open that." }; }
  const text = new TextDecoder().decode(bytes);
  if (holdsLetters(text.replaceAll("\0", ""), rules.letters) && !beginsSheet(text, rules.sheet)) { return openedLetters(text.replaceAll("\0", ""), rules); }
  return isSheet(name, bytes, rules) ? openedSheet(bytes, rules) : openedRecord(text, rules);
}

/**
 * What a block of letters packs, read as the file that it is.
 *
 * @param {string} text
 * @param {SubmissionRules} rules
 * @returns {Promise<Opened>}
 */
async function openedLetters(text, rules) {
  if (!packs()) { return { problem: rules.sending.cannot_unpack }; }
  const { bytes, unread } = await fromLetters(text, rules.letters);
  if (unread) { return { problem: `${unread.message.charAt(0).toUpperCase()}${unread.message.slice(1)}; ${unread.cure}. ${rules.sending.nothing_changed}` }; }
  return openedRecord(new TextDecoder().decode(bytes), rules);
}

/**
 * @param {string} text
 * @param {SubmissionRules} rules
 * @returns {Opened}
 */
function openedRecord(text, rules) {
  let record;
  try {
    record = JSON.parse(text.replace(/^\uFEFF/u, ""));
  } catch {
    return { problem: "The file is not JSON. Open the one that this form saved." };
  }
  if (tooMuch(record, rules.limits)) { return { problem: "The file holds more than any submission needs: it was not opened." }; }
  if (record === null || typeof record !== "object" || Array.isArray(record)) { return { problem: "The file is not a submission." }; }
  const other = otherProtocol(record.protocol, rules);
  if (other) { return { problem: other }; }
  const { draft, leftOut } = load(record, rules);
  const told = leftOut.length ? `Left out, because the form has no place for it: ${leftOut.slice(0, 8).join(", ")}${leftOut.length > 8 ? ` and ${leftOut.length - 8} more` : ""}. Your file is unchanged.` : "";
  return { draft, told };
}

/**
 * @param {{ id?: unknown, version?: unknown } | null | undefined} followed
 * @param {SubmissionRules} rules
 */
function otherProtocol(followed, { protocol: own }) {
  if (!followed || (followed.id === own.id && followed.version === own.version)) { return ""; }
  return `The file follows ${String(followed.id)} ${String(followed.version)}; this form is for ${own.id} ${own.version}. Choose its form under “Do it tonight”.`;
}

/**
 * A filled-in sheet as a draft: what it is sure of is converted and said, the rest stands as written and is asked about.
 *
 * @param {Uint8Array} bytes
 * @param {SubmissionRules} rules
 */
function openedSheet(bytes, rules) {
  const { tree, asks, said, tally, protocol } = readSheet(bytes, rules);
  const asked = asks.map(({ row, column, message, cure }) => `${cellName(row, column)}: ${message}; ${cure}`);
  if (!tree) { return { problem: `The sheet was not opened. ${asked.join(". ")}.` }; }
  const other = otherProtocol(protocol, rules);
  if (other) { return { problem: other }; }
  const { draft, leftOut } = load(tree, rules);
  const rows = Object.values(tally).reduce((sum, count) => sum + count, 0);
  const told = [
    `${rows} rows: ${Object.entries(tally).map(([kind, count]) => `${count} ${kind}`).join(", ")}.`,
    said.length ? `Converted: ${said.map(({ row, column, text }) => `${cellName(row, column)}: ${text}`).join("; ")}.` : "",
    asked.length ? `Please look at ${asked.slice(0, MOST_TOLD).join(". ")}${asked.length > MOST_TOLD ? `, and ${asked.length - MOST_TOLD} more` : ""}.` : "",
    leftOut.length ? `Left out, because the form has no place for it: ${leftOut.join(", ")}.` : "",
  ];
  return { draft, told: told.filter(Boolean).join(" ") };
}

/**
 * @param {unknown} tree
 * @param {{ depth: number, containers: number }} limits
 */
function tooMuch(tree, { depth, containers }) {
  /** @type {[value: unknown, deep: number][]} */
  const waiting = [[tree, 1]];
  let count = 0;
  for (let next = waiting.pop(); next; next = waiting.pop()) {
    const [value, deep] = next;
    if (value === null || typeof value !== "object") { continue; }
    count += 1;
    if (deep > depth || count > containers) { return true; }
    Object.values(value).forEach((inside) => waiting.push([inside, deep + 1]));
  }
  return false;
}

/**
 * Offer a record as a file.
 *
 * @param {Named} record
 * @param {string} name
 */
export function save(record, name) {
  saveText(fileText(record), `${name}.json`, "application/json");
}

/**
 * Offer a text, or bytes, as a file.
 *
 * @param {string | Uint8Array<ArrayBuffer>} text
 * @param {string} name
 * @param {string} type
 */
export function saveText(text, name, type) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = make("a", { href: address, download: name, hidden: true }, "file");
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}

/**
 * A button that opens a file, and a place to drop one; `use` gets the file.
 *
 * @param {HTMLElement} root
 * @param {(file: File) => void} use
 */
export function opener(root, use) {
  const pick = make("input", { type: "file", accept: ".json,.csv,.tsv,.txt,application/json,text/csv", id: "form-file", class: "sr", tabindex: "-1", "aria-label": "A file to go on with", on: { change: () => { if (pick.files?.[0]) { use(pick.files[0]); } pick.value = ""; } } });
  /** @type {(on: boolean) => (event: DragEvent) => void} */
  const over = (on) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) { return; }
    event.preventDefault();
    root.classList.toggle("dropping", on);
  };
  root.addEventListener("dragover", over(true));
  root.addEventListener("dragleave", over(false));
  root.addEventListener("drop", (event) => {
    over(false)(event);
    const [file] = event.dataTransfer?.files ?? [];
    if (file) { use(file); }
  });
  return [button("Open a file", () => pick.click()), pick];
}

/**
 * A place to paste a result that came as text; `use` gets it, and it stays there until it could be opened.
 *
 * @param {(text: string) => Promise<boolean>} use whether it was opened
 * @param {SendingRules} rules
 */
export function paster(use, { sending: says }) {
  const box = make("textarea", { id: "form-letters", rows: 6, autocomplete: "off", autocapitalize: "none", spellcheck: "false" });
  const open = async () => {
    if (!box.value.trim() || !await use(box.value)) { return; }
    box.value = "";
    place.open = false;
  };
  const place = fold(says.open_block, make("label", { for: "form-letters" }, says.paste_block), box, make("p", {}, button("Open what you pasted", open)));
  return place;
}
