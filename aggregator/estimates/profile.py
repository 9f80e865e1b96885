"""Intervals for contrasts of censored runs, by the likelihood ratio scaled to small samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import null_space
from scipy.stats import f as f_distribution

from aggregator.numerics.root_search import root_between

from .censored import CensoredFit, fit_censored

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

    low: np.ndarray
    high: np.ndarray
    basis: np.ndarray
    prior_df: float
    prior_s2: float
    fit: CensoredFit

    @property
    def effective_n(self) -> float:
        """N = n + d₀."""
        return len(self.low) + self.prior_df

    @property
    def df(self) -> float:
        """ν = n − p + d₀."""
        return self.effective_n - self.basis.shape[1]

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


def fit_runs(low: np.ndarray, high: np.ndarray, basis: np.ndarray, prior_df: float, prior_s2: float) -> CensoredRuns:
    """Fit by penalised likelihood.

    Parameters
    ----------
    low, high : (n,) limits on the ln scale.
    basis : (n, p) orthonormal design.
    prior_df, prior_s2 : d₀ > 0 unless n > p, and s₀².
    """
    return CensoredRuns(low, high, basis, prior_df, prior_s2, fit_censored(low, high, basis, prior_df, prior_s2, last_steps=LAST_STEPS))


def profile_limits(runs: CensoredRuns, vector: np.ndarray, margin: float) -> ProfileLimits:
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
    open_low, open_high = one_sided and profile.flat(-1), one_sided and profile.flat(+1)
    if open_low and open_high:
        return ProfileLimits(math.nan, -math.inf, math.inf, False)
    low = -math.inf if open_low else profile.limit(-1, profile.allowed(0.95))
    high = math.inf if open_high else profile.limit(+1, profile.allowed(0.95))
    if open_low or open_high:
        return ProfileLimits(-math.inf if open_low else math.inf, low, high, False)
    level_top = math.isfinite(high - low) and float(vector @ runs.fit.covariance @ vector) > ((high - low) / 2) ** 2
    estimate = profile.middle() if level_top else profile.estimate
    return ProfileLimits(estimate, low, high, profile.within(margin), level_top)


def tabulated_profile(runs: CensoredRuns, vector: np.ndarray) -> tuple[tuple[float, float], ...]:
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
    return tuple((float(delta), -profile.fall(float(delta)) / 2) for delta in TABULATED)


class _Profile:
    """Twice the fall of the objective along δ, each fit starting from the one before."""

    def __init__(self, runs: CensoredRuns, vector: np.ndarray):
        self.runs, self.length2 = runs, float(vector @ vector)
        self.direction = runs.basis @ vector / self.length2
        self.rest = null_space(vector[None])
        self.x = runs.basis @ self.rest
        self.start = self.best = np.append(self.rest.T @ runs.fit.theta, 1.0) / runs.fit.sigma
        self.estimate = float(vector @ runs.fit.theta)
        finite = np.concatenate([side[np.isfinite(side)] for side in (runs.low, runs.high)])
        self.step = runs.fit.sigma * math.sqrt(self.length2)
        self.reach = float(np.ptp(finite)) * math.sqrt(self.length2) + FAR * self.step

    def fall(self, delta: float, start: np.ndarray | None = None) -> float:
        """LR at δ, not below 0, from the fit before or from another one: from far out a flat likelihood is hard to climb."""
        runs, shift = self.runs, self.direction * delta
        start = self.start if start is None else start
        fitted = fit_censored(runs.low - shift, runs.high - shift, self.x, runs.prior_df, runs.prior_s2, start)
        self.start = np.append(fitted.theta, 1.0) / fitted.sigma
        return max(0.0, 2 * (runs.fit.objective - fitted.objective))

    def allowed(self, level: float) -> float:
        """The LR at which the scaled statistic reaches its quantile."""
        return self.runs.effective_n * math.log1p(f_distribution.ppf(level, 1, self.runs.df) / self.runs.df)

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
                ends = sorted((inner, outer))
                return root_between(
                    lambda delta, near=near: known[delta] if delta in known else math.sqrt(self.fall(delta, near)) - allowed, *ends, CLOSE
                )
            inner, step, near = outer, 2 * step, self.start
        return side * math.inf

    def within(self, margin: float) -> bool:
        """Whether the 90 % interval lies within ± margin."""
        allowed = self.allowed(0.90)
        return abs(self.estimate) < margin and min(self.fall(margin), self.fall(-margin)) > allowed
