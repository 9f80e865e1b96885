// The search field of every page. What it looks through is loaded when somebody begins to search, and not before.
// On a small screen the search lies over the page. The keyboard opens it by its switch, not by passing through: Tab goes by the
// field while it is shut, and into it once it is open.
(function () {
  "use strict";

  const field = /** @type {HTMLInputElement} */ (document.getElementById("search-words"));
  const opened = /** @type {HTMLInputElement} */ (document.getElementById("__search"));
  const small = matchMedia("(max-width: 59.9844em)");
  const module = new URL("search/main.js", /** @type {HTMLScriptElement} */ (document.currentScript).src).href;
  const begun = { yet: false };

  function begin() {
    if (begun.yet) { return; }
    begun.yet = true;
    import(module).then(function (search) { return search.start(); }).catch(function () { begun.yet = false; });
  }

  /** @param {boolean} open */
  function open(open) {
    if (opened.checked !== open) { opened.click(); }
  }

  function fit() {
    field.tabIndex = small.matches && !opened.checked ? -1 : 0;
  }

  opened.addEventListener("change", function () {
    fit();
    if (opened.checked) { begin(); field.focus(); }
  });
  field.addEventListener("focus", function () { begin(); open(true); });
  document.addEventListener("keydown", function (event) {
    const at = /** @type {HTMLElement} */ (event.target);
    const typing = at.isContentEditable || /^(INPUT|SELECT|TEXTAREA)$/.test(at.tagName);
    if (event.key === "/" && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      open(true);
      field.focus();
    }
  });
  small.addEventListener("change", fit);
  fit();
})();
