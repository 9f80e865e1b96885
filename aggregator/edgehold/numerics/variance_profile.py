"""Profile-likelihood limits of one variance: where the deviance, minimised over all other variances, has risen by a chi-square
quantile (Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, section 2.4; Hardy & Thompson 1996, Stat. Med. 15:619–629).

The search is Newton's on the signed root of the rise, which is nearly linear in the standard deviation; its slope is exact,
because at the minimum over the others the deviance changes by its own partial slope only. A bracket guards every step.

Where effects are many and no other variance comes to zero, the others are not brought to their minimum at every step of the way: they
take one Newton step each time, together with the one that is asked about (Venzon & Moolgavkar 1988, Appl. Stat. 37:87–94).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.words import Reason

from .arrays import Array, Bools
from .variance_search import NotBegun, Point, Problem, at, average, is_small, search

MOST_STEPS = 60
MOST_TOGETHER = 12  # steps of all variances together, of which four or five are usual, before they go one after the other
LEFT = 1e-7  # of the deviance, to gain by the others at the end of such steps
FAR_FROM_ZERO = 4.0  # times the rise that the standard error says zero has: no profile is followed there to see
CLOSE = 1e-8  # relative, of a limit on the scale of standard deviations, between two points that enclose it
LAST_STEP = 1e-6  # relative, of the last Newton step there; what is left after it is of the order of its square
NO_RESIDUAL = 1e-6  # of its estimate: a residual variance that may be this small may be zero, where there is no likelihood
LARGEST_GROWTH = 30.0  # of the standard deviation in one step outwards
BETTER = 1e-6  # a deviance lower than the minimum by this much means that the minimum was not the lowest


@dataclass(frozen=True, eq=False)
class Limits:
    """Profile limits of a variance, or why there are none.

    Attributes
    ----------
    low, high : limits in the system's unit; None with the reason.
    reason : empty where there are limits.
    better : a point with a lower deviance than the supposed minimum, if one was met.
    """

    low: float | None
    high: float | None
    reason: str
    better: Point | None = None


class _Stop(Exception):
    def __init__(self, point: Point | None, reason: Reason):
        self.point, self.reason = point, reason
        super().__init__(reason)


def profile_limits(problem: Problem, best: Point, which: int, error: float, rise: float) -> Limits:
    """Where the profiled deviance of variance ``which`` lies ``rise`` above its minimum.

    Parameters
    ----------
    best : the minimum.
    error : standard error of the variance, for the first step.
    rise : chi-square quantile with one degree of freedom.
    """
    path = _Path(problem, best, which)
    estimate = float(best.variances[which])
    try:
        lower = 0.0
        far = not is_small(problem.system) and estimate**2 > FAR_FROM_ZERO * rise * error**2
        if estimate > 0 and (far or not _reaches_zero(path, problem, which, estimate, rise)):
            path.restart()
            lower = _limit(path, np.sqrt(estimate), -1, error, rise)
        path.restart()
        upper = _limit(path, np.sqrt(estimate), 1, error, rise)
    except _Stop as stop:
        better = stop.point if stop.point is not None and stop.point.deviance < best.deviance - BETTER else None
        return Limits(None, None, stop.reason, better)
    return Limits(lower**2, upper**2, "")


def _reaches_zero(path: _Path, problem: Problem, which: int, estimate: float, rise: float) -> bool:
    """Whether zero (for a residual: next to nothing) is inside the limits. A profile that cannot be followed so far is not."""
    if problem.known or which < problem.system.terms:
        return path.rise(0.0)[0] <= rise
    try:
        return path.rise(np.sqrt(NO_RESIDUAL * estimate))[0] <= rise
    except _Stop:
        return False


class _Path:
    """The profile, followed from one point to the next so that each search starts close to its end."""

    def __init__(self, problem: Problem, best: Point, which: int):
        self.problem, self.best, self.which = problem, best, which
        self.restart()

    def restart(self) -> None:
        """Go back to the minimum."""
        self.last = self.best.variances

    def rise(self, deviation: float) -> tuple[float, float]:
        """The rise of the profiled deviance, and its slope, at a standard deviation."""
        start = self.last.copy()
        start[self.which] = deviation**2
        found = search(self.problem, start, held=self.which)
        if isinstance(found, NotBegun):
            raise _Stop(None, Reason("numerics.profile_stopped", why=found.message))
        if not found.converged:
            raise _Stop(found.point, Reason("numerics.profile_stopped", why=found.message))
        if found.point.deviance < self.best.deviance - BETTER:
            raise _Stop(found.point, Reason("numerics.profile_better"))
        self.last = found.point.variances
        return found.point.deviance - self.best.deviance, 2 * deviation * float(found.point.gradient[self.which])


def _limit(path: _Path, centre: float, side: int, error: float, rise: float) -> float:
    """The standard deviation on one side of the centre where the profile has risen by ``rise``, the quick way if it can be had."""
    together = None if is_small(path.problem.system) or centre <= 0 else _together(path, centre, side, error, rise)
    return _crossing(path, centre, side, error, rise) if together is None else together


def _together(path: _Path, centre: float, side: int, error: float, rise: float) -> float | None:
    """The same by steps of all variances at once; None where another variance comes to zero or the steps do not settle."""
    problem, which = path.problem, path.which
    others = np.arange(len(path.best.variances)) != which
    point, height = path.best, 0.0
    x, wanted, before = centre, _first_guess(centre, side, error, np.sqrt(rise)), 0.0
    own, tangent, gain = _profiled(problem, point, which, others)
    for _ in range(MOST_TOGETHER):
        variances = point.variances.copy()
        variances[which] = wanted**2
        variances[others] += own + tangent * (wanted**2 - x**2)
        low, high = (0.0, centre) if side < 0 else (centre, LARGEST_GROWTH * centre)
        if not low < wanted < high or (variances[others] <= 0).any():
            return None
        tried = at(problem, variances, False)
        if tried is None:
            return None
        point, x = tried, wanted
        own, tangent, gain = _profiled(problem, point, which, others)
        height = point.deviance - gain - path.best.deviance
        slope = 2 * x * float(point.gradient[which] + tangent @ point.gradient[others])
        if not (np.isfinite(height) and height > 0 and slope * side > 0):
            return None
        move = (np.sqrt(rise) - np.sqrt(height)) * 2 * np.sqrt(height) / slope
        wanted = x + move
        if move**2 <= CLOSE * x * before and gain <= LEFT:  # the next step would be as much shorter than this as this is than the last
            return float(wanted)
        before = abs(move)
    return None


def _profiled(problem: Problem, point: Point, which: int, others: Bools) -> tuple[Array, Array, float]:
    """The Newton step of the other variances, how they move with the one asked about, and about what the step lowers the deviance by."""
    curvature, slope = average(problem, point), point.gradient[others]
    moves = -np.linalg.solve(curvature[np.ix_(others, others)], np.column_stack([slope, curvature[others, which]]))
    return moves[:, 0], moves[:, 1], -float(slope @ moves[:, 0]) / 2


def _crossing(path: _Path, centre: float, side: int, error: float, rise: float) -> float:
    """The standard deviation on one side of the centre where the profile has risen by ``rise``."""
    inside, outside = centre, 0.0 if side < 0 else None
    x = _first_guess(centre, side, error, np.sqrt(rise))
    for _ in range(MOST_STEPS):
        height, slope = path.rise(x)
        inside, outside = (x, outside) if height < rise else (inside, x)
        root = np.sqrt(max(height, 1e-300))
        move = (np.sqrt(rise) - root) * 2 * root / slope if slope * side > 0 else np.inf
        wanted = x + move
        if abs(wanted - x) <= LAST_STEP * x:
            return float(wanted)
        if outside is None:
            wanted = wanted if x < wanted < LARGEST_GROWTH * x else 3 * x
        elif not min(inside, outside) < wanted < max(inside, outside):
            wanted = np.sqrt(inside * outside) if outside > 4 * inside > 0 else (inside + outside) / 2
        if outside is not None and abs(outside - inside) <= CLOSE * x:
            return float((inside + outside) / 2)
        x = wanted
    raise _Stop(None, Reason("numerics.profile_not_reached", steps=MOST_STEPS))


def _first_guess(centre: float, side: int, error: float, z: float) -> float:
    """About z standard errors away: on the log scale off zero, on the scale of the variance at zero."""
    if centre <= 0:
        return float(np.sqrt(z * error))
    relative = min(z * error / (2 * centre**2), 1.5)
    return float(centre * np.exp(side * relative))
