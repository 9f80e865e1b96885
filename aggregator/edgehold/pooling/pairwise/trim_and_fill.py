"""What the pooled result would be if the funnel were made symmetric: a sensitivity result, never the headline.

The symbols are those of ``edgehold.pooling``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array
from edgehold.pooling.inputs import checked_studies, frozen
from edgehold.words import Reason

from .random_effects import Options, RandomEffectsFit, random_effects
from .small_study import LEAST_STUDIES, small_study_test

MOST_ROUNDS = 100  # it settles in a handful; two counts may also take turns for ever
SIDES = ("left", "right")


@dataclass(frozen=True, eq=False)
class TrimAndFill:
    """A funnel made symmetric.

    Attributes
    ----------
    missing : number of studies that would have to be added.
    side : where they would lie: ``"left"`` (smaller effects) or ``"right"``.
    filled : (missing,) the effects that were added, mirror images of the trimmed ones.
    fit : the fit of all studies and the added ones.
    studies : k, without the added ones.
    """

    missing: int
    side: str
    filled: Array
    fit: RandomEffectsFit
    studies: int


def trim_and_fill(
    y: ArrayLike,
    v: ArrayLike,
    *,
    side: str | None = None,
    tau2_method: str = "reml",
    interval: str = "guarded-knapp-hartung",
    level: float = 0.95,
    least_studies: int = LEAST_STUDIES,
) -> TrimAndFill | Reason:
    """Count what a funnel lacks on one side, put it there and pool again (Duval & Tweedie 2000, JASA 95:89–98, estimator L₀).

    With ranks of the distances |y − b| from the trimmed mean and S their sum on the crowded side,
    L₀ = (4S − k(k + 1))/(2k − 1), rounded; the L₀ most extreme studies are trimmed and b is estimated anew until L₀ stays.

    Parameters
    ----------
    y, v, tau2_method, interval, level : as for ``random_effects``.
    side : where studies are thought to be missing; None: opposite to the slope of ``small_study_test``.
    least_studies : below this it is refused with its reason.

    Returns
    -------
    TrimAndFill or Reason
        Added studies are no data: the result says how much the pooled one leans on symmetry. The reason where there is none.

    Raises
    ------
    InputError
        If the side is unknown or ``random_effects`` would raise.

    Examples
    --------
    Teacher expectancy, nineteen studies (Raudenbush 1984, J. Educ. Psychol. 76:85–97). The R package metafor adds three studies
    on the left, after which the mean is 0.028 with a standard error of 0.074.

    >>> from edgehold.pooling import trim_and_fill
    >>> y = [0.03, 0.12, -0.14, 1.18, 0.26, -0.06, -0.02, -0.32, 0.27, 0.80,
    ...      0.54, 0.18, -0.02, 0.23, -0.18, -0.06, 0.30, 0.07, -0.07]
    >>> v = [0.0156, 0.0216, 0.0279, 0.1391, 0.1362, 0.0106, 0.0106, 0.0484, 0.0269, 0.0630,
    ...      0.0912, 0.0497, 0.0835, 0.0841, 0.0253, 0.0279, 0.0193, 0.0088, 0.0303]
    >>> found = trim_and_fill(y, v, interval="wald")
    >>> found.missing, found.side
    (3, 'left')
    >>> round(float(found.fit.coefficients[0]), 3), round(float(found.fit.standard_errors[0]), 3)
    (0.028, 0.074)
    """
    y, v, _ = checked_studies(y, v, None)
    asked: Options = {"tau2_method": tau2_method, "interval": interval, "level": level, "predict": False}
    if side is not None and side not in SIDES:
        raise InputError(f"side must be one of {', '.join(SIDES)}, or None; got {side!r}")
    if len(y) < least_studies:
        return Reason("pairwise.trim_few", studies=len(y), least=least_studies)
    if side is None:
        test = small_study_test(y, v, interval="wald", least_studies=least_studies)
        if isinstance(test, Reason):
            return test
        side = "left" if test.slope >= 0 else "right"
    return _filled(y, v, side, asked)


def _filled(y: Array, v: Array, side: str, asked: Options) -> TrimAndFill | Reason:
    sign = 1.0 if side == "left" else -1.0
    order = np.argsort(sign * y, kind="stable")
    crowded, variances = sign * y[order], v[order]
    missing, centre = _missing(crowded, variances, asked)
    if missing is None:
        return Reason("pairwise.trim_unsettled")
    extreme = np.arange(len(y) - missing, len(y))
    added = 2 * centre - crowded[extreme]
    fit = random_effects(sign * np.append(crowded, added), np.append(variances, variances[extreme]), **asked)
    return TrimAndFill(missing, side, frozen(sign * added), fit, len(y))


def _missing(y: Array, v: Array, asked: Options) -> tuple[int | None, float]:
    """L₀ for rising ``y`` with studies missing on the left, and the trimmed mean it was counted from."""
    k, missing = len(y), 0
    for _ in range(MOST_ROUNDS):
        centre = float(random_effects(y[: k - missing], v[: k - missing], **asked).coefficients[0])
        rank = np.empty(k)
        rank[np.argsort(np.abs(y - centre), kind="stable")] = np.arange(1, k + 1)
        counted = (4 * rank[y > centre].sum() - k * (k + 1)) / (2 * k - 1)
        before, missing = missing, min(max(0, round(counted)), k - 1)
        if missing == before:
            return missing, centre
    return None, centre
