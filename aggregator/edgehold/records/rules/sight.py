"""What the kinds of rules are made of: places in a submission, and what was found there."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from edgehold.records.canonical import CanonicalReading
from edgehold.records.model.submission import Submission
from edgehold.records.registers import NO_STEELS, Steels

from .table import Entry

Stars = tuple[int, ...]
Named = dict[str, Any]


@dataclass(frozen=True)
class Around:
    """What rules look at: a submission, and what some of them ask for beside it.

    Attributes
    ----------
    record : the submission.
    today : day of the check, for rules about months.
    steels : the registers of steels and of their classes.
    readings : canonical ones of each run; a run that could not be converted has none, and no rule about readings looks at it.
    references : the same of each reference edge.
    memo : what several kinds ask for and one has found.
    """

    record: Submission
    today: datetime.date = datetime.date.max
    steels: Steels = NO_STEELS
    readings: Sequence[tuple[CanonicalReading, ...]] = ()
    references: Sequence[tuple[CanonicalReading, ...]] = ()
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)


@dataclass(frozen=True)
class Sight:
    """Something that a rule found.

    Attributes
    ----------
    stars : the numbers in lists that lead there.
    value : what stands there.
    named : what else the patterns may name.
    cure : code of a pattern that goes before the entry's own; empty: none.
    first : the numbers that lead to the value which this one repeats; empty: it repeats none.
    below : the way from the place that the entry names to what was found.
    told : the question that the kind asks by itself; empty: the entry says it.
    """

    stars: Stars
    value: Any
    named: Mapping[str, Any] = field(default_factory=dict)
    cure: str = ""
    first: Stars = ()
    below: str = ""
    told: str = ""


Kind = Callable[[Entry, Around], Iterable[Sight]]
Test = Callable[[Any, Stars, Entry, Around], Named | None]


@lru_cache(maxsize=1024)
def _parts(pattern: str) -> tuple[str, ...]:
    return tuple(pattern.split("/")[1:])


def places(tree: Any, pattern: str) -> list[tuple[Stars, Any]]:
    """Every place that a pattern names and that holds something."""
    found: list[tuple[Stars, Any]] = [((), tree)]
    for part in _parts(pattern):
        if part == "*":
            found = [((*stars, number), item) for stars, items in found for number, item in enumerate(items)]
        else:
            found = [(stars, inside) for stars, value in found if (inside := getattr(value, part)) is not None]
    return found


def value_at(tree: Any, pattern: str, stars: Stars) -> Any:
    """What stands at a pattern whose stars are these; None where nothing does."""
    numbers = iter(stars)
    for part in _parts(pattern):
        if tree is None:
            return None
        tree = tree[next(numbers)] if part == "*" else getattr(tree, part)
    return tree


def bound(pattern: str, stars: Stars) -> str:
    """A pattern with its stars replaced by numbers: a JSON pointer."""
    numbers = map(str, stars)
    return "/".join(next(numbers) if part == "*" else part for part in pattern.split("/"))


def found_if(found: bool, **named: object) -> Named | None:
    """What a test answers: what else can be said, or nothing."""
    return named if found else None


def where(test: Test) -> Kind:
    """A kind that looks at every place by itself."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        for stars, value in places(around.record, entry["at"]):
            named = test(value, stars, entry, around)
            if named is not None:
                yield Sight(stars, value, named)

    return kind
