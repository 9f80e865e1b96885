"""A moderator that is itself a reading: its differences with reading error taken out (regression calibration)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array, Ints
from edgehold.words import Reason

LEAST_RELIABILITY = 0.3  # of the differences within a set; below it the correction is larger than what there is to correct


@dataclass(frozen=True, eq=False)
class Calibrated:
    """Expected true values given what was read.

    Attributes
    ----------
    values : (n,).
    slope_variance : relative variance that a slope on them has because λ is estimated.
    """

    values: Array
    slope_variance: float


def calibrated(read: Array, se: Array, sets: Ints, X: Array) -> Calibrated | Reason:
    """Regression calibration, or why it is not available: E(true | read) = fitted + λ(read − fitted), λ = σ²/(σ² + se²).

    Fitted is what sets and fixed part foretell; σ² the variance of what is left of the reading, less its error. A slope on the
    result is the slope on the true values (Carroll, Ruppert, Stefanski & Crainiceanu 2006, Measurement Error in Nonlinear Models,
    2nd ed., 4.4). λ rests on ν degrees of freedom, so that the slope has the further relative variance ((1 − λ)/λ)²·2/ν (delta
    method).

    Parameters
    ----------
    read, se : (n,) what was read and its standard error from reading.
    sets : (n,) number of the set within which runs are compared.
    X : (n, p) fixed part.
    """
    if not np.isfinite(se).all():
        return Reason("probes.reading_not_known")
    within, columns = less_mean(read, sets), np.column_stack([less_mean(column, sets) for column in X.T])
    coefficients, _, rank, _ = np.linalg.lstsq(columns, within, rcond=1e-9)
    left = within - columns @ coefficients
    df = len(read) - len(np.unique(sets)) - int(rank)
    if df < 1:
        return Reason("probes.none_alike")
    noise = float(np.mean(se**2))
    variance = float(left @ left) / df - noise
    reliability = variance / (variance + noise) if variance > 0 else 0.0
    if reliability < LEAST_RELIABILITY:
        return Reason("probes.hardly_larger")
    shrunk = left * (1 - variance / (variance + se**2))
    return Calibrated(read - shrunk, 2 / df * ((1 - reliability) / reliability) ** 2)


def less_mean(values: Array, sets: Ints) -> Array:
    """(n,) values less the mean of their set."""
    means: Array = np.bincount(sets, values) / np.bincount(sets)
    return values - means[sets]
