"""Last digits that no instrument gives.

Where readings spread over many steps of the instrument, each last digit is as likely as any other. People who invent numbers avoid 0 and 5,
repeat a digit too seldom, and prefer some of the rest (Mosimann, Wiseman & Edelman 1995, Accountability in Research 4:31-55; Beber & Scacco
2012, Political Analysis 20:211-234). Honest people who read a dial round to 0 and 5: too many of those count for nothing here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edgehold.numerics.distributions import binom_cdf, chi2_sf

from .readings import ReadFile

FEWEST = 40
STEPS = 3.0  # SDs of one reading, in steps, from which last digits are even
BASE = 10


def evenness(file: ReadFile, spread: float) -> tuple[float, int]:
    """The chance of last digits as odd as a file's, at most, and how many there are; 1 where they tell nothing.

    Parameters
    ----------
    spread : SD of the repeats of one reading, ln scale.
    """
    digits = _digits(file, spread)
    if len(digits) < FEWEST:
        return 1.0, len(digits)
    round_ones = np.isin(digits, (0, BASE // 2))
    seldom = float(binom_cdf(round_ones.sum(), len(digits), 0.2))  # too few 0 and 5
    rest = np.array([(digits == digit).sum() for digit in range(BASE) if digit % (BASE // 2)])
    expected = rest.sum() / len(rest)
    uneven = float(chi2_sf(((rest - expected) ** 2).sum() / expected, len(rest) - 1)) if expected >= 4 else 1.0
    # neighbours are alike one time in ten, more often where a person rounds to 0 and 5
    repeated = float(binom_cdf((digits[1:] == digits[:-1]).sum(), len(digits) - 1, 1 / BASE))
    return min(1.0, 3 * min(seldom, uneven, repeated)), len(digits)


def _digits(file: ReadFile, spread: float) -> npt.NDArray[np.int64]:
    kept = [run.value[run.value * spread >= STEPS * run.step] / run.step for run in file.runs if run.step > 0 and run.decimal]
    return np.round(np.concatenate(kept) if kept else np.zeros(0)).astype(np.int64) % BASE
