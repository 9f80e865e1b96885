"""Honest submissions, simulated: the demonstration with readings that scatter as its protocols assume, and odd ones among them.

``python -m tests.sense.honest 1000`` counts how many of so many are asked about anything, by the spread of single readings.
"""

from __future__ import annotations

import datetime
import functools
import json
import math
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from edgehold.demo.cast import GAUGES
from edgehold.demo.effects import Effects
from edgehold.demo.generate import generate
from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.records.read.against_protocol import readings_by
from edgehold.records.registers import NO_STEELS
from edgehold.records.rules.submissions import own_problems

TODAY = datetime.date(2026, 12, 1)
ROOT = Path(__file__).parents[2]
ASSUMED = 0.25
"""The run-to-run standard deviation, ln, that the protocols assume; here it is that of a single reading, which is more."""
ODD_SHARE, ODD_FACTOR = 0.01, 1.6
"""One reading in a hundred is off by a further factor: a knot in the thread, a jerk of the hand."""
SENSE = {
    "unit-in-doubt", "far-from-neighbours", "stray-limit", "sharper-again", "checkpoint-twice", "run-copied", "end-disagrees",
    "change-beyond", "order-differs",
}  # fmt: skip


@functools.cache
def protocols() -> Repository:
    """The repository of the demonstration without its submissions, for its protocols and steels."""
    return load_repository(ROOT, chosen=())


def honest(count: int, reading_sd: float = ASSUMED, first_seed: int = 1) -> Iterator[dict]:
    """So many submissions, seed by seed of the demonstration: limits where a scale ends, early stops, chips, burrs and all."""
    seed, files = first_seed - 1, list[str]()
    for _ in range(count):
        if not files:
            seed += 1
            files = list(generate(seed, Effects(reading_sd=reading_sd)).files.values())
            stream = np.random.default_rng([seed, 7])
        yield _with_odd_readings(json.loads(files.pop(0)), stream)


def _with_odd_readings(record: dict, stream: np.random.Generator) -> dict:
    ends = {gauge.key: int(gauge.scale_end) for gauge in GAUGES if gauge.scale_end is not None}
    for run in record["runs"]:
        for value in (value for reading in run["readings"] for value in reading.get("values") or ()):
            odd, up = stream.random() < ODD_SHARE, stream.random() < 0.5
            if odd and isinstance(value["written"], int | float) and "limit" not in value:
                times = ODD_FACTOR if up else 1 / ODD_FACTOR
                value["written"] = _like(value["written"], times)
                if value["written"] >= ends.get(run.get("instrument"), math.inf):
                    value |= {"written": ends[run["instrument"]], "limit": "above"}
    return record


def _like(written: float, times: float) -> float:
    """So many times a number, with as many places."""
    if isinstance(written, int):
        return max(1, round(written * times))
    return round(written * times, len(repr(written).partition(".")[2])) or written


def problems(record: dict) -> list[Problem]:
    """What the check finds in a submission by itself and against its protocol."""
    repository = protocols()
    submission = Submission.model_validate_json(json.dumps(record))
    protocol = repository.protocols[(submission.protocol.id, submission.protocol.version)]
    found = readings_by(protocol.record, repository.events.get(protocol.record.id, ()), submission)[1]
    return [*own_problems(submission, TODAY, NO_STEELS), *found]


def asked(record: dict) -> list[Problem]:
    """What the rules of sense ask."""
    return [problem for problem in problems(record) if problem.code in SENSE]


def main(count: int) -> None:
    """Print how many are asked about anything, and by which rules."""
    for spread in (0.06, 0.12, ASSUMED):
        found = [asked(record) for record in honest(count, spread)]
        codes = Counter(code for some in found for code in {problem.code for problem in some})
        print(f"reading spread {spread}: {sum(map(bool, found))} of {count} asked about; {dict(codes)}")
        for some in [some for some in found if some][:8]:
            print("   ", some[0].pointer, some[0].message)


if __name__ == "__main__":
    main(int(sys.argv[1]))
