"""The search for variance components: bounded Newton steps on the exact gradient, from the criterion in ``mixed``.

Parameters are the variances themselves, the residual's last where it is not known, in the system's unit. The deviance is minus
twice the (restricted) log-likelihood without its constants::

    D = m ln e + ln|H| + ln|XᵀH⁻¹X| + yᵀPy/e      m = n − p      (m = n and no ln|XᵀH⁻¹X| for ML)

with ratios γ = σ²/e. While no variance is held fixed the residual variance takes its best value e = yᵀPy/m for the ratios.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
from scipy.linalg import eigvalsh

from edgehold.words import Reason

from .arrays import Array, Bools
from .elimination import ordered_inverse, solve
from .mixed import Evaluation, System, Turned, average_information, evaluate, prepare, set_ratios, traces_at, turned, update_factor
from .moments import by_moments

MOST_STEPS = 60
MOST_HALVINGS = 25
# What the next Newton step would lower the deviance by when the search stops: a variance then lies within the root of twice this,
# times its standard error, of the minimum. Small systems take quadratic steps and end far below it.
CONVERGED, CONVERGED_MIDDLE, CONVERGED_LARGE, CONVERGED_HUGE = 1e-15, 1e-12, 1e-9, 1e-8
# With a variance held, as in profiles, only the deviance is wanted, which is off by what the next step would lower it by.
CONVERGED_HELD = 1e-11
LARGE, HUGE = (
    20_000,
    200_000,
)  # unknowns; with so many a variance's standard error is so small that fewer digits of it are as many of the variance
PART, LEAST_LEVELS = 4, 400  # of so many levels one gives a first fit of many rows, if a term has as many levels as this
CONVERGED_PART = 1e-2  # such a fit's own errors are hundreds of times what this leaves
ROUNDING = 1e-11  # of the deviance: smaller differences are not signs of anything
SUFFICIENT = 1e-4  # share of the decrease that the slope promises which a step must bring (Armijo 1966)
EXACT_INFORMATION = 200  # unknowns up to which the dense inverse, for exact information, costs less than a step saved
DENSE_INFORMATION = 1000  # unknowns up to which expected information comes from one dense inverse
DIFFERENCE = 1e-4  # relative step of the central difference of traces above that
TINY = 1e-300  # a trace that the design leaves nothing of
# Few rows can have several local minima: of 400 random small problems 5 did, and these starts found the lowest of all of them.
OTHER_STARTS = (0.1, 3.0, 30.0)
SAME_MINIMUM = 1e-7  # deviances closer than this are one minimum, and the first start's is kept
NEAR_ZERO = 1e-3  # share of all variance at which a variance begins that a neighbouring fit put at zero, for a slope to be seen
NEAR, MOST_MISSED = 0.1, 0.7  # promise of a step from which on the gradient's change tells what the curvature misses; its largest share
STRAY = 0.01  # squared length by which a step near a known minimum may miss it, as a share of the step's
MOST_BENT = 0.5  # squared length of what is added to a step far from the minimum, as a share of the step's
RIDGE = 1e-12  # keeps a step finite where two terms are the same
LEAST_CURVATURE = 1e-3  # smallest eigenvalue, at unit diagonal, of an observed information that is followed
VANISHED = 1e-13  # residual variance, relative to that of ordinary least squares, that is none
NOTHING = 1e-150  # information about a variance below this is none: its square would not be a number
SHRINK, GROW = 0.05, 50.0  # the most the residual variance may change in a step


@dataclass(frozen=True, eq=False)
class Point:
    """One point of the search.

    Attributes
    ----------
    variances : (K,) or, with the residual last, (K + 1,).
    deviance : D.
    gradient : its slopes.
    evaluation : parts of the criterion there.
    """

    variances: Array
    deviance: float
    gradient: Array
    evaluation: Evaluation


@dataclass(frozen=True, eq=False)
class Found:
    """Where a search ended.

    Attributes
    ----------
    point : the best point seen.
    converged : whether the next step would be below the tolerance.
    steps, evaluations : how many.
    message : how it ended.
    """

    point: Point
    converged: bool
    steps: int
    evaluations: int
    message: Reason

    @property
    def vanished(self) -> bool:
        """Whether the residual variance went to nothing."""
        return self.message.code == "numerics.residual_vanishes"


@dataclass(frozen=True, eq=False)
class NotBegun:
    """A search whose start could not be evaluated; the attributes are those of ``Found``."""

    evaluations: int
    message: Reason


@dataclass(frozen=True)
class Problem:
    """What is searched.

    Attributes
    ----------
    system : the data.
    restricted : REML, or ML if False.
    known : whether V is known, so that there is no residual variance to find.
    """

    system: System
    restricted: bool
    known: bool

    @property
    def weight(self) -> int:
        """m, the multiple of ln e in the deviance."""
        return self.system.n - (self.system.p if self.restricted else 0)


def at(problem: Problem, variances: Array, profile_residual: bool) -> Point | None:
    """The deviance and its gradient; None where the factor fails."""
    system, terms = problem.system, problem.system.terms
    e = 1.0 if problem.known else float(variances[-1])
    ratios = set_ratios(system, variances[:terms] / e)
    factor = update_factor(system, ratios)
    if factor is None:
        return None
    part = evaluate(system, ratios, factor, problem.restricted)
    if problem.known:
        return Point(variances, part.log_det + part.rss, part.traces - part.squares, part)
    if profile_residual:
        e = part.rss / problem.weight
        variances = np.append(ratios.gamma * e, e)
    slopes = (part.traces - part.squares / e) / e
    residual_slope = (problem.weight - part.rss / e - variances[:terms] @ slopes) / e
    deviance = problem.weight * np.log(e) + part.log_det + part.rss / e
    return Point(variances, float(deviance), np.append(slopes, residual_slope), part)


def average(problem: Problem, point: Point, known: Turned | None = None) -> Array:
    """Average information about the variances, in units of the deviance: its expected value is tr(PGᵢPGⱼ).

    The residual's row follows from Σ σ²ⱼGⱼ = Σ and PΣP = P.
    """
    inner = average_information(problem.system, point.evaluation, known)
    if problem.known:
        return inner
    variances, e = point.variances[:-1], point.variances[-1]
    return _with_residual(inner / e**3, point.evaluation.squares / e**2, point.evaluation.rss / e, variances, e)


def expected(problem: Problem, point: Point, restricted: bool = True) -> Array:
    """tr(PGᵢPGⱼ), twice the expected information about the variances; with Σ⁻¹ for P if not restricted (small systems only).

    From the blocks of one dense inverse, ZᵢᵀPZⱼ = (δᵢⱼI − C⁻¹ᵢⱼ)/√(γᵢγⱼ), while it is small; above that as the exact slope of
    the traces, ∂tr(ZᵢᵀPZᵢ)/∂γⱼ = −tr(ZᵢᵀPZⱼZⱼᵀPZᵢ), by central differences.
    """
    system = problem.system
    e = 1.0 if problem.known else float(point.variances[-1])
    traces = traces_of(problem, point, restricted)
    if system.q + system.p <= DENSE_INFORMATION or not restricted:
        inner = _squared_blocks(system, point.evaluation, restricted) / e**2
    else:
        inner = _trace_slopes(system, point.evaluation, traces) / e**2
    if problem.known:
        return inner
    return _with_residual(inner, traces / e, float(system.n - system.p * restricted), point.variances[:-1], e)


def _with_residual(inner: Array, sums: Array, total: float, variances: Array, e: float) -> Array:
    """Add the residual's row to a matrix M with Σⱼ σ²ⱼMᵢⱼ = sumsᵢ and Σᵢσ²ᵢsumsᵢ = total over all K + 1 components."""
    row = (sums - inner @ variances) / e
    last_sum = (total - variances @ sums) / e
    corner = (last_sum - variances @ row) / e
    whole = np.empty((len(row) + 1,) * 2)
    whole[:-1, :-1], whole[:-1, -1], whole[-1, :-1], whole[-1, -1] = inner, row, row, corner
    return whole


def traces_of(problem: Problem, point: Point, restricted: bool) -> Array:
    """tr(ZₖᵀPZₖ), or with H⁻¹ for P, whichever criterion the point was evaluated under; in units of the residual variance."""
    if problem.restricted == restricted:
        return point.evaluation.traces
    return evaluate(problem.system, point.evaluation.ratios, point.evaluation.factor, restricted).traces


def _squared_blocks(system: System, evaluation: Evaluation, restricted: bool) -> Array:
    q, few = system.q, system.few
    whole = solve(evaluation.factor, np.eye(q + system.p)) if few else ordered_inverse(evaluation.factor)  # coefficients are last in both
    rest = whole[:q, :q]
    if not restricted and system.p:
        across = whole[:q, q:]
        rest = rest - across @ np.linalg.solve(whole[q:, q:], across.T)
    sums: Array
    if few:
        squares = (np.eye(q) - rest) ** 2
        starts = np.concatenate([[0], np.cumsum(system.sizes)[:-1]])
        sums = np.add.reduceat(np.add.reduceat(squares, starts, axis=0), starts, axis=1) if system.terms else squares
    else:
        rest[np.diag_indices(q)] -= 1.0
        np.square(rest, out=rest)
        member = system.owner[system.plan.order[:q], None] == np.arange(system.terms)
        sums = member.T @ (rest @ member.astype(float))
    return sums / np.outer(evaluation.ratios.used, evaluation.ratios.used)


def _trace_slopes(system: System, evaluation: Evaluation, traces: Array) -> Array:
    """tr(ZᵢᵀPZⱼZⱼᵀPZᵢ) from second-order differences of the traces: central, and forward from zero."""
    used = evaluation.ratios.used
    slopes = np.zeros((system.terms, system.terms))

    def moved(j: int, value: float) -> Array:
        found = traces_at(system, np.where(np.arange(system.terms) == j, value, used))
        if found is None:
            raise np.linalg.LinAlgError("the equations are singular a small step away from a point at which they are not")
        return found

    for j in range(system.terms):
        width = DIFFERENCE * (used[j] + system.sizes[j] / max(traces[j], TINY))  # the scale on which Σ as a whole, not V alone, moves
        if used[j] > width:
            slopes[:, j] = (moved(j, used[j] - width) - moved(j, used[j] + width)) / (2 * width)
        else:
            slopes[:, j] = (3 * traces + moved(j, used[j] + 2 * width) - 4 * moved(j, used[j] + width)) / (2 * width)
    return (slopes + slopes.T) / 2


def start(problem: Problem) -> Array:
    """Starting variances: by moments where there are more unknowns than a few and the residual's variance is not known; else each term as
    large as the residual in what it adds to a row, and with a known V the surplus of the residuals' squares over their expected value
    shared out."""
    system = problem.system
    if not (problem.known or system.few):
        found = by_moments(system)
        if found is not None:
            positive: Array = np.maximum(found, NEAR_ZERO * np.abs(found).sum())
            return positive
    share = system.n / np.maximum(system.information * system.sizes, 1e-300)
    squares = float(system.y @ system.y)
    if not problem.known:
        return np.append(share, 1.0) * squares / ((system.n - system.p) * (system.terms + 1))
    surplus = max(squares / max(system.n - system.p, 1) - 1, 0.1)
    return share * surplus / max(system.terms, 1)


def start_by_part(problem: Problem) -> Array | None:
    """Starting variances of a problem with many effects from a fit to the rows of every fourth level of one term, which takes a small
    part of the time of one evaluation: they are off by about two standard errors. None where there are few effects or no such fit."""
    system = problem.system
    large = np.flatnonzero(system.sizes >= LEAST_LEVELS)
    if problem.known or system.q <= LARGE or not len(large):
        return None
    starts = np.concatenate([[0], np.cumsum(system.sizes)])
    term = large[system.sizes[large].argmin()]
    level = sp.csr_matrix(system.columns[:, starts[term] : starts[term + 1]])
    rows = np.unique(np.repeat(np.arange(system.n), np.diff(level.indptr))[level.indices % PART == 0])
    met = system.columns[rows]
    terms = [_occupied(met[:, low:high]) for low, high in pairwise(starts)]
    part = Problem(prepare(system.y[rows], met[:, system.q :], terms, None), problem.restricted, False)
    if part.system.n <= part.system.p or part.system.collinear is not None or part.system.unit < VANISHED or not part.system.sizes.all():
        return None
    begin = start_by_part(part)
    found = search(part, start(part) if begin is None else begin, tolerance=CONVERGED_PART)
    if isinstance(found, NotBegun) or not found.converged:
        return None
    variances: Array = found.point.variances * part.system.unit**2
    kept: Array = np.maximum(variances, NEAR_ZERO * variances.sum())
    return kept


def _occupied(columns: sp.csr_matrix) -> sp.csr_matrix:
    return columns[:, np.flatnonzero(np.bincount(columns.indices, minlength=columns.shape[1]))]


def start_near(problem: Problem, variances: Array) -> Array:
    """Starting variances from those of a fit to nearly the same data, in the unit of the responses; nan where it had none."""
    given = np.asarray(variances, dtype=float) / problem.system.unit**2
    usual = start(problem)
    return np.where(np.isnan(given), usual, np.maximum(given, NEAR_ZERO * np.nansum(given)))


def search_widely(problem: Problem, beginning: Point) -> Found:
    """The search from ``beginning``; in small systems also from smaller and larger ratios, and the lowest minimum of all."""
    first = search_from(problem, beginning)
    founds: list[Found | NotBegun] = [first]
    if problem.system.terms and is_small(problem.system):
        moved = np.append(np.ones(problem.system.terms), [] if problem.known else [0.0]) > 0
        known = first.point if first.converged else None
        founds += [
            search(problem, np.where(moved, beginning.variances * factor, beginning.variances), known=known) for factor in OTHER_STARTS
        ]
    evaluations = sum(found.evaluations for found in founds)
    reached = [found for found in founds if isinstance(found, Found)]
    ended = [found for found in reached if found.converged or found.vanished] or [first]
    best = min(ended, key=lambda found: round(found.point.deviance / SAME_MINIMUM))
    return replace(best, evaluations=evaluations)


def is_small(system: System) -> bool:
    """Whether exact information costs less than a step saved."""
    return system.q + system.p <= EXACT_INFORMATION


def search(
    problem: Problem, variances: Array, held: int | None = None, tolerance: float = 0.0, known: Point | None = None
) -> Found | NotBegun:
    """Minimise the deviance over variances ≥ 0 from given ones, one of them held where it is if ``held`` names it.

    What is left to gain at the end is below ``tolerance`` where that is more than the usual. Where the next step plainly leads to a minimum
    that is ``known``, it ends there at once.
    """
    point = at(problem, variances, held is None)
    if point is None:
        return NotBegun(1, Reason("numerics.no_start"))
    return search_from(problem, point, held, tolerance, known)


def search_from(problem: Problem, point: Point, held: int | None = None, least: float = 0.0, known: Point | None = None) -> Found:
    """The same from a point that was evaluated already."""
    free = np.arange(len(point.variances)) != (-1 if held is None else held)
    small, few = is_small(problem.system), problem.system.few
    tolerance = CONVERGED if small else _tolerance(problem.system.q)
    tolerance = max(tolerance, least if held is None else CONVERGED_HELD)
    evaluations, before = 1, None
    missed = np.zeros((len(point.variances),) * 2)
    for steps in range(MOST_STEPS):
        if not problem.known and point.variances[-1] < VANISHED:
            return Found(point, False, steps, evaluations, Reason("numerics.residual_vanishes"))
        moved = turned(problem.system, point.evaluation) if before is None and not few else None
        curvature = average(problem, point, moved)
        if small:
            curvature = _best_curvature(problem, point, curvature, free)
        elif before is not None:
            missed = _missed(missed, curvature, before, point)
        step, promise = _newton_step(problem, point, curvature + missed, free, moved)
        if promise <= tolerance:
            return Found(point, True, steps, evaluations, Reason("numerics.converged"))
        if known is not None and promise < NEAR and _leads_to(known, point, step, curvature):
            return Found(known, True, steps, evaluations, Reason("numerics.converged"))
        before = point if promise < NEAR and not few else None
        better, tried = _along(problem, point, step, held is None, partial(_enough, point, step))
        evaluations += tried
        if better is None:
            near = promise <= ROUNDING * (1 + abs(point.deviance))
            return Found(point, near, steps, evaluations, Reason("numerics.converged_to_rounding" if near else "numerics.no_lower_step"))
        point = better
    return Found(point, False, MOST_STEPS, evaluations, Reason("numerics.most_steps", steps=MOST_STEPS))


def _tolerance(effects: int) -> float:
    return CONVERGED_HUGE if effects > HUGE else CONVERGED_LARGE if effects > LARGE else CONVERGED_MIDDLE


def _enough(point: Point, step: Array, deviance: float) -> bool:
    slack = ROUNDING * (1 + abs(point.deviance))
    return deviance <= point.deviance + SUFFICIENT * min(float(point.gradient @ step), 0.0) + slack


def _along(
    problem: Problem, point: Point, step: Array, profile_residual: bool, enough: Callable[[float], bool]
) -> tuple[Point | None, int]:
    """The first point along the step, halved as often as needed, that lowers the deviance enough."""
    for halvings in range(MOST_HALVINGS):
        tried = at(problem, np.maximum(point.variances + step / 2**halvings, 0.0), profile_residual)
        if tried is not None and np.isfinite(tried.deviance) and enough(tried.deviance):
            return tried, halvings + 1
    return None, MOST_HALVINGS


def _newton_step(problem: Problem, point: Point, curvature: Array, free: Bools, moved: Turned | None) -> tuple[Array, float]:
    """A step that keeps variances ≥ 0, and about what the deviance would fall by: half its squared length in the curvature, or
    half of what the slope alone promises where that is more; both for the step that is not bent.

    The curvature is the average information, positive semi-definite, and near the minimum, with more unknowns than a few, what it missed in
    the steps before. In small systems it is the observed information where that is positive definite, which makes the last steps
    quadratic, and else the expected one (Fisher scoring). Far from the minimum of many unknowns the step is bent as the gradient is.
    """
    floors = -point.variances
    if not problem.known:
        floors[-1] *= 1 - SHRINK
    step = _bounded_step(point.gradient, curvature, floors, free)
    promise = _promise(point, curvature, step)
    if moved is not None and promise > NEAR:
        bent = _bounded_step(point.gradient - _bend(problem, point, moved, curvature, step), curvature, floors, free)
        if (bent - step) @ curvature @ (bent - step) < MOST_BENT * (step @ curvature @ step):
            step = bent
    if not problem.known and step[-1] > GROW * point.variances[-1]:
        step = step * (GROW * point.variances[-1] / step[-1])
    return step, promise


def _leads_to(known: Point, point: Point, step: Array, curvature: Array) -> bool:
    """Whether a step ends where a minimum is known, but for a small part of its own length."""
    off = point.variances + step - known.variances
    return bool(off @ curvature @ off < STRAY * (step @ curvature @ step))


def _promise(point: Point, curvature: Array, step: Array) -> float:
    return max(float(step @ curvature @ step), -float(point.gradient @ step)) / 2


def _bend(problem: Problem, point: Point, known: Turned, averaged: Array, step: Array) -> Array:
    """bᵢ = yᵀPGPGᵢPGPy with G = Σdⱼ∂Σ/∂σ²ⱼ, so that a step d off, the gradient is g + Ad − b.

    Its second-order expansion has traces too, which the quadratic forms of the same expected value stand for, as they do in the average
    information A. Of one variance and balanced runs the step that follows, d + A⁻¹b(d), is off by the third power of the error.
    """
    terms, e = problem.system.terms, 1.0 if problem.known else float(point.variances[-1])
    effects, moved = known.effects / e, known.moved / e**2
    if not problem.known:
        moved = np.column_stack([moved, (effects - moved @ point.variances[:terms]) / e])
    squares = np.asarray(np.bincount(problem.system.owner, (moved @ step) ** 2, minlength=terms), dtype=float)
    if problem.known:
        return squares
    return np.append(squares, (step @ averaged @ step - point.variances[:terms] @ squares) / e)


def _missed(missed: Array, curvature: Array, before: Point, point: Point) -> Array:
    """What the curvature misses of the change of the gradient between two points, on top of what was known to be missed.

    The symmetric update of least change, on variances in units of their standard errors (Powell 1970; of a part of the curvature: Dennis,
    Gay & Welsch 1981, ACM Trans. Math. Softw. 7:348–368). Nothing where it would be most of the curvature.
    """
    scale = unit_scale(np.diag(curvature))
    back = np.where(scale > 0, 1 / np.where(scale > 0, scale, 1.0), 0.0)
    step, turn = (point.variances - before.variances) * back, (point.gradient - before.gradient) * scale
    told, known = curvature * np.outer(scale, scale) + RIDGE * np.eye(len(scale)), missed * np.outer(scale, scale)
    length, rest = float(step @ step), turn - (told + known) @ step
    if length == 0:
        return missed
    across = np.outer(rest, step) / length
    found = known + across + across.T - float(rest @ step) / length**2 * np.outer(step, step)
    small = np.linalg.eigvalsh(told)[0] > LEAST_CURVATURE and np.abs(eigvalsh(found, told)).max() < MOST_MISSED
    return found * np.outer(back, back) if small else np.zeros_like(found)


def _best_curvature(problem: Problem, point: Point, averaged: Array, free: Bools) -> Array:
    """Observed information, twice the average minus the expected, if positive definite off the bounds; else the expected."""
    wanted = expected(problem, point, problem.restricted)
    observed = 2 * averaged - wanted
    inside = free & ~((point.variances <= 0) & (point.gradient >= 0))
    return observed if _positive_definite(observed[np.ix_(inside, inside)]) else wanted


def _positive_definite(matrix: Array) -> bool:
    scale = np.sqrt(np.abs(np.diag(matrix)))
    return bool((scale > 0).all()) and bool(np.linalg.eigvalsh(matrix / np.outer(scale, scale)).min(initial=1.0) > LEAST_CURVATURE)


def unit_scale(diagonal: Array) -> Array:
    """What brings a matrix to unit diagonal; zero where the diagonal holds nothing to scale."""
    return np.where(diagonal > NOTHING, 1 / np.sqrt(np.maximum(diagonal, NOTHING)), 0.0)


def _bounded_step(gradient: Array, curvature: Array, floors: Array, free: Bools) -> Array:
    """Minimise gᵀd + ½dᵀBd subject to d ≥ floors by an active set (Nocedal & Wright 2006, Numerical Optimization, 16.5)."""
    size = len(gradient)
    scale = unit_scale(np.diag(curvature))
    matrix = curvature * np.outer(scale, scale) + RIDGE * np.eye(size)
    g, low = gradient * scale, np.where(scale > 0, floors / np.where(scale > 0, scale, 1.0), -np.inf)
    d, active = np.zeros(size), free.copy()
    active[free & (low >= 0) & (g >= 0)] = False
    for _ in range(3 * size + 1):
        target = d.copy()
        off = ~active
        target[active] = np.linalg.solve(matrix[np.ix_(active, active)], -(g + matrix[:, off] @ d[off])[active])
        moves = active & (target < low)
        if moves.any():
            share = (low - d)[moves] / (target - d)[moves]
            d = d + np.clip(share.min(), 0, 1) * np.where(active, target - d, 0.0)
            hit = np.flatnonzero(moves)[share.argmin()]
            d[hit], active[hit] = low[hit], False
            continue
        d = target
        pull = np.where(free & ~active, g + matrix @ d, 0.0)
        if pull.min(initial=0.0) >= -1e-14 * (1 + np.abs(g).max(initial=0.0)):
            break
        active[pull.argmin()] = True
    return d * scale
