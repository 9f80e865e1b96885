"""The readings of a repository as arrays: what every screen looks at."""

from __future__ import annotations

import functools
import math
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgehold.records.canonical import CanonicalReading, CanonicalRun, LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Run
from edgehold.records.units import convert, parse_number

Array = npt.NDArray[np.float64]
DECIMAL = {"1", "2", "5"}


@dataclass(frozen=True, eq=False)
class Checkpoints:
    """The readings of one run by work, arrays (n,): the work, how many values were read there, the mean of their ln, and the sum of
    squares about it."""

    works: Array
    counts: Array
    means: Array
    squares: Array


@dataclass(frozen=True)
class ReadRun:
    """The values of one run.

    Attributes
    ----------
    id, tester, evening : as in the file.
    work : (V,) work at each value, in the protocol's unit.
    repeat : (V,) which repeat at its checkpoint, from 0.
    value : (V,) in the canonical unit; values that are limits only are left out.
    step : the largest step of which all values of its file are whole numbers, in the canonical unit; 0 for a single value.
    decimal : whether that step is 1, 2 or 5 of a decimal place as written, not an eighth or a sixteenth.
    """

    id: str
    tester: str
    evening: int | None
    work: Array
    repeat: Array
    value: Array
    step: float
    decimal: bool = True

    @functools.cached_property
    def checkpoints(self) -> Checkpoints:
        """Its readings by work."""
        works, place = np.unique(self.work, return_inverse=True)
        logs, counts = np.log(self.value), np.bincount(place).astype(float)
        means = np.bincount(place, weights=logs) / counts
        squares = np.bincount(place, weights=(logs - means[place]) ** 2).astype(float)
        return Checkpoints(works, counts, means, squares)


@dataclass(frozen=True)
class ReadFile:
    """The runs of one submission, and what its screens have to know besides.

    Attributes
    ----------
    id, month : as in the file.
    pool : what it may be compared with.
    runs : those with a number read.
    resolution : the coarsest step that an instrument of the file is said to show, in the canonical unit; 0 where none is told.
    references : ln of the readings of fresh reference edges.
    minutes_a_run : what one run takes by the protocol, sharpening included.
    """

    id: str
    month: str
    pool: PoolKey
    runs: tuple[ReadRun, ...]
    resolution: float
    references: Array
    minutes_a_run: float


def read_files(repository: Repository) -> tuple[ReadFile, ...]:
    """Every submission whose readings are numbers, in the repository's order."""
    return tuple(
        _file(submission, protocol)
        for submission in repository.submissions
        if (protocol := repository.protocol_of(submission).record).reading.canonical_unit is not None
    )


def runs_by_month(repository: Repository) -> Counter[tuple[str, str]]:
    """How many runs with a number read each tester made in each month."""
    return Counter(
        (run.tester, submission.record.month)
        for submission in repository.submissions
        if repository.protocol_of(submission).record.reading.canonical_unit is not None
        for run in submission.runs
        if any(_exact(reading) for reading in run.readings)
    )


def _file(submission: LoadedSubmission, protocol: Protocol) -> ReadFile:
    record = submission.record
    unit = protocol.reading.canonical_unit or ""
    steps, units = _steps(record.runs, unit), {run.id: run.reading_unit or unit for run in record.runs}
    runs = [_run(run, *steps[units[run.id]]) for run in submission.runs]
    told = [one.resolution.canonical for one in record.instruments or () if one.resolution is not None and one.resolution.canonical]
    fresh = [value for one in submission.references for reading in one.readings if reading.work == 0 for value in _exact(reading)]
    return ReadFile(
        record.id, record.month, pool_key(submission), tuple(run for run in runs if len(run.value)), max(told, default=0.0),
        np.log(np.array(fresh, dtype=float)), float(protocol.minutes.one_run),
    )  # fmt: skip


def _run(run: CanonicalRun, step: float, decimal: bool) -> ReadRun:
    rows = [
        (reading.work, repeat, value)
        for reading in run.readings
        for repeat, (value, limit) in enumerate(zip(reading.values, reading.limits, strict=True))
        if limit is None and value > 0
    ]
    work, repeat, value = np.array(rows, dtype=float).reshape(-1, 3).T
    return ReadRun(run.id, run.tester, run.evening, work, repeat, value, step, decimal)


def _exact(reading: CanonicalReading) -> list[float]:
    return [value for value, limit in zip(reading.values, reading.limits, strict=True) if limit is None and value > 0]


def _steps(runs: tuple[Run, ...], canonical_unit: str) -> dict[str, tuple[float, bool]]:
    """For each unit as written, the step in the canonical unit, and whether it is one of a decimal place."""
    written: dict[str, list[Fraction]] = {}
    for run in runs:
        values = [_exactly(item.written) for reading in run.readings for item in reading.values or ()]
        written.setdefault(run.reading_unit or canonical_unit, []).extend(values)
    steps = {unit: _common_step(values) for unit, values in written.items() if len(values) > 1}
    return {unit: (convert(steps[unit], unit, canonical_unit), _decimal(steps[unit])) if unit in steps else (0.0, True) for unit in written}


@functools.lru_cache(maxsize=100_000)  # the same few numbers stand in many files
def _exactly(written: str | float) -> Fraction:
    return parse_number(written).exact


def _decimal(step: Fraction) -> bool:
    digits = f"{float(step):.12g}".replace(".", "").strip("0")
    return digits in DECIMAL


def _common_step(values: list[Fraction]) -> Fraction:
    different = set(values)
    common = math.lcm(*(value.denominator for value in different))
    return Fraction(math.gcd(*(value.numerator * (common // value.denominator) for value in different)), common)
