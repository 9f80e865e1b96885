"""Months as they are written: which comes first, and which has not come yet."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from edgehold.records.problem import Problem
from edgehold.words import filled_in


def months_since_year_0(month: str) -> int:
    """A month such as 2026-05 as one number."""
    return int(month[:4]) * 12 + int(month[5:7]) - 1


def month_of(today: datetime.date) -> int:
    """The same of a day."""
    return today.year * 12 + today.month - 1


def month_problem(month: str, today: datetime.date, place: str = "/month") -> Iterator[Problem]:
    """A month that has not come yet."""
    if months_since_year_0(month) > month_of(today):
        yield Problem(place, "month-in-future", filled_in("findings.month_to_come", {"value": month}))
