// Elements made one by one: text is always text, and attributes are those named here.

/** @typedef {Named & { on?: Dictionary<(event: any) => void> }} Attributes what listens stands under `on`, by event */

/**
 * An element with attributes and children; texts become text nodes, null and false are left out.
 *
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Attributes} attributes
 * @param {Contents[]} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function make(tag, { on = {}, ...attributes } = {}, ...children) {
  const element = document.createElement(tag);
  Object.entries(on).forEach(([event, does]) => element.addEventListener(event, does));
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) { element.setAttribute(name, ""); }
    else if (value !== false && value !== null && value !== undefined) { element.setAttribute(name, String(value)); }
  }
  const inside = /** @type {Content[]} */ (children.flat(2));
  element.append(...inside.filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/**
 * Make what stands on the page like what was made afresh, and touch only what differs: what stays need not be laid out again, and keeps
 * its focus. A part that can be folded away and has a button in it is replaced as a whole: what listens there knows the rest of it.
 *
 * @param {Node} old
 * @param {Node} fresh
 */
export function become(old, fresh) {
  if (old.isEqualNode(fresh)) { return; }
  const like = old instanceof Element && fresh instanceof Element && old.nodeName === fresh.nodeName && old.childNodes.length === fresh.childNodes.length;
  if (!like || (old instanceof HTMLDetailsElement && old.querySelector("button"))) {
    old.parentNode?.replaceChild(fresh, old);
    return;
  }
  likeAttributes(old, fresh);
  const parts = [...fresh.childNodes];
  [...old.childNodes].forEach((part, n) => become(part, parts[n]));
}

/**
 * @param {Element} old
 * @param {Element} fresh
 */
function likeAttributes(old, fresh) {
  [...old.attributes].filter(({ name }) => !fresh.hasAttribute(name)).forEach(({ name }) => old.removeAttribute(name));
  [...fresh.attributes].filter(({ name, value }) => old.getAttribute(name) !== value).forEach(({ name, value }) => old.setAttribute(name, value));
}

/**
 * Write a text where another one stands.
 *
 * @param {Element} element
 * @param {string} text
 */
export function tell(element, text) {
  if (element.textContent !== text) { element.textContent = text; }
}

/**
 * A drawing's element.
 *
 * @param {string} tag
 * @param {Dictionary<string | number>} attributes
 * @param {(Node | string)[]} children
 */
export function draw(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  Object.entries(attributes).forEach(([name, value]) => element.setAttribute(name, String(value)));
  element.append(...children);
  return element;
}

/**
 * A button that does something.
 *
 * @param {string} text
 * @param {(event: Event) => void} does
 * @param {Attributes} more
 */
export function button(text, does, more = {}) {
  return make("button", { type: "button", ...more, on: { click: does } }, text);
}

/**
 * A button that asks once more before it does what cannot be undone.
 *
 * @param {string} text
 * @param {() => void} does
 */
export function surely(text, does) {
  const one = button(text, () => {
    if (one.dataset.asked) { delete one.dataset.asked; one.textContent = text; does(); return; }
    one.dataset.asked = "yes";
    one.textContent = `${text}: really?`;
  }, { class: "quiet" });
  one.addEventListener("blur", () => { delete one.dataset.asked; one.textContent = text; });
  return one;
}

/**
 * A part that can be folded away.
 *
 * @param {string} summary
 * @param {Contents[]} children
 */
export function fold(summary, ...children) {
  return make("details", {}, make("summary", {}, summary), children);
}

/**
 * An id that an element may have, from a place in the record.
 *
 * @param {string} pointer
 * @param {string} what
 */
export function idOf(pointer, what = "") {
  return `field${pointer.replaceAll(/[^A-Za-z0-9_]/gu, "-")}${what ? `-${what}` : ""}`;
}

/** @type {[pattern: RegExp, words: string][]} */
const UNITS = [[/_deg$/u, " (degrees)"], [/_percent$/u, " (%)"], [/_c$/u, " (°C)"], [/_m$/u, " (m)"], [/^hrc$/u, "HRC"]];

/**
 * A field's name in words; units stand in names by convention (edge_angle_deg).
 *
 * @param {string} name
 */
export function inWords(name) {
  const text = UNITS.reduce((known, [pattern, words]) => known.replace(pattern, words), name).replaceAll("_", " ");
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * What a field's description says to somebody who fills in a form: there, what a file writes as null is left empty.
 *
 * @param {string} text
 */
export const inForm = (text) => text.replace(/; null\b[^.]*\.|\s*All null[^.]*\./gu, (said) => (said.startsWith(";") ? "." : ""));

/**
 * The texts of a finding: its question, or what it means and what would be right.
 *
 * @param {{ code: string, cure: string, asks?: string }} finding
 * @param {Dictionary<Message>} messages
 */
export function findingText({ code, cure, asks }, messages) {
  if (asks) { return asks.charAt(0).toUpperCase() + asks.slice(1); }
  const { meaning, cure: usual } = messages[code];
  const right = cure || usual;
  return right ? `${meaning} What to do: ${right}.`.replace(/\.\.$/u, ".") : meaning;
}

/** @type {Map<string, number>} */
const timers = new Map();

/**
 * Do something after so many milliseconds, unless it is asked for again before.
 *
 * @param {string} name
 * @param {number} after
 * @param {() => void} does
 */
export function later(name, after, does) {
  clearTimeout(timers.get(name));
  timers.set(name, setTimeout(does, after));
}
