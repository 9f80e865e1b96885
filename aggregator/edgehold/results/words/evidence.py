"""Whose evidence stands behind an answer, and what hangs on whose results, in plain English."""

from __future__ import annotations

from edgehold.pooling.bounded import LEAST_SENDERS
from edgehold.results.model.answers import HangsOn, StandsOn
from edgehold.results.model.numbers import needed
from edgehold.words import Reason, together

from .sentences import amount, figures, ratio_text


def evidence_sentence(found: StandsOn, verdict_due: bool) -> str:
    """Whose evidence it is, and how much of it counts.

    Parameters
    ----------
    found : what stands behind an answer.
    verdict_due : whether the answer is one of steels, classes or levels, on which there can be a verdict.
    """
    if found.linked_files == found.files:
        return Reason("linkage.all", senders=found.senders) if verdict_due or found.senders > 1 else ""
    if not found.linked_files:
        return Reason("linkage.none")
    unlinked = found.files - found.linked_files
    few = verdict_due and found.linked_senders < LEAST_SENDERS
    return together(
        Reason("linkage.unlinked", unlinked=unlinked, files=found.files),
        _counted(found, unlinked),
        Reason("linkage.one_linked", linked=found.linked_senders) if few else "",
        Reason("linkage.no_verdict_on_it") if verdict_due and not few and found.alone is not None else "",
    )


def _counted(found: StandsOn, unlinked: int) -> str:
    if found.alone is None or found.counted_percent is None:
        return Reason("linkage.linked_cannot")
    alone, everything = (ratio_text(one.ratio) for one in (found.alone, needed(found.everything)))
    if found.counted_percent >= 100:
        return Reason("linkage.in_full", unlinked=unlinked, alone=alone)
    if found.counted_percent == 0:
        return Reason("linkage.not_at_all", unlinked=unlinked, everything=everything)
    return Reason("linkage.in_part", unlinked=unlinked, percent=round(found.counted_percent), alone=alone, everything=everything)


def hanging_sentence(found: HangsOn, against: float) -> str:
    """How far the ratio moves without each sender and each month, and what would reverse it: studies that say ``against``."""
    senders = Reason(
        "linkage.without", senders=found.senders_met, low=amount(found.without_sender_low), high=amount(found.without_sender_high)
    )
    months = Reason(
        "linkage.without_month", months=found.months_met, low=amount(found.without_month_low), high=amount(found.without_month_high)
    )
    tails = found.heavy_tails
    return together(
        senders,
        Reason("linkage.needed", needed=found.senders_needed) if 0 < found.senders_needed < found.senders_met else "",
        months if found.senders_met > 1 else "",
        Reason("linkage.heavy_tails", senders=found.heavy_tails_senders, **figures(tails)) if tails is not None else "",
        Reason("linkage.invented", invented=found.invented_to_reverse, against=ratio_text(against)) if found.invented_to_reverse else "",
    )
