// @ts-check
// A drawing of the page as a file of its own: styles written into it, in the colours of the light scheme on white, with its caption and where its figures come from.

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 18;
/** What SVG takes for granted; only what differs is written down. */
const SHAPE = { fill: "rgb(0, 0, 0)", "fill-opacity": "1", stroke: "none", "stroke-width": "1px", "stroke-opacity": "1", "stroke-dasharray": "none", "stroke-linejoin": "miter", opacity: "1" };
const TEXT = { ...SHAPE, "font-family": "", "font-size": "", "font-weight": "400", "text-anchor": "start", "paint-order": "normal" };

/**
 * The drawing as the text of an SVG file.
 * @param {SVGSVGElement} drawing
 * @param {{ title: string, caption: string, provenance: string }} told
 * @returns {{ text: string, width: number, height: number }}
 */
export function standalone(drawing, { title, caption, provenance }) {
  const { width, height } = drawing.viewBox.baseVal;
  const heads = wrapped(title, width, 8.6), lines = wrapped(caption, width, 6.4), sources = wrapped(provenance, width, 6.5);
  const above = MARGIN + heads.length * 20, below = above + height + 10;
  const whole = { width: width + 2 * MARGIN, height: below + lines.length * 17 + 6 + sources.length * 15 + MARGIN };
  const inside = styled(drawing);
  inside.setAttribute("transform", `translate(${MARGIN} ${above})`);
  const file = node("svg", { xmlns: SVG, viewBox: `0 0 ${whole.width} ${whole.height}`, width: whole.width, height: whole.height, role: "img", "font-family": "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', 'Noto Sans', sans-serif" },
    node("title", {}, title), node("desc", {}, `${caption} ${provenance}`),
    node("rect", { width: whole.width, height: whole.height, fill: "#ffffff" }),
    ...heads.map((line, n) => node("text", { x: MARGIN, y: MARGIN + 14 + n * 20, "font-size": 15, "font-weight": 700, fill: "#1e2427" }, line)),
    inside,
    ...lines.map((line, n) => node("text", { x: MARGIN, y: below + 12 + n * 17, "font-size": 12.5, fill: "#1e2427" }, line)),
    ...sources.map((line, n) => node("text", { x: MARGIN, y: below + 18 + lines.length * 17 + n * 15, "font-size": 11.5, fill: "#555d60" }, line)));
  return { text: new XMLSerializer().serializeToString(file), ...whole };
}

/**
 * A copy whose elements carry what the style sheet gives them in the light scheme; without classes and ids of the page.
 * @param {SVGSVGElement} drawing
 */
function styled(drawing) {
  const host = document.createElement("div"), copy = /** @type {SVGSVGElement} */ (drawing.cloneNode(true));
  host.className = "chart plot-export";
  host.dataset.mdColorScheme = "default";
  host.append(copy);
  document.body.append(host);
  const group = node("g", {}, ...copy.childNodes);
  copy.append(group);
  for (const one of /** @type {NodeListOf<SVGElement>} */ (group.querySelectorAll("rect, path, line, text, tspan, circle, polyline, polygon"))) { write(one); }
  host.remove();
  for (const one of [group, ...group.querySelectorAll("*")]) {
    for (const name of ["class", "focusable", "aria-describedby"]) { one.removeAttribute(name); }
  }
  group.querySelectorAll("desc").forEach((one) => one.remove());
  return group;
}

/** @param {SVGElement} one */
function write(one) {
  const seen = getComputedStyle(one), words = ["text", "tspan"].includes(one.localName);
  for (const [name, usual] of Object.entries(words ? TEXT : SHAPE)) {
    const value = seen.getPropertyValue(name);
    if (value === usual) { one.removeAttribute(name); } else { one.setAttribute(name, value); }
  }
}

/**
 * Lines that fit, by the width of an average character.
 * @param {string} text
 * @param {number} width
 * @param {number} character
 */
function wrapped(text, width, character) {
  /** @type {string[]} */
  const lines = [];
  for (const word of text.split(/\s+/).filter(Boolean)) {
    const last = lines.at(-1);
    if (last !== undefined && (last.length + word.length + 1) * character <= width) { lines[lines.length - 1] = `${last} ${word}`; } else { lines.push(word); }
  }
  return lines;
}

/**
 * @param {string} name
 * @param {Record<string, string | number>} attributes
 * @param {...(Node | string)} inside
 */
function node(name, attributes, ...inside) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) { if (key !== "xmlns") { made.setAttribute(key, String(value)); } }
  made.append(...inside);
  return made;
}
