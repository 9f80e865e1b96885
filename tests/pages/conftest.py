"""Sites built once for all tests of pages."""

from __future__ import annotations

from pathlib import Path

import pytest
from sample import results

from edgehold.pages.site import build_site

DOWNLOADS = {"results.json": b"{}\n", "comparisons.csv": b"a,b\n", "datapackage.json": b"{}\n"}


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of a repository that holds four measured submissions and eight of the demonstration."""
    target = tmp_path_factory.mktemp("site")
    build_site(results(measured=4, simulated=4), target / "no-repository", target, DOWNLOADS)
    return target
