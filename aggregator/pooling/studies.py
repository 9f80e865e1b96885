"""What counts as one study of a comparison, how sure each line is, and the fit of those that can be pooled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from aggregator.estimates.repeatability import Repeatability
from aggregator.estimates.results import Contrast, SubmissionEstimate, Verdict
from aggregator.estimates.verdict import verdict_of

from .random_effects import RandomEffectsFit, random_effects

LEAST_STUDIES = 3  # below it nothing is pooled: one stands alone, two are listed (Roever, Knapp & Friede 2015)

Pair = tuple[SubmissionEstimate, Contrast]
"""What one submission says about one endpoint, and its contrast of the two that are compared."""


@dataclass(frozen=True)
class Lines:
    """The submissions of one comparison, made ready for pooling.

    Attributes
    ----------
    pairs : estimable or not.
    studies : per pair, number of the study it counts in.
    variances : per pair, sampling variance of its contrast on the ln scale; None where it has none.
    df : degrees of freedom of the common repeatability behind them; infinite where it counts as known.
    """

    pairs: tuple[Pair, ...]
    studies: tuple[int, ...]
    variances: tuple[float | None, ...]
    df: float

    @property
    def usable(self) -> list[int]:
        """Indices of the pairs that have a two-sided contrast."""
        return [index for index, variance in enumerate(self.variances) if variance is not None]


def lines_of(factor: str, pairs: Iterable[Pair], entry: Repeatability, extra: float | None) -> Lines:
    """Who counts as one study, and how sure each line is; ``extra`` is the variance between sharpeners of one class, or None."""
    pairs = tuple(pairs)
    s2, df = common_variance(entry)
    studies = study_numbers([_people(estimate, factor) for estimate, _ in pairs])
    return Lines(pairs, tuple(studies), tuple(_line_variance(contrast, s2, extra or 0.0) for _, contrast in pairs), df)


def study_count(factor: str, pairs: Iterable[Pair]) -> int:
    """How many studies of a comparison have a two-sided contrast."""
    pairs = tuple(pairs)
    numbers = study_numbers([_people(estimate, factor) for estimate, _ in pairs])
    return len({number for number, (_, contrast) in zip(numbers, pairs, strict=True) if contrast.estimate is not None})


def _line_variance(contrast: Contrast, s2: float, extra: float) -> float | None:
    if contrast.estimate is None or contrast.unscaled_variance is None:
        return None
    return s2 * contrast.unscaled_variance + extra * (contrast.sharpener_loading or 0.0)


def common_variance(entry: Repeatability) -> tuple[float, float]:
    """Run-to-run variance shared by all submissions of a pool, and its degrees of freedom."""
    if entry.source == "pooled":
        return entry.s2_pooled, entry.df_pooled
    return entry.prior_s2, entry.prior_df


def study_numbers(people: list[tuple[str, ...]]) -> list[int]:
    """Number the connected components of submissions that share a person.

    Parameters
    ----------
    people : per submission, the handles that count.

    Returns
    -------
    Per submission its study's number, from 1 in order of first appearance.
    """
    parent = list(range(len(people)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    first_met: dict[str, int] = {}
    for i, named in enumerate(people):
        for person in named:
            one, other = root(i), root(first_met.setdefault(person, i))
            parent[max(one, other)] = min(one, other)
    roots = [root(i) for i in range(len(people))]
    number = {r: n for n, r in enumerate(dict.fromkeys(roots), start=1)}
    return [number[r] for r in roots]


def _people(estimate: SubmissionEstimate, factor: str) -> tuple[str, ...]:
    """Whose recurrence makes two submissions one study: testers; where sharpeners are compared, sharpeners too."""
    return estimate.testers + estimate.sharpeners if factor == "practice" else estimate.testers


Pooled = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, RandomEffectsFit | None]
"""Contrasts, variances and numbers of studies, each line's share of its study, and the fit where there are enough."""


def pool_lines(lines: Lines, chosen: list[int], predict: bool = True) -> Pooled:
    """Combine the chosen lines to studies and pool these; without a prediction it is faster, and nothing else differs."""
    y, v, numbers, shares = _combine(
        np.array([lines.pairs[i][1].estimate for i in chosen], float),
        np.array([lines.variances[i] for i in chosen], float),
        np.array([lines.studies[i] for i in chosen], int),
    )
    v_df = lines.df if np.isfinite(lines.df) else None
    fit = random_effects(y, v, v_df=v_df, predict=predict) if len(y) >= LEAST_STUDIES else None
    return y, v, numbers, shares, fit


def _combine(y, v, studies):
    """Inverse-variance mean within each study: contrasts, variances, study numbers, and each line's share of its study."""
    numbers, place = np.unique(studies, return_inverse=True)
    precision = 1 / v
    total = np.bincount(place, precision, minlength=len(numbers))
    mean = np.bincount(place, precision * y, minlength=len(numbers)) / total
    return mean, 1 / total, numbers, precision / total[place]


def state_of(studies: int) -> str:
    """What may be done with so many studies."""
    return {0: "not estimable", 1: "single", 2: "listed"}.get(studies, "pooled")


def verdict_on(fit: RandomEffectsFit | None, worthwhile: float) -> Verdict | None:
    """The pooled contrast against the worthwhile ratio; None where nothing is pooled."""
    if fit is None:
        return None
    estimate, se, df = float(fit.coefficients[0]), float(fit.standard_errors[0]), float(fit.df)
    return verdict_of(estimate, se, df, worthwhile)
