"""A network of comparisons: steels never met side by side are compared through those they both met.

The symbols are those of ``edgehold.pooling``; n contrasts, p = treatments − components coefficients.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.residual_spectrum import (
    Spectrum,
    generalised_fit,
    maximise,
    profile_interval,
    residual_q,
    residual_spectrum,
    restricted_log_likelihood,
)
from edgehold.pooling.inputs import check_level, frozen
from edgehold.pooling.pairwise.heterogeneity import Convergence
from edgehold.pooling.pairwise.random_effects import INTERVAL_METHODS
from edgehold.words import Reason

from .design import Comparisons, comparisons
from .inconsistency import Inconsistency, NodeSplit, NoSplit, design_by_treatment, node_splits, scale_factor

SPLIT_FROM = 10  # studies: below it direct against indirect is shown only when asked for
TAU2_METHODS = ("reml", "common")


@dataclass(frozen=True)
class NetworkContrast:
    """One treatment against another; numbers are None where a reason stands in ``reason``.

    Attributes
    ----------
    first, second : treatments; the estimate is first minus second.
    estimate, standard_error : on the scale of ``y``.
    interval : at the fit's level, or None.
    df : degrees of freedom of the interval; ``inf``: normal.
    direct_studies : number of studies that hold both.
    reason : why there is no estimate, or no interval; empty otherwise.
    """

    first: Hashable
    second: Hashable
    estimate: float | None
    standard_error: float | None
    interval: Interval | None
    df: float | None
    direct_studies: int
    reason: str


@dataclass(frozen=True, eq=False)
class NetworkFit:
    """A network under consistency. What is not available is None, with the reason beside it.

    Attributes
    ----------
    treatments : sorted labels.
    components : the groups of treatments that comparisons join; one group when the network holds together.
    reason : how the network falls apart; empty when it holds together.
    effects : (t,) effect of each treatment against the first of its component.
    covariance : (t, t) of ``effects``, with the factor that the interval's method has; zeros for the first of a component.
    tau2, tau2_interval : between-study variance of a contrast and its interval by restricted profile likelihood; None where no
        contrast is left to tell it, the latter also for a common effect.
    df : degrees of freedom of intervals: n − p, or ``inf`` for ``"wald"``.
    interval_reason : why contrasts have no interval; empty otherwise.
    inconsistency : Q in its parts and the design-by-treatment tests.
    splits : direct against indirect, one a pair that some study holds both of; empty where not looked at.
    splits_reason : why not; empty otherwise.
    log_likelihood : restricted, −½((n − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r); None for a common effect or where n = p.
    direct_studies : (t, t) number of studies that hold both.
    studies, contrasts : how many studies, and independent contrasts n.
    surplus : rows of the input set aside because others of their study add up to them.
    tau2_method, interval_method, level : as asked for.
    convergence : record of the search for tau2; None where there was none.
    """

    treatments: tuple[Hashable, ...]
    components: tuple[tuple[Hashable, ...], ...]
    reason: str
    effects: Array
    covariance: Array
    tau2: float | None
    tau2_interval: Interval | None
    df: float
    interval_reason: str
    inconsistency: Inconsistency
    splits: tuple[NodeSplit | NoSplit, ...]
    splits_reason: str
    log_likelihood: float | None
    direct_studies: Ints
    studies: int
    contrasts: int
    surplus: tuple[int, ...]
    tau2_method: str
    interval_method: str
    level: float
    convergence: Convergence | None

    def contrast(self, first: Hashable, second: Hashable) -> NetworkContrast:
        """First against second, direct and indirect evidence together.

        Raises
        ------
        InputError
            If either is not in the network or both are the same.
        """
        for one in (first, second):
            if one not in self.treatments:
                raise InputError(f"a treatment must be one of {', '.join(map(str, self.treatments))}; got {one!r}")
        if first == second:
            raise InputError(f"a contrast needs two different treatments; got {first!r} twice")
        a, b = self.treatments.index(first), self.treatments.index(second)
        if not any(first in group and second in group for group in self.components):
            reason = Reason("network.no_chain", first=str(first), second=str(second))
            return NetworkContrast(first, second, None, None, None, None, 0, reason)
        estimate = float(self.effects[a] - self.effects[b])
        variance = self.covariance[a, a] + self.covariance[b, b] - 2 * self.covariance[a, b]
        error = float(np.sqrt(max(variance, 0.0)))
        half = 0.0 if self.interval_reason else float(t_ppf((1 + self.level) / 2, self.df)) * error
        interval = None if self.interval_reason else Interval(estimate - half, estimate + half, self.level, self.interval_method)
        return NetworkContrast(first, second, estimate, error, interval, self.df, int(self.direct_studies[a, b]), self.interval_reason)


def network(
    y: ArrayLike,
    V: ArrayLike,
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    study: Sequence[Hashable],
    *,
    tau2_method: str = "reml",
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    split: bool | None = None,
) -> NetworkFit:
    """Fit y ~ N(Xb, V + tau2·H) under consistency: every contrast is a difference of two treatments' effects.

    H has correlation ½ between contrasts of one study against a common arm, as if every arm of a study varied on its own by
    tau2/2 (Higgins & Whitehead 1996; Lu & Ades 2004; Salanti et al. 2008).

    Parameters
    ----------
    y : (n,) contrasts, ``first`` minus ``second``; ln ratios.
    V : (n, n) their sampling covariance. Contrasts of one study that share an arm covary; a study of m arms may give m − 1
        contrasts or any more of which the others are sums, in ``y`` and in V.
    first, second : (n,) labels of treatments (steels).
    study : (n,) labels of studies (submissions).
    tau2_method : ``"reml"``, the global maximum over tau2 ≥ 0, or ``"common"``.
    interval : as for ``random_effects``; the factor is Q(tau2)/(n − p) (Jackson & Riley 2014, Stat. Med. 33:541–554).
    level : level of every interval.
    split : whether direct is set against indirect evidence; None: from 10 studies on.

    Returns
    -------
    NetworkFit
        A network that falls apart is fitted all the same, with one tau2; contrasts across its components have a reason instead of
        a number.

    Raises
    ------
    InputError
        If lengths differ, a value is not finite, a variance is not positive, V is not symmetric or positive definite over the
        independent contrasts, a study's surplus contrasts are not sums of the others, a treatment is set against itself, or a
        method or level is unknown.

    Notes
    -----
    Two treatments and studies of one contrast: reduces to ``random_effects``, except that ``tau2_interval`` is by profile
    likelihood here.

    Examples
    --------
    Ten drugs that lower glucose, 26 trials of which one has three arms (Senn, Gavini, Magrez & Scheen 2013, Stat. Methods Med. Res.
    22:169–189): change of HbA1c. Letters are initials; 0 is placebo, g miglitol, t sitagliptin. The R package metafor has tau2 0.0999,
    −1.128 for metformin against placebo with a standard error of 0.149, and −1.234 for rosiglitazone against placebo.

    >>> import numpy as np
    >>> from edgehold.pooling import network
    >>> first = "mrarmpvmmtgggrmpmbarbramrmr"
    >>> second = "s0000r00p00000r000s00s000r0"
    >>> y = [-0.37, -1.30, -0.80, -1.34, -1.90, 0.10, -0.70, -0.40, -0.16, -0.57, -0.74, -1.41, -0.68, -0.77,
    ...      0.00, -1.30, -0.82, -1.01, -0.40, -1.09, -0.23, -1.20, -1.00, -1.20, -1.10, 0.14, -1.50]
    >>> V = np.diag([0.0140, 0.0103, 0.0205, 0.0206, 0.0200, 0.0335, 0.0162, 0.1897, 0.0072, 0.0167, 0.0338, 0.0500, 0.0800, 0.0116,
    ...              0.0547, 0.0161, 0.0098, 0.0187, 0.0240, 0.0512, 0.1202, 0.0206, 0.2180, 0.1412, 0.0130, 0.0501, 0.0264])
    >>> V[22, 23] = V[23, 22] = 0.1156  # one trial's two contrasts, which share its placebo arm
    >>> study = [*range(23), *range(22, 26)]
    >>> fit = network(y, V, first, second, study, interval="wald")
    >>> metformin = fit.contrast("m", "0")
    >>> round(fit.tau2, 2), round(metformin.estimate, 2), round(metformin.standard_error, 2), round(fit.contrast("r", "0").estimate, 2)
    (0.1, -1.13, 0.15, -1.23)
    """
    data = comparisons(y, V, first, second, study)
    _check_choices(tau2_method, interval, level)
    n, p = len(data.y), len(data.free)
    spectrum = residual_spectrum(data.y, data.V, data.H, data.design_matrix) if n > p else None
    best = maximise(spectrum) if spectrum is not None and tau2_method == "reml" else None
    tau2 = best.at if best else 0.0
    effects, covariance = _effects(data, spectrum, tau2, interval)
    components = _components(data)
    splits_reason = _why_no_splits(split, len(data.studies), n > p)
    return NetworkFit(
        treatments=data.treatments,
        components=components,
        reason=_apart(components),
        effects=effects,
        covariance=covariance,
        tau2=None if spectrum is None else tau2,
        tau2_interval=profile_interval(spectrum, tau2, level) if spectrum and best else None,
        df=np.inf if interval == "wald" else float(n - p),
        interval_reason=_why_no_interval(n, p, interval),
        inconsistency=design_by_treatment(data),
        splits=() if splits_reason or spectrum is None else node_splits(data, spectrum, tau2_method == "common", interval),
        splits_reason=splits_reason,
        log_likelihood=restricted_log_likelihood(spectrum, tau2) if spectrum and best else None,
        direct_studies=_direct_studies(data),
        studies=len(data.studies),
        contrasts=n,
        surplus=data.surplus,
        tau2_method=tau2_method,
        interval_method=interval,
        level=level,
        convergence=Convergence("global maximum", best.slope, best.local_maxima, best.on_boundary) if best else None,
    )


def _effects(data: Comparisons, spectrum: Spectrum | None, tau2: float, interval: str) -> tuple[Array, Array]:
    """Every treatment against the first of its component, and their covariance."""
    fit = generalised_fit(data.y, data.V + tau2 * data.H, data.design_matrix)
    factor = 1.0 if spectrum is None else scale_factor(residual_q(spectrum, tau2), len(spectrum.z), interval)
    t = len(data.treatments)
    effects, covariance = np.zeros(t), np.zeros((t, t))
    effects[data.free], covariance[np.ix_(data.free, data.free)] = fit.coefficients, factor * fit.covariance
    return frozen(effects), frozen(covariance)


def _components(data: Comparisons) -> tuple[tuple[Hashable, ...], ...]:
    return tuple(
        tuple(label for label, group in zip(data.treatments, data.component, strict=True) if group == g)
        for g in range(data.component.max() + 1)
    )


def _apart(components: tuple[tuple[Hashable, ...], ...]) -> str:
    if len(components) == 1:
        return ""
    groups = "; ".join(", ".join(map(str, group)) for group in components)
    return Reason("network.apart", number=len(components), groups=groups)


def _direct_studies(data: Comparisons) -> Ints:
    count = np.zeros((len(data.treatments),) * 2, dtype=int)
    for design in data.designs:
        for part in design:
            count[np.ix_(part, part)] += 1
    np.fill_diagonal(count, 0)
    count.setflags(write=False)
    return count


def _why_no_interval(n: int, p: int, interval: str) -> str:
    contrasts, coefficients = Reason("network.contrasts", contrasts=n), Reason("network.coefficients", coefficients=p)
    if n == p:
        return Reason("network.none_left_over", contrasts=contrasts, coefficients=coefficients)
    if interval == "guarded-knapp-hartung" and n < p + 2:
        return Reason("network.without_interval", contrasts=contrasts, coefficients=coefficients)
    return ""


def _why_no_splits(split: bool | None, studies: int, spare: bool) -> str:
    if split is False:
        return Reason("network.split_not_asked")
    if not spare:
        return Reason("network.split_nothing_spare")
    if split is None and studies < SPLIT_FROM:
        return Reason("network.split_few_studies", studies=studies, least=SPLIT_FROM)
    return ""


def _check_choices(tau2_method: str, interval: str, level: float) -> None:
    if tau2_method not in TAU2_METHODS:
        raise InputError(f"tau2_method must be one of {', '.join(TAU2_METHODS)}; got {tau2_method!r}")
    if interval not in INTERVAL_METHODS:
        raise InputError(f"interval must be one of {', '.join(INTERVAL_METHODS)}; got {interval!r}")
    check_level(level)
