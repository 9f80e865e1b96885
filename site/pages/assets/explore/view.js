// What a selection says, on the screen: in a sentence, in figures and in three drawings.

import { make } from "../form/dom.js";
import { offer, source } from "../plots/save.js";
import { byMonths, withoutStudies } from "./answer.js";
import { narrows, ruledOut } from "./choice.js";
import { plot } from "./plot.js";
import { amount, percent, shortMonth } from "./words.js";

/**
 * @typedef {import("./choice.js").Pair} Pair
 * @typedef {import("./choice.js").Endpoint} Endpoint
 * @typedef {import("./choice.js").Choice} Choice
 * @typedef {import("./answer.js").Answer} Answer
 * @typedef {import("./words.js").Words} Words
 * @typedef {import("./plot.js").Row} Row
 * @typedef {{ pair: Pair, endpoint: Endpoint, choice: Choice, answer: Answer }} Shown
 */

const MOST_ROWS = 50, AT_ONCE = 300, SAVED_WIDTH = 900, NORMAL = 1.959963984540054;

/**
 * What the selection comes to.
 *
 * @param {Shown} shown
 * @param {Words} words
 */
export function told({ pair, endpoint, choice, answer: { kept, pooled: { numbers, fit } } }, words) {
  const able = endpoint.ln_variance.filter((one) => one !== null).length, without = pair.submissions.length - able;
  const parts = [able === 0 ? words.say("nothing") : kept.length === 0 ? words.say("nothing_kept") : words.say("kept", { kept: kept.length, all: able })];
  if (kept.length) { parts.push(words.say("in_studies", { studies: numbers.length })); }
  if (fit && fit.low !== null && fit.high !== null) {
    parts.push(words.say("pooled", { first: pair.first, second: pair.second, ratio: words.ratio(fit.estimate), low: words.ratio(fit.low), high: words.ratio(fit.high) }));
  } else if (kept.length) { parts.push(words.say("few")); }
  if (without && able) { parts.push(words.say("no_ratio", { without })); }
  if (!narrows(choice) && fit) { parts.push(words.say("whole")); }
  return parts.join(" ");
}

/**
 * The figures behind it.
 *
 * @param {Answer} answer
 * @param {Words} words
 */
export function numbers({ pooled: { fit, within, numbers: studies }, spread, prediction }, words) {
  if (!fit || !spread) { return []; }
  const tau = amount(Math.sqrt(fit.tau2));
  const limits = spread.tau2Low === null || spread.tau2High === null ? words.say("tau_none", { figure: tau })
    : words.say("tau_limits", { figure: tau, low: amount(Math.sqrt(spread.tau2Low)), high: amount(Math.sqrt(spread.tau2High)) });
  const next = prediction ? words.say("between", { low: words.ratio(prediction[0]), high: words.ratio(prediction[1]) }) : "";
  /** @type {[name: string, figure: string][]} */
  const rows = [
    ["tau", limits], ["within", within === null ? words.say("within_none") : amount(Math.sqrt(within))], ["i2", words.say("percent", { figure: percent(spread.i2) })],
    ["q", words.say("q_figures", { q: amount(spread.q), df: fit.df, p: amount(spread.qP) })],
    ["ln", words.say("ln_figures", { estimate: amount(fit.estimate), se: amount(fit.se), df: fit.df })],
    ["next", studies.length < 5 ? `${next} (${words.say("rough")})` : next],
  ];
  return rows.map(([name, figure]) => make("div", {}, make("dt", {}, words.say(name)), make("dd", {}, figure)));
}

/**
 * What is published of the same pair, to stand beside the reader's own.
 *
 * @param {Shown} shown
 * @param {Words} words
 * @param {string} page
 */
export function published({ endpoint }, words, page) {
  const { published: answer, by_studies: studies } = endpoint;
  return [
    make("h2", { id: "explore-published-head" }, words.say("published_head")),
    answer && make("p", {}, answer.sentence),
    make("p", {}, studies ? words.say("published_by_studies", { figures: words.published(studies) }) : words.say("published_not_pooled")),
    make("p", {}, make("a", { href: page }, words.say("published_page"))),
  ].filter((part) => part !== null);
}

/** One figure: its drawing, its legend and a table of the same, which is filled when it is opened. */
class Figure {
  /**
   * @param {string} name what its files are called
   * @param {string} head
   * @param {Words} words
   */
  constructor(name, head, words) {
    this.words = words;
    this.head = head;
    this.drawing = make("div", { class: "explore-drawing" });
    this.caption = make("figcaption", {});
    this.table = make("div", { class: "table", tabindex: "0" });
    this.details = make("details", { on: { toggle: () => this.fill() } }, make("summary", {}, words.say("table")), this.table);
    this.downloads = make("p", { class: "plot-downloads" }, `${words.say("download")} `, ...["svg", "png"].flatMap((kind) => [make("button", { type: "button", "data-plot": kind }, kind.toUpperCase()), " "]), make("span", { class: "quiet", role: "status" }));
    this.element = make("figure", {}, make("h2", {}, head), this.drawing, this.caption, this.details, this.downloads);
    offer(this.downloads, () => ({ drawing: this.wide(), told: { title: this.title, caption: this.caption.textContent ?? "", provenance: source(location.href) }, name }));
    this.title = head;
    this.wide = () => /** @type {SVGSVGElement} */ (this.drawing.querySelector("svg"));
    /** @type {Row[]} */
    this.rows = [];
    this.mark = "";
  }

  /** @param {Row[]} rows @param {import("./plot.js").Frame} frame @param {RatioScale} scale @param {string} legend */
  show(rows, frame, scale, legend) {
    const { words, head } = this;
    this.rows = rows;
    this.mark = frame.mark;
    this.drawing.replaceChildren(plot(rows, { ...frame, width: this.width() }, scale));
    this.wide = () => plot(rows, { ...frame, width: SAVED_WIDTH }, scale);
    this.title = words.say("download_title", { head, ...frame.about });
    this.downloads.hidden = false;
    this.caption.textContent = `${frame.mark}. ${legend}`;
    this.details.hidden = false;
    this.fill();
  }

  /** @param {string} text where there is nothing to draw */
  say(text) {
    this.rows = [];
    this.drawing.replaceChildren(make("p", {}, text));
    this.caption.textContent = "";
    this.details.hidden = true;
    this.downloads.hidden = true;
  }

  /** CSS pixels within the drawing's border. */
  width() {
    const style = getComputedStyle(this.drawing);
    return Math.floor(this.drawing.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight));
  }

  fill() {
    const { words, rows, head, mark } = this;
    if (!this.details.open) { return; }
    const weighed = rows.some(({ size }) => size !== undefined);
    const columns = [words.say("column_what"), words.say("column_ratio"), ...(weighed ? [words.say("column_weight")] : [])];
    this.table.replaceChildren(make("table", {}, make("caption", {}, words.say("table_caption", { head, mark })),
      make("thead", {}, make("tr", {}, columns.map((name) => make("th", { scope: "col" }, name)))),
      make("tbody", {}, rows.map((row) => make("tr", {}, make("th", { scope: "row" }, row.label, " ", make("span", { class: "quiet" }, row.note)), make("td", {}, row.figures),
        weighed && make("td", {}, row.size === undefined ? "" : words.say("percent", { figure: percent(row.size) })))))));
  }
}

/** The three drawings. */
export class Plots {
  /**
   * @param {HTMLElement} root
   * @param {Words} words
   * @param {RatioScale} scale
   */
  constructor(root, words, scale) {
    this.words = words;
    this.scale = scale;
    this.forest = new Figure("selection-submissions", words.say("forest"), words);
    this.without = new Figure("selection-without-each", words.say("without"), words);
    this.months = new Figure("selection-by-month", words.say("months"), words);
    this.turn = 0;
    root.replaceChildren(...[this.forest, this.without, this.months].map(({ element }) => element));
    let width = 0;
    new ResizeObserver(() => {
      if (this.shown && this.forest.width() !== width) { this.show(this.shown); }
      width = this.forest.width();
    }).observe(root);
  }

  /** Draw a selection: at once, but for what takes long with very many submissions, which follows in parts. @param {Shown} shown */
  show(shown) {
    this.shown = shown;
    this.turn += 1;
    const { turn } = this, work = this.parts(shown);
    if (shown.answer.kept.length <= AT_ONCE) {
      while (!work.next().done) { /* all of it */ }
      return;
    }
    work.next();
    const go = () => { if (turn === this.turn && !work.next().done) { setTimeout(go); } };
    setTimeout(go);
  }

  /** The forest first, then the two that ask for many fits. @param {Shown} shown @returns {Generator<void>} */
  *parts(shown) {
    const { pair, endpoint, answer } = shown, { words, scale } = this, { fit } = answer.pooled;
    const frame = { width: 0, worthwhile: endpoint.worthwhile_ratio, reference: fit?.estimate ?? null, sides: words.sides(pair, endpoint), mark: words.mark(pair), about: { first: pair.first, second: pair.second, endpoint: endpoint.title } };
    this.forest.show(forestRows(shown, words), { ...frame, label: words.say("forest_label", { told: told(shown, words) }) }, scale, this.forestLegend(shown));
    yield;
    const without = withoutStudies(answer);
    if (without && fit) {
      const rows = withoutRows(answer, without, words), estimates = without.map(({ estimate }) => estimate);
      const [low, high] = [estimates.reduce((a, b) => Math.min(a, b)), estimates.reduce((a, b) => Math.max(a, b))];
      const few = without.length > MOST_ROWS ? `${words.say("without_shown", { shown: MOST_ROWS, all: without.length })} ` : "";
      this.without.show(rows, { ...frame, label: words.say("without_label", { low: words.ratio(low), high: words.ratio(high) }) }, scale, few + words.say("without_legend"));
    } else { this.without.say(words.say("few")); }
    yield;
    /** @type {Row[]} */
    const rows = [];
    for (const { month, submissions, studies, fit: known } of byMonths(pair, endpoint, answer.kept)) {
      if (known) {
        rows.push({ label: words.say("months_row", { month: shortMonth(month) }), note: words.say("months_note", { submissions, studies }), figures: words.figures(known.estimate, known.low, known.high), estimate: known.estimate, low: known.low, high: known.high, kind: "pooled" });
      }
      if (submissions > AT_ONCE) { yield; }
    }
    if (!rows.length) { this.months.say(words.say("months_few")); return; }
    this.months.show(rows.slice(-2 * MOST_ROWS), { ...frame, label: words.say("months_label", { figures: rows[rows.length - 1].figures }) }, scale, words.say("months_legend"));
  }

  /** @param {Shown} shown */
  forestLegend({ answer: { kept } }) {
    const few = kept.length > MOST_ROWS ? `${this.words.say("forest_shown", { shown: MOST_ROWS, all: kept.length })} ` : "";
    return few + this.words.say("forest_legend");
  }
}

/**
 * The rows of the forest: what is kept and what is left out, in the order of the studies; of very many, those that weigh most.
 *
 * @param {Shown} shown
 * @param {Words} words
 * @returns {Row[]}
 */
function forestRows({ pair, endpoint, choice, answer: { kept, pooled, prediction } }, words) {
  const place = new Map(kept.map((i, n) => [i, n])), able = pair.submissions.map((_, i) => i).filter((i) => endpoint.ln_variance[i] !== null);
  const drawn = able.length > MOST_ROWS ? heaviest(kept, pooled.weights) : able;
  /** @type {Row[]} */
  const rows = drawn.map((i) => {
    const one = pair.submissions[i], y = Number(endpoint.ln_ratio[i]), half = NORMAL * Math.sqrt(Number(endpoint.ln_variance[i])), at = place.get(i);
    const size = at === undefined ? undefined : pooled.fit ? pooled.weights[at] : 0, rule = ruledOut(one, choice);
    const facts = { study: one.study, month: shortMonth(one.month), weight: percent(size ?? 0) };
    const note = at === undefined ? words.say(rule ? `left_${rule}` : "left_out") : words.say(pooled.fit ? "one_note_weight" : "one_note", facts);
    return {
      label: words.say("one", { number: i + 1 }), note, figures: words.figures(y, y - half, y + half), estimate: y, low: y - half, high: y + half,
      kind: at === undefined ? "out" : "one", size,
    };
  });
  const { fit } = pooled;
  return fit === null ? rows : [...rows, {
    label: words.say("pooled_row"), note: words.say("studies", { studies: pooled.numbers.length }), figures: words.figures(fit.estimate, fit.low, fit.high),
    estimate: fit.estimate, low: fit.low, high: fit.high, kind: "pooled", wider: prediction,
  }];
}

/**
 * The places that weigh most, in their order.
 *
 * @param {number[]} kept
 * @param {Float64Array} weights
 */
function heaviest(kept, weights) {
  const order = weights.length ? kept.map((_, n) => n).sort((a, b) => weights[b] - weights[a]) : kept.map((_, n) => n);
  return order.slice(0, MOST_ROWS).sort((a, b) => a - b).map((n) => kept[n]);
}

/**
 * @param {Answer} answer
 * @param {import("./mean.js").Fit[]} without
 * @param {Words} words
 * @returns {Row[]}
 */
function withoutRows({ pooled: { numbers: studies, fit } }, without, words) {
  /** @type {(n: number) => number} */
  const moves = (n) => Math.abs(without[n].estimate - (fit?.estimate ?? 0));
  const all = without.map((_, n) => n), drawn = all.length > MOST_ROWS ? all.sort((a, b) => moves(b) - moves(a)).slice(0, MOST_ROWS).sort((a, b) => a - b) : all;
  return drawn.map((n) => {
    const { estimate, low, high } = without[n];
    return { label: words.say("without_row", { study: studies[n] }), note: "", figures: words.figures(estimate, low, high), estimate, low, high, kind: "pooled" };
  });
}
