"""Hand-made answers on single studies, small studies and clusters of people, asked and not asked."""

from __future__ import annotations

from sample_analyses import interval

from edgehold.results.model.studies import ByPeople, SmallStudies, StudyChecksResult, StudyInfluence


def checks(ratio: float, asked: bool) -> StudyChecksResult:
    return StudyChecksResult(
        sentence=f"Without the study that moves it most (study 2) the ratio would be ×{ratio * 0.9:.3g} instead of ×{ratio:.3g}.",
        most=2,
        studies=(study(1, ratio * 1.05), study(2, ratio * 0.9, left=2), study(4, None)),
        small_studies=small_studies(ratio) if asked else no_small_studies(),
        by_people=ByPeople(
            clusters=12 if asked else 3,
            result=interval(ratio, 0.35, "cr2") if asked else None,
            standard_error=0.15 if asked else None,
            df=8.4 if asked else None,
            reason="" if asked else "fewer than ten clusters of people: not asked",
        ),
    )


def study(number: int, without: float | None, left: int = 4) -> StudyInfluence:
    known = without is not None
    return StudyInfluence(
        study=number,
        hat_percent=33.0,
        ratio_without=without,
        without=interval(without, 0.5) if known and left > 2 else None,
        studentised_residual=-1.87 if known else None,
        cooks_distance=0.437 if known else None,
        covariance_ratio=0.871 if known else None,
        tau_without=0.0 if known else None,
        reason="" if known else "the others alone cannot be fitted",
    )


def small_studies(ratio: float) -> SmallStudies:
    return SmallStudies(
        state="asked",
        reason="",
        slope=1.73,
        standard_error=0.61,
        df=9.0,
        p=0.019,
        limit=interval(ratio * 0.8, 0.3),
        missing=2,
        side="lower",
        filled=interval(ratio * 0.85, 0.25),
        sentence="Small studies give higher ratios than large ones (p = 0.019).",
    )


def no_small_studies() -> SmallStudies:
    return SmallStudies(
        state="not asked",
        reason="fewer than ten studies: not asked",
        slope=None,
        standard_error=None,
        df=None,
        p=None,
        limit=None,
        missing=None,
        side="",
        filled=None,
        sentence="Whether small studies tell another story: fewer than ten studies: not asked.",
    )
