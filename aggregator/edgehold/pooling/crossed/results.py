"""Results of ``crossed``: what a fit holds, and what can be asked of it."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics import mixed_inference
from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval


@dataclass(frozen=True)
class CrossedConvergence:
    """How the search for the variances ended.

    Attributes
    ----------
    converged : whether the criterion's minimum was reached.
    steps, evaluations : how many steps were taken and how many times the criterion was evaluated.
    largest_slope : largest slope of minus twice the log-likelihood in the logarithm of a variance above zero.
    message : in words.
    """

    converged: bool
    steps: int
    evaluations: int
    largest_slope: float
    message: str


@dataclass(frozen=True, eq=False)
class Effects:
    """Predicted effects of one random term, shrunken towards zero. People's effects are published only as a distribution.

    Attributes
    ----------
    levels : the labels (or columns of the given matrix), in order.
    values : (qₖ,) û.
    standard_errors : (qₖ,) of û − u, the coefficients' uncertainty included.
    conditional_standard_errors : (qₖ,) with the coefficients taken as known.
    """

    levels: tuple[Hashable, ...]
    values: Array
    standard_errors: Array
    conditional_standard_errors: Array


@dataclass(frozen=True)
class LinearContrast:
    """A linear function of the coefficients.

    Attributes
    ----------
    estimate, standard_error, df : cᵀb, its standard error and Satterthwaite degrees of freedom.
    interval : t interval.
    """

    estimate: float
    standard_error: float
    df: float
    interval: Interval


@dataclass(frozen=True, eq=False)
class _Variances:
    """Variances of a crossed fit. Of a term whose variance is not told nothing is told; its reason is in ``reasons``.

    Attributes
    ----------
    variances : by name of the term; ``"residual"`` too where V was None. Zero is an estimate like any other.
    variance_intervals : by name, profile-likelihood intervals of the criterion that was fitted.
    effects : by name, predicted effects.
    variance_covariance : (m, m) large-sample covariance of the variances, inverse expected information, zeros kept.
    log_likelihood : restricted, −½((n − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r), or ordinary for ML.
    convergence : record of the search.
    reasons : why something is None or was left out, by name of the field, with a dot and the term's name where it is one term's.
    rows, criterion, level : n, and as asked for.
    """

    variances: dict[str, float | None]
    variance_intervals: dict[str, Interval | None]
    effects: dict[str, Effects | None]
    variance_covariance: Array
    log_likelihood: float
    convergence: CrossedConvergence
    reasons: dict[str, str]
    rows: int
    criterion: str
    level: float


@dataclass(frozen=True, eq=False)
class OnlyVariancesFitted(_Variances):
    """A crossed fit without coefficients: columns of X depend on each other."""

    @property
    def reason(self) -> str:
        """Why there are no coefficients."""
        return self.reasons["coefficients"]


@dataclass(frozen=True, eq=False)
class CrossedFitted(_Variances):
    """A crossed fit with coefficients.

    Attributes
    ----------
    coefficients, standard_errors, covariance : (p,), (p,), (p, p): b, and Φ = (XᵀΣ⁻¹X)⁻¹ at the estimated variances.
    df : (p,) Satterthwaite degrees of freedom, at most units − p.
    adjusted_covariance : (p, p) Φ with the Kenward–Roger correction; None, with its reason, where n does not permit it. Its df for one
        coefficient are ``df``.
    covariance_slopes : (m, p, p) ∂Φ/∂σ²ⱼ.
    units : independent units: rows, unless fewer were named.
    """

    coefficients: Array
    standard_errors: Array
    covariance: Array
    df: Array
    adjusted_covariance: Array | None
    covariance_slopes: Array
    units: int

    def contrast(self, c: ArrayLike) -> LinearContrast:
        """cᵀb with its standard error, degrees of freedom and t interval.

        Parameters
        ----------
        c : (p,) coefficients of the contrast, not all zero.

        Raises
        ------
        InputError
            If the length is not p, a value is not finite or all are zero.
        """
        c = np.asarray(c, dtype=float)
        if c.shape != self.coefficients.shape or not np.isfinite(c).all() or not c.any():
            raise InputError(f"a contrast needs {len(self.coefficients)} finite numbers, not all zero; got {c!r}")
        estimate, error = float(c @ self.coefficients), float(np.sqrt(c @ self.covariance @ c))
        df = degrees_of_freedom(c, self.covariance, self.covariance_slopes, self.variance_covariance, self.units)
        half = error * float(t_ppf((1 + self.level) / 2, df))
        return LinearContrast(estimate, error, df, Interval(estimate - half, estimate + half, self.level, "satterthwaite-t"))


@dataclass(frozen=True)
class NothingFitted:
    """No crossed fit.

    Attributes
    ----------
    reason : why there is none.
    """

    reason: str


CrossedFit = CrossedFitted | OnlyVariancesFitted | NothingFitted


def settled(fit: CrossedFit) -> CrossedFitted | str:
    """A fit with coefficients whose search settled, or why there is none."""
    if not isinstance(fit, CrossedFitted):
        return fit.reason
    return fit if fit.convergence.converged else fit.reasons["convergence"]


def degrees_of_freedom(c: Array, covariance: Array, slopes: Array, W: Array, n: int) -> float:
    """Satterthwaite's ν, at most n − p; infinite where no variance was estimated."""
    if len(slopes) == 0:
        return np.inf
    return float(min(mixed_inference.satterthwaite(c, covariance, slopes, W), n - len(c)))


def degrees_of_freedom_each(covariance: Array, slopes: Array, W: Array, n: int) -> Array:
    """(p,) the same for each coefficient."""
    if len(slopes) == 0:
        return np.full(len(covariance), np.inf)
    return np.minimum(mixed_inference.satterthwaite_each(covariance, slopes, W), n - len(covariance))
