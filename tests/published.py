"""The published protocols for a repository of a test's own."""

from __future__ import annotations

import shutil
from pathlib import Path

PROTOCOLS = Path(__file__).parents[1] / "protocols"


def copy_protocols(root: Path) -> Path:
    """Copy them to ``root`` and return their folder there.

    Without their objections: those belong to the demonstration and cite its submissions.
    """
    return Path(shutil.copytree(PROTOCOLS, root / "protocols", ignore=shutil.ignore_patterns("objections", "analysis")))
