"""What somebody new would meet who sharpens new blades of both steels and cuts with them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import t_ppf
from edgehold.numerics.interval import Interval
from edgehold.pooling.random_terms import TermsHeld

from .inputs import RESIDUAL
from .results import CrossedFitted

RENEWED = ("blade", "steel × tester", "steel × sharpener")  # what is drawn anew, once for each of the two steels
LEAST_DF = 1.0  # a variance made of squares of normal values is never less certain than one such square
RUNS = 2  # runs on each steel that "as you would measure it" assumes


@dataclass(frozen=True)
class NewHands:
    """Prediction of one difference for new blades in new hands.

    Attributes
    ----------
    standard_error : root of cᵀΦc + 2σ²_blade + 2σ²_steel×tester + 2σ²_steel×sharpener (+ 2σ²/m).
    df : Satterthwaite's.
    interval : t interval about the estimate.
    """

    standard_error: float
    df: float
    interval: Interval


def lacking(terms: TermsHeld) -> tuple[str, ...]:
    """What would be drawn anew but stands in no variance of the fit, neither its own nor one that holds it."""
    why = {term.name: term.aliased_with for term in terms.dropped}

    def stands(name: str, seen: tuple[str, ...] = ()) -> bool:
        if name in terms.held:
            return name in RENEWED
        return any(stands(other, (*seen, name)) for other in why.get(name, ()) if other not in seen)

    return tuple(name for name in RENEWED if not stands(name))


def new_hands(fit: CrossedFitted, c: Array, estimate: float, covariance: Array, least: float, runs: int | None = None) -> NewHands | None:
    """Prediction for new hands; None where a variance it rests on is not available.

    Parameters
    ----------
    fit : of all runs.
    c, estimate : (p,) the contrast, and its estimate.
    covariance : (p, p) of the coefficients.
    least : half the width of the interval for what comes before: an independent part more never makes it narrower, though its
        larger degrees of freedom might.
    runs : runs on each steel, for what one would measure; None for what is there to be measured.

    Notes
    -----
    Degrees of freedom ν = 2T²/(hᵀWh), T the sum of variances and h its slopes in each of them (Satterthwaite 1946,
    Biometrics Bulletin 2:110–114), at least 1 and at most independent units less coefficients.
    """
    W, names = fit.variance_covariance, list(fit.variances)
    if len(W) != len(names) or None in fit.variances.values():
        return None
    loads = _loads(names, runs)
    added = float(loads @ np.array([fit.variances[name] for name in names], dtype=float))
    total = float(c @ fit.covariance @ c) + added
    slope = np.einsum("i,kij,j->k", c, fit.covariance_slopes, c) + loads
    spread = float(slope @ W @ slope)
    ceiling = fit.units - len(c)
    df = max(min(2 * total**2 / spread, ceiling), LEAST_DF) if spread > 0 else float(ceiling)
    error = float(np.sqrt(c @ covariance @ c + added))
    half = max(error * float(t_ppf((1 + fit.level) / 2, df)), least)
    return NewHands(error, df, Interval(estimate - half, estimate + half, fit.level, "satterthwaite-t, new hands"))


def _loads(names: list[str], runs: int | None) -> Array:
    """How often each variance enters the sum: twice where drawn anew for both steels."""
    loads: Mapping[str, float] = dict.fromkeys(RENEWED, 2.0) | ({RESIDUAL: 2.0 / runs} if runs else {})
    return np.array([loads.get(name, 0.0) for name in names])
