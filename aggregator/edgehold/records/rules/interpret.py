"""The table of rules, interpreted: which kinds there are, what each looks at, and what is said of it.

Limits, places, words and codes all come with the table. The browser's interpreter is ``site/pages/assets/form/rules.js``.
"""

from __future__ import annotations

import datetime
import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem, shown
from edgehold.records.registers import FindSteel, find_grit
from edgehold.records.units import plural
from edgehold.words import filled_in

from .months import month_of, months_since_year_0
from .table import Entry

Stars = tuple[int, ...]
Named = dict[str, Any]


def _no_steel(_: str) -> None:
    return None


@dataclass(frozen=True)
class Around:
    """What rules look at: a submission; where they ask for months and steels, also the day of the check and the register."""

    record: Submission
    today: datetime.date = datetime.date.max
    find_steel: FindSteel = _no_steel


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
    """

    stars: Stars
    value: Any
    named: Mapping[str, Any] = field(default_factory=dict)
    cure: str = ""
    first: Stars = ()


Kind = Callable[[Entry, Around], Iterable[Sight]]
Test = Callable[[Any, Stars, Entry, Around], Named | None]


def interpret(table: Iterable[Entry], around: Around) -> list[Problem]:
    """Everything that the rules of a table find, in their order."""
    return [
        _problem(entry, sight, around.record)
        for entry in table
        for sight in KINDS[entry["rule"]](entry, around)
        if "when" not in entry or _holds(entry["when"], sight.stars, around.record)
    ]


def closest(name: str, known: Iterable[str]) -> str:
    """The known name that is most like another; empty where none is."""
    return next(iter(difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.7)), "")


@lru_cache(maxsize=1024)
def _parts(pattern: str) -> tuple[str, ...]:
    return tuple(pattern.split("/")[1:])


def _places(tree: Any, pattern: str) -> list[tuple[Stars, Any]]:
    """Every place that a pattern names and that holds something."""
    found: list[tuple[Stars, Any]] = [((), tree)]
    for part in _parts(pattern):
        if part == "*":
            found = [((*stars, number), item) for stars, items in found for number, item in enumerate(items)]
        else:
            found = [(stars, inside) for stars, value in found if (inside := getattr(value, part)) is not None]
    return found


def _value_at(tree: Any, pattern: str, stars: Stars) -> Any:
    """What stands at a pattern whose stars are these; None where nothing does."""
    numbers = iter(stars)
    for part in _parts(pattern):
        if tree is None:
            return None
        tree = tree[next(numbers)] if part == "*" else getattr(tree, part)
    return tree


def _bound(pattern: str, stars: Stars) -> str:
    numbers = map(str, stars)
    return "/".join(next(numbers) if part == "*" else part for part in pattern.split("/"))


def _holds(when: Entry, stars: Stars, record: Submission) -> bool:
    return bool(_value_at(record, when["at"], stars) == when["is"])


def _problem(entry: Entry, sight: Sight, record: Submission) -> Problem:
    says = entry["says"]
    named = _spelt(_named(says["names"], sight, record))
    cure = sight.cure or _cure(says, sight, record)
    message = filled_in(says["message"], named)
    return Problem(_bound(entry["at"], sight.stars), entry["code"], message, filled_in(cure, named) if cure else "")


def _cure(says: Entry, sight: Sight, record: Submission) -> str:
    when, cure = says["cure_when"], str(says["cure"])
    fits = when is None or any(_holds(when, stars, record) for stars in (sight.stars, sight.first) if stars)
    return cure if fits else ""


def _named(names: Mapping[str, str], sight: Sight, record: Submission) -> Named:
    def read(stars: Stars) -> Named:
        return {name: _value_at(record, at, stars) if at.startswith("/") else at for name, at in names.items()}

    earlier = {f"earlier_{name}": value for name, value in read(sight.first).items()} if sight.first else {}
    return {"value": sight.value, **read(sight.stars), **earlier, **sight.named}


def _spelt(named: Named) -> Named:
    """Each also as a message may show it, and as a unit behind a number."""
    more = {f"{name}_shown": shown(value) for name, value in named.items()}
    return {**named, **more, **{f"{name}_plural": plural(value) for name, value in named.items() if isinstance(value, str)}}


def _if(found: bool, **named: object) -> Named | None:
    """What a test answers: what else can be said, or nothing."""
    return named if found else None


def _where(test: Test) -> Kind:
    """A kind that looks at every place by itself."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        for stars, value in _places(around.record, entry["at"]):
            named = test(value, stars, entry, around)
            if named is not None:
                yield Sight(stars, value, named)

    return kind


def _unique(entry: Entry, around: Around) -> Iterator[Sight]:
    first: dict[tuple[Stars, object], Stars] = {}
    for stars, value in _places(around.record, entry["at"]):
        earlier = first.setdefault((stars[:-1], value), stars)
        if earlier != stars:
            yield Sight(stars, value, first=earlier)


def _one_of(entry: Entry, around: Around) -> Iterator[Sight]:
    known = {value for _, value in _places(around.record, entry["among"])}
    for stars, value in _places(around.record, entry["at"]):
        if value not in known:
            close = closest(value, known)
            yield Sight(stars, value, {"close": close}, cure="findings.did_you_mean" if close else "")


def _only(value: Any, _: Stars, entry: Entry, __: Around) -> Named | None:
    return _if(value not in entry["words"])


def _never(value: Any, _: Stars, entry: Entry, __: Around) -> Named | None:
    return _if(value in entry["words"])


def _not_after(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    return _if(months_since_year_0(value) > month_of(around.today) + entry["months"])


def _not_before(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    return _if(months_since_year_0(value) < month_of(around.today) + entry["months"], years=-entry["months"] // 12)


def _told(_: Any, __: Stars, ___: Entry, ____: Around) -> Named | None:
    return _if(True)


def _at_most(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    limit = entry["limit"] if "limit" in entry else entry["limits"][_value_at(around.record, entry["by"], stars)]
    return _if(value > limit)


def _two_edges(entry: Entry, around: Around) -> Iterator[Sight]:
    all_parts = [(n, p) for n, p in enumerate(around.record.preparations) if p.edge_part != "whole"]
    for key in sorted({p.blade for _, p in all_parts}):
        own = [(n, p) for n, p in all_parts if p.blade == key]
        names, people = {p.edge_part for _, p in own}, {p.sharpener for _, p in own}
        if len(names) > 1 and len({(p.edge_part, p.sharpener) for _, p in own}) < len(names) * len(people):
            number, first = own[0]
            yield Sight((number,), first.edge_part, {"blade": key, "parts": " and ".join(sorted(names))})


def _steel(value: Any, _: Stars, __: Entry, around: Around) -> Named | None:
    return _if(around.find_steel(value) is None)


def _steel_origin(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    steel = around.find_steel(value)
    return _if(steel is not None and steel.origin != entry["origin"] and around.record.origin == entry["origin"])


def _grit(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    system = _value_at(around.record, entry["system"], stars)
    return _if(system is not None and find_grit(system, value) is None)


def _size(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    system, grit = (_value_at(around.record, entry[name], stars) for name in ("system", "grit"))
    size = None if system is None or grit is None else find_grit(system, grit)
    if size is None:
        return None
    return _if(not 1 / entry["factor"] <= value / size.micrometres <= entry["factor"], size=size.micrometres)


KINDS: dict[str, Kind] = {
    "unique": _unique,
    "one of": _one_of,
    "only": _where(_only),
    "never": _where(_never),
    "not after": _where(_not_after),
    "not before": _where(_not_before),
    "unused": _where(_told),
    "told": _where(_told),
    "at most": _where(_at_most),
    "two edges": _two_edges,
    "steel": _where(_steel),
    "steel origin": _where(_steel_origin),
    "grit": _where(_grit),
    "size": _where(_size),
}
