"""Numbers in names: they run on without a gap, and no number is taken twice."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from edgehold.records.problem import Problem
from edgehold.words import Reason


def in_order(paths: Iterable[str], newer: Collection[str] = ()) -> list[str]:
    """By number, and where two have one number, those of ``newer`` last."""
    return sorted(paths, key=lambda path: (_parts(path)[0], path in newer, path))


def number_problems(paths: Iterable[str], first: int, what: str, newer: Collection[str] = ()) -> Iterator[tuple[str, Problem]]:
    """Files or folders of one folder whose names begin with a number, as (path, problem).

    Parameters
    ----------
    paths : all of them.
    first : the number to begin with.
    what : what one is called.
    newer : those that come after all others: where two have one number, it is theirs to change.
    """
    taken: dict[str, str] = {}
    for count, path in enumerate(in_order(paths, newer), first):
        number, name = _parts(path)
        free = f"{count:0{len(number)}d}"
        if number in taken:
            message = Reason("findings.number_taken", number=number, taken=taken[number])
            yield path, Problem("", "wrong-number", message, Reason("findings.call_it", free=free, name=name), line=1)
        elif number != free:
            message = Reason("findings.number_missing", what=what, free=free, number=number)
            yield path, Problem("", "wrong-number", message, f"call it {free}-{name}", line=1)
        taken.setdefault(number, f"{number}-{name}")


def _parts(path: str) -> tuple[str, str]:
    number, _, name = path.rpartition("/")[2].partition("-")
    return number, name
