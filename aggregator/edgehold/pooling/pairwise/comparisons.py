"""From the contrasts of single submissions to pooled comparisons: who is compared, what counts as one study, and why not.

The arithmetic is in ``three_level`` and ``random_effects``; this module only gathers its arrays. What counts as one study says
``studies``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from edgehold.endpoints.rows import EndpointRow
from edgehold.engine.tasks import AWAITED, each
from edgehold.estimates.design import ARMS, practice_of
from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable
from edgehold.estimates.results import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, SubmissionEstimate, Verdict
from edgehold.estimates.submissions import POOLED_FACTORS
from edgehold.numerics.attempt import attempt
from edgehold.numerics.distributions import f_sf
from edgehold.numerics.interval import Interval
from edgehold.records.canonical import PoolKey
from edgehold.words import Reason

from .bounds import BoundsIncluded, with_bounds
from .cumulative import Cumulative, cumulative
from .random_effects import StudiesPooled, random_effects
from .studies import Pair, Pooled, cluster_numbers, common_variance, lines_of, pool_lines, state_of, verdict_on
from .study_checks import StudyChecks, study_checks

Result = TypeVar("Result")
Specimens = dict[tuple[str, str, str, str | None], set[str]]


class Ranking(Protocol):
    """What ``leading`` looks at."""

    @property
    def studies(self) -> int: ...

    @property
    def first(self) -> str: ...

    @property
    def second(self) -> str: ...


Ranked = TypeVar("Ranked", bound=Ranking)


@dataclass(frozen=True)
class Contribution:
    """What one submission brings to one comparison.

    Attributes
    ----------
    estimate : the submission's estimate, for its facts.
    contrast : its contrast, estimable or not.
    study : number of the study it counts in, the same at every endpoint of the pool.
    variance : sampling variance on the ln scale from the common repeatability, or None.
    weight : its share of the pooled estimate, between 0 and 1, or None.
    """

    estimate: SubmissionEstimate
    contrast: Contrast
    study: int
    variance: float | None
    weight: float | None


@dataclass(frozen=True)
class VersionAgreement:
    """Whether contrasts made under different MINOR versions agree.

    Attributes
    ----------
    versions : the versions met.
    difference : largest absolute difference of a version's pooled contrast from the first version's, ln scale.
    p : p value of the test that all agree (F on versions - 1 and studies - versions degrees of freedom).
    """

    versions: tuple[str, ...]
    difference: float
    p: float


@dataclass(frozen=True)
class _Comparison:
    """One comparison over all submissions of a pool, whether they are pooled or not.

    Attributes
    ----------
    pool, endpoint, factor, first, second : what is compared; the contrast is ``first`` minus ``second`` on the ln scale.
    contributions : every submission that has both, estimable or not, by study and id.
    studies : number of studies with a two-sided contrast.
    one_sided : number of submissions that give only a bound.
    sharpener_variance : for ``practice``, the variance between sharpeners of one class added to the sampling variance;
        None where no submission has two of one class, so that it stays within tau2.
    versions : agreement between MINOR versions, where two or more can be compared.
    blades_first, blades_second : different blades of each in the submissions that have a contrast or a bound.
    testers : different people who tested in them.
    bounds_included : the sensitivity result with one-sided results weighed in, where there are any.
    not_fitted : what beside the fit has no figures because numbers failed, with the reason.
    """

    pool: PoolKey
    endpoint: str
    factor: str
    first: str
    second: str
    contributions: tuple[Contribution, ...]
    studies: int
    one_sided: int
    sharpener_variance: float | None
    versions: VersionAgreement | None
    blades_first: int
    blades_second: int
    testers: int
    bounds_included: BoundsIncluded | None
    not_fitted: Mapping[str, str]


@dataclass(frozen=True)
class ComparisonNotPooled(_Comparison):
    """A comparison without a pooled ratio.

    Attributes
    ----------
    state : ``listed`` (fewer than three studies), ``single`` (one submission), ``not estimable``, or ``not fitted`` where numbers failed.
    reason : why numbers failed where the state is ``not fitted``; empty otherwise.
    """

    state: str
    reason: str


@dataclass(frozen=True)
class ComparisonPooled(_Comparison):
    """A comparison of three studies or more.

    Attributes
    ----------
    fit : the random-effects fit of the studies.
    tau2_within, tau2_within_interval : variance between submissions of one study; None where no study holds two.
    verdict : against the worthwhile ratio.
    mostly_interested : at least half of the lines come from submissions in which somebody makes or sells a blade compared.
    without_interested : the fit without those, where they are that many and three studies are left.
    checks : how far it leans on single studies, on symmetry and on their being independent; None where their numbers failed.
    cumulative : the fit at the end of each month.
    """

    fit: StudiesPooled
    tau2_within: float | None
    tau2_within_interval: Interval | None
    verdict: Verdict
    mostly_interested: bool
    without_interested: StudiesPooled | None
    checks: StudyChecks | None
    cumulative: tuple[Cumulative, ...]


PooledComparison = ComparisonPooled | ComparisonNotPooled


def compare(
    estimates: Iterable[SubmissionEstimate],
    rows: Iterable[EndpointRow],
    table: RepeatabilityTable,
    worthwhile: dict[tuple[PoolKey, str], float],
    interested: frozenset[str] = frozenset(),
) -> tuple[PooledComparison, ...]:
    """All comparisons of steels, of levels, and of practised with novice sharpeners, per pool and endpoint.

    Parameters
    ----------
    estimates : one per submission and endpoint.
    rows : the endpoint rows, for the classes of sharpeners.
    table : the common repeatability that sampling variances rest on.
    worthwhile : worthwhile ratio by pool and endpoint.
    interested : submissions in which somebody makes or sells a blade compared.

    Returns
    -------
    Sorted by pool, endpoint, factor and names.
    """
    rows = tuple(rows)
    classes, specimens = _sharpener_classes(rows), _specimens(rows)
    grouped: dict[tuple[PoolKey, str], list[SubmissionEstimate]] = defaultdict(list)
    everything: dict[PoolKey, list[SubmissionEstimate]] = defaultdict(list)
    for estimate in estimates:
        grouped[(estimate.pool, estimate.endpoint)].append(estimate)
        everything[estimate.pool].append(estimate)
    clusters = {pool: cluster_numbers(own) for pool, own in everything.items()}
    jobs = [
        (
            key, grouped[key], clusters[key[0]], table.entries[key],
            {pair: classes[pair] for pair in classes if pair[0] in submissions},
            worthwhile[key],
            {where: specimens[where] for where in specimens if where[0] in submissions and where[1] == key[1]},
            interested & submissions,
        )
        for key in sorted(grouped)
        for submissions in [frozenset(one.submission for one in grouped[key])]
    ]  # fmt: skip
    return tuple(one for own in each(_compared, jobs, [AWAITED + 50 * len(grouped[key]) for key, *_ in jobs]) for one in own)


def _compared(
    key: tuple[PoolKey, str],
    estimates: list[SubmissionEstimate],
    clusters: Mapping[str, int],
    entry: Repeatability,
    classes: dict[tuple[str, str], str],
    worthwhile: float,
    specimens: Specimens,
    interested: frozenset[str],
) -> list[PooledComparison]:
    """All comparisons on one endpoint of one pool."""
    found = []
    for (factor, first, second), pairs in sorted(by_pair(estimates).items()):
        failed: dict[str, str] = {}
        extra = None
        if factor == "practice":
            extra = _part(
                Reason("pairwise.what_sharpeners"), failed, partial(_sharpener_variance, estimates, entry, classes), lambda found: (found,)
            )
        found.append(
            _pool(key, (factor, first, second), pairs, clusters, entry, extra, worthwhile, defaultdict(set, specimens), interested, failed)
        )
    return found


def _part(
    what: str, failed: dict[str, str], fit: Callable[[], Result | None], numbers: Callable[[Result], Iterable[ArrayLike | None]]
) -> Result | None:
    """Figures beside the fit; None, and the reason noted, where their numbers fail."""

    def note(why: str) -> None:
        failed[what] = why

    return attempt(fit, note, lambda found: () if found is None else numbers(found))


def _sharpener_classes(rows: Iterable[EndpointRow]) -> dict[tuple[str, str], str]:
    """novice or practised by (submission, sharpener); professionals count as practised, the unknown are left out."""
    classes = {}
    for row in rows:
        practice = practice_of(row)
        if practice is not None:
            classes[(row.submission, row.sharpener)] = practice
    return classes


def _specimens(rows: Iterable[EndpointRow]) -> Specimens:
    """Blades by (submission, endpoint, factor, steel or class of sharpener or level), over the rows that have a value."""
    blades: Specimens = defaultdict(set)
    for row in rows:
        if row.status != "missing":
            for factor in POOLED_FACTORS:
                blades[(row.submission, row.endpoint, factor, ARMS[factor][1](row))].add(row.blade)
    return blades


def leading(comparisons: Iterable[Ranked]) -> Ranked | None:
    """Of several comparisons the one with the most studies, the last by name of equals; None of none.

    Pages quote it, and the log of how estimates moved follows it. Anything with ``studies``, ``first`` and ``second`` may be compared.
    """
    return max(comparisons, key=lambda c: (c.studies, c.first, c.second), default=None)


def by_pair(estimates: Iterable[SubmissionEstimate]) -> dict[tuple[str, str, str], list[Pair]]:
    """Contrasts of steels, of practice and of levels by what they compare."""
    pairs: dict[tuple[str, str, str], list[Pair]] = defaultdict(list)
    for estimate in estimates:
        for contrast in estimate.contrasts:
            if contrast.factor in POOLED_FACTORS:
                pairs[(contrast.factor, contrast.first, contrast.second)].append((estimate, contrast))
    return pairs


def _sharpener_variance(estimates: list[SubmissionEstimate], entry: Repeatability, classes: dict[tuple[str, str], str]) -> float | None:
    """Variance between sharpeners of one class, from submissions in which two of one class meet.

    For a contrast d of two sharpeners of one class E[d^2] = 2 sigma^2 + v: the method of moments, weighted by 1/v^2, the
    weight that is best when sigma^2 is 0 (DerSimonian & Laird 1986 use the same device for tau^2). Floored at 0.
    """
    s2, _ = common_variance(entry)
    excess, weights = [], []
    for estimate in estimates:
        for contrast in estimate.contrasts:
            pair = [classes.get((estimate.submission, name)) for name in (contrast.first, contrast.second)]
            if contrast.factor != "sharpener" or not isinstance(contrast, ContrastEstimated) or None in pair or pair[0] != pair[1]:
                continue
            v = s2 * contrast.unscaled_variance
            excess.append((contrast.estimate**2 - v) / 2)
            weights.append(1 / v**2)
    return max(0.0, float(np.average(excess, weights=weights))) if excess else None


def _pool(
    key: tuple[PoolKey, str],
    names: tuple[str, str, str],
    pairs: list[Pair],
    clusters: Mapping[str, int],
    entry: Repeatability,
    extra: float | None,
    worthwhile: float,
    specimens: Specimens,
    interested: frozenset[str],
    failed: dict[str, str],
) -> PooledComparison:
    """One comparison: studies, the fit where there are enough, and what is asked of it."""
    lines = lines_of(pairs, clusters, entry, extra)
    usable, variances = lines.usable, lines.variances
    pooled = pool_lines(lines, usable)
    fit = pooled.fit
    disinterested = [i for i in usable if pairs[i][0].submission not in interested]
    mostly_interested = 2 * len(disinterested) <= len(usable) and fit is not None
    without = pool_lines(lines, disinterested) if mostly_interested else None
    if without is not None and without.reason:
        failed[Reason("pairwise.what_without_interested")] = without.reason
    weights = dict(zip(usable, _line_weights(pooled, [lines.studies[i] for i in usable]), strict=True))
    contributions = tuple(
        Contribution(estimate, contrast, lines.studies[i], variances[i], weights.get(i)) for i, (estimate, contrast) in enumerate(pairs)
    )
    told, known = [pairs[i] for i in usable], [v for v in variances if v is not None]
    telling = [e for e, c in pairs if not isinstance(c, ContrastNotEstimable)]
    blades = [set().union(*(specimens[(e.submission, key[1], names[0], arm)] for e in telling)) for arm in names[1:]]
    found = _Comparison(
        *key,
        *names,
        contributions=tuple(sorted(contributions, key=lambda c: (c.study, c.estimate.submission))),
        studies=len(pooled.numbers),
        one_sided=sum(isinstance(contrast, ContrastBounded) for _, contrast in pairs),
        sharpener_variance=extra,
        versions=_part(
            Reason("pairwise.what_versions"),
            failed,
            lambda: _version_agreement(told, known),
            lambda found: (found.difference, found.p),
        ),
        blades_first=len(blades[0]),
        blades_second=len(blades[1]),
        testers=len({tester for e in telling for tester in e.testers}),
        bounds_included=_part(
            Reason("pairwise.what_bounds"),
            failed,
            lambda: _with_bounds([c.estimate for _, c in told if isinstance(c, ContrastEstimated)], known, pairs),
            lambda found: (found.estimate,),
        ),
        not_fitted=failed,
    )
    if fit is None:
        state = state_of(len(usable), len(pooled.numbers), pooled.reason)
        return ComparisonNotPooled(**vars(found), state=state, reason=pooled.reason)
    return ComparisonPooled(
        **vars(found),
        fit=fit,
        tau2_within=pooled.tau2_within,
        tau2_within_interval=pooled.tau2_within_interval,
        verdict=verdict_on(fit, worthwhile),
        mostly_interested=mostly_interested,
        without_interested=without.fit if without else None,
        checks=_part(
            Reason("pairwise.what_checks"),
            failed,
            lambda: _checks(pooled, fit, lines.df),
            lambda found: (found.by_people.coefficients, *(one.hat for one in found.influence)),
        ),
        cumulative=cumulative(lines),
    )


def _checks(pooled: Pooled, fit: StudiesPooled, s2_df: float) -> StudyChecks:
    """What is asked of a fit; its studies share no tester, sharpener or blade."""
    numbers = pooled.numbers.tolist()
    return study_checks(pooled.y, pooled.v, numbers, numbers, fit, s2_df if np.isfinite(s2_df) else None)


def _with_bounds(y: list[float], v: list[float], pairs: list[Pair]) -> BoundsIncluded | None:
    profiles = tuple(c.profile for _, c in pairs if isinstance(c, ContrastBounded) and c.profile)
    return with_bounds(y, v, profiles) if profiles else None


def _line_weights(pooled: Pooled, studies: list[int]) -> list[float | None]:
    """Each line's share of the pooled estimate; None for all where nothing is pooled."""
    if pooled.fit is None:
        return [None] * len(studies)
    w = 1 / (pooled.v + pooled.fit.tau2)
    of_study = dict(zip(pooled.numbers.tolist(), w / w.sum(), strict=True))
    return [float(share * of_study[n]) for share, n in zip(pooled.shares, studies, strict=True)]


def _version_agreement(pairs: list[Pair], variances: list[float]) -> VersionAgreement | None:
    """Test that contrasts made under different MINOR versions agree (meta-regression on version, guarded Knapp-Hartung)."""
    versions = sorted({estimate.version for estimate, _ in pairs})
    if len(versions) < 2 or len(pairs) < len(versions) + 2:
        return None
    design = np.array([[1.0, *(estimate.version == v for v in versions[1:])] for estimate, _ in pairs])
    fit = random_effects(np.array([c.estimate for _, c in pairs if isinstance(c, ContrastEstimated)]), np.array(variances), X=design)
    b, covariance = np.asarray(fit.coefficients)[1:], np.asarray(fit.covariance)[1:, 1:]
    statistic = float(b @ np.linalg.solve(covariance, b)) / len(b)
    return VersionAgreement(tuple(versions), float(np.abs(b).max()), float(f_sf(statistic, len(b), fit.df)))
