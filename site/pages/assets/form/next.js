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
  const shown = sending(path, text, rules, "it is the whole submission, and this form opens it again", compactText(record));
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
  const status = make("span", { "aria-live": "polite" }), box = make("textarea", { class: "letters", readonly: true, rows: 6, "aria-label": "The result as one block of text" });
  box.value = block;
  return [
    make("h3", {}, rules.repository_url ? says.block_title : says.block_kept_title),
    make("p", {}, `${filled(rules.repository_url ? says.block : says.block_kept, { letters })} ${filled(says.block_opens, { label: says.open_block })}`),
    box,
    make("p", {}, button("Copy the block", () => copied(block, status, says.mark_block)), " ", status),
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
  const saved = make("li", {}, "The file ", make("code", {}, path.split("/").pop()), ` is saved where your browser puts downloads. Keep it: ${why}.`);
  if (!rules.repository_url) {
    return make("div", {}, make("h3", {}, "What next"), make("ol", {}, saved,
      make("li", {}, `Nothing has left your browser. In the repository its place is `, make("code", {}, path), ".")));
  }
  const link = newFileLink(path, inLink, rules), { length } = link, { link: most } = rules.limits, fits = length < most;
  const status = make("span", { "aria-live": "polite" });
  const copy = button("Copy the text", () => copied(text, status), { class: "quiet" });
  const byLink = make("li", {}, make("a", { href: link, target: "_blank", rel: "noopener noreferrer" }, "Open a new file with it"),
    " at the code host: it asks you to sign in or to make an account, and shows the text with its place filled in.");
  const byHand = [
    make("li", {}, copy, " ", status),
    make("li", {}, make("a", { href: newFileLink(path, null, rules), target: "_blank", rel: "noopener noreferrer" }, "Open an empty new file"),
      ` at the code host: it asks you to sign in or to make an account. ${filled(rules.sending.too_long, { length, most })} Its place is `, make("code", {}, path), "."),
  ];
  return make("div", {}, make("h3", {}, "Send it in, if you like"), make("ol", {}, saved, fits ? byLink : byHand,
    make("li", {}, "Choose “Propose new file” or the like: the host makes a copy of the repository for you. Then “Create pull request”."),
    make("li", {}, "A machine checks the file within minutes and says in plain words what it found. People only look at whether it is what it says."),
    make("li", {}, "Something to change? Correct it here, save again, and edit the file in your pull request.")));
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
      make("p", {}, button("Copy it", () => copied(text, status), { class: "quiet", "aria-label": `Copy ${path}` }), " ", opens ? make("a", { href: opens, target: "_blank", rel: "noopener noreferrer" }, says.new_file) : null, " ", status),
      make("pre", { tabindex: "0", "aria-label": path }, make("code", {}, text)));
  };
  return make("div", {}, make("h3", {}, repository ? "Send it in, if you like" : "What next"), make("ol", {}, saved, sent), make("h3", {}, `The files (${files.length})`), files.map(shown));
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

const BY_HAND = "The browser did not allow it: open the saved file in an editor and copy from there.";

/**
 * @param {string} text
 * @param {HTMLElement} status
 * @param {string} otherwise what is said where the browser does not let us
 */
async function copied(text, status, otherwise = BY_HAND) {
  try {
    await navigator.clipboard.writeText(text);
    status.textContent = "Copied.";
  } catch {
    status.textContent = otherwise;
  }
}
