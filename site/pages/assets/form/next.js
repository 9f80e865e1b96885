// After the finished file is saved: how it becomes a pull request, for somebody who has never made one.

import { comparisons } from "./answer.js";
import { reportCard } from "./card.js";
import { button, fold, make } from "./dom.js";
import { shownCard } from "./fitting.js";
import { packs, toLetters } from "./letters.js";
import { compactText, fileText } from "./record.js";
import { filled, said } from "./sentences.js";

/**
 * Steps for one finished submission.
 *
 * @param {SubmissionDraft} record
 * @param {SubmissionRules} rules
 */
export async function steps(record, rules) {
  const path = `submissions/${record.origin}/${record.protocol?.id}/${record.id}.json`, text = fileText(record);
  const shown = sending(path, text, rules, rules.sending.whole_submission, compactText(record));
  shown.append(...await asLetters(text, rules), await asPost(record, text, rules));
  return shown;
}

/**
 * What was found, in a post that names the finished file by its hash.
 *
 * @param {SubmissionDraft} record
 * @param {string} text
 * @param {SubmissionRules} rules
 */
async function asPost(record, text, rules) {
  const { says } = rules.card, hash = await sha256(text);
  return fold(said(says, "found_title"), shownCard(reportCard(record, comparisons(record, rules), rules, hash), says, rules.protocol));
}

/** SHA-256 in hexadecimal digits; empty where the browser makes none, as on a page without https. @param {string} text */
async function sha256(text) {
  if (!globalThis.crypto?.subtle) { return ""; }
  const made = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text));
  return [...new Uint8Array(made)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * The finished file as one block of letters, for whoever has no account.
 *
 * @param {string} text
 * @param {SubmissionRules} rules
 */
async function asLetters(text, rules) {
  const says = rules.sending;
  if (!packs()) { return [make("p", {}, says.cannot_pack)]; }
  const block = await toLetters(new TextEncoder().encode(text), rules.letters), letters = block.split("\n").slice(1, -2).join("").length;
  const status = make("span", { "aria-live": "polite" }), box = make("textarea", { class: "letters", readonly: true, rows: 6, "aria-label": says.block_label });
  box.value = block;
  return [
    make("h3", {}, rules.repository_url ? says.block_title : says.block_kept_title),
    make("p", {}, `${filled(rules.repository_url ? says.block : says.block_kept, { letters })} ${filled(says.block_opens, { label: says.open_block })}`),
    box,
    make("p", {}, button(says.copy_block, () => copied(block, status, says.mark_block)), " ", status),
    make("p", { class: "quiet" }, says.carrier),
  ];
}

/**
 * Steps for one finished file; without a repository's address there is nothing to open.
 *
 * @param {string} path where the file belongs in the repository
 * @param {string} text all that stands in it
 * @param {SendingRules} rules with repository_url and limits
 * @param {string} why what the file is to whoever saved it
 * @param {string} inLink the same as short as it can be said, for a link
 */
export function sending(path, text, rules, why, inLink = text) {
  const says = rules.sending, saved = make("li", {}, around(says.saved, "file", path.split("/").pop() ?? path, { why }));
  if (!rules.repository_url) {
    return make("div", {}, make("h3", {}, says.next_title), make("ol", {}, saved, make("li", {}, around(says.place, "path", path))));
  }
  const link = newFileLink(path, inLink, rules), { length } = link, { link: most } = rules.limits, fits = length < most;
  const status = make("span", { "aria-live": "polite" });
  const copy = button(says.copy_text, () => copied(text, status, says.copy_refused), { class: "quiet" });
  const byLink = make("li", {}, make("a", { href: link, target: "_blank", rel: "noopener noreferrer" }, says.new_file), ` ${says.new_file_told}`);
  const byHand = [
    make("li", {}, copy, " ", status),
    make("li", {}, make("a", { href: newFileLink(path, null, rules), target: "_blank", rel: "noopener noreferrer" }, says.empty_file),
      " ", around(says.empty_file_told, "path", path, { too_long: filled(says.too_long, { length, most }) })),
  ];
  return make("div", {}, make("h3", {}, says.send_title), make("ol", {}, saved, fits ? byLink : byHand, [says.propose, says.checked_one, says.change_it].map((text) => make("li", {}, text))));
}

/**
 * A pattern filled in, with code in one of its places.
 *
 * @param {string} pattern
 * @param {string} place
 * @param {string} code
 * @param {Dictionary<unknown>} values those of the other places
 */
function around(pattern, place, code, values = {}) {
  const [before = "", after = ""] = filled(pattern, { ...values, [place]: "\0" }).split("\0");
  return [before, make("code", {}, code), after];
}

/**
 * Steps for several files that belong together: one archive to unpack, one request; each file by itself for whoever cannot unpack one.
 *
 * @param {WrittenFile[]} files
 * @param {string} archive the archive's name
 * @param {SendingRules} rules with repository_url and limits
 */
export function sendingAll(files, archive, rules) {
  const says = rules.sending, { repository_url: repository } = rules, tops = [...new Set(files.map(({ path }) => path.split("/")[0]))].join(", ");
  const named = { files: files.length, archive, folder: tops };
  const saved = make("li", {}, filled(says.archive_saved, named));
  const sent = repository
    ? [make("li", {}, make("a", { href: `${repository}/upload/HEAD`, target: "_blank", rel: "noopener noreferrer" }, says.upload), ` ${filled(says.upload_told, named)}`), make("li", {}, says.one_request), make("li", {}, says.checked)]
    : [make("li", {}, `${says.nowhere} ${says.by_itself}`)];
  /** @type {(file: WrittenFile) => HTMLElement} */
  const shown = ({ path, text }) => {
    const status = make("span", { "aria-live": "polite" });
    const link = repository ? newFileLink(path, text, rules) : "", opens = link && link.length < rules.limits.link ? link : repository && newFileLink(path, null, rules);
    return make("details", { class: "written" }, make("summary", {}, make("code", {}, path)),
      make("p", {}, button("Copy it", () => copied(text, status, says.copy_refused), { class: "quiet", "aria-label": `Copy ${path}` }), " ", opens ? make("a", { href: opens, target: "_blank", rel: "noopener noreferrer" }, says.new_file) : null, " ", status),
      make("pre", { tabindex: "0", "aria-label": path }, make("code", {}, text)));
  };
  return make("div", {}, make("h3", {}, repository ? says.send_title : says.next_title), make("ol", {}, saved, sent), make("h3", {}, `The files (${files.length})`), files.map(shown));
}

/**
 * The address of the host's page for a new file. Only what RFC 3986 (section 3.4) wants written as a code in a query is: the file
 * is mostly commas and colons.
 *
 * @param {string} path
 * @param {string | null} text
 * @param {SendingRules} rules
 */
function newFileLink(path, text, { repository_url: repository }) {
  const whole = new TextDecoder().decode(new TextEncoder().encode(text ?? "")); // a half of a character has no code in an address
  const value = text === null ? "" : `&value=${encodeURIComponent(whole).replaceAll("%2C", ",").replaceAll("%3A", ":")}`;
  return `${repository}/new/HEAD?filename=${encodeURIComponent(path)}${value}`;
}

/**
 * @param {string} text
 * @param {HTMLElement} status
 * @param {string} otherwise what is said where the browser does not let us
 */
async function copied(text, status, otherwise) {
  try {
    await navigator.clipboard.writeText(text);
    status.textContent = "Copied.";
  } catch {
    status.textContent = otherwise;
  }
}
