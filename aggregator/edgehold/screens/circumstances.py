"""Evenings too full, values finer than the instrument, and references unlike all others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

import numpy as np

from .readings import Array, ReadFile

SWIFT = 0.5  # of the minutes that a protocol gives a run: nobody is quicker
MOST_MINUTES = 16 * 60  # of one evening, or of one day of a month
DAYS = 31
FINER = 0.2  # share of values between the steps of the instrument from which it is asked about
FEWEST_VALUES, FEWEST_RIGS = 10, 5
FAR = 4.5  # robust standard deviations
NORMAL = 1.4826  # of the median absolute deviation, for a normal


def fullest_evening(file: ReadFile) -> tuple[str, int, float] | None:
    """The tester, runs and hours of an evening that holds more work than a day has; None where there is none."""
    runs = Counter((run.tester, run.evening) for run in file.runs if run.evening is not None)
    return _over(((tester, count) for (tester, _), count in runs.items()), file.minutes_a_run, MOST_MINUTES)


def fullest_month(file: ReadFile, done: Mapping[tuple[str, str], int]) -> tuple[str, int, float] | None:
    """The same of all that the file's testers did in its month; ``done`` counts runs by tester and month over every pool."""
    testers = {run.tester for run in file.runs}
    return _over(((tester, done[tester, file.month]) for tester in sorted(testers)), file.minutes_a_run, DAYS * MOST_MINUTES)


def _over(runs: Iterable[tuple[str, int]], minutes: float, most: float) -> tuple[str, int, float] | None:
    tester, count = max(runs, key=lambda one: one[1], default=("", 0))
    return (tester, count, count * minutes / 60) if count * minutes * SWIFT > most else None


def finer_than_the_instrument(file: ReadFile) -> tuple[int, int] | None:
    """How many values lie between the steps that the file's instrument shows, of how many; None where few do."""
    values = np.concatenate([run.value for run in file.runs]) if file.runs else np.zeros(0)
    if file.resolution <= 0 or len(values) < FEWEST_VALUES:
        return None
    off = np.abs(values / file.resolution - np.round(values / file.resolution)) > 0.1
    return (int(off.sum()), len(values)) if off.mean() > FINER else None


def reference_distance(file: ReadFile, others: Array) -> float | None:
    """By how many robust standard deviations the file's fresh references read off those of all other rigs; None where not further than any.

    Parameters
    ----------
    others : (G,) mean ln reading of fresh references in each other file.
    """
    if not len(file.references) or len(others) < FEWEST_RIGS:
        return None
    middle = float(np.median(others))
    distances, own = np.abs(others - middle), abs(float(file.references.mean()) - middle)
    scale = NORMAL * float(np.median(distances))
    if scale <= 0 or own <= FAR * scale or own <= float(distances.max()):
        return None
    return own / scale
