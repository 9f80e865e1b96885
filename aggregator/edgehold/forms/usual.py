"""What the usual evening by a method tells: its least runs by the people that it needs, as far as its primary endpoint asks."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.errors import InputError
from edgehold.planning.advice import Known, glance
from edgehold.planning.designs import doable
from edgehold.planning.occasion import Occasion, compares_edges, occasion, stock
from edgehold.records.model.protocol import Protocol
from edgehold.results.publish.repeatability import assumption

SEED = 1  # any fixed number: the order that it draws is shown to nobody
ONE, OTHER, TESTER = "one", "other", "third"  # handles that are shown to nobody


@dataclass(frozen=True)
class UsualEvening:
    """One evening of the protocol's own minutes.

    Attributes
    ----------
    runs : that fit.
    last : how far they go, in the unit of work.
    half_width : of the 95 % interval, ln scale, by the spread that the protocol assumes; infinite where it tells nothing.
    """

    runs: int
    last: float
    half_width: float


def usual_evening(protocol: Protocol) -> UsualEvening | None:
    """What it holds and tells; None for a protocol that cannot be planned."""
    try:
        design = doable(_asked(protocol))
    except InputError:
        return None
    entries = {rule.id: assumption(rule) for rule in protocol.endpoints}
    shown = glance(design, Known(entries, None, None), SEED)
    return UsualEvening(shown.runs, shown.last, shown.half_width)


def _asked(protocol: Protocol) -> Occasion:
    sharpeners = (ONE, OTHER) if protocol.question.factor == "sharpener" else (ONE,)
    blades = (f"{ONE}.first",) if compares_edges(protocol) else (f"{ONE}.first", f"{ONE}.second")
    return occasion(protocol, stock(protocol), blades=blades, sharpeners=sharpeners, testers=(TESTER,))
