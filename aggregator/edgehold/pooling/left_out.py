"""What hangs on whose results: an answer without each sender and each month, with senders of heavy tails, and against invented ones.

The spreads are taken as known here, at the root mean square of their posterior, and runs that are known on one side only are left out:
shifts are told, not another answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from scipy.special import logsumexp

from edgehold.numerics.arrays import Array, Texts
from edgehold.numerics.interval import Interval
from edgehold.numerics.known_spreads import Fitted, GivenSpreads, generalised_least_squares, without_each_group

LARGEST = 1500  # runs up to which it is worked out
INVENTED = math.log(2)  # what an invented study says against an answer: twice as much, or half as much
TAILS = 4  # degrees of freedom of senders' scatter
PRECISIONS = np.exp(np.linspace(-8.0, 2.4, 24))  # of the normal parts that make up a t distribution
SCATTER = 0.15  # scale of the half-normal prior of senders' scatter, ln units; the authors' assumption
LEAST_SENDERS = 4  # that compare the two by themselves, before their scatter is looked at
GRID = 161

Asked = TypeVar("Asked")


@dataclass(frozen=True)
class Whose:
    """Where submissions come from.

    Attributes
    ----------
    senders, months : by submission, who sent it, and in which month it was made; one that is not there stands for itself.
    """

    senders: Mapping[str, str]
    months: Mapping[str, str]


@dataclass(frozen=True)
class WithoutEach:
    """A difference without each of some groups of runs in turn.

    Attributes
    ----------
    low, high : the farthest it moves down and up, ln units: low ≤ 0 ≤ high.
    groups : how many there are.
    needed : those without which it is not estimable.
    """

    low: float
    high: float
    groups: int
    needed: tuple[str, ...]


def without_each(whole: Fitted, others: Mapping[str, Fitted], c: Array) -> WithoutEach | None:
    """How far a difference moves without each group of runs.

    Parameters
    ----------
    whole : all runs.
    others : by group, the runs of all others.
    c : (p,) the difference is cᵀb.

    Returns
    -------
    None where all runs together cannot estimate it.
    """
    everything = whole.difference(c)
    if everything is None:
        return None
    found = {name: one.difference(c) for name, one in others.items()}
    moves = [one[0] - everything[0] for one in found.values() if one is not None]
    needed = tuple(name for name, one in found.items() if one is None)
    return WithoutEach(min(0.0, *moves, 0.0), max(0.0, *moves, 0.0), len(others), needed)


@dataclass(frozen=True)
class HeavyTails:
    """Middle and interval of what senders say who scatter with heavy tails.

    Attributes
    ----------
    middle, interval : of the posterior, ln scale.
    """

    middle: float
    interval: Interval


def heavy_tails(found: Sequence[tuple[float, float]], level: float = 0.95) -> HeavyTails | None:
    """The middle of studies whose scatter is t-distributed, so that a few that lie far off hardly count.

    Parameters
    ----------
    found : value and variance of each.
    level : of the interval.

    Returns
    -------
    None with fewer than ``LEAST_SENDERS``.

    Notes
    -----
    y ~ N(m + u, v), u ~ t(4) with scale s, m flat and s half-normal: a random-effects model for outlying studies (Baker & Jackson 2008,
    Stat. Med. 27:418-433). The t is a mixture of normals over gamma-distributed precisions (Lange, Little & Taylor 1989, J. Am. Stat.
    Assoc. 84:881-896), here summed over a grid of their logarithms, as m and s are over grids of their own.
    """
    if len(found) < LEAST_SENDERS:
        return None
    y, v = (np.array(column) for column in zip(*found, strict=True))
    log_weights = TAILS / 2 * (np.log(PRECISIONS) - PRECISIONS)  # of a gamma distribution with mean 1, per unit of ln precision
    log_weights = log_weights - logsumexp(log_weights)
    reach = 4 * float(np.sqrt(v.max() + SCATTER**2))
    m = np.linspace(float(y.min()) - reach, float(y.max()) + reach, GRID)
    s = SCATTER * np.linspace(0.02, 4.0, 20)
    variances = v[:, None, None] + s[:, None] ** 2 / PRECISIONS  # (J, S, K)
    log_likelihood = np.zeros((len(s), len(m)))
    for value, spread in zip(y, variances, strict=True):
        squares, widest = (value - m) ** 2, spread[:, 0]
        narrower = np.exp(np.multiply.outer(squares, -0.5 * (1 / spread - 1 / widest[:, None])))  # (M, S, K), of the density of the widest
        parts = np.exp(log_weights) / np.sqrt(spread)
        log_likelihood += (np.log(np.einsum("msk,sk->ms", narrower, parts)) - 0.5 * np.divide.outer(squares, widest)).T
    log_posterior = logsumexp(log_likelihood - 0.5 * (s[:, None] / SCATTER) ** 2, axis=0)
    density = np.exp(log_posterior - log_posterior.max())
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
    below /= below[-1]
    low, middle, high = np.interp([(1 - level) / 2, 0.5, (1 + level) / 2], below, m)
    return HeavyTails(float(middle), Interval(float(low), float(high), level, "posterior"))


@dataclass(frozen=True)
class Hanging:
    """What hangs on whose results, of one difference.

    Attributes
    ----------
    by_sender, by_month : without each sender's runs, and without those of each month.
    alone : senders that compare the two by themselves.
    tails : with senders of heavy tails; None where too few do.
    """

    by_sender: WithoutEach
    by_month: WithoutEach
    alone: int
    tails: HeavyTails | None


def all_numbers(found: Iterable[Hanging]) -> Iterator[float]:
    """All that has to be finite, ln scale."""
    for one in found:
        yield from (one.by_sender.low, one.by_sender.high, one.by_month.low, one.by_month.high)
        yield from () if one.tails is None else (one.tails.middle, one.tails.interval.low, one.tails.interval.high)


def hanging(runs: GivenSpreads, contrasts: Mapping[Asked, Array], sender: Texts, month: Texts) -> dict[Asked, Hanging]:
    """What hangs on whose results, of every difference that the runs can estimate.

    Parameters
    ----------
    contrasts : by name, (p,) c of a difference cᵀb.
    sender, month : (n,) label of every run.
    """
    whole = generalised_least_squares(runs)
    own = [generalised_least_squares(runs.chosen(sender == one)) for one in np.unique(sender)]
    senders, months = (_without(runs, groups) for groups in (sender, month))
    found = {}
    for asked, c in contrasts.items():
        by_sender, by_month = without_each(whole, senders, c), without_each(whole, months, c)
        alone = [told for one in own if (told := one.difference(c)) is not None]
        if by_sender is not None and by_month is not None:
            found[asked] = Hanging(by_sender, by_month, len(alone), heavy_tails(alone))
    return found


def _without(runs: GivenSpreads, groups: Texts) -> dict[str, Fitted]:
    """By group, the runs of all others."""
    names, codes = np.unique(groups, return_inverse=True)
    each = without_each_group(runs, (np.flatnonzero(codes == one) for one in range(len(names))))
    return dict(zip(map(str, names), each, strict=True))


def invented_to_reverse(difference: float, senders: int, step: float | None = None) -> int:
    """How many invented studies would reverse an answer, if they counted in full and each as much as a sender does on average.

    Parameters
    ----------
    difference : the answer, ln scale.
    senders : whose results stand behind it.
    step : ln of the worthwhile ratio, for an answer that lies within it; None for any other.

    Returns
    -------
    The least number, each saying twice as much against it (or, for one within, twice as much away from it).

    Notes
    -----
    The fail-safe number of Orwin (1983, J. Educ. Stat. 8:157-159) with studies that say something instead of nothing:
    (Nd − k·ln 2)/(N + k) ≤ 0 once k ≥ Nd/ln 2; within, (Nd + k·x)/(N + k) ≥ ln m once k ≥ N(ln m − d)/(x − ln m), x being ln 2 or, where
    that is less, 2 ln m.

    Examples
    --------
    Ten senders say ×1.4 between them. Five invented ones that say ×0.5 bring it to 1.

    >>> import math
    >>> from edgehold.pooling.left_out import invented_to_reverse
    >>> invented_to_reverse(math.log(1.4), 10)
    5
    """
    d = abs(difference)
    if step is None:
        return max(1, math.ceil(senders * d / INVENTED))
    return max(1, math.ceil(senders * max(0.0, step - d) / (max(INVENTED, 2 * step) - step)))
