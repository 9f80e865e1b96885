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

from .inputs import RESIDUAL, Rows


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
class CrossedFit:
    """A crossed fit. What is not available is None, with the reason in ``reasons``.

    Attributes
    ----------
    coefficients, standard_errors, covariance : (p,), (p,), (p, p): b, and Φ = (XᵀΣ⁻¹X)⁻¹ at the estimated variances.
    df : (p,) Satterthwaite degrees of freedom, at most n − p, or units − p where fewer units than rows are independent.
    variances : by name of the term; ``"residual"`` too where V was None. Zero is an estimate like any other.
    variance_intervals : by name, profile-likelihood intervals of the criterion that was fitted.
    effects : by name, predicted effects.
    log_likelihood : restricted, −½((n − p) ln 2π + ln|Σ| + ln|XᵀΣ⁻¹X| + rᵀΣ⁻¹r), or ordinary for ML.
    convergence : record of the search.
    adjusted_covariance : (p, p) Φ with the Kenward–Roger correction where n permits; its df for one coefficient are ``df``.
    reasons : why something is None or was left out, by name of the field, with a dot and the term's name where it is one term's.
    variance_covariance : (m, m) large-sample covariance of the variances, inverse expected information, zeros kept.
    covariance_slopes : (m, p, p) ∂Φ/∂σ²ⱼ.
    rows, criterion, level : n, and as asked for.
    units : independent units; None where every row is one.
    """

    coefficients: Array | None
    standard_errors: Array | None
    covariance: Array | None
    df: Array | None
    variances: dict[str, float | None]
    variance_intervals: dict[str, Interval | None]
    effects: dict[str, Effects | None]
    log_likelihood: float | None
    convergence: CrossedConvergence
    adjusted_covariance: Array | None
    reasons: dict[str, str]
    variance_covariance: Array | None
    covariance_slopes: Array | None
    rows: int
    criterion: str
    level: float
    units: int | None = None

    @property
    def independent(self) -> int:
        """Number of independent units: rows, unless fewer were named."""
        return self.rows if self.units is None else self.units

    @property
    def failure(self) -> str:
        """Why there are no coefficients of a search that settled; empty where there are."""
        settled = self.coefficients is not None and self.convergence.converged
        return "" if settled else self.reasons.get("coefficients") or self.reasons["convergence"]

    def contrast(self, c: ArrayLike) -> LinearContrast | None:
        """cᵀb with its standard error, degrees of freedom and t interval; None where the coefficients are None.

        Parameters
        ----------
        c : (p,) coefficients of the contrast, not all zero.

        Raises
        ------
        InputError
            If the length is not p, a value is not finite or all are zero.
        """
        b, covariance, slopes, W = self.coefficients, self.covariance, self.covariance_slopes, self.variance_covariance
        if b is None or covariance is None or slopes is None or W is None:  # all of them or none
            return None
        c = np.asarray(c, dtype=float)
        if c.shape != b.shape or not np.isfinite(c).all() or not c.any():
            raise InputError(f"a contrast needs {len(b)} finite numbers, not all zero; got {c!r}")
        estimate, error = float(c @ b), float(np.sqrt(c @ covariance @ c))
        df = degrees_of_freedom(c, covariance, slopes, W, self.independent)
        half = error * float(t_ppf((1 + self.level) / 2, df))
        return LinearContrast(estimate, error, df, Interval(estimate - half, estimate + half, self.level, "satterthwaite-t"))


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


def nothing_fitted(rows: Rows, reason: str, steps: int = 0, evaluations: int = 0) -> CrossedFit:
    """The result of a fit that was not had: every number None, with the one reason."""
    terms = [term.name for term in rows.terms]
    names = terms + ([] if rows.known is not None else [RESIDUAL])
    return CrossedFit(
        coefficients=None,
        standard_errors=None,
        covariance=None,
        df=None,
        variances=dict.fromkeys(names),
        variance_intervals=dict.fromkeys(names),
        effects=dict.fromkeys(terms),
        log_likelihood=None,
        convergence=CrossedConvergence(False, steps, evaluations, 0.0, reason),
        adjusted_covariance=None,
        reasons={"coefficients": reason, "variances": reason, "convergence": reason},
        variance_covariance=None,
        covariance_slopes=None,
        rows=rows.n,
        criterion=rows.criterion,
        level=rows.level,
    )
