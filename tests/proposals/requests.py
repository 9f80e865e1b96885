"""Requests to add or change files, as real git repositories that a test makes.

``make_base(path)`` commits a small repository, in which nothing is found, on ``main`` and goes on to a branch of its own. A test
changes files there and asks what the check says::

    root = make_base(path)
    write_submission(root, second())
    assert codes(root) == {}

Everything is committed first unless the test says otherwise, as a request on a host is.
"""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

from edgehold.records.request.against import CheckedProposal, check_proposal
from tests.records.builder import TODAY, make_repository, write

BASE = "main"
_WHO = {
    "GIT_AUTHOR_NAME": "somebody",
    "GIT_AUTHOR_EMAIL": "somebody@example.org",
    "GIT_COMMITTER_NAME": "somebody",
    "GIT_COMMITTER_EMAIL": "somebody@example.org",
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
}


def git(root: Path, *arguments: str) -> str:
    """Run git as the person who sends a request would."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    done = subprocess.run(["git", "-C", str(root), *arguments], env=kept | _WHO, capture_output=True, check=True)
    return done.stdout.decode(errors="replace").strip()


def make_base(root: Path, **content: object) -> Path:
    """A committed repository (see ``make_repository`` for what may be given), with a branch ``request`` checked out."""
    make_repository(root, **content)
    write(root / "submissions" / "measured" / ".gitkeep", "")
    write(root / "Makefile", "site:\n\ttrue\n")
    git(root, "init", "-q", "-b", BASE)
    git(root, "config", "core.symlinks", "true")
    commit(root)
    git(root, "switch", "-q", "-c", "request")
    return root


def commit(root: Path) -> None:
    """Commit everything that lies in the working tree."""
    git(root, "add", "--all", "--force")
    git(root, "commit", "-q", "--allow-empty", "-m", "a request")


def on_base(root: Path, change) -> None:
    """Let somebody else change the base meanwhile; ``change`` writes into ``root``."""
    git(root, "switch", "-q", BASE)
    change()
    commit(root)
    git(root, "switch", "-q", "request")


def checked(root: Path, committed: bool = True, whole: bool = False, author: str | None = None) -> CheckedProposal:
    """What the check says; ``author`` is the account that sends the request."""
    if committed:
        commit(root)
    return check_proposal(root, BASE, author=author, today=TODAY, whole=whole)


def codes(root: Path, committed: bool = True, author: str | None = None) -> dict[str, list[str]]:
    """Codes of the findings by file. Reading only what must be and reading everything say the same."""
    few, everything = checked(root, committed, author=author), checked(root, False, whole=True, author=author)
    assert few.findings == everything.findings
    found: dict[str, list[str]] = {}
    for finding in few.findings:
        found.setdefault(finding.file, []).append(finding.code)
    return found
