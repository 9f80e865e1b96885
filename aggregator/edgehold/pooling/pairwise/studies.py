"""What counts as one study of a comparison, how sure each line is, and the fit of those that can be pooled.

A study is a cluster of submissions: those joined, through a chain too, by a tester, a sharpener or a blade. What they have in
common they say only once, so that ten files of one evening, or one blade that goes round ten people, cannot outvote nine other people.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from edgehold.estimates.repeatability import Repeatability
from edgehold.estimates.results import Contrast, ContrastEstimated, SubmissionEstimate, Verdict
from edgehold.estimates.verdict import verdict_of
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.attempt import attempt
from edgehold.numerics.interval import Interval

from .random_effects import StudiesPooled
from .three_level import ThreeLevelFit, three_level

LEAST_STUDIES = 3  # below it nothing is pooled: the submissions are listed (Roever, Knapp & Friede 2015)

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


def lines_of(pairs: Iterable[Pair], clusters: Mapping[str, int], entry: Repeatability, extra: float | None) -> Lines:
    """Who counts as one study, and how sure each line is.

    Parameters
    ----------
    pairs : what each submission says.
    clusters : number of its study by submission, from ``cluster_numbers``.
    entry : the common repeatability.
    extra : the variance between sharpeners of one class, or None.
    """
    pairs = tuple(pairs)
    s2, df = common_variance(entry)
    studies = tuple(clusters[estimate.submission] for estimate, _ in pairs)
    return Lines(pairs, studies, tuple(_line_variance(contrast, s2, extra or 0.0) for _, contrast in pairs), df)


def cluster_numbers(estimates: Iterable[SubmissionEstimate]) -> dict[str, int]:
    """Number of the study that each submission of a pool counts in, the same at all of its endpoints.

    Parameters
    ----------
    estimates : of one pool, at any of its endpoints. Two submissions are joined by whoever or whatever stands behind a used run of both.
    """
    met: dict[str, dict[tuple[str, str], None]] = {}
    for e in estimates:
        own = met.setdefault(e.submission, {})
        own.update(dict.fromkeys((*(("person", one) for one in (*e.testers, *e.sharpeners)), *(("blade", one) for one in e.blades))))
    return dict(zip(met, study_numbers([tuple(own) for own in met.values()]), strict=True))


def _line_variance(contrast: Contrast, s2: float, extra: float) -> float | None:
    if not isinstance(contrast, ContrastEstimated):
        return None
    return s2 * contrast.unscaled_variance + extra * (contrast.sharpener_loading or 0.0)


def common_variance(entry: Repeatability) -> tuple[float, float]:
    """Run-to-run variance shared by all submissions of a pool, and its degrees of freedom."""
    if entry.source == "pooled":
        return entry.s2_pooled, entry.df_pooled
    return entry.prior_s2, entry.prior_df


def study_numbers(met: list[tuple[Hashable, ...]]) -> list[int]:
    """Number the connected components of submissions that share something.

    Parameters
    ----------
    met : per submission, the people and blades that count.

    Returns
    -------
    Per submission its study's number, from 1 in order of first appearance.
    """
    parent = list(range(len(met)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    first_met: dict[Hashable, int] = {}
    for i, own in enumerate(met):
        for key in own:
            one, other = root(i), root(first_met.setdefault(key, i))
            parent[max(one, other)] = min(one, other)
    roots = [root(i) for i in range(len(met))]
    number = {r: n for n, r in enumerate(dict.fromkeys(roots), start=1)}
    return [number[r] for r in roots]


@dataclass(frozen=True, eq=False)
class Pooled:
    """The fit of some lines.

    Attributes
    ----------
    y, v, numbers : (J,) contrasts of the studies, their variances without that between studies, and their numbers.
    shares : (k,) each line's share of its study.
    fit : of the studies; None where they are fewer than three or its numbers failed.
    tau2_within, tau2_within_interval : variance between submissions of one study and its interval; None where no study holds two, or
        without a fit.
    reason : why there is no fit although there are studies enough; empty otherwise.
    """

    y: Array
    v: Array
    numbers: Ints
    shares: Array
    fit: StudiesPooled | None
    tau2_within: float | None = None
    tau2_within_interval: Interval | None = None
    reason: str = ""


def pool_lines(lines: Lines, chosen: list[int], whole: bool = True) -> Pooled:
    """Pool the chosen lines in three levels: submissions within studies, studies within the pool.

    Parameters
    ----------
    lines, chosen : the lines and the indices of those to pool, each with a variance.
    whole : whether a prediction and the interval within studies are wanted; without them it is faster, and nothing else differs.
    """
    contrasts = (lines.pairs[i][1] for i in chosen)
    y = np.array([one.estimate for one in contrasts if isinstance(one, ContrastEstimated)], float)
    v = np.array([lines.variances[i] for i in chosen], float)
    studies = [lines.studies[i] for i in chosen]
    numbers = np.array(list(dict.fromkeys(studies)), int)
    nothing = Pooled(np.zeros(len(numbers)), np.zeros(len(numbers)), numbers, np.zeros(len(y)), None)
    if len(numbers) < LEAST_STUDIES:
        return nothing
    v_df = lines.df if np.isfinite(lines.df) else None
    return attempt(
        lambda: _pooled(three_level(y, v, studies, v_df=v_df, predict=whole, profile=whole), numbers),
        lambda why: replace(nothing, reason=why),
        _figures,
    )


def _figures(found: Pooled) -> tuple[ArrayLike | None, ...]:
    fit = found.fit
    return () if fit is None else (fit.coefficients, fit.standard_errors, fit.tau2, found.tau2_within)


def _pooled(found: ThreeLevelFit, numbers: Ints) -> Pooled:
    fit = found.fit if isinstance(found.fit, StudiesPooled) else None
    return Pooled(found.y, found.v, numbers, found.shares, fit, found.tau2_within, found.tau2_within_interval)


def state_of(submissions: int, studies: int, reason: str = "") -> str:
    """What may be done with so many submissions that make so many studies; ``reason`` says why numbers failed."""
    if reason:
        return "not fitted"
    if studies >= LEAST_STUDIES:
        return "pooled"
    return {0: "not estimable", 1: "single"}.get(submissions, "listed")


def verdict_on(fit: StudiesPooled, worthwhile: float) -> Verdict:
    """The pooled contrast against the worthwhile ratio."""
    estimate, se, df = float(fit.coefficients[0]), float(fit.standard_errors[0]), float(fit.df)
    return verdict_of(estimate, se, df, worthwhile)
