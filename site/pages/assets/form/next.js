// After the finished file is saved: how it becomes a pull request, for somebody who has never made one.

import { button, make } from "./dom.js";
import { fileText } from "./record.js";

/**
 * Steps for one finished submission.
 *
 * @param {SubmissionDraft} record
 * @param {SubmissionRules} rules
 */
export function steps(record, rules) {
  const path = `submissions/${record.origin}/${record.protocol?.id}/${record.id}.json`;
  return sending(path, fileText(record), rules, "it is the whole submission, and this form opens it again");
}

/**
 * Steps for one finished file; without a repository's address there is nothing to open.
 *
 * @param {string} path where the file belongs in the repository
 * @param {string} text all that stands in it
 * @param {SendingRules} rules with repository_url and limits
 * @param {string} why what the file is to whoever saved it
 */
export function sending(path, text, rules, why) {
  const saved = make("li", {}, "The file ", make("code", {}, path.split("/").pop()), ` is saved where your browser puts downloads. Keep it: ${why}.`);
  if (!rules.repository_url) {
    return make("div", {}, make("h3", {}, "What next"), make("ol", {}, saved,
      make("li", {}, "This site does not say yet where to send it. Nothing has left your browser. In the repository its place is ", make("code", {}, path), ".")));
  }
  const link = newFileLink(path, text, rules);
  const status = make("span", { "aria-live": "polite" });
  const copy = button("Copy the text", () => copied(text, status), { class: "quiet" });
  const byLink = make("li", {}, make("a", { href: link, target: "_blank", rel: "noopener noreferrer" }, "Open a new file with it"),
    " at the code host: it asks you to sign in or to make an account, and shows the text with its place filled in.");
  const byHand = [
    make("li", {}, copy, " ", status),
    make("li", {}, make("a", { href: newFileLink(path, null, rules), target: "_blank", rel: "noopener noreferrer" }, "Open an empty new file"),
      " at the code host: it asks you to sign in or to make an account. The file is too long for a link, so paste the text into it yourself. Its place is ", make("code", {}, path), "."),
  ];
  return make("div", {}, make("h3", {}, "Send it in, if you like"), make("ol", {}, saved, link ? byLink : byHand,
    make("li", {}, "Choose “Propose new file” or the like: the host makes a copy of the repository for you. Then “Create pull request”."),
    make("li", {}, "A machine checks the file within minutes and says in plain words what it found. People only look at whether it is what it says."),
    make("li", {}, "Something to change? Correct it here, save again, and edit the file in your pull request.")));
}

/**
 * The address of the host's page for a new file; null where it would be longer than hosts accept.
 *
 * @param {string} path
 * @param {string | null} text
 * @param {SendingRules} rules
 */
function newFileLink(path, text, { repository_url: repository, limits }) {
  const link = new URL(`${repository}/new/HEAD`);
  link.searchParams.set("filename", path);
  if (text !== null) { link.searchParams.set("value", text); }
  return link.href.length < limits.link ? link.href : null;
}

/**
 * @param {string} text
 * @param {HTMLElement} status
 */
async function copied(text, status) {
  try {
    await navigator.clipboard.writeText(text);
    status.textContent = "Copied.";
  } catch {
    status.textContent = "The browser did not allow it: open the saved file in an editor and copy from there.";
  }
}
