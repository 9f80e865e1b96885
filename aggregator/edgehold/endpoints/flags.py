"""Things about a run that are worth a look, in plain words."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np

from edgehold.records.canonical import CanonicalRun, LoadedSubmission
from edgehold.records.facts import per_side
from edgehold.records.model.protocol import Protocol
from edgehold.words import Reason, code_of

from .curve import SAME_WORK, Curve
from .runs import by_work

DAMAGED, TOUCHED_UP = "edge damaged", "edge touched up"


def flagged(flags: Iterable[str], name: str) -> bool:
    """Whether a flag of this name is among them."""
    return f"flags.{name}" in map(code_of, flags)


def flags_of(submission: LoadedSubmission, run: CanonicalRun, protocol: Protocol, curve: Curve | None) -> tuple[str, ...]:
    """What to look at twice in a run."""
    changed = {r.id for r in submission.record.runs if r.lot_changes}
    checkpoints = set(protocol.work.checkpoints)
    checks = (
        (run.ended in (DAMAGED, TOUCHED_UP), run.ended),
        (run.split_tester, Reason("flags.split_tester")),
        (run.id in changed, Reason("flags.lot_changed")),
        (any(not _near(r.work, checkpoints) for r in run.readings), Reason("flags.off_checkpoint")),
        (curve is not None and _burr(curve), Reason("flags.burr")),
        (curve is None and _passed_again(run), Reason("flags.passed_again")),
    )
    return tuple(text for true, text in checks if true)


def _near(work: float, checkpoints: set[float]) -> bool:
    return any(abs(work - c) <= SAME_WORK * max(work, c) for c in checkpoints)


def _burr(curve: Curve) -> bool:
    """Sharper at the second reading than before the first cut, by more than reading error makes likely."""
    if len(curve.work) < 2 or curve.work[0] > 0:
        return False
    rise = curve.low[1] - curve.high[0]
    return bool(rise > 2 * np.nan_to_num(np.hypot(curve.se[0], curve.se[1])))


def _passed_again(run: CanonicalRun) -> bool:
    outcomes = [all(r.passed) for r in by_work(run.readings) if r.passed]
    return any(later and not earlier for earlier, later in pairwise(outcomes))


def angle_of(submission: LoadedSubmission, run: CanonicalRun) -> float | None:
    """Stated angle per side; one given for both sides together says so itself and is shared between them."""
    stated = next((p.edge_angle for p in submission.record.preparations if p.id == run.preparation), None)
    return None if stated is None else per_side(stated)
