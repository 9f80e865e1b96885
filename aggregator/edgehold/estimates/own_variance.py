"""One submission's own run variance, before anything is borrowed."""

from __future__ import annotations

import numpy as np

from edgehold.endpoints.rows import LEFT, RIGHT, EndpointRow
from edgehold.numerics.arrays import Array, Bools
from edgehold.numerics.attempt import attempt
from edgehold.numerics.estimability import Design, prepare

from .censored import fit_censored
from .design import build
from .least_squares import fit, relative_sd


def usable(rows: list[EndpointRow]) -> list[EndpointRow]:
    """The rows that enter a fit: with a value or a limit, and with one tester throughout."""
    return [row for row in rows if row.usable]


def limits(rows: list[EndpointRow]) -> tuple[Array, Array]:
    """Lower and upper limits of the rows, (n,) each."""
    return np.array([row.low for row in rows], dtype=float), np.array([row.high for row in rows], dtype=float)


def own_variance(rows: list[EndpointRow], estimand: str) -> tuple[float, float]:
    """s² and df of one submission and endpoint; (nan, 0) without replicates.

    Without one-sided rows, the residual variance of the additive model, finite intervals at their midpoints (weighted
    where all are exact and reading variances very unequal). With one-sided rows, the maximum-likelihood variance times
    m/(m − r) for the m other rows and the rank r of their design, on m − r degrees of freedom: one-sided rows correct
    the variance but are not counted as if they had been seen. Midpoints add about h²/12 for intervals of width h.

    Parameters
    ----------
    rows : of one submission and endpoint.
    estimand : the protocol's.
    """
    used = usable(rows)
    if not used:
        return float("nan"), 0.0
    low, high = limits(used)
    seen = np.array([row.status not in (LEFT, RIGHT) for row in used])
    model = build(used, estimand)
    if seen.all() and len(used) <= model.design.rank:
        return float("nan"), 0.0
    if seen.all():
        y = (low + high) / 2
        sd = reading_weights(used, y, model.design.x, float("nan"))
        fitted = fit(y, model.design) if sd is None else fit(y / sd, build(used, estimand, sd).design)
        return fitted.s2, float(fitted.df)
    return _censored_variance(low, high, seen, model.design.basis)


def attempted_own_variance(rows: list[EndpointRow], estimand: str) -> tuple[float, float, str]:
    """``own_variance`` and an empty reason; nan, 0 and the reason where its numbers fail."""
    return attempt(
        lambda: (*own_variance(rows, estimand), ""),
        lambda why: (float("nan"), 0.0, why),
        lambda found: found[:2] if found[1] else (),
    )


def reading_weights(used: list[EndpointRow], y: Array, x: Array, assumed_s2: float) -> Array | None:
    """Relative standard deviations where reading variances differ much and every row is exact; else None."""
    if any(row.low != row.high for row in used):
        return None
    return relative_sd(y, x, np.array([row.reading_se for row in used]), assumed_s2)


def _censored_variance(low: Array, high: Array, seen: Bools, basis: Array) -> tuple[float, float]:
    middle = (low[seen] + high[seen]) / 2
    design = prepare_nonzero(basis[seen])
    df = len(middle) - (design.rank if design else 0)
    if design is None or df < 1:
        return float("nan"), 0.0
    if fit(middle, design).rss == 0:  # the likelihood has no maximum at a spread above 0
        return 0.0, float(df)
    low, high = low.copy(), high.copy()
    low[seen] = high[seen] = middle
    fitted = fit_censored(low, high, basis)
    return fitted.sigma**2 * len(middle) / df, float(df)


def prepare_nonzero(x: Array) -> Design | None:
    """The design of the columns that are not all zero; None where there is no row."""
    return prepare(x[:, np.abs(x).max(axis=0) > 0]) if len(x) else None
