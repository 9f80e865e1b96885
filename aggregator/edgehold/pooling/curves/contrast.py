"""Two dulling curves against each other: how much sharper at the same work, how much more work to the same sharpness.

Curves are vectors of keenness at the checkpoints, linear in ln(work + w₁) between them, w₁ the first positive checkpoint,
so that no ratio depends on the unit of work. Nothing is extrapolated. Intervals come from draws of both curves, of their
joint posterior say; for work to a sharpness every drawn curve is made non-increasing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.interval import Interval
from edgehold.numerics.isotonic import decreasing_fit
from edgehold.pooling.inputs import frozen
from edgehold.words import Reason

LEAST_DRAWS = 200
SHARPNESS_LEVELS = 25  # common sharpness levels at which work is compared


@dataclass(frozen=True, eq=False)
class DrawnCurves:
    """Two curves, and draws of what they may be.

    Attributes
    ----------
    first, second : (c,) keenness at the checkpoints.
    drawn : (m, 2, c) draws of both together.
    """

    first: Array
    second: Array
    drawn: Array


@dataclass(frozen=True, eq=False)
class Band:
    """A contrast along an axis, on the ln scale, first against second.

    Attributes
    ----------
    at : (g,) amounts of work, or levels of keenness from sharp to blunt.
    ln_ratio : (g,) of sharpness at that work, or of work to that sharpness.
    pointwise_low, pointwise_high : (g,) limits that hold at one place; infinite where the runs set no bound.
    low, high : (g,) limits that hold at all places at once.
    level : of both.
    critical : half-width of the simultaneous band in standard deviations (max-|t|); None where it was calibrated on ranks.
    """

    at: Array
    ln_ratio: Array
    pointwise_low: Array
    pointwise_high: Array
    low: Array
    high: Array
    level: float
    critical: float | None


@dataclass(frozen=True, eq=False)
class CurveContrast:
    """Both views of two curves. What is not available is None, with the reason.

    Attributes
    ----------
    same_work : ratio of sharpness against work.
    same_sharpness : ratio of total work to a common sharpness, against that sharpness.
    same_sharpness_from_common_start : ratio of the work from the sharpest common level down to each.
    crossover : stretches of work (from, to) where 0 lies in the pointwise interval of ``same_work``, so that the curves may
        cross there; possibly none, possibly several.
    overtakes : ``"first"`` or ``"second"``, the curve that is behind early and ahead later: the simultaneous band lies wholly on
        one side of 0 somewhere and wholly on the other side later. ``""`` otherwise.
    reason : why there is no contrast at all; empty otherwise.
    sharpness_reason : why there is no view at the same sharpness; empty otherwise.
    """

    same_work: Band | None
    same_sharpness: Band | None
    same_sharpness_from_common_start: Band | None
    crossover: tuple[tuple[float, float], ...]
    overtakes: str
    reason: str
    sharpness_reason: str


def curve_contrast(work: ArrayLike, curves: DrawnCurves | str, *, level: float = 0.95, between: int = 8) -> CurveContrast:
    """Compare two curves at the same work and at the same sharpness.

    Parameters
    ----------
    work : (c,) checkpoints in any one unit, rising, the first 0 or more, at least two.
    curves : with their draws; a reason instead of curves comes back as the reason.
    level : of every interval and band.
    between : places between neighbouring checkpoints at which the curves are compared too.

    Returns
    -------
    CurveContrast

    Raises
    ------
    InputError
        If shapes do not fit, the work does not rise, draws are too few, or a setting is out of range.
    NumbersError
        If a curve or a draw is not finite.

    Notes
    -----
    At the same work the pointwise interval is estimate ± the ``level`` quantile of the draws' distance from it, and the
    simultaneous band estimate ± q·sd, q the ``level`` quantile of the largest |t| over all places (Hothorn, Bretz & Westfall
    2008, section 3).

    At the same sharpness a drawn curve may never fall so far, or start below; such a draw only bounds its work. The
    pointwise interval takes the quantiles of the outer bounds, and the simultaneous band is the narrowest set of
    pointwise quantiles that holds ``level`` of the draws everywhere at once (Besag, Green, Higdon & Mengersen 1995,
    section 6.3), because an unbounded draw has no t.
    """
    if isinstance(curves, str):
        return CurveContrast(None, None, None, (), "", curves, curves)
    work = _checked_work(work)
    _check_curves(curves, len(work))
    _check_settings(level, between)
    estimate, drawn = np.stack([curves.first, curves.second]), np.asarray(curves.drawn, dtype=float)
    same_work = _same_work(work, estimate, drawn, level, between)
    equal = np.ones(len(work))
    total, from_start, why = _same_sharpness(work, decreasing_fit(estimate, equal), decreasing_fit(drawn, equal), level)
    return CurveContrast(same_work, total, from_start, _crossover(same_work), _overtakes(same_work), "", why)


@dataclass(frozen=True)
class WorkTo:
    """How much more work the first curve does than the second until both are down to one keenness.

    Attributes
    ----------
    ln_ratio : of their work.
    interval : pointwise limits; open where draws of a curve never come down so far, or start below.
    """

    ln_ratio: float
    interval: Interval


def work_to(found: CurveContrast, keenness: float) -> WorkTo | str:
    """What the view at the same sharpness shows at one keenness, straight between the levels at which it is given.

    Parameters
    ----------
    found : two curves against each other.
    keenness : on the scale of the curves.

    Returns
    -------
    WorkTo or str
        The reason where there is no such view, or where the keenness lies outside what both curves run through.
    """
    band = found.same_sharpness
    if band is None:
        return found.sharpness_reason or found.reason
    if keenness > band.at[0]:
        return Reason("headline.curves_begin_below")
    if keenness < band.at[-1]:
        return Reason("headline.curves_end_above")
    values = (band.ln_ratio, band.pointwise_low, band.pointwise_high)
    ratio, low, high = (float(np.interp(-keenness, -band.at, one)) for one in values)
    return WorkTo(ratio, Interval(low, high, band.level, "posterior"))


def max_t_critical(t: Array, level: float) -> float:
    """The ``level`` quantile of the largest |t| over the columns.

    Parameters
    ----------
    t : (draws, g).
    """
    return float(np.quantile(np.abs(t).max(axis=1), level))


def _checked_work(work: ArrayLike) -> Array:
    work = np.asarray(work, dtype=float)
    if work.ndim != 1 or len(work) < 2 or not np.isfinite(work).all() or work[0] < 0 or (np.diff(work) <= 0).any():
        raise InputError(f"work must be two or more rising checkpoints from 0 up; got {work!r}")
    return work


def _check_curves(curves: DrawnCurves, c: int) -> None:
    shapes = tuple(np.shape(part) for part in (curves.first, curves.second, curves.drawn))
    if shapes[:2] != ((c,), (c,)) or shapes[2][1:] != (2, c) or len(shapes[2]) != 3:
        raise InputError(f"with {c} checkpoints curves need shapes ({c},), ({c},) and (draws, 2, {c}); got {shapes}")
    if shapes[2][0] < LEAST_DRAWS:
        raise InputError(f"at least {LEAST_DRAWS} draws are needed; got {shapes[2][0]}")
    if not all(np.isfinite(part).all() for part in (curves.first, curves.second, curves.drawn)):
        raise NumbersError(f"curves and draws must be finite; got {curves.first!r}, {curves.second!r} and their draws")


def _check_settings(level: float, between: int) -> None:
    if not 0 < level < 1:
        raise InputError(f"level must lie strictly between 0 and 1; got {level!r}")
    if between < 0:
        raise InputError(f"between must not be negative; got {between!r}")


def _axis(work: Array) -> Array:
    """ln(w + w₁)."""
    axis: Array = np.log(work + work[work > 0][0])
    return axis


def _work_grid(work: Array, between: int) -> tuple[Array, Array]:
    """Places of comparison, and the (g, c) weights that interpolate a curve there."""
    u = _axis(work)
    steps = np.arange(between + 1) / (between + 1)
    places = np.append((u[:-1, None] + np.diff(u)[:, None] * steps).ravel(), u[-1])
    weights = np.array([np.interp(places, u, unit) for unit in np.eye(len(u))]).T
    at = np.maximum(np.exp(places) - work[work > 0][0], 0.0)
    at[:: between + 1] = work
    return at, weights


def _same_work(work: Array, estimate: Array, drawn: Array, level: float, between: int) -> Band:
    at, weights = _work_grid(work, between)
    center = weights @ (estimate[0] - estimate[1])
    deviation = (drawn[:, 0] - drawn[:, 1]) @ weights.T - center
    scale = np.sqrt((deviation**2).mean(axis=0))
    critical = max_t_critical(np.divide(deviation, scale, out=np.zeros_like(deviation), where=scale > 0), level)
    half = np.quantile(np.abs(deviation), level, axis=0)
    return Band(
        at=frozen(at),
        ln_ratio=frozen(center),
        pointwise_low=frozen(center - half),
        pointwise_high=frozen(center + half),
        low=frozen(center - critical * scale),
        high=frozen(center + critical * scale),
        level=level,
        critical=critical,
    )


def _crossover(band: Band) -> tuple[tuple[float, float], ...]:
    """Stretches where the pointwise interval holds 0, its limits linear between places."""
    roots = [_roots(band.at, limit) for limit in (band.pointwise_low, band.pointwise_high)]
    places = np.unique(np.concatenate([band.at, *roots]))
    middle = (places[:-1] + places[1:]) / 2
    low, high = (np.interp(middle, band.at, limit) for limit in (band.pointwise_low, band.pointwise_high))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], ((low <= 0) & (high >= 0)).astype(int), [0]])))
    return tuple((float(places[a]), float(places[b])) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _roots(at: Array, y: Array) -> Array:
    """Where a piecewise linear function changes its sign."""
    i = np.flatnonzero(y[:-1] * y[1:] < 0)
    return at[i] + y[i] / (y[i] - y[i + 1]) * (at[i + 1] - at[i])


def _overtakes(band: Band) -> str:
    above, below = np.flatnonzero(band.low > 0), np.flatnonzero(band.high < 0)
    if len(above) == 0 or len(below) == 0:
        return ""
    return "second" if above[0] < below[0] else "first"


def _same_sharpness(work: Array, estimate: Array, drawn: Array, level: float) -> tuple[Band | None, Band | None, str]:
    positive = int(np.flatnonzero(work > 0)[0])
    sharpest, bluntest = estimate[:, positive].min(), estimate[:, -1].max()
    if not bluntest < sharpest:
        return None, None, Reason("headline.curves_no_common")
    levels = np.linspace(sharpest, bluntest, SHARPNESS_LEVELS)
    exact = [np.maximum(_work_to(work, curve[None], levels), work[positive]) for curve in estimate]
    if any((np.diff(one) <= 0).any() for one in exact):
        return None, None, Reason("headline.curves_narrow")
    low, high = zip(*(_bounds(work, drawn[:, i], levels) for i in (0, 1)), strict=True)
    total = _ratio_band(levels, exact, low, high, level)
    exact = [w[:, 1:] - w[:, :1] for w in exact]
    low, high = zip(*(_from_start(a, b) for a, b in zip(low, high, strict=True)), strict=True)
    return total, _ratio_band(levels[1:], exact, low, high, level), ""


def _work_to(work: Array, curves: Array, levels: Array) -> Array:
    """(m, levels) least work at which each falling curve is down to each level; inf where it never is, 0 where it
    starts below."""
    u, w1 = _axis(work), work[work > 0][0]
    after = (curves[:, :, None] > levels).sum(axis=1)  # checkpoints still above the level; curves never rise
    right = np.clip(after, 1, len(work) - 1)
    rows = np.arange(len(curves))[:, None]
    above, below = curves[rows, right - 1], curves[rows, right]
    share = np.divide(above - levels, above - below, out=np.ones_like(above), where=above > below)
    found = np.exp(u[right - 1] + share.clip(0, 1) * (u[right] - u[right - 1])) - w1
    return np.where(after == 0, work[0], np.where(after == len(work), np.inf, found))


def _bounds(work: Array, curves: Array, levels: Array) -> tuple[Array, Array]:
    """Bounds of the work to each level: open above where the level is not reached, from 0 where reached by w₁."""
    found, w1 = _work_to(work, curves, levels), work[work > 0][0]
    early = found < w1 * (1 - 1e-12)
    low = np.where(early, 0.0, np.minimum(found, work[-1]))
    return low, np.where(early, w1, found)


def _from_start(low: Array, high: Array) -> tuple[Array, Array]:
    """Bounds of the work from the first level to each of the others."""
    finite_start = np.where(np.isfinite(high[:, :1]), high[:, :1], low[:, :1])
    least = np.where(np.isfinite(high[:, :1]), np.maximum(low[:, 1:] - finite_start, 0.0), 0.0)
    return least, np.maximum(high[:, 1:] - low[:, :1], 0.0)


def _ratio_band(levels: Array, exact: Sequence[Array], low: Sequence[Array], high: Sequence[Array], level: float) -> Band:
    with np.errstate(divide="ignore"):
        center = np.log(exact[0][0]) - np.log(exact[1][0])
        low, high = [np.log(part) for part in low], [np.log(part) for part in high]
    least, most = _least_and_most(low, high)
    point = _order_statistics(least, most, int((1 - level) / 2 * len(least)))
    joint = _order_statistics(least, most, _joint_cut(least, most, level))
    return Band(
        at=frozen(levels),
        ln_ratio=frozen(center),
        pointwise_low=frozen(np.minimum(point[0], center)),
        pointwise_high=frozen(np.maximum(point[1], center)),
        low=frozen(np.minimum(joint[0], center)),
        high=frozen(np.maximum(joint[1], center)),
        level=level,
        critical=None,
    )


def _least_and_most(low: Sequence[Array], high: Sequence[Array]) -> tuple[Array, Array]:
    """Bounds of the ln ratio of each draw; where both works are 0 to rounding, it may be anything."""
    lost = [np.isneginf(low[0]) & np.isneginf(high[1]), np.isneginf(high[0]) & np.isneginf(low[1])]
    least = np.where(lost[0], -np.inf, low[0] - np.where(lost[0], 0.0, high[1]))
    return least, np.where(lost[1], np.inf, np.where(lost[1], 0.0, high[0]) - np.where(lost[1], 0.0, low[1]))


def _order_statistics(least: Array, most: Array, cut: int) -> tuple[Array, Array]:
    """Limits that leave ``cut`` draws out on each side; never interpolated, so that an infinite bound stays infinite."""
    return np.sort(least, axis=0)[cut], np.sort(most, axis=0)[-1 - cut]


def _joint_cut(least: Array, most: Array, level: float) -> int:
    """The largest cut whose pointwise limits hold ``level`` of the draws at every place."""
    n = len(least)
    below = [_not_above(column) - 1 for column in least.T]
    above = [_not_above(-column) - 1 for column in most.T]
    held_to = np.min(below + above, axis=0)  # the largest cut that still holds each draw everywhere
    return int(np.sort(held_to)[n - int(np.ceil(level * n))])


def _not_above(values: Array) -> Ints:
    """How many of the values are not above each."""
    order = np.argsort(values)
    in_order, found = values[order], np.empty(len(values), dtype=np.int64)
    found[order] = np.searchsorted(in_order, in_order, side="right")  # looked up in order, for which the search is much faster
    return found
