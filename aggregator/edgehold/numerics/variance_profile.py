"""Profile-likelihood limits of one variance: where the deviance, minimised over all other variances, has risen by a chi-square
quantile (Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, section 2.4; Hardy & Thompson 1996, Stat. Med. 15:619–629).

The search is Newton's on the signed root of the rise, which is nearly linear in the standard deviation; its slope is exact,
because at the minimum over the others the deviance changes by its own partial slope only. A bracket guards every step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.words import Reason

from .variance_search import NotBegun, Point, Problem, search

MOST_STEPS = 60
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
        if estimate > 0 and not _reaches_zero(path, problem, which, estimate, rise):
            path.restart()
            lower = _crossing(path, np.sqrt(estimate), -1, error, rise)
        path.restart()
        upper = _crossing(path, np.sqrt(estimate), 1, error, rise)
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
