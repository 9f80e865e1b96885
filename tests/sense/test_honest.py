"""Honest submissions are left alone: simulated ones, with readings that scatter as far as the protocols assume."""

from __future__ import annotations

import functools

import pytest

from .honest import ASSUMED, SENSE, honest, problems

COUNT, MOST = 200, 2
"""``python -m tests.sense.honest 1000`` measured 1, 2 and 5 of 1,000 at spreads of 0.06, 0.12 and 0.25."""


@functools.cache
def checked(spread):
    """Honest submissions, each with what the check finds in it."""
    return [(record, problems(record)) for record in honest(COUNT, spread)]


@pytest.mark.parametrize("spread", [0.06, ASSUMED])
def test_at_most_one_honest_submission_in_a_hundred_is_asked_about_anything(spread):
    found = [(record["id"], [one for one in problems if one.code in SENSE]) for record, problems in checked(spread)]
    assert len(found) == COUNT
    assert sum(bool(some) for _, some in found) <= MOST, [some for _, some in found if some]


def test_the_honest_ones_hold_what_makes_it_hard():
    """Limits, early stops, chips, burrs and odd readings are among them, and the check says of them what it always said."""
    records = [record for record, _ in checked(ASSUMED)]
    runs = [run for record in records for run in record["runs"]]
    values = [value for run in runs for reading in run["readings"] for value in reading.get("values") or ()]
    assert {"dull", "edge damaged", "tester stopped", "last checkpoint"} <= {run["ended"] for run in runs}
    assert {"above", "below"} <= {value.get("limit") for value in values}
    assert "sharper-after-work" in {problem.code for _, problems in checked(ASSUMED) for problem in problems}
