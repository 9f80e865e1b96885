"""The published protocols for a repository of a test's own."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from edgehold import builds

PROTOCOLS = Path(__file__).parents[1] / "protocols"


def copy_protocols(root: Path, only: str = "") -> Path:
    """Copy all of them, or only one, to ``root`` and return their folder there.

    Without their objections: those belong to the demonstration and cite its submissions.
    """
    ignored = shutil.ignore_patterns("objections", "analysis")
    shutil.copytree(PROTOCOLS / only, root / "protocols" / only, ignore=ignored)
    return root / "protocols"


def build_demonstration(root: Path) -> None:
    """Build the whole demonstration in a folder, by the project's own path; what the project's last build computed is taken from there.

    So tests pool it only where submissions, methods or what computes have changed since `make site` or the last tests.
    """
    for part in ("protocols", "submissions"):
        shutil.copytree(PROTOCOLS.parent / part, root / part)
    builds.site(root, cache=PROTOCOLS.parent / "build" / "cache")


def copy_demonstrated(root: Path, only: str = "", leave_out: str = "") -> Path:
    """The same with one simulated submission to each version that has one: their adoptions rest on the demonstration.

    ``only`` names the one protocol that is wanted, ``leave_out`` one whose submissions come later.
    """
    folder = copy_protocols(root, only)
    seen = set()
    for path in sorted((PROTOCOLS.parent / "submissions" / "simulated").glob(f"{only or '*'}/*.json")):
        followed = json.loads(path.read_text(encoding="utf-8"))["protocol"]
        if (key := (followed["id"], followed["version"])) not in seen and followed["id"] != leave_out:
            seen.add(key)
            target = root / "submissions" / "simulated" / path.parent.name / path.name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, target)
    return folder
