"""Intervals for contrasts of censored runs, by the likelihood ratio scaled to small samples."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import f_ppf
from edgehold.numerics.root_search import root_between

from .censored import CensoredFit, Problem, fit_censored, largest_along, problem_of
from .likelihood_limits import limit_of

LEVEL_TOP = 1e-4  # a likelihood ratio below this tells nothing apart
CLOSE = 1e-11  # of a limit, relative: finer than what is published
SETTLED = 1e-6  # a likelihood ratio below this, far out, means that the likelihood never falls on that side
LAST_STEPS = 5  # of the fit whose coefficients are told; along a profile only the likelihood counts
FAR = 40.0  # standard deviations beyond the data that count as far out
TABULATED = np.linspace(-math.log(100), math.log(100), 93)  # ratios beyond these are of no practical interest
METHOD = "scaled likelihood ratio"


@dataclass(frozen=True, eq=False)
class CensoredRuns:
    """The fit of one submission's censored runs and what its intervals need.

    Attributes
    ----------
    low, high : (n,) limits.
    basis : (n, p) orthonormal design.
    prior_df, prior_s2 : d₀ and s₀².
    fit : the maximum of the penalised likelihood.
    """

    low: Array
    high: Array
    basis: Array
    prior_df: float
    prior_s2: float
    fit: CensoredFit

    @property
    def effective_n(self) -> float:
        """N = n + d₀."""
        return len(self.low) + self.prior_df

    @cached_property
    def problem(self) -> Problem:
        """The likelihood that is maximised."""
        return problem_of(self.low, self.high, self.basis, self.prior_df, self.prior_s2)

    @property
    def df(self) -> float:
        """ν = n − p + d₀."""
        p: int = self.basis.shape[1]
        return self.effective_n - p

    @property
    def s2(self) -> float:
        """σ̂² N/ν; with every run exact the moderated (RSS + d₀s₀²)/(n − p + d₀)."""
        return self.fit.sigma**2 * self.effective_n / self.df


@dataclass(frozen=True)
class ProfileLimits:
    """What the profile of one contrast says.

    Attributes
    ----------
    estimate : where the likelihood is largest, or the middle of its top where that is level; plus or minus infinity where it
        never falls on that side.
    low, high : 95 % limits; infinite on a side on which the likelihood never falls enough.
    inside : whether the 90 % interval lies within the limits asked.
    level_top : the likelihood is so level at its top that its curvature there says nothing: every run lies well within wide
        limits.
    """

    estimate: float
    low: float
    high: float
    inside: bool
    level_top: bool = False


def fit_runs(low: Array, high: Array, basis: Array, prior_df: float, prior_s2: float) -> CensoredRuns:
    """Fit by penalised likelihood.

    Parameters
    ----------
    low, high : (n,) limits on the ln scale.
    basis : (n, p) orthonormal design.
    prior_df, prior_s2 : d₀ > 0 unless n > p, and s₀².
    """
    return CensoredRuns(low, high, basis, prior_df, prior_s2, fit_censored(low, high, basis, prior_df, prior_s2, last_steps=LAST_STEPS))


def profile_limits(runs: CensoredRuns, vector: Array, margin: float) -> ProfileLimits:
    """Estimate and limits of δ = vᵀθ.

    δ is inside where (exp(LR/N) − 1)·ν ≤ F(1, ν), with LR twice the fall of the penalised log-likelihood, N = n + d₀
    and ν = n − p + d₀. With every run exact this is the moderated t interval, since then LR = N ln(1 + t²/ν).

    Parameters
    ----------
    runs : the fit.
    vector : (p,) v, the contrast in the basis, not zero.
    margin : ln of the worthwhile ratio, for the 90 % interval.
    """
    profile = _Profile(runs, vector)
    one_sided = bool(np.isinf(runs.low).any() or np.isinf(runs.high).any())  # without any, no side can be open
    low, high = (profile.steep(side, profile.allowed(0.95)) for side in (-1, +1))
    open_low, open_high = (one_sided and one is None and profile.flat(side) for side, one in ((-1, low), (+1, high)))
    if open_low and open_high:
        return ProfileLimits(math.nan, -math.inf, math.inf, False)
    if low is None:
        low = -math.inf if open_low else profile.limit(-1, profile.allowed(0.95))
    if high is None:
        high = math.inf if open_high else profile.limit(+1, profile.allowed(0.95))
    if open_low or open_high:
        return ProfileLimits(-math.inf if open_low else math.inf, low, high, False)
    level_top = math.isfinite(high - low) and float(vector @ runs.fit.covariance @ vector) > ((high - low) / 2) ** 2
    estimate = profile.middle() if level_top else profile.estimate
    return ProfileLimits(estimate, low, high, profile.within(margin, low, high), level_top)


def tabulated_profile(runs: CensoredRuns, vector: Array) -> tuple[tuple[float, float], ...]:
    """Log-likelihood of δ = vᵀθ relative to its largest, on a grid from ratio 1/100 to 100.

    Parameters
    ----------
    runs : the fit.
    vector : (p,) v, the contrast in the basis, not zero.

    Returns
    -------
    Pairs (δ, −LR(δ)/2).
    """
    profile = _Profile(runs, vector)
    largest = largest_along(
        runs.low, runs.high, profile.x, runs.prior_df, runs.prior_s2, np.outer(TABULATED, profile.direction), profile.best
    )
    fallen = np.maximum(0.0, 2 * (runs.fit.objective - largest))
    return tuple((float(delta), -float(fall) / 2) for delta, fall in zip(TABULATED, fallen, strict=True))


@lru_cache(maxsize=4096)
def _quantile(level: float, df: float) -> float:
    """Of F with 1 and ``df`` degrees of freedom."""
    return float(f_ppf(level, 1, df))


class _Profile:
    """Twice the fall of the objective along δ, each fit starting from the one before."""

    def __init__(self, runs: CensoredRuns, vector: Array):
        self.runs, self.length2 = runs, float(vector @ vector)
        self.direction = runs.basis @ vector / self.length2
        self.vector = vector
        self.estimate = float(vector @ runs.fit.theta)
        finite = np.concatenate([side[np.isfinite(side)] for side in (runs.low, runs.high)])
        self.step = runs.fit.sigma * math.sqrt(self.length2)
        self.reach = float(np.ptp(finite)) * math.sqrt(self.length2) + FAR * self.step

    @cached_property
    def rest(self) -> Array:
        """Directions in which δ stays."""
        from scipy.linalg import null_space  # here, for it takes longer to import than most plans have use for it

        found: Array = null_space(self.vector[None])
        return found

    @cached_property
    def x(self) -> Array:
        """The design without δ."""
        return self.runs.basis @ self.rest

    @cached_property
    def best(self) -> Array:
        """γ and φ without δ at the maximum."""
        return np.append(self.rest.T @ self.runs.fit.theta, 1.0) / self.runs.fit.sigma

    @cached_property
    def start(self) -> Array:
        """γ and φ from which the next fit starts."""
        return self.best

    def steep(self, side: int, largest: float) -> float | None:
        """``limit`` in a few steps where the likelihood falls steeply; None where it must be looked for."""
        fit = self.runs.fit
        found = limit_of(self.runs.problem, np.append(fit.theta, 1.0) / fit.sigma, self.vector, largest / 2, side)
        return found if found is not None and abs(found - self.estimate) < self.reach else None

    def fall(self, delta: float, start: Array | None = None) -> float:
        """LR at δ, not below 0, from the fit before or from another one: from far out a flat likelihood is hard to climb."""
        runs, shift = self.runs, self.direction * delta
        start = self.start if start is None else start
        fitted = fit_censored(runs.low - shift, runs.high - shift, self.x, runs.prior_df, runs.prior_s2, start)
        self.start = np.append(fitted.theta, 1.0) / fitted.sigma
        return max(0.0, 2 * (runs.fit.objective - fitted.objective))

    def allowed(self, level: float) -> float:
        """The LR at which the scaled statistic reaches its quantile."""
        return self.runs.effective_n * math.log1p(_quantile(level, self.runs.df) / self.runs.df)

    def flat(self, side: int) -> bool:
        """Whether the likelihood has not fallen far out on a side."""
        flat = self.fall(self.estimate + side * self.reach) < SETTLED
        self.start = self.best
        return flat

    def middle(self) -> float:
        """The middle of the stretch over which the likelihood tells nothing apart."""
        return (self.limit(-1, LEVEL_TOP) + self.limit(+1, LEVEL_TOP)) / 2

    def limit(self, side: int, largest: float) -> float:
        """Where the LR reaches its largest allowed value on a side; infinity where it settles below."""
        allowed, inner, step = math.sqrt(largest), self.estimate, self.step
        near, known = self.best, {inner: -math.sqrt(largest)}
        self.start = near
        while step < 2 * self.reach:
            outer = self.estimate + side * step
            known[outer] = math.sqrt(self.fall(outer)) - allowed
            if known[outer] > 0:

                def above(delta: float, near: Array = near) -> float:
                    return known[delta] if delta in known else math.sqrt(self.fall(delta, near)) - allowed

                return root_between(above, min(inner, outer), max(inner, outer), CLOSE)
            inner, step, near = outer, 2 * step, self.start
        return side * math.inf

    def within(self, margin: float, low: float, high: float) -> bool:
        """Whether the 90 % interval lies within ± margin, as it does on a side on which the 95 % limit does."""
        if abs(self.estimate) >= margin:
            return False
        allowed = self.allowed(0.90)
        return (high < margin or self.fall(margin) > allowed) and (low > -margin or self.fall(-margin) > allowed)
