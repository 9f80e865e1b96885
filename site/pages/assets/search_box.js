// On a small screen the search lies over the page. The keyboard opens it by its switch, not by passing through: Tab goes by the
// field while it is shut, and into it once it is open.
(function () {
  "use strict";

  const field = /** @type {HTMLInputElement} */ (document.querySelector(".md-search__input"));
  const opened = /** @type {HTMLInputElement} */ (document.getElementById("__search"));
  const small = matchMedia("(max-width: 59.9844em)");

  function fit() {
    field.tabIndex = small.matches && !opened.checked ? -1 : 0;
  }

  opened.addEventListener("change", () => {
    fit();
    if (opened.checked && small.matches) { field.focus(); }
  });
  small.addEventListener("change", fit);
  fit();
})();
