"""Whether the code owners of a repository are its own people: a team of another organisation is asked for nothing."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlsplit

from edgehold.disk import read_text, there

from .schemas import repository_url

FILE = Path(".github") / "CODEOWNERS"
_TEAM = re.compile(r"(?<!\S)@([\w.-]+)/[\w.-]+")


def strange_teams(root: Path) -> tuple[str, ...]:
    """Teams among the code owners that belong to another organisation than the repository, as the one that this program comes with does.

    A host passes over owners whom it does not know, and then asks for nobody's review. Nothing is said where the repository has no
    address yet, or no code owners.
    """
    address = repository_url(root)
    if not address or not there(root / FILE):
        return ()
    lines = (line.partition("#")[0] for line in read_text(root / FILE).splitlines())
    owner = urlsplit(address).path.strip("/").partition("/")[0].casefold()
    found = {team[0]: None for line in lines for team in _TEAM.finditer(line) if team[1].casefold() != owner}
    return tuple(found)
