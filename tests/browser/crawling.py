"""Visit every page of a built site in the browser, and write down what stands there and what happened meanwhile."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, ConsoleMessage, Page, Request, Response

WIDE = {"width": 1280, "height": 900}
NARROW = {"width": 390, "height": 844}

# Runs before anything of the page does. A script that gets through sets `scriptRan`.
WATCH = """
window.policyViolations = [];
document.addEventListener("securitypolicyviolation", event =>
  window.policyViolations.push(`${event.violatedDirective}: ${event.blockedURI} ${event.sample}`));
"""

FACTS = """() => {
  const all = [...document.querySelectorAll("*")];
  const columns = row => [...row.cells].reduce((sum, cell) => sum + cell.colSpan, 0);
  const addresses = all.flatMap(element => ["href", "src", "action", "formaction", "xlink:href", "data"]
    .filter(name => element.hasAttribute(name)).map(name => element.getAttribute(name)));
  const ids = all.filter(element => element.id).map(element => element.id);
  const known = new Set(ids);
  // What a form's own script makes and is made from; its rules are a block of data.
  const scripts = ["main", "review", "protocol"].map(name => `[src$='/assets/form/${name}.js']`).join();
  const ownForm = element => element.matches("#form-root input:not([src]), #form-rules[type='application/json']:not([src]), "
    + `script[type=module]:is(${scripts}):empty`);
  // The planner's questions stand in one page, each by its own name.
  const ownPlanner = element => location.pathname === "/tonight/" && element.matches("#plan-root > form#plan-ask:not([action]), "
    + "#plan-ask input:is([name^='plan-'], [id^='plan-']):not([src]), #plan-rules[type='application/json']:not([src]), "
    + "script[type=module][src$='/assets/plan/main.js']:empty");
  // Two fields to choose by name, on one page.
  const ownChooser = element => element.matches("#choose-root > form#choose-form:not([action]), "
    + "#choose-form input[role=combobox]:not([src]), "
    + "#choose-rules[type='application/json']:not([src]), script[type=module][src$='/assets/compare/main.js']:empty");
  const ownFilter = element => location.pathname === "/check/" && element.matches("input#code-filter[type=search]:not([src], [name])");
  // The page that compares a method of one's own, and the style of the page that chooses evidence.
  const ownMethod = element => location.pathname === "/protocols/compare/" &&
    element.matches("script[type=module][src$='/assets/form/own_method.js']:empty");
  const ownEvidence = element => location.pathname === "/results/explore/" &&
    element.matches("link[rel=stylesheet][href$='/assets/explore/explore.css']");
  const part = document.querySelector("article h2");  // the first line stands before any part of the page
  const before = p => !part || Boolean(p.compareDocumentPosition(part) & Node.DOCUMENT_POSITION_FOLLOWING);
  const links = place => [...document.querySelectorAll(`${place} a[href]`)];
  return {
    title: document.title,
    language: document.documentElement.lang,
    first: [...document.querySelectorAll("article p")].find(p => p.innerText.trim() && before(p))?.innerText ?? "",
    onward: links("article").filter(a => new URL(a.href).pathname !== location.pathname).length,
    headings: [...document.querySelectorAll("h1")].map(h => h.innerText.trim()),
    policy: [...document.querySelectorAll("meta[http-equiv='Content-Security-Policy' i]")].map(m => m.content),
    links: links("body").map(a => a.href),
    addresses,
    handlers: all.flatMap(element => element.getAttributeNames().filter(name => name.toLowerCase().startsWith("on"))
      .map(name => `${element.localName} ${name}`)),
    styled: [...document.querySelectorAll("article [style], article style")].map(element => element.outerHTML.slice(0, 80)),
    foreign: [...document.querySelectorAll("iframe, object, embed, foreignObject, base, article :is(script, link, form, img, input)")]
      .filter(element => ![ownForm, ownPlanner, ownChooser, ownFilter, ownMethod, ownEvidence].some(own => own(element)))
      .map(element => element.outerHTML.slice(0, 120)),
    repeatedIds: ids.filter(id => ids.length !== known.size && ids.indexOf(id) !== ids.lastIndexOf(id)),
    unevenTables: [...document.querySelectorAll("table")].filter(t => new Set([...t.rows].map(columns)).size > 1)
      .map(t => t.innerText.slice(0, 80)),
    unnamedDrawings: [...document.querySelectorAll("article svg")].filter(svg => !svg.closest("[aria-hidden=true]")
      && !(svg.closest("[role=img]")?.getAttribute("aria-label") || "").trim()).map(svg => svg.outerHTML.slice(0, 120)),
    violations: window.policyViolations,
    scriptRan: window.scriptRan === undefined ? null : String(window.scriptRan),
  };
}"""

# What sticks out to the right of the window and cannot be scrolled to inside a box of its own.
NARROW_FACTS = """() => {
  document.querySelectorAll("details").forEach(details => { details.open = true; });
  const scrolls = element => element && element !== document.documentElement &&
    (["auto", "scroll"].includes(getComputedStyle(element).overflowX) || scrolls(element.parentElement));
  const sticksOut = ({ right, width }) => right > innerWidth + 1 && width > 1;
  const wide = [...document.querySelectorAll("article *")].filter(element => !element.closest("svg")
    && sticksOut(element.getBoundingClientRect()) && element.checkVisibility() && !scrolls(element.parentElement));
  return {
    innerWidth,
    scrollWidth: document.documentElement.scrollWidth,
    firstEnds: Math.max(0, ...[...document.querySelectorAll("article p")].slice(0, 1).map(p => p.getBoundingClientRect().bottom + scrollY)),
    wide: wide.slice(0, 3).map(element => element.outerHTML.slice(0, 160)),
    text: document.querySelector("article").innerText,
  };
}"""


KEPT = re.compile(r"/archive/[^/]+/.*")


def pages_of(site: Path) -> list[str]:
    """Addresses of all pages, from the site's root; those of kept builds left out, which have no theme."""
    return [address for address in _addresses(site) if not KEPT.fullmatch(address)]


def kept_pages_of(site: Path) -> list[str]:
    """Addresses of the pages of kept builds."""
    return [address for address in _addresses(site) if KEPT.fullmatch(address)]


def _addresses(site: Path) -> list[str]:
    found = (path.relative_to(site).as_posix() for path in sorted(site.rglob("*.html")))
    return [f"/{path.removesuffix('index.html')}" for path in found]


def crawl(browser: Browser, base: str, addresses: list[str]) -> dict[str, dict]:
    """Facts by address: what `FACTS` and `NARROW_FACTS` say, with ``status``, ``errors`` and ``elsewhere`` beside them.

    Parameters
    ----------
    browser : a running browser.
    base : the site's address.
    addresses : pages to visit, from the site's root.

    Returns
    -------
    For each page: ``errors`` are console errors, uncaught errors, dialogs, failed and refused requests; ``elsewhere`` are
    requests to any other host.
    """
    context = browser.new_context(viewport=NARROW)
    context.add_init_script(WATCH)
    page = context.new_page()
    seen = _listen(context, page, base)
    facts = {}
    for address in addresses:
        seen |= {"errors": [], "elsewhere": []}
        response = page.goto(base + address, wait_until="load")
        facts[address] = {"status": response.status, **page.evaluate(FACTS), **page.evaluate(NARROW_FACTS), **seen}
    context.close()
    return facts


def _listen(context: object, page: Page, base: str) -> dict[str, list[str]]:
    """Lists that fill while pages load."""
    seen: dict[str, list[str]] = {"errors": [], "elsewhere": []}

    def console(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning", "assert"):
            seen["errors"].append(f"{message.type}: {message.text}")

    def request(made: Request) -> None:
        if not made.url.startswith((f"{base}/", "data:", "blob:", "about:")):
            seen["elsewhere"].append(made.url)

    def response(got: Response) -> None:
        if got.status >= 400 and not got.request.is_navigation_request():
            seen["errors"].append(f"{got.status}: {got.url}")

    def failure(failed: Request) -> None:
        if failed.failure != "net::ERR_ABORTED":  # the page was left before the request was answered
            seen["errors"].append(f"{failed.failure}: {failed.url}")

    def dialog(shown: object) -> None:
        seen["errors"].append(f"dialog: {shown.message}")
        shown.dismiss()

    context.on("request", request)
    context.on("response", response)
    page.on("console", console)
    page.on("pageerror", lambda error: seen["errors"].append(f"uncaught: {error}"))
    page.on("requestfailed", failure)
    page.on("dialog", dialog)
    return seen
