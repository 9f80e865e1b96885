"""The site stays light: what the first page loads, packed as static hosts pack it (`tests/benchmarks/PAGES.md` has the times), and what
every submission adds (`tests/benchmarks/WEIGHT.md`)."""

import gzip
from urllib.parse import urlsplit

from tests.benchmarks.page_weights import HOME_KB, PACKED
from tests.benchmarks.submission_weight import MOST, MOST_PAGE, weights

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


def test_a_submission_adds_no_more_than_it_did(site):
    found = weights(site)
    assert all(size > 0 for size in found.values()), found
    assert found["its page"] <= MOST_PAGE * 1000 and sum(found.values()) <= MOST * 1000, found
