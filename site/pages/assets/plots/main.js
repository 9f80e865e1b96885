// @ts-check
// The buttons below a plot that save it as SVG or PNG; hidden where this script does not run.

import { png } from "./png.js";
import { standalone } from "./standalone.js";

for (const figure of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("figure.plot[data-file]"))) {
  const line = /** @type {HTMLElement} */ (figure.querySelector(".plot-downloads")), status = /** @type {HTMLElement} */ (line.querySelector("[role=status]"));
  line.hidden = false;
  line.addEventListener("click", async (event) => {
    const kind = event.target instanceof HTMLElement ? event.target.dataset.plot : undefined;
    if (!kind) { return; }
    status.textContent = "";
    try {
      save(await file(figure, kind), `${figure.dataset.file}.${kind}`);
    } catch {
      status.textContent = "The browser could not make the file.";
    }
  });
}

/**
 * The plot of a frame as a file, `svg` or `png`.
 * @param {HTMLElement} figure
 * @param {string} kind
 */
export async function file(figure, kind) {
  const drawing = /** @type {SVGSVGElement} */ (figure.querySelector("svg.plot-wide, .chart-wide svg"));
  const title = drawing.closest("[role=img]")?.getAttribute("aria-label") ?? "";
  const caption = words(figure.querySelector("figcaption")), provenance = source();
  const alone = standalone(drawing, { title, caption, provenance });
  return kind === "png" ? png(alone, { Title: title, Description: caption, Source: provenance }) : new Blob([`${alone.text}\n`], { type: "image/svg+xml" });
}

/** The site, the page, and the program and data that it was made from, as its foot says. */
function source() {
  return [`Edgehold, ${location.origin}${location.pathname}`, words(document.querySelector(".md-footer .provenance"))].filter(Boolean).join(". ");
}

/** @param {Element | null} of */
function words(of) {
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
