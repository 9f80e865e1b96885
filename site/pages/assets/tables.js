// Sorting of tables: a click, Enter or Space on a column's heading; and a filter of their rows. Everything else works without this script.
(function () {
  "use strict";

  /** @typedef {{ text: string, number: number }} Key */

  /**
   * @param {HTMLTableRowElement} row
   * @param {number} column
   */
  function key(row, column) {
    const cell = row.cells[column];
    const text = cell.getAttribute("data-sort") ?? cell.textContent.trim();
    const number = parseFloat(text.replace(/^[×<>]\s*/, "").replace("−", "-"));
    // A number, alone or before a space, "(" or "%"; a month such as 2026-05 is text.
    return { text, number: /^[×<>]?\s*[-−]?[\d.]+(?=$|[\s(%])/.test(text) ? number : NaN };
  }

  /**
   * @param {Key} a
   * @param {Key} b
   */
  function compare(a, b) {
    if (a.text === "" || b.text === "") { return Number(a.text === "") - Number(b.text === ""); }
    if (!isNaN(a.number) && !isNaN(b.number)) { return a.number - b.number; }
    return a.text.localeCompare(b.text, "en");
  }

  /**
   * @param {HTMLTableCellElement} heading
   * @param {HTMLElement} button
   */
  function sort(heading, button) {
    const table = /** @type {HTMLTableElement} */ (heading.closest("table")), column = heading.cellIndex, body = table.tBodies[0];
    const down = heading.getAttribute("aria-sort") === "ascending";
    const rows = Array.from(body.rows, function (row) { return { row, key: key(row, column) }; });
    rows.sort(function (a, b) {
      if (a.key.text === "" || b.key.text === "") { return compare(a.key, b.key); }
      return down ? compare(b.key, a.key) : compare(a.key, b.key);
    });
    table.querySelectorAll("th[aria-sort]").forEach(function (other) { other.removeAttribute("aria-sort"); });
    heading.setAttribute("aria-sort", down ? "descending" : "ascending");
    rows.forEach(function (item) { body.appendChild(item.row); });
    button.focus();
  }

  // A list whose rows a phone shows as blocks stays a table to whoever listens: some browsers forget that with the display.
  const roles = [["table", "table"], ["thead, tbody, tfoot", "rowgroup"], ["tr", "row"], ["td", "cell"], ["[scope=col]", "columnheader"], ["[scope=row]", "rowheader"]];
  document.querySelectorAll(".table.stacks").forEach(function (list) {
    roles.forEach(function ([parts, role]) {
      list.querySelectorAll(parts).forEach(function (part) { part.setAttribute("role", role); });
    });
  });

  /** @type {HTMLInputElement | null} */
  const filter = document.querySelector("article input[data-filters]");
  if (filter) {
    const box = /** @type {HTMLElement} */ (filter.parentElement), told = /** @type {HTMLOutputElement} */ (box.querySelector("output"));
    /** @type {HTMLElement[]} */
    const rows = Array.from(document.querySelectorAll(`article ${filter.dataset.filters}`));
    const only = function () {
      const words = filter.value.toLowerCase().split(/\s+/).filter(Boolean);
      rows.forEach(function (row) {
        const text = row.textContent.toLowerCase();
        row.hidden = !words.every(function (word) { return text.includes(word); });
      });
      told.textContent = words.length ? `${rows.filter(function (row) { return !row.hidden; }).length} / ${rows.length}` : "";
    };
    box.hidden = false;
    filter.addEventListener("input", only);
    addEventListener("hashchange", function () {  // whoever follows a link to a line sees that line
      if (filter.value) { filter.value = ""; only(); document.querySelector(":target")?.scrollIntoView(); }
    });
    only();
  }

  /** @type {NodeListOf<HTMLTableCellElement>} */
  const headings = document.querySelectorAll(".sortable th[data-sortable]");
  headings.forEach(function (heading) {
    const button = document.createElement("button");
    button.type = "button";
    while (heading.firstChild) { button.appendChild(heading.firstChild); }
    heading.appendChild(button);
    button.addEventListener("click", function () { sort(heading, button); });
  });
})();
