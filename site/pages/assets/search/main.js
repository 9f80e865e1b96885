// The search: what is typed, what is found, and the way to it by keyboard or finger. Loaded when somebody begins to search.

import { finder } from "./find.js";

const here = new URL("./", import.meta.url);
const root = new URL("../../", here);
const field = /** @type {HTMLInputElement} */ (document.getElementById("search-words"));
const list = /** @type {HTMLOListElement} */ (document.getElementById("search-found"));
const said = /** @type {HTMLElement} */ (document.getElementById("search-said"));
const opened = /** @type {HTMLInputElement} */ (document.getElementById("__search"));

/** Load what there is to find, and answer from then on. */
export async function start() {
  say(said.dataset.loading);
  try {
    const [{ default: Library }, answer] = await Promise.all([import(new URL("../vendor/minisearch.mjs", here).href), fetch(new URL("index.json", here))]);
    if (!answer.ok) { throw new Error(String(answer.status)); }
    const find = finder(Library, await answer.json());
    field.addEventListener("input", () => show(find(field.value)));
    show(find(field.value));
  } catch (error) {
    say(said.dataset.failed);
    throw error;
  }
}

/** @param {string | undefined} words */
function say(words) {
  said.textContent = words ?? "";
}

/** @param {import("./find.js").Match[]} found */
function show(found) {
  list.replaceChildren(...found.map(shown));
  if (field.value.trim() === "") {
    say(said.dataset.begin);
  } else if (found.length === 0) {
    say(said.dataset.nothing);
  } else {
    say(found.length === 1 ? said.dataset.one : said.dataset.other?.replace("#", String(found.length)));
  }
}

/** @param {import("./find.js").Match} match */
function shown(match) {
  const link = Object.assign(document.createElement("a"), { href: new URL(match.address, root).href, className: "found" });
  link.append(part("strong", "found-title", match.title), " ", part("span", "found-kind", match.kind), part("span", "found-told", match.told));
  const item = document.createElement("li");
  item.append(link);
  return item;
}

/**
 * @param {string} tag
 * @param {string} name
 * @param {string} text
 */
function part(tag, name, text) {
  return Object.assign(document.createElement(tag), { className: name, textContent: text });
}

/** @param {number} step */
function move(step) {
  const stops = [field, ...list.querySelectorAll("a")];
  const at = stops.indexOf(/** @type {HTMLInputElement} */ (document.activeElement));
  stops[Math.min(Math.max(at + step, 0), stops.length - 1)].focus();
}

function shut() {
  if (opened.checked) { opened.click(); }
}

/** @type {HTMLFormElement} */ (field.form).addEventListener("submit", event => {
  event.preventDefault();
  list.querySelector("a")?.click();
});
/** @type {HTMLFormElement} */ (field.form).addEventListener("reset", () => {
  setTimeout(() => field.dispatchEvent(new Event("input")));
  field.focus();
});
list.addEventListener("click", event => {
  if (event.target instanceof Element && event.target.closest("a")) { shut(); }
});
document.addEventListener("keydown", event => {
  const inside = event.target === field || list.contains(/** @type {Node} */ (event.target));
  if (!inside) { return; }
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    move(event.key === "ArrowDown" ? 1 : -1);
  } else if (event.key === "Escape") {
    field.blur();
    shut();
  } else if (event.key === "Tab" && opened.checked && list.childElementCount === 0) {
    shut();
  }
});
