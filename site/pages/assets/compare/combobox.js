// @ts-check
// A field to type a name into, with a list of the names that fit: the combobox pattern of the ARIA Authoring Practices Guide with
// list autocompletion. Arrow keys walk the list, Enter takes what is marked, Escape shuts the list and then empties the field.

import { make } from "../form/dom.js";

/** @typedef {import("./exchange.js").Thing} Thing */

/**
 * Make a combobox of a field and its list.
 *
 * @param {HTMLInputElement} field
 * @param {HTMLElement} list
 * @param {{ offered: (text: string) => Thing[], exact: (text: string) => ?Thing, changed: (thing: ?Thing) => void, counted: (things: number) => void }} does
 *   `offered` gives what fits a text, best first, `exact` what a whole text names, `changed` is told of what is chosen, `counted` of how much fits
 * @returns {{ set: (thing: ?Thing) => void }} to choose from outside
 */
export function combobox(field, list, { offered, exact, changed, counted }) {
  /** @type {Thing[]} */
  let shown = [];
  let marked = -1;

  /** @param {number} to */
  function mark(to) {
    marked = to;
    [...list.children].forEach((option, n) => option.setAttribute("aria-selected", String(n === to)));
    const option = list.children[to];
    if (option) { field.setAttribute("aria-activedescendant", option.id); option.scrollIntoView({ block: "nearest" }); }
    else { field.removeAttribute("aria-activedescendant"); }
  }

  function shut() {
    list.hidden = true;
    field.setAttribute("aria-expanded", "false");
    mark(-1);
  }

  function open() {
    shown = offered(field.value);
    list.replaceChildren(...shown.map((thing, n) => make("li", { id: `${list.id}-${n}`, role: "option", "aria-selected": "false" }, thing.label,
      thing.names.length ? make("span", { class: "quiet" }, ` ${thing.names.join(", ")}`) : null)));
    list.hidden = !shown.length;
    field.setAttribute("aria-expanded", String(!list.hidden));
    mark(-1);
    counted(shown.length);
  }

  /** @param {?Thing} thing */
  function set(thing) {
    field.value = thing ? thing.label : "";
    shut();
    changed(thing);
  }

  field.addEventListener("input", () => { open(); changed(exact(field.value)); });
  field.addEventListener("click", () => { if (list.hidden) { open(); } });
  field.addEventListener("blur", shut);
  field.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      const down = event.key === "ArrowDown";
      if (list.hidden) { open(); mark(down ? 0 : shown.length - 1); }
      else { mark((marked + (down ? 1 : marked < 0 ? 0 : -1) + shown.length) % shown.length); }
    } else if (event.key === "Enter" && !list.hidden && (marked >= 0 || shown.length === 1)) {
      event.preventDefault();
      set(shown[Math.max(marked, 0)]);
    } else if (event.key === "Escape") {
      event.preventDefault();
      if (list.hidden) { set(null); } else { shut(); }
    }
  });
  list.addEventListener("mousedown", (event) => event.preventDefault());  // the field keeps the focus
  list.addEventListener("click", (event) => {
    const option = /** @type {Element} */ (event.target).closest("[role=option]"), at = option ? [...list.children].indexOf(option) : -1;
    if (at >= 0) { set(shown[at]); }
  });
  return { set };
}
