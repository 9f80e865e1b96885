"""The interlaboratory view as published: testers by code number, new in every table."""

from __future__ import annotations

from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.gather.circulation import CirculatedBlade
from edgehold.pooling.interlaboratory import ExtremeTest, ItemResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.results import Interlaboratory, LaboratoryCell
from edgehold.results.words.sentences import amount
from edgehold.words import Reason

H_AND_K_ALPHA = 0.005  # ASTM E691 judges h and k at 0.5 %
TOLD_REASONS = ("s_r", "s_R", "h", "h_critical")  # that few testers allow no test of extremes is plain from the table


def interlaboratory_result(circulated: CirculatedBlade, unit: str | None) -> Interlaboratory:
    """Repeatability and reproducibility on one circulating blade, published.

    Parameters
    ----------
    circulated : what pooling found.
    unit : the reading's canonical unit.
    """
    result = circulated.result
    if isinstance(result, NotFitted):
        return _not_fitted(circulated, unit, result)
    k_criticals = {k for k in result.k_critical.get(H_AND_K_ALPHA, ()) if k is not None}
    return Interlaboratory(
        item=circulated.blade,
        scale="reading unit" if circulated.raw else "ln",
        unit=(unit or "") if circulated.raw else "ln",
        testers=len(result.persons),
        runs=result.runs,
        mean=published(result.mean),
        s_r=published(result.s_r),
        s_R=published(result.s_R),
        s_L=published(result.s_L),
        h_critical=published(result.h_critical.get(H_AND_K_ALPHA)),
        k_critical=published(k_criticals.pop()) if len(k_criticals) == 1 else None,
        note=_note(circulated, result),
        tests=_tests(result),
        cells=_cells(result),
    )


def _not_fitted(circulated: CirculatedBlade, unit: str | None, why: NotFitted) -> Interlaboratory:
    """The blade without figures, and why."""
    return Interlaboratory(
        item=circulated.blade,
        scale="reading unit" if circulated.raw else "ln",
        unit=(unit or "") if circulated.raw else "ln",
        testers=circulated.testers,
        runs=circulated.runs,
        mean=None,
        s_r=None,
        s_R=None,
        s_L=None,
        h_critical=None,
        k_critical=None,
        note=why,
        tests=(),
        cells=(),
    )


def _note(circulated: CirculatedBlade, result: ItemResult) -> str:
    """Why a figure is missing or cannot be judged, and what was left out."""
    notes = [why for name in TOLD_REASONS if (why := result.reasons.get(name))]
    if circulated.left_out:
        notes.append(Reason("published.runs_left_out", runs=circulated.left_out))
    return "; ".join(notes)


def _tests(result: ItemResult) -> tuple[str, ...]:
    named = ((Reason("published.cochran"), result.cochran), (Reason("published.grubbs"), result.grubbs))
    return tuple(_test(name, test, result) for name, test in named if test is not None)


def _test(name: str, test: ExtremeTest, result: ItemResult) -> str:
    limits = ", ".join(f"{amount(value)} at {100 * alpha:g} %" for alpha, value in sorted(test.critical.items()))
    return f"{name}: tester {result.persons.index(test.person) + 1}, {amount(test.statistic)} (critical {limits})"


def _cells(result: ItemResult) -> tuple[LaboratoryCell, ...]:
    flags: dict[str, list[str]] = {person: [] for person in result.persons}
    for flag in result.flags:
        flags[flag.person].append(f"{flag.statistic} beyond {amount(flag.critical)} ({100 * flag.alpha:g} %)")
    nothing = (None,) * len(result.persons)
    columns = (
        result.persons, result.replicates, result.means, result.standard_deviations, result.h or nothing, result.k or nothing,
    )  # fmt: skip
    return tuple(
        LaboratoryCell(
            code=code,
            n=n,
            mean=needed(published(mean)),
            s=published(s),
            h=published(h),
            k=published(k),
            flags=tuple(flags[person]),
        )
        for code, (person, n, mean, s, h, k) in enumerate(zip(*columns, strict=True), start=1)
    )
