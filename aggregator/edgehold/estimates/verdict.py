"""What an interval means against the smallest ratio worth acting on."""

from __future__ import annotations

import math

from edgehold.numerics.distributions import t_ppf

from .results import Verdict

BETTER, WORSE = "better", "worse"
NOTHING_WORTH_HAVING = "no difference worth having"
SIZE_UNDECIDED = "different, size undecided"
UNDECIDED, ONE_SIDED, NONE = "undecided", "one-sided", "none"


def verdict_of(estimate: float, standard_error: float, df: float, worthwhile_ratio: float) -> Verdict:
    """Verdict on a contrast with a t interval.

    Parameters
    ----------
    estimate, standard_error, df : of the contrast, first minus second on the ln scale.
    worthwhile_ratio : m > 1.
    """
    half95, half90 = (standard_error * float(t_ppf(q, df)) for q in (0.975, 0.95))
    inside = abs(estimate) + half90 < math.log(worthwhile_ratio)
    return verdict(estimate - half95, estimate + half95, bool(inside), worthwhile_ratio)


def verdict(low: float, high: float, inside: bool, worthwhile_ratio: float) -> Verdict:
    """Verdict on a contrast with any interval.

    Better or worse when the 95 % interval lies beyond the worthwhile ratio; no difference worth having when the 90 %
    interval lies within it either way, which is two one-sided tests at 5 % (Schuirmann 1987, J. Pharmacokinet.
    Biopharm. 15:657–680); otherwise different, or undecided, as the 95 % interval leaves out 0 or not.

    Parameters
    ----------
    low, high : 95 % limits on the ln scale.
    inside : whether the 90 % interval lies within ±ln m.
    worthwhile_ratio : m > 1.
    """
    limit = math.log(worthwhile_ratio)
    furthest = max(abs(low), abs(high))
    excludes = math.exp(furthest) if furthest < math.log(1e300) else math.inf
    return Verdict(_kind(low, high, inside, limit), excludes, worthwhile_ratio)


def _kind(low: float, high: float, inside: bool, limit: float) -> str:
    if math.isinf(low) and math.isinf(high):
        return NONE
    if low > limit or high < -limit:
        return BETTER if low > limit else WORSE
    if inside:
        return NOTHING_WORTH_HAVING
    return SIZE_UNDECIDED if low > 0 or high < 0 else UNDECIDED


def one_sided(worthwhile_ratio: float) -> Verdict:
    """Verdict where only a bound is known: the other side is open, so nothing is ruled out either way."""
    return Verdict(ONE_SIDED, math.inf, worthwhile_ratio)
