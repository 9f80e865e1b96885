"""Whether the plan can answer its question, and what would.

Further plans are not drawn run by run: a contrast of exact runs under the additive model has the distribution of a moderated t
statistic, which is drawn directly here. Lives that checkpoints censor do a little worse than this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from edgehold.endpoints.draws import key_of, normal_draws
from edgehold.estimates.repeatability import Repeatability
from edgehold.estimates.verdict import BETTER, NOTHING_WORTH_HAVING
from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import chi2_ppf, t_ppf
from edgehold.records.model.plan import Plan
from edgehold.records.sharpeners import planned_by
from edgehold.words import Reason

from .chances import Chance, Expected
from .occasion import sharpened_again
from .plans import half_balance, in_halves, in_pairs
from .precision import cuts_of, least_precise

ENOUGH = 0.8  # chance of the right verdict that makes a plan worth its evening (common practice in planning trials)
DRAWS = 4000
MOST_ROUNDS = 60  # rounds of all arms up to which more runs are tried
WIDEST_RATIO = 20.0
RATIO_STEP = 1.02


@dataclass(frozen=True)
class Remedy:
    """Something that would help, or would not.

    Attributes
    ----------
    kind : more runs, larger worthwhile ratio, finer readings, another evening or a friend's stone.
    enough : whether it alone would make the question answerable.
    value : the runs, the worthwhile ratio, the half width (as a ratio) or the chance that goes with it; None where not known.
    text : the whole in words.
    """

    kind: str
    enough: bool
    value: float | None
    text: str


@dataclass(frozen=True)
class Verdicts:
    """How likely the right verdict is where there is no difference, and where one of the two is better by m².

    Attributes
    ----------
    no_difference, difference : the two chances.
    """

    no_difference: float
    difference: float

    @property
    def enough(self) -> bool:
        """Whether both are likely enough to spend an evening on."""
        return min(self.no_difference, self.difference) >= ENOUGH


def right_verdicts(chances: tuple[Chance, ...]) -> Verdicts:
    """Of the chances at 1, m and m²."""
    return Verdicts(chances[0].share[NOTHING_WORTH_HAVING], chances[-1].share[BETTER])


@dataclass(frozen=True, eq=False)
class Outlook:
    """A moderated t statistic, drawn many times.

    Attributes
    ----------
    entry, truth : as in `chances.Setting`.
    seed : of the draws.
    """

    entry: Repeatability
    truth: tuple[float, float]
    seed: int

    @cached_property
    def _uniforms(self) -> Array:
        uniforms: Array = ndtr(normal_draws(key_of("outlook", str(self.seed)), 2, DRAWS))
        return uniforms

    @cached_property
    def _z(self) -> Array:
        z: Array = normal_draws(key_of("outlook", str(self.seed), "estimate"), 1, DRAWS)[0]
        return z

    @cached_property
    def _spread(self) -> Array:
        s0, worth = self.truth
        return np.full(DRAWS, s0) if math.isinf(worth) else s0 * np.sqrt(worth / chi2_ppf(self._uniforms[0], worth))

    def drawn(self, unscaled: float, df: int) -> tuple[Array, Array, float]:
        """Estimates at a true ratio of 1, their standard errors, and the degrees of freedom.

        Parameters
        ----------
        unscaled : variance of the estimate divided by the variance between runs.
        df : degrees of freedom of the evening's own variance.
        """
        sigma = self._spread
        own = sigma**2 * (chi2_ppf(self._uniforms[1], df) / df if df else 1.0)
        moderated, total = self.entry.moderate(own, df)
        return sigma * math.sqrt(unscaled) * self._z, np.sqrt(np.broadcast_to(moderated, DRAWS) * unscaled), total

    def right(self, unscaled: float, df: int, ratio: float) -> Verdicts:
        """Chances of the right verdict; the figures are as for `drawn`, ``ratio`` is the worthwhile one."""
        return _verdicts(*self.drawn(unscaled, df), ratio)

    def seen(self, unscaled: float, df: int, true_ratio: float) -> float:
        """Chance that the 95 % interval lies wholly on the right side of no difference at a true ratio."""
        estimate, se, total = self.drawn(unscaled, df)
        return float((estimate + math.log(true_ratio) > se * t_ppf(0.975, total)).mean())

    def half_width(self, unscaled: float, df: int) -> float:
        """Root mean square of the half width of the 95 % interval, ln scale."""
        _, se, total = self.drawn(unscaled, df)
        return float(np.sqrt((se**2).mean()) * t_ppf(0.975, total))


def _verdicts(estimate: Array, se: Array, total: float, ratio: float) -> Verdicts:
    limit, half95, half90 = math.log(ratio), se * t_ppf(0.975, total), se * t_ppf(0.95, total)
    return Verdicts(
        no_difference=float((np.abs(estimate) + half90 < limit).mean()),
        difference=float((estimate + 2 * limit - half95 > limit).mean()),
    )


def rank(plan: Plan) -> int:
    """Coefficients of the additive model of a plan's runs: 1 and, for each factor with more than one level, one less than these.

    Evenings and lots only where they hold two runs on average, as in ``estimates.design``. Pairs of runs cut in turn take everything up
    that their two runs share; sharpener and half of the edge are left, or the blades.
    """
    runs = plan.runs
    if in_pairs(plan) and not in_halves(plan):
        return len(runs) // 2 + len({run.blade for run in runs}) - 1
    if in_pairs(plan):
        return len(runs) // 2 + (2 if abs(half_balance(plan)) < len(runs) // 2 else 1)
    plain = [len({run.blade for run in runs}), len({planned_by(run) for run in runs}), len({run.tester for run in runs})]
    blocks = [len({run.evening for run in runs}), len({run.lot for run in runs})]
    return 1 + sum(levels - 1 for levels in plain) + sum(levels - 1 for levels in blocks if len(runs) >= 2 * levels)


def unscaled_variance(plan: Plan, compared: int) -> float:
    """Variance of a contrast divided by the variance between runs: 2/(runs of each), or of p pairs, in s of which more the first had
    the heel, 2p/(p² − s²), as least squares on the differences within pairs with a column for the half gives it; infinite where the
    half changes with the sharpener throughout. Of blades in pairs it is that of the two known least."""
    n = len(plan.runs)
    if not in_pairs(plan):
        return 2 * compared / n
    if not in_halves(plan):
        return least_precise(cuts_of(plan), "blade", sorted({run.blade for run in plan.runs})).unscaled
    p, s = n // 2, half_balance(plan)
    return 2 * p / (p * p - s * s) if abs(s) < p else math.inf


def remedies(
    plan: Plan, found: Expected, outlook: Outlook, per_evening: int, ratio: float, reading_share: float | None, absent: tuple[str, ...] = ()
) -> tuple[Remedy, ...]:
    """What would make the question answerable, from the nearest at hand to the farthest.

    Parameters
    ----------
    plan, found : the plan and what it can be expected to say; nothing is looked for where ``found.unscaled`` is None.
    per_evening : runs that one evening holds.
    ratio : the worthwhile ratio.
    reading_share : share of the variance between runs that comes from reading; None where not known.
    absent : sharpeners whose edges can be cut only once.
    """
    n, arms, paired = len(plan.runs), len({(run.blade, planned_by(run)) for run in plan.runs}), in_pairs(plan)
    if paired and not in_halves(plan) and len({run.blade for run in plan.runs}) > 2:
        arms *= 2  # a round holds every edge in two pairs
    df, unscaled = n - rank(plan), found.unscaled
    if unscaled is None:
        return ()
    return (
        _more_runs(n, arms, df, unscaled, outlook, per_evening, ratio, paired, absent),
        _larger_ratio(df, unscaled, outlook, ratio),
        _finer_readings(found, reading_share),
        _another_evening(df + (n // 2 if paired else n - 1), unscaled, outlook, ratio),
        Remedy("a friend's stone", False, None, Reason("plan.friend")),
    )


def _more_runs(
    n: int, arms: int, df: int, unscaled: float, outlook: Outlook, per_evening: int, ratio: float, paired: bool, absent: tuple[str, ...]
) -> Remedy:
    """The least runs; of pairs each costs a degree of freedom, and evenings none."""
    for rounds in range(n // arms + 1, MOST_ROUNDS + 1):
        more = rounds * arms
        evenings = math.ceil(more / per_evening)
        further = max(0, evenings - math.ceil(n / per_evening)) if more >= 2 * evenings and not paired else 0
        gained = (more - n) // 2 if paired else more - n - further
        if outlook.right(unscaled * n / more, df + gained, ratio).enough:
            back = sharpened_again(absent)
            return Remedy("more runs", True, float(more), Reason("plan.more_runs", runs=more, evenings=evenings, back=back))
    return Remedy("more runs", False, None, Reason("plan.no_more_runs", runs=MOST_ROUNDS * arms))


def _larger_ratio(df: int, unscaled: float, outlook: Outlook, ratio: float) -> Remedy:
    wider, drawn = ratio, outlook.drawn(unscaled, df)
    while wider < WIDEST_RATIO:
        wider *= RATIO_STEP
        if _verdicts(*drawn, wider).enough:
            return Remedy("larger worthwhile ratio", True, wider, Reason("plan.larger_ratio", wider=wider, ratio=ratio))
    return Remedy("larger worthwhile ratio", False, None, Reason("plan.no_larger_ratio", widest=WIDEST_RATIO))


def _finer_readings(found: Expected, share: float | None) -> Remedy:
    if share is None or found.half_width is None:
        return Remedy("finer readings", False, None, Reason("plan.readings_unknown"))
    width = math.exp(found.half_width * math.sqrt(max(0.0, 1 - share)))
    return Remedy("finer readings", False, width, Reason("plan.finer_readings", percent=100 * share, width=width))


def _another_evening(df: int, unscaled: float, outlook: Outlook, ratio: float) -> Remedy:
    """The same again; ``df`` of both together."""
    twice = outlook.right(unscaled / 2, df, ratio)
    text = Reason(
        "plan.another_evening", rule_out=100 * twice.no_difference, difference=ratio**2, find=100 * twice.difference, before=ratio
    )
    return Remedy("another evening", twice.enough, min(twice.no_difference, twice.difference), text)
