"""Two dulling curves against each other: how much sharper at the same work, how much more work to the same sharpness.

Curves are vectors of keenness at the checkpoints, linear in ln(work + w₁) between them, w₁ the first positive checkpoint,
so that no ratio depends on the unit of work. Nothing is extrapolated. Intervals come from seeded draws of both mean
curves at the level of runs, every drawn curve made non-increasing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from aggregator.errors import InputError, NumbersError
from aggregator.numerics.estimability import estimable, in_basis, prepare
from aggregator.numerics.isotonic import decreasing_fit

from .inputs import frozen

DRAWS_SEED = 20261125  # any fixed number: the same runs give the same bands
LEAST_DRAWS = 200
COMMON_ERROR_DF = 200  # beyond it one χ² serves all checkpoints: errors are known to 5 % and better
NO_SPREAD = 1e-12  # residuals of all runs, over the largest keenness, that are rounding
NO_ERROR = 1e-12  # share of the drawn variance below which a mean counts as known without error
SHARPNESS_LEVELS = 25  # common sharpness levels at which work is compared


@dataclass(frozen=True, eq=False)
class MeanCurves:
    """Two mean curves with their joint covariance.

    Attributes
    ----------
    first, second : (c,) mean keenness at the checkpoints.
    covariance : (2c, 2c) of the first's means followed by the second's.
    df : degrees of freedom of the covariance; ``inf`` where it is known.
    runs_first, runs_second : runs behind each; None where not known.
    """

    first: np.ndarray
    second: np.ndarray
    covariance: np.ndarray
    df: float
    runs_first: int | None = None
    runs_second: int | None = None


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
    critical : half-width of the simultaneous band in standard errors (max-|t|); None where it was calibrated on ranks.
    """

    at: np.ndarray
    ln_ratio: np.ndarray
    pointwise_low: np.ndarray
    pointwise_high: np.ndarray
    low: np.ndarray
    high: np.ndarray
    level: float
    critical: float | None


@dataclass(frozen=True, eq=False)
class CurveContrast:
    """Both views of two curves. What could not be had is None, with the reason.

    Attributes
    ----------
    same_work : ratio of sharpness against work.
    same_sharpness : ratio of total work to a common sharpness, against that sharpness.
    same_sharpness_from_common_start : ratio of the work from the sharpest common level down to each.
    crossover : stretches of work (from, to) where 0 lies in the pointwise interval of ``same_work``, so that the curves may
        cross there; possibly none, possibly several.
    overtakes : ``"first"`` or ``"second"``, the curve that is behind early and ahead later as far as the curves' own covariance
        goes: the simultaneous band lies wholly on one side of 0 somewhere and wholly on the other side later. ``""`` otherwise. Of
        steels it says nothing while that covariance knows no blades and no people.
    reason : why there is no contrast at all; empty otherwise.
    sharpness_reason : why there is no view at the same sharpness; empty otherwise.
    draws : number of draws.
    """

    same_work: Band | None
    same_sharpness: Band | None
    same_sharpness_from_common_start: Band | None
    crossover: tuple[tuple[float, float], ...]
    overtakes: str
    reason: str
    sharpness_reason: str
    draws: int


def mean_curves_of_runs(keenness: ArrayLike, arm: Sequence, *, first: str, second: str, block: Sequence | None = None) -> MeanCurves | str:
    """Mean curves of two arms from whole runs.

    Parameters
    ----------
    keenness : (n, c) one row a run, one column a checkpoint. Every run must reach every checkpoint: cut the checkpoints to
        those that all reach, or give ``MeanCurves`` from a model that can hold runs that end early.
    arm : (n,) label of each run.
    first, second : the two arms; other runs are left out.
    block : (n,) label of what runs share (tester, submission), taken out as fixed: means are then those at the average
        block.

    Returns
    -------
    MeanCurves, or the reason why there are none.

    Raises
    ------
    InputError
        If shapes do not fit, a value is not finite or an arm has no run.

    Notes
    -----
    Multivariate least squares with the residual covariance S over n − rank degrees of freedom (Anderson 2003, An
    Introduction to Multivariate Statistical Analysis, 8.2).
    """
    y, arms, blocks = _checked_runs(keenness, arm, first, second, block)
    x, means = run_design(arms, blocks, first, second)
    design = prepare(x)
    if not estimable(design, means[0] - means[1]):
        return f"{first} and {second} were never met in one block: nothing links their curves"
    df = len(y) - design.rank
    if df < 1:
        return f"{len(y)} runs and {design.rank} means to estimate: nothing is left to tell how runs differ"
    coordinates = design.basis.T @ y
    residual = y - design.basis @ coordinates
    if np.abs(residual).max() <= NO_SPREAD * np.abs(y).max():
        return f"the runs of {first} and of {second} do not differ among themselves: nothing tells how sure their curves are"
    at = in_basis(design, means)
    both = at @ coordinates
    covariance = np.kron(at @ at.T, residual.T @ residual / df)
    counts = [int((arms == label).sum()) for label in (first, second)]
    return MeanCurves(frozen(both[0]), frozen(both[1]), frozen(covariance), float(df), *counts)


def curve_contrast(
    work: ArrayLike,
    curves: MeanCurves | str,
    *,
    level: float = 0.95,
    draws: int = 4000,
    between: int = 8,
    rng: int | np.random.Generator = DRAWS_SEED,
) -> CurveContrast:
    """Compare two mean curves at the same work and at the same sharpness.

    Parameters
    ----------
    work : (c,) checkpoints in any one unit, rising, the first 0 or more, at least two.
    curves : from ``mean_curves_of_runs``, or made from means and covariance; a reason instead of curves comes back as the
        reason.
    level : of every interval and band.
    draws : how many.
    between : places between neighbouring checkpoints at which the curves are compared too.
    rng : seed or generator.

    Returns
    -------
    CurveContrast

    Raises
    ------
    InputError
        If shapes do not fit, the work does not rise, the covariance is not a covariance, or a setting is out of range.

    Notes
    -----
    Draws are Gaussian, at every checkpoint divided by the root of a χ²/df drawn from the Wishart distribution of the
    covariance (df rounded down). At one checkpoint of curves that fall steadily the pointwise interval is then the t
    interval, and the simultaneous band knows that every checkpoint's error is itself estimated. That band is estimate ±
    q·se, q the ``level`` quantile of the largest |t| over all places (Hothorn, Bretz & Westfall 2008, section 3).

    At the same sharpness a drawn curve may never fall so far, or start below; such a draw only bounds its work. The
    pointwise interval takes the quantiles of the outer bounds, and the simultaneous band is the narrowest set of
    pointwise quantiles that holds ``level`` of the draws everywhere at once (Besag, Green, Higdon & Mengersen 1995,
    section 6.3), because an unbounded draw has no t.
    """
    if isinstance(curves, str):
        return CurveContrast(None, None, None, (), "", curves, curves, 0)
    work = _checked_work(work)
    _check_curves(curves, len(work))
    _check_settings(level, draws, between)
    drawn = _drawn(curves, draws, np.random.default_rng(rng))
    equal = np.ones(len(work))
    estimate = decreasing_fit(np.stack([curves.first, curves.second]), equal)
    drawn = decreasing_fit(drawn, equal)
    same_work = _same_work(work, estimate, drawn, np.asarray(curves.covariance, dtype=float), level, between)
    total, from_start, why = _same_sharpness(work, estimate, drawn, level)
    return CurveContrast(same_work, total, from_start, _crossover(same_work), _overtakes(same_work), "", why, draws)


def max_t_critical(t: np.ndarray, level: float) -> float:
    """The ``level`` quantile of the largest |t| over the columns.

    Parameters
    ----------
    t : (draws, g).
    """
    return float(np.quantile(np.abs(t).max(axis=1), level))


def _checked_runs(keenness, arm, first, second, block):
    y, arms = np.asarray(keenness, dtype=float), np.array([str(label) for label in arm])
    blocks = np.zeros(len(arms), dtype=int) if block is None else np.unique([str(b) for b in block], return_inverse=True)[1]
    if y.ndim != 2 or not len(y) == len(arms) == len(blocks):
        raise InputError(f"keenness must be (runs, checkpoints) with one arm and block a run; got {y.shape}, {len(arms)}, {len(blocks)}")
    if first == second:
        raise InputError(f"two different arms are needed; got {first!r} twice")
    used = (arms == first) | (arms == second)
    y, arms, blocks = y[used], arms[used], np.unique(blocks[used], return_inverse=True)[1]
    for label in (first, second):
        if not (arms == label).any():
            raise InputError(f"every arm needs a run; got none of {label!r}")
    if not np.isfinite(y).all():
        raise NumbersError("keenness must be finite: every run must reach every checkpoint; got a run that does not")
    return y, arms, blocks


def run_design(arms: np.ndarray, blocks: np.ndarray, first: str, second: str) -> tuple[np.ndarray, np.ndarray]:
    """Columns of arms and blocks, and the two means at the average block as functions of their coefficients."""
    indicators = (blocks[:, None] == np.arange(blocks.max() + 1)).astype(float)
    x = np.hstack([(arms[:, None] == np.array([first, second])).astype(float), indicators])
    return x, np.hstack([np.eye(2), np.tile(indicators.mean(axis=0), (2, 1))])


def _checked_work(work: ArrayLike) -> np.ndarray:
    work = np.asarray(work, dtype=float)
    if work.ndim != 1 or len(work) < 2 or not np.isfinite(work).all() or work[0] < 0 or (np.diff(work) <= 0).any():
        raise InputError(f"work must be two or more rising checkpoints from 0 up; got {work!r}")
    return work


def _check_curves(curves: MeanCurves, c: int) -> None:
    shapes = tuple(np.shape(part) for part in (curves.first, curves.second, curves.covariance))
    if shapes != ((c,), (c,), (2 * c, 2 * c)):
        raise InputError(f"with {c} checkpoints curves need shapes ({c},), ({c},) and ({2 * c}, {2 * c}); got {shapes}")
    covariance = np.asarray(curves.covariance, dtype=float)
    finite = np.isfinite(covariance).all() and np.isfinite(curves.first).all() and np.isfinite(curves.second).all()
    size = np.abs(covariance).max() if finite else 0.0
    if not finite or not np.allclose(covariance, covariance.T, atol=1e-9 * size) or np.linalg.eigvalsh(covariance)[0] < -1e-9 * size:
        raise NumbersError(
            "means and covariance must be finite and the covariance symmetric with no negative eigenvalue; "
            f"got {curves.first!r}, {curves.second!r} and {covariance!r}"
        )
    if not curves.df > 0:
        raise InputError(f"df must be positive or inf; got {curves.df!r}")


def _check_settings(level: float, draws: int, between: int) -> None:
    if not 0 < level < 1:
        raise InputError(f"level must lie strictly between 0 and 1; got {level!r}")
    if draws < LEAST_DRAWS:
        raise InputError(f"at least {LEAST_DRAWS} draws are needed; got {draws!r}")
    if between < 0:
        raise InputError(f"between must not be negative; got {between!r}")


def _drawn(curves: MeanCurves, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draws, 2, c) drawn mean curves."""
    values, vectors = np.linalg.eigh(np.asarray(curves.covariance, dtype=float))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    noise = rng.standard_normal((draws, len(values))) @ root.T
    noise = noise.reshape(draws, 2, -1) / _drawn_errors(curves, draws, rng)[:, None, :]
    return np.stack([curves.first, curves.second]) + noise


def _drawn_errors(curves: MeanCurves, draws: int, rng: np.random.Generator) -> np.ndarray:
    """(draws, c) standard errors of the checkpoints as other runs would have found them, over those found: roots of the
    diagonal of a drawn Wishart matrix."""
    c, df = len(curves.first), curves.df
    if not np.isfinite(df):
        return np.ones((draws, c))
    if df > COMMON_ERROR_DF:
        return np.sqrt(rng.chisquare(df, (draws, 1)) / df)
    contrast = np.hstack([np.eye(c), -np.eye(c)])
    covariance = contrast @ curves.covariance @ contrast.T
    scale = np.sqrt(np.diag(covariance).clip(0))
    correlation = np.divide(covariance, np.outer(scale, scale), out=np.eye(c), where=np.outer(scale, scale) > 0)
    values, vectors = np.linalg.eigh(correlation)
    total, whole = np.zeros((draws, c)), max(1, int(df))
    for _ in range(whole):
        total += (rng.standard_normal((draws, c)) @ (vectors * np.sqrt(values.clip(0))).T) ** 2
    return np.sqrt(total / whole)


def _axis(work: np.ndarray) -> np.ndarray:
    """ln(w + w₁)."""
    return np.log(work + work[work > 0][0])


def _work_grid(work: np.ndarray, between: int) -> tuple[np.ndarray, np.ndarray]:
    """Places of comparison, and the (g, c) weights that interpolate a curve there."""
    u = _axis(work)
    steps = np.arange(between + 1) / (between + 1)
    places = np.append((u[:-1, None] + np.diff(u)[:, None] * steps).ravel(), u[-1])
    weights = np.array([np.interp(places, u, unit) for unit in np.eye(len(u))]).T
    at = np.maximum(np.exp(places) - work[work > 0][0], 0.0)
    at[:: between + 1] = work
    return at, weights


def _same_work(work: np.ndarray, estimate: np.ndarray, drawn: np.ndarray, covariance: np.ndarray, level: float, between: int) -> Band:
    at, weights = _work_grid(work, between)
    center = weights @ (estimate[0] - estimate[1])
    deviation = (drawn[:, 0] - drawn[:, 1]) @ weights.T - center
    scale = _standard_errors(np.hstack([weights, -weights]), covariance, deviation)
    critical = max_t_critical(np.divide(deviation, scale, out=np.zeros_like(deviation), where=scale > 0), level)
    half = np.quantile(np.abs(deviation), level, axis=0)
    limits = (center - half, center + half, center - critical * scale, center + critical * scale)
    return Band(frozen(at), frozen(center), *map(frozen, limits), level, critical)


def _standard_errors(weights: np.ndarray, covariance: np.ndarray, deviation: np.ndarray) -> np.ndarray:
    """Of the raw means; of the draws where a mean without error takes over the errors of its neighbours."""
    variance = np.einsum("gi,ij,gj->g", weights, covariance, weights).clip(0)
    drawn = (deviation**2).mean(axis=0)
    return np.sqrt(np.where(variance > NO_ERROR * drawn, variance, drawn))


def _crossover(band: Band) -> tuple[tuple[float, float], ...]:
    """Stretches where the pointwise interval holds 0, its limits linear between places."""
    roots = [_roots(band.at, limit) for limit in (band.pointwise_low, band.pointwise_high)]
    places = np.unique(np.concatenate([band.at, *roots]))
    middle = (places[:-1] + places[1:]) / 2
    low, high = (np.interp(middle, band.at, limit) for limit in (band.pointwise_low, band.pointwise_high))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], ((low <= 0) & (high >= 0)).astype(int), [0]])))
    return tuple((float(places[a]), float(places[b])) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _roots(at: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Where a piecewise linear function changes its sign."""
    i = np.flatnonzero(y[:-1] * y[1:] < 0)
    return at[i] + y[i] / (y[i] - y[i + 1]) * (at[i + 1] - at[i])


def _overtakes(band: Band) -> str:
    above, below = np.flatnonzero(band.low > 0), np.flatnonzero(band.high < 0)
    if len(above) == 0 or len(below) == 0:
        return ""
    return "second" if above[0] < below[0] else "first"


def _same_sharpness(work: np.ndarray, estimate: np.ndarray, drawn: np.ndarray, level: float) -> tuple[Band | None, Band | None, str]:
    positive = int(np.flatnonzero(work > 0)[0])
    sharpest, bluntest = estimate[:, positive].min(), estimate[:, -1].max()
    if not bluntest < sharpest:
        return None, None, "no common sharpness: within the work done, one curve stays above all of the other"
    levels = np.linspace(sharpest, bluntest, SHARPNESS_LEVELS)
    exact = [np.maximum(_work_to(work, curve[None], levels), work[positive]) for curve in estimate]
    if any((np.diff(one) <= 0).any() for one in exact):
        return None, None, "no common sharpness to speak of: the stretch that both curves pass through is narrower than rounding"
    low, high = zip(*(_bounds(work, drawn[:, i], levels) for i in (0, 1)), strict=True)
    total = _ratio_band(levels, exact, low, high, level)
    exact = [w[:, 1:] - w[:, :1] for w in exact]
    low, high = zip(*(_from_start(a, b) for a, b in zip(low, high, strict=True)), strict=True)
    return total, _ratio_band(levels[1:], exact, low, high, level), ""


def _work_to(work: np.ndarray, curves: np.ndarray, levels: np.ndarray) -> np.ndarray:
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


def _bounds(work: np.ndarray, curves: np.ndarray, levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bounds of the work to each level: open above where the level is not reached, from 0 where reached by w₁."""
    found, w1 = _work_to(work, curves, levels), work[work > 0][0]
    early = found < w1 * (1 - 1e-12)
    low = np.where(early, 0.0, np.minimum(found, work[-1]))
    return low, np.where(early, w1, found)


def _from_start(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bounds of the work from the first level to each of the others."""
    finite_start = np.where(np.isfinite(high[:, :1]), high[:, :1], low[:, :1])
    least = np.where(np.isfinite(high[:, :1]), np.maximum(low[:, 1:] - finite_start, 0.0), 0.0)
    return least, np.maximum(high[:, 1:] - low[:, :1], 0.0)


def _ratio_band(levels: np.ndarray, exact, low, high, level: float) -> Band:
    with np.errstate(divide="ignore"):
        center = np.log(exact[0][0]) - np.log(exact[1][0])
        low, high = [np.log(part) for part in low], [np.log(part) for part in high]
    least, most = _least_and_most(low, high)
    point = _order_statistics(least, most, int((1 - level) / 2 * len(least)))
    joint = _order_statistics(least, most, _joint_cut(least, most, level))
    limits = (np.minimum(point[0], center), np.maximum(point[1], center), np.minimum(joint[0], center), np.maximum(joint[1], center))
    return Band(frozen(levels), frozen(center), *map(frozen, limits), level, None)


def _least_and_most(low, high) -> tuple[np.ndarray, np.ndarray]:
    """Bounds of the ln ratio of each draw; where both works are 0 to rounding, it may be anything."""
    lost = [np.isneginf(low[0]) & np.isneginf(high[1]), np.isneginf(high[0]) & np.isneginf(low[1])]
    least = np.where(lost[0], -np.inf, low[0] - np.where(lost[0], 0.0, high[1]))
    return least, np.where(lost[1], np.inf, np.where(lost[1], 0.0, high[0]) - np.where(lost[1], 0.0, low[1]))


def _order_statistics(least: np.ndarray, most: np.ndarray, cut: int) -> tuple[np.ndarray, np.ndarray]:
    """Limits that leave ``cut`` draws out on each side; never interpolated, so that an infinite bound stays infinite."""
    return np.sort(least, axis=0)[cut], np.sort(most, axis=0)[-1 - cut]


def _joint_cut(least: np.ndarray, most: np.ndarray, level: float) -> int:
    """The largest cut whose pointwise limits hold ``level`` of the draws at every place."""
    n = len(least)
    below = [np.searchsorted(np.sort(column), column, side="right") - 1 for column in least.T]
    above = [n - 1 - np.searchsorted(np.sort(column), column, side="left") for column in most.T]
    held_to = np.min(below + above, axis=0)  # the largest cut that still holds each draw everywhere
    return int(np.sort(held_to)[n - int(np.ceil(level * n))])
