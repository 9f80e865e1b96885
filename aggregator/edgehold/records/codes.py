"""Every code a finding can carry: how grave it is, what it means, and the usual cure.

A code and its cure are two patterns of ``words/catalogue/errors.json`` or ``warnings.json``: the file says how grave it is. Whatever
has a cure there is a code; what has none is a message of a finding. An error stops a build. A warning is shown, counted and can be
answered by the submitter (``answers`` in the file).
"""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.errors import ERROR, WARNING
from edgehold.words import Reason, group

CURE = "_cure"


@dataclass(frozen=True)
class Code:
    """What a code stands for.

    Attributes
    ----------
    severity : ``"error"`` or ``"warning"``.
    meaning : one sentence, for documentation.
    cure : what would be right, where a finding says nothing more exact.
    """

    severity: str
    meaning: str
    cure: str


def code_address(site: str, name: str) -> str:
    """Where the site tells what a code means; empty where the site has no address or the code no line there."""
    return f"{site}check/#{name}" if site and name in CODES else ""


CODES: dict[str, Code] = {
    name: Code(severity, Reason(f"{file}.{name}"), Reason(f"{file}.{name}{CURE}"))
    for file, severity in (("errors", ERROR), ("warnings", WARNING))
    for name in group(file)
    if f"{name}{CURE}" in group(file)
}
