// Sorting of tables: a click, Enter or Space on a column's heading. Everything else works without this script.
(function () {
  "use strict";

  function key(row, column) {
    var cell = row.cells[column];
    var text = cell.hasAttribute("data-sort") ? cell.getAttribute("data-sort") : cell.textContent.trim();
    var number = parseFloat(text.replace(/^[×<>]\s*/, "").replace("−", "-"));
    // A number, alone or before a space, "(" or "%"; a month such as 2026-05 is text.
    return { text: text, number: /^[×<>]?\s*[-−]?[\d.]+(?=$|[\s(%])/.test(text) ? number : NaN };
  }

  function compare(a, b) {
    if (a.text === "" || b.text === "") { return (a.text === "") - (b.text === ""); }
    if (!isNaN(a.number) && !isNaN(b.number)) { return a.number - b.number; }
    return a.text.localeCompare(b.text, "en");
  }

  function sort(heading, button) {
    var table = heading.closest("table"), column = heading.cellIndex, body = table.tBodies[0];
    var down = heading.getAttribute("aria-sort") === "ascending";
    var rows = Array.prototype.map.call(body.rows, function (row) { return { row: row, key: key(row, column) }; });
    rows.sort(function (a, b) {
      if (a.key.text === "" || b.key.text === "") { return compare(a.key, b.key); }
      return down ? compare(b.key, a.key) : compare(a.key, b.key);
    });
    table.querySelectorAll("th[aria-sort]").forEach(function (other) { other.removeAttribute("aria-sort"); });
    heading.setAttribute("aria-sort", down ? "descending" : "ascending");
    rows.forEach(function (item) { body.appendChild(item.row); });
    button.focus();
  }

  document.querySelectorAll(".sortable th[data-sortable]").forEach(function (heading) {
    var button = document.createElement("button");
    button.type = "button";
    while (heading.firstChild) { button.appendChild(heading.firstChild); }
    heading.appendChild(button);
    button.addEventListener("click", function () { sort(heading, button); });
  });
})();
