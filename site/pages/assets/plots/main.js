// @ts-check
// The buttons below a plot that save it as SVG or PNG; hidden where this script does not run.

import { offer, source, words } from "./save.js";

for (const figure of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("figure.plot[data-file]"))) {
  offer(/** @type {HTMLElement} */ (figure.querySelector(".plot-downloads")), () => {
    const drawing = /** @type {SVGSVGElement} */ (figure.querySelector("svg.plot-wide, .chart-wide svg"));
    const title = drawing.closest("[role=img]")?.getAttribute("aria-label") ?? "", caption = words(figure.querySelector("figcaption"));
    return { drawing, told: { title, caption, provenance: source(location.origin + location.pathname) }, name: String(figure.dataset.file) };
  });
}
