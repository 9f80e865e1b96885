// @ts-check
// A drawing saved as a file of its own, SVG or PNG, and the buttons for it.

import { png } from "./png.js";
import { standalone } from "./standalone.js";

/**
 * @typedef {object} Told
 * @property {string} title
 * @property {string} caption
 * @property {string} provenance
 */

/**
 * What the buttons below a plot do: each carries the kind of file that it makes.
 * @param {HTMLElement} line the buttons and a status
 * @param {() => { drawing: SVGSVGElement, told: Told, name: string }} what asked for when a button is pressed
 */
export function offer(line, what) {
  const status = /** @type {HTMLElement} */ (line.querySelector("[role=status]"));
  line.hidden = false;
  line.addEventListener("click", async (event) => {
    const kind = event.target instanceof HTMLElement ? event.target.dataset.plot : undefined;
    if (!kind) { return; }
    status.textContent = "";
    try {
      const { drawing, told, name } = what();
      save(await picture(drawing, told, kind), `${name}.${kind}`);
    } catch {
      status.textContent = "The browser could not make the file.";
    }
  });
}

/**
 * A drawing as a file, `svg` or `png`.
 * @param {SVGSVGElement} drawing
 * @param {Told} told
 * @param {string} kind
 */
async function picture(drawing, told, kind) {
  const alone = standalone(drawing, told);
  if (kind === "png") { return png(alone, { Title: told.title, Description: told.caption, Source: told.provenance }); }
  return new Blob([`${alone.text}\n`], { type: "image/svg+xml" });
}

/**
 * The site, the page, and the program and data that it was made from, as its foot says.
 * @param {string} address of the page
 */
export function source(address) {
  return [`Edgehold, ${address}`, words(document.querySelector(".md-footer .provenance"))].filter(Boolean).join(". ");
}

/** @param {Element | null} of */
export function words(of) {
  return (of?.textContent ?? "").replace(/\s+/g, " ").trim();
}

/**
 * @param {Blob} blob
 * @param {string} name
 */
function save(blob, name) {
  const address = URL.createObjectURL(blob), link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}
