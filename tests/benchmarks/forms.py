"""How soon form and planner are there, and how long an answer takes anew, on a slow phone; the table stands in FORMS.md.

    PYTHONPATH=. python -m tests.benchmarks.forms SITE [--write]

``SITE`` is a built site, in Chromium, 390 px wide, the files from this machine. What counts is the processor's time of the page's main
thread (``TaskDuration`` in ``threadTicks``, domain Performance of the Chrome DevTools Protocol), times four for a processor a quarter as
fast: until the page can be used, and from the change of one value until the answer is there. Waiting counts for nothing, be it for the
line, for further keys or for a processor that others use, and nobody asks the page meanwhile whether it is done: to be asked at every frame
took it a third as long again. What is changed was found before, and the answer is looked for afterwards: the two searches
took the page as long as a fifth of an answer. Of several times the quickest counts. Exits 1 where a goal is missed.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from tests.benchmarks.goals import HEAD, Goal, keep
from tests.browser.chromium import SWITCHES, chromium_path
from tests.browser.serving import served

TABLE = Path(__file__).parent / "FORMS.md"
WINDOW = {"width": 390, "height": 844}
SLOWED, LOADS, CHANGES = 4, 7, 9
QUIET = 900  # ms in which the page is left alone with a change
READY, ANEW = 1000.0, 100.0  # ms
FORM, EXAMPLE = "/tonight/two-sharpeners-rope-1.1.0/", "data/examples/two-sharpeners-rope-1.1.0.json"


def opened(browser: Browser, address: str, root: str) -> tuple[Page, CDPSession, float]:
    """A page with nothing kept from before, and what it took until it could be used."""
    page = browser.new_context(viewport=WINDOW).new_page()
    line = page.context.new_cdp_session(page)
    line.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(address)
    page.wait_for_selector(f"#{root}")
    return page, line, busy(line)


def ready(browser: Browser, address: str, root: str) -> float:
    """Least milliseconds until a page can be used."""
    found = []
    for _ in range(LOADS):
        page, _, at = opened(browser, address, root)
        page.context.close()
        found.append(at)
    return min(found)


def anew(page: Page, line: CDPSession, changes: Callable[[int], None], shown: str) -> float:
    """Least milliseconds of the main thread from a change to its answer, which ``shown`` selects."""
    found = []
    for n in range(CHANGES):
        page.wait_for_timeout(800)
        before = busy(line)
        changes(n)
        page.wait_for_timeout(QUIET)
        found.append(busy(line) - before)
        page.wait_for_selector(shown)
    page.context.close()
    return min(found)


def busy(line: CDPSession) -> float:
    """Milliseconds that the main thread has been busy so far."""
    told = {one["name"]: one["value"] for one in line.send("Performance.getMetrics")["metrics"]}
    return SLOWED * 1000 * float(told["TaskDuration"])


def planner(browser: Browser, base: str) -> float:
    """The planner: other minutes, and what fits."""
    page, line, _ = opened(browser, f"{base}/tonight/", "plan-root")
    page.get_by_role("button", name="Show what fits").click()
    page.wait_for_selector("#plan-result:visible")

    minutes = page.get_by_label("Minutes in an evening").element_handle()  # found once: to look for it would count as the page's work

    def change(n: int) -> None:
        minutes.evaluate(
            "(box, minutes) => { document.getElementById('plan-best').textContent = ''; box.value = minutes; box.form.requestSubmit(); }",
            str(180 + 10 * n),
        )

    return anew(page, line, change, "#plan-best:not(:empty)")


def form(browser: Browser, base: str, site: Path) -> float:
    """The form with a finished file in it: another reading."""
    page, line, _ = opened(browser, base + FORM, "form-root")
    page.set_input_files(
        "#form-file", files=[{"name": "one.json", "mimeType": "application/json", "buffer": (site / EXAMPLE).read_bytes()}]
    )
    page.wait_for_selector("#form-answer .own-answer")
    run = page.locator("details[data-title='Run 1']")
    if run.get_attribute("open") is None:
        run.locator("summary").first.click()
    cell = run.locator("input[data-cell='1,1']").element_handle()
    value = float(cell.input_value())

    def change(n: int) -> None:
        cell.evaluate(
            """(box, value) => {
              document.getElementById('form-answer').firstElementChild.dataset.old = 'old';
              box.focus();
              box.value = value;
              box.dispatchEvent(new Event('input', { bubbles: true }));
              box.blur();
            }""",
            f"{value + 0.1 * (n % 3 + 1):.2f}",
        )

    return anew(page, line, change, "#form-answer:not(:has([data-old])) .own-answer")


def main() -> int:
    """Measure, print and, if asked, keep the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    with served(options.site) as base, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
        goals = [
            Goal("the planner is ready", READY, ready(browser, f"{base}/tonight/", "plan-root"), "ms"),
            Goal("a plan anew", ANEW, planner(browser, base), "ms"),
            Goal("the form is ready", READY, ready(browser, base + FORM, "form-root"), "ms"),
            Goal("an answer anew", ANEW, form(browser, base, options.site), "ms"),
        ]
        browser.close()
    head = [
        "# Form and planner on a slow phone",
        "",
        "Chromium, 390 px, a processor a quarter as fast; how it is counted stands at the head of `forms.py`.",
    ]
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    text = "\n".join(
        [
            *head,
            "",
            *HEAD,
            *(goal.row() for goal in goals),
            "",
            f"Machine: {os.cpu_count()} cores, load {load}; {platform.system()} {platform.machine()}.",
            "",
        ]
    )
    print(text)
    if options.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("forms", goals)


if __name__ == "__main__":
    sys.exit(main())
