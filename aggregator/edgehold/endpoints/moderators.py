"""What was different about a run beside steel and people: facts that a probe may ask about, None where nobody noted them."""

from __future__ import annotations

from typing import TypedDict

from edgehold.records.canonical import CanonicalRun, LoadedSubmission
from edgehold.records.facts import finish_um
from edgehold.records.model.submission import Blade, Guess

from .curve import Curve, position
from .flags import flagged


class Moderators(TypedDict):
    """The fields of an ``EndpointRow`` from ``coil_position_m`` to ``hrc``, and ``instrument``."""

    coil_position_m: float | None
    humidity_percent: float | None
    blinded: bool | None
    seal_held: bool | None
    guessed_sharpener: str | None
    guessed_blade: str | None
    interest: bool | None
    finish_um: float | None
    hrc: float | None
    instrument: str | None


def moderators_of(submission: LoadedSubmission, run: CanonicalRun) -> Moderators:
    """What differs beside steel and people, as it stands in the file.

    A lot that changed in the middle of a run is not the lot of its readings; where it did, the position in the coil is None too.
    """
    record = submission.record
    written = next(one for one in record.runs if one.id == run.id)
    preparation = next((p for p in record.preparations if p.id == run.preparation), None)
    blade = next((b for b in record.blades if b.key == run.blade), None)
    guess = written.tester_guess or Guess()
    return {
        "coil_position_m": None if written.lot_changes else run.coil_position_m,
        "humidity_percent": run.humidity_percent,
        "blinded": None if run.blinding is None else run.blinding != "none",
        "seal_held": submission.seal_held,
        "guessed_sharpener": guess.sharpener,
        "guessed_blade": guess.blade,
        "interest": _interest(blade, run.tester),
        "finish_um": finish_um(preparation),
        "hrc": None if blade is None or blade.hardness is None else blade.hardness.hrc,
        "instrument": instrument_of(submission, run.instrument),
    }


def instrument_of(submission: LoadedSubmission, named: str | None) -> str | None:
    """The instrument that something was read with: as named, else the only one that the file lists."""
    listed = submission.record.instruments or ()
    return listed[0].key if named is None and len(listed) == 1 else named


def start_of(curve: Curve | None, flags: tuple[str, ...]) -> tuple[float | None, float]:
    """Keenness read before the first cut and its standard error from reading; (None, nan) where it was not read on the scale.

    A burr reads as sharpness that is not there, or as none: where the next reading gives one away there is no start either.
    """
    if curve is None:
        return None, float("nan")
    at = position(curve, 0.0)
    if at is None or curve.low[at] != curve.high[at] or flagged(flags, "burr"):
        return None, float("nan")
    return float(curve.low[at]), float(curve.se[at])


def _interest(blade: Blade | None, tester: str) -> bool | None:
    """Whether the tester owns, made or sells the blade."""
    if blade is None or blade.interest is None:
        return None
    return any(one.person == tester and one.interest != "none" for one in blade.interest)
