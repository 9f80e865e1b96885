// Drafts of this browser that nothing can be made of: out of the way of the form, as they are, and offered as files.

import { button, make, surely } from "./dom.js";
import { saveText } from "./file.js";

const ASIDE = "edgehold/aside/";

/**
 * Set aside what is kept under a key, to the letter; where the browser has no room for it under another name it stays where it is.
 *
 * @param {Storage} storage
 * @param {string} key
 */
export function setAside(storage, key) {
  try {
    const text = storage.getItem(key);
    if (text === null) { return; }
    storage.removeItem(key);
    try { storage.setItem(ASIDE + key, text); } catch { storage.setItem(key, text); }
  } catch { /* a browser that keeps nothing here has nothing to set aside */ }
}

/**
 * What was set aside of one form.
 *
 * @param {Storage} storage
 * @param {string} prefix of its keys
 * @returns {{ key: string, text: string }[]}
 */
function aside(storage, prefix) {
  try {
    return Object.keys(storage).filter((key) => key.startsWith(ASIDE + prefix)).sort().map((key) => ({ key, text: storage.getItem(key) ?? "" }));
  } catch { return []; }
}

/**
 * A line for each, with what can be done with it.
 *
 * @param {Storage} storage
 * @param {string} prefix
 * @param {() => void} again show the lines anew
 */
export function asideLines(storage, prefix, again) {
  return aside(storage, prefix).map(({ key, text }, n) => make("p", { class: "aside" }, "A draft kept in this browser cannot be read. It is set aside, and the form begins without it. ",
    button("Save it as a file", () => saveText(text, `set-aside-${n + 1}.txt`, "text/plain"), { class: "quiet" }), " ",
    surely("Throw it away", () => { storage.removeItem(key); again(); })));
}
