"""What leaves the third stage: the contrasts of one submission, how sure they are, or why there are none."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.numerics.arrays import Array
from edgehold.numerics.interval import Interval
from edgehold.records.canonical import PoolKey


@dataclass(frozen=True)
class OneSided:
    """A bound on a ratio, where every run of an arm is censored.

    Attributes
    ----------
    kind : ``at least`` or ``at most``.
    ratio : ln of the bound: the one limit of a 95 % interval whose other side is open.
    level : one-sided confidence of the bound.
    """

    kind: str
    ratio: float
    level: float = 0.975


@dataclass(frozen=True)
class Verdict:
    """A contrast held against the worthwhile ratio of its endpoint.

    Attributes
    ----------
    kind : ``better`` or ``worse`` (the first against the second, beyond the worthwhile ratio), ``no difference worth
        having``, ``different, size undecided``, ``undecided``, ``one-sided`` (only a bound), or ``none`` (unbounded on
        both sides).
    excludes : ratio a in "these runs rule out a difference larger than ×a either way"; infinity where they rule out
        none.
    worthwhile_ratio : the ratio it was held against.
    """

    kind: str
    excludes: float
    worthwhile_ratio: float


@dataclass(frozen=True)
class TwoArms:
    """First minus second on the ln scale: exp of it is a ratio, and larger is better for the first.

    Attributes
    ----------
    factor : ``steel``, ``blade``, ``sharpener``, ``practice`` or ``level``. A steel contrast compares the means of the blades
        used; with one blade of each (``blades_first``, ``blades_second``) it speaks of these two blades only.
    first, second : what is compared, in alphabetical order; for practice always ``practised`` (practised or
        professional) and ``novice``.
    sharpener_loading : sum of the squared weights on single sharpeners (practice only), so that persons add this
        times the variance between sharpeners.
    runs_first, runs_second : runs used of each arm.
    blades_first, blades_second : different blades among them.
    """

    factor: str
    first: str
    second: str
    sharpener_loading: float | None
    runs_first: int
    runs_second: int
    blades_first: int
    blades_second: int


@dataclass(frozen=True)
class ContrastEstimated(TwoArms):
    """A contrast with an estimate.

    Attributes
    ----------
    estimate, standard_error, df, interval : its figures.
    unscaled_variance : variance of the estimate divided by the run variance s², so that V = s² × this.
    verdict : of its interval.
    """

    estimate: float
    standard_error: float
    df: float
    interval: Interval
    unscaled_variance: float
    verdict: Verdict


@dataclass(frozen=True)
class ContrastBounded(TwoArms):
    """A contrast of which no more than a bound is known, every run of an arm being censored.

    Attributes
    ----------
    reason : why there is no estimate.
    bound : what can still be said.
    verdict : ``one-sided``.
    profile : (contrast, log-likelihood relative to its largest) on a grid of the ln scale, so that pooling can weigh the bound in;
        empty where the factor is not pooled.
    """

    reason: str
    bound: OneSided
    verdict: Verdict
    profile: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class ContrastNotEstimable(TwoArms):
    """A contrast of which nothing is known.

    Attributes
    ----------
    reason : why.
    """

    reason: str


Contrast = ContrastEstimated | ContrastBounded | ContrastNotEstimable


@dataclass(frozen=True)
class LackOfFit:
    """Whether equal cells agree better among themselves than the additive model fits them (F test).

    Attributes
    ----------
    f, df_model, df_error, p : the F ratio of lack of fit to pure error, its degrees of freedom, its probability.
    """

    f: float
    df_model: int
    df_error: int
    p: float


@dataclass(frozen=True, eq=False)
class SubmissionEstimate:
    """Everything one submission says about one endpoint.

    Attributes
    ----------
    pool, submission, version, month, endpoint, role : which.
    runs_total, runs_used, runs_missing, runs_censored : how many; used and missing add up to the total, censored are
        those of the used that are known on one side only.
    testers, blades, sharpeners : who and what stands behind the used runs, sorted.
    contrasts : estimable or not, in the order steel, blade, sharpener, practice, level.
    covariance : over the contrasts that have an estimate, in their order; shape (k, k).
    s2_own, df_own : this submission's own run variance (nan without replicates) and its degrees of freedom.
    s2, df : moderated by the repeatability table.
    method : how it was fitted, and what was left out, in plain words.
    lack_of_fit : None without repeated cells or where something is censored.
    left_out : what runs share whose effect too few of them allowed to take out, in words.
    """

    pool: PoolKey
    submission: str
    version: str
    month: str
    endpoint: str
    role: str
    runs_total: int
    runs_used: int
    runs_missing: int
    runs_censored: int
    testers: tuple[str, ...]
    blades: tuple[str, ...]
    sharpeners: tuple[str, ...]
    contrasts: tuple[Contrast, ...]
    covariance: Array
    s2_own: float
    df_own: float
    s2: float
    df: float
    method: str
    lack_of_fit: LackOfFit | None = None
    left_out: tuple[str, ...] = ()
