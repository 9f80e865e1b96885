"""What pages weigh, and how soon they are seen, on a throttled Chromium, as a Markdown table.

    python -m tests.benchmarks.page_weights SITE [--before SITE] [--write]

``SITE`` is a built site. It is served from this machine as static hosts serve one: texts (HTML, CSS, scripts, JSON, SVG) packed by
gzip at level 6, everything else as it lies, kept connections, an empty cache. What is counted is what came over the connection, the
heads of the answers with it (``encodedDataLength`` of the Chrome DevTools Protocol, domain Network), until the page asks for nothing
more. The first paint is the browser's own ``first-contentful-paint`` (W3C Paint Timing). The line is throttled by
``Network.emulateNetworkConditions`` to 1.6 Mbit/s down, 0.75 Mbit/s up and 150 ms to and fro; the processor is not. Every page is
loaded five times; the median of the times counts. ``--write`` replaces the table kept beside this script.
"""

from __future__ import annotations

import argparse
import gzip
import os
import platform
import re
import statistics
import sys
from dataclasses import dataclass
from functools import lru_cache
from http.server import SimpleHTTPRequestHandler
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tests.benchmarks.goals import Goal, keep
from tests.browser.chromium import SWITCHES, chromium_path
from tests.browser.serving import served

TABLE = Path(__file__).parent / "PAGES.md"
PACKED = {".html", ".css", ".js", ".mjs", ".json", ".svg", ".txt", ".xml", ".csv", ".md"}
LINE = {"offline": False, "latency": 150, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 0.75e6 / 8}
WINDOW = {"width": 390, "height": 844}
TIMES = 5
HOME_KB, HOME_SECONDS = 100, 1.0
PAGES = {
    "home": r"/",
    "a pool": r"/results/steels-exchanged-rope-v2-[a-z]+/",
    "a steel": r"/steels/demo-high-speed/",
    "A or B": r"/compare/",
    "two steels": r"/compare/demo-high-speed-and-demo-plain-carbon/",
    "choose the evidence": r"/results/explore/",
    "kept builds": r"/archive/",
    "the form": r"/tonight/two-sharpeners-rope-2\.0\.0/",
    "plan tonight's test": r"/tonight/",
}


@dataclass(frozen=True)
class Weight:
    """One page: how many requests, how many kB (1,000 bytes), and the seconds until something is seen."""

    requests: int
    kilobytes: float
    first_paint: float


@lru_cache(maxsize=512)
def packed(path: Path) -> bytes:
    """A file as a static host would send it to a browser that takes gzip."""
    return gzip.compress(path.read_bytes(), 6, mtime=0)


class _Host(SimpleHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def log_message(self, format: str, *args: object) -> None:
        pass

    def do_GET(self) -> None:
        path = Path(self.translate_path(self.path))
        path = path / "index.html" if path.is_dir() else path
        if not path.is_file():
            self.send_error(404)
            return
        pack = path.suffix in PACKED
        body = packed(path) if pack else path.read_bytes()
        self.send_response(200)
        self.send_header("Content-Type", self.guess_type(str(path)))
        self.send_header("Content-Length", str(len(body)))
        if pack:
            self.send_header("Content-Encoding", "gzip")
        self.end_headers()
        self.wfile.write(body)


def weigh(browser: Browser, address: str) -> Weight:
    """Load one page once, with nothing kept from before."""
    context = browser.new_context(viewport=WINDOW)
    page = context.new_page()
    line = context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", LINE)
    sizes: list[float] = []
    line.on("Network.loadingFinished", lambda seen: sizes.append(seen["encodedDataLength"]))
    page.goto(address, wait_until="load")
    page.wait_for_load_state("networkidle")
    painted = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime")
    context.close()
    return Weight(len(sizes), sum(sizes) / 1000, painted / 1000)


def measured(site: Path) -> dict[str, tuple[str, Weight]]:
    """Address and weight of each kind of page that the site has."""
    there = sorted(f"/{path.parent.relative_to(site).as_posix()}/".replace("/./", "/") for path in site.rglob("index.html"))
    found = {name: next((a for a in there if re.fullmatch(pattern, a)), None) for name, pattern in PAGES.items()}
    with served(site, _Host) as base, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
        seen = {name: (a, [weigh(browser, base + a) for _ in range(TIMES)]) for name, a in found.items() if a}
        browser.close()
    return {
        name: (a, Weight(runs[0].requests, runs[0].kilobytes, statistics.median(run.first_paint for run in runs)))
        for name, (a, runs) in seen.items()
    }


def table(after: dict[str, tuple[str, Weight]], before: dict[str, tuple[str, Weight]]) -> str:
    """Before and after, page by page."""
    rows = ["| page | address | kB before | kB | requests before | requests | first paint before, s | first paint, s |", f"|{'---|' * 8}"]
    for name, (address, now) in after.items():
        then = before[name][1] if name in before else None
        cells = [
            f"{then.kilobytes:.0f}" if then else "–", f"{now.kilobytes:.0f}", str(then.requests) if then else "–", str(now.requests),
            f"{then.first_paint:.2f}" if then else "–", f"{now.first_paint:.2f}",
        ]  # fmt: skip
        rows.append(f"| {name} | `{address}` | {' | '.join(cells)} |")
    return "\n".join(rows)


def main() -> int:
    """Measure, print, and write where asked; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--before", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    after = measured(given.site)
    before = measured(given.before) if given.before else {}
    home = after["home"][1]
    goals = [
        Goal("the home page's weight", HOME_KB, home.kilobytes, "kB"),
        Goal("the home page's first paint", HOME_SECONDS, home.first_paint),
    ]
    said = ", ".join(goal.verdict for goal in goals)
    text = f"""# What pages weigh, and when they are seen

The demonstration's site on a line of 1.6 Mbit/s with 150 ms to and fro, texts packed by gzip, nothing in the cache;
how it is counted stands at the head of `page_weights.py`.

{table(after, before)}

Wanted of the home page: at most {HOME_KB} kB and a first paint below {HOME_SECONDS:g} s ({said}).
Before, every page loaded the whole index of the search and a worker; now nothing of the search is loaded until somebody searches.

Machine: {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; {platform.system()} {platform.machine()}.
"""
    print(text)
    if given.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("page_weights", goals)


if __name__ == "__main__":
    sys.exit(main())
