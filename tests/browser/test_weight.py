"""The first page stays light: what it loads, packed as static hosts pack it (`tests/benchmarks/PAGES.md` has the times)."""

import gzip
from urllib.parse import urlsplit

from tests.benchmarks.page_weights import HOME_KB, PACKED

from .crawling import NARROW


def test_the_first_page_loads_at_most_a_hundred_kilobytes(open_page, site):
    page = open_page("/", viewport=NARROW)
    page.wait_for_load_state("networkidle")
    loaded = page.evaluate("performance.getEntriesByType('resource').map(one => one.name)")
    files = {site / urlsplit(address).path.removeprefix("/") for address in loaded if address.startswith("http")} | {site / "index.html"}
    weights = {
        file.relative_to(site).as_posix(): len(gzip.compress(file.read_bytes(), 6)) if file.suffix in PACKED else file.stat().st_size
        for file in files
    }
    assert len(weights) > 5 and sum(weights.values()) <= HOME_KB * 1000, weights
