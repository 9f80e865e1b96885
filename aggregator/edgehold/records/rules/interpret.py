"""The table of rules, interpreted: which kinds there are, what each looks at, and what is said of it.

Limits, places, words and codes all come with the table. The browser's interpreter is ``site/pages/assets/form/rules.js``.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from edgehold.errors import ERROR
from edgehold.records.codes import CODES
from edgehold.records.model.submission import Preparation, Submission
from edgehold.records.problem import Problem, shown
from edgehold.records.registers import find_grit, find_steel
from edgehold.records.units import plural
from edgehold.words import filled_in

from .level_kinds import LEVEL_KINDS
from .months import month_of, months_since_year_0
from .readings import READING_KINDS
from .reference_kinds import REFERENCE_KINDS
from .sense_kinds import SENSE_KINDS
from .sight import Around, Kind, Named, Sight, Stars, bound, found_if, places, value_at, where
from .steel_kinds import STEEL_KINDS
from .table import Entry


def interpret(table: Iterable[Entry], around: Around, errors_only: bool = False) -> list[Problem]:
    """Everything that the rules of a table find, in their order; with ``errors_only`` no rule is asked that would only warn."""
    return [
        _problem(entry, sight, around.record)
        for entry in table
        if not errors_only or CODES[entry["code"]].severity == ERROR
        for sight in KINDS[entry["rule"]](entry, around)
        if "when" not in entry or _holds(entry["when"], sight.stars, around.record)
    ]


def closest(name: str, known: Iterable[str]) -> str:
    """The known name that is most like another; empty where none is."""
    return next(iter(difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.7)), "")


def _holds(when: Entry, stars: Stars, record: Submission) -> bool:
    return bool(value_at(record, when["at"], stars) == when["is"])


def _problem(entry: Entry, sight: Sight, record: Submission) -> Problem:
    place = bound(entry["at"], sight.stars) + sight.below
    if sight.told:
        return Problem(place, entry["code"], sight.told)
    says = entry["says"]
    named = _spelt(_named(says["names"], sight, record))
    cure = sight.cure or _cure(says, sight, record)
    message = filled_in(says["message"], named)
    return Problem(place, entry["code"], message, filled_in(cure, named) if cure else "")


def _cure(says: Entry, sight: Sight, record: Submission) -> str:
    when, cure = says["cure_when"], str(says["cure"])
    fits = when is None or any(_holds(when, stars, record) for stars in (sight.stars, sight.first) if stars)
    return cure if fits else ""


def _named(names: Mapping[str, str], sight: Sight, record: Submission) -> Named:
    def read(stars: Stars) -> Named:
        return {name: value_at(record, at, stars) if at.startswith("/") else at for name, at in names.items()}

    earlier = {f"earlier_{name}": value for name, value in read(sight.first).items()} if sight.first else {}
    return {"value": sight.value, **read(sight.stars), **earlier, **sight.named}


def _spelt(named: Named) -> Named:
    """Each also as a message may show it, and as a unit behind a number."""
    more = {f"{name}_shown": shown(value) for name, value in named.items()}
    return {**named, **more, **{f"{name}_plural": plural(value) for name, value in named.items() if isinstance(value, str)}}


def _unique(entry: Entry, around: Around) -> Iterator[Sight]:
    first: dict[tuple[Stars, object], Stars] = {}
    for stars, value in places(around.record, entry["at"]):
        earlier = first.setdefault((stars[:-1], value), stars)
        if earlier != stars:
            yield Sight(stars, value, first=earlier)


def _one_of(entry: Entry, around: Around) -> Iterator[Sight]:
    known = {value for _, value in places(around.record, entry["among"])} | set(entry.get("beside", ()))
    for stars, value in places(around.record, entry["at"]):
        if value not in known:
            close = closest(value, known)
            yield Sight(stars, value, {"close": close}, cure="findings.did_you_mean" if close else "")


def _only(value: Any, _: Stars, entry: Entry, __: Around) -> Named | None:
    return found_if(value not in entry["words"], wanted=" or ".join(entry["words"]))


def _never(value: Any, _: Stars, entry: Entry, __: Around) -> Named | None:
    return found_if(value in entry["words"])


def _not_after(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    return found_if(months_since_year_0(value) > month_of(around.today) + entry["months"])


def _not_before(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    return found_if(months_since_year_0(value) < month_of(around.today) + entry["months"], years=-entry["months"] // 12)


def _told(_: Any, __: Stars, ___: Entry, ____: Around) -> Named | None:
    return found_if(True)


def _at_most(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    limit = entry["limit"] if "limit" in entry else entry["limits"][value_at(around.record, entry["by"], stars)]
    return found_if(value > limit)


def _two_edges(entry: Entry, around: Around) -> Iterator[Sight]:
    all_parts = [(n, p) for n, p in enumerate(around.record.preparations) if p.edge_part != "whole"]
    if _every_part_by_all([p for _, p in all_parts]):  # swapped from one blade to another
        return
    for key in sorted({p.blade for _, p in all_parts}):
        own = [(n, p) for n, p in all_parts if p.blade == key]
        names = {p.edge_part for _, p in own}
        if len(names) > 1 and not _every_part_by_all([p for _, p in own]):
            number, first = own[0]
            yield Sight((number,), first.edge_part, {"blade": key, "parts": " and ".join(sorted(names))})


def _every_part_by_all(edges: Sequence[Preparation]) -> bool:
    """Whether everybody sharpened every part, in each condition that is compared."""
    met = {(p.edge_part, p.sharpener, p.condition) for p in edges}
    return len(met) == len({part for part, *_ in met}) * len({tuple(by) for _, *by in met})


def _partners(value: Any, stars: Stars, _: Entry, around: Around) -> Named | None:
    """A run that is there, and that does not name this one in turn."""
    run, other = around.record.runs[stars[0]], next((r for r in around.record.runs if r.id == value), None)
    return found_if(other is not None and (other is run or other.partner != run.id))


def _partners_share(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    """Both named each other, and something that they should share differs; told at the later of the two."""
    runs = around.record.runs
    run, at = runs[stars[0]], next((n for n, r in enumerate(runs) if r.id == value), stars[0])
    if runs[at].partner != run.id or at >= stars[0]:
        return None
    differ = [name for name in entry["shared"] if getattr(run, name) != getattr(runs[at], name)]
    return found_if(bool(differ), differ=" and ".join(differ).replace("_", " "))


def _factory_edge(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    """Sharpener and start state do not both speak of a factory edge; or such an edge has a condition."""
    preparation = around.record.preparations[stars[0]]
    by, begun = value in entry["words"], preparation.start_state in entry["words"]
    return found_if(by != begun or (by and preparation.condition is not None), start=preparation.start_state or "not known")


def _pair(value: Any, stars: Stars, around: Around) -> tuple[int, int] | None:
    """Numbers of two runs that name each other, told at the later of them in the file; None elsewhere."""
    runs = around.record.runs
    at = next((n for n, run in enumerate(runs[: stars[0]]) if run.id == value), None)
    return None if at is None or runs[at].partner != runs[stars[0]].id else (at, stars[0])


def _edge_of(run: int, around: Around) -> Preparation | None:
    wanted = around.record.runs[run].preparation
    return next((preparation for preparation in around.record.preparations if preparation.id == wanted), None)


def _partner_edges(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    """Halves: another blade, or the same part of the edge; blades: the same blade."""
    pair = _pair(value, stars, around)
    one, other = (None, None) if pair is None else (_edge_of(run, around) for run in pair)
    if one is None or other is None:
        return None
    same = one.blade == other.blade
    return found_if(not same or one.edge_part == other.edge_part if entry["same"] else same, blade=one.blade)


def _partners_apart(value: Any, stars: Stars, _: Entry, around: Around) -> Named | None:
    pair = _pair(value, stars, around)
    if pair is None:
        return None
    one, other = (around.record.runs[run].order for run in pair)
    return found_if(abs(one - other) != 1, order=other, other=one)


def _always_first(_: Entry, around: Around) -> Iterator[Sight]:
    """Pairs of the same two blades, two or more, in all of which one has the lower number; told at its first run."""
    runs = around.record.runs
    began: dict[frozenset[str], list[tuple[int, str]]] = {}
    for stars, value in places(around.record, "/runs/*/partner"):
        pair = _pair(value, stars, around)
        first, second = (None, None) if pair is None else sorted(pair, key=lambda run: runs[run].order)
        edges = [] if first is None or second is None else [_edge_of(first, around), _edge_of(second, around)]
        blades = [edge.blade for edge in edges if edge is not None]
        if first is not None and len(set(blades)) == 2:
            began.setdefault(frozenset(blades), []).append((first, blades[0]))
    for both, starts in began.items():
        number, blade = starts[0]
        if len(starts) > 1 and {start for _, start in starts} == {blade}:
            named = {"blade": blade, "other": next(iter(both - {blade})), "pairs": len(starts)}
            yield Sight((number,), runs[number], named)


def _partner_works(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    """An amount of work at which only one of two partners was read, though both went on to it; 0 is looked at elsewhere."""
    pair = _pair(value, stars, around)
    one, other = ((), ()) if pair is None else ([reading.work for reading in around.readings[run]] for run in pair)
    if not one or not other:
        return None
    reach = min(max(one), max(other)) * (1 + entry["within"])
    both = [(work, other) for work in one] + [(work, one) for work in other]
    alone = [w for w, there in both if 0 < w <= reach and all(abs(w - x) > entry["within"] * w for x in there)]
    return found_if(bool(alone), work=min(alone, default=0.0))


def _steel(value: Any, _: Stars, __: Entry, around: Around) -> Named | None:
    return found_if(find_steel(around.steels, value) is None)


def _steel_origin(value: Any, _: Stars, entry: Entry, around: Around) -> Named | None:
    steel = find_steel(around.steels, value)
    return found_if(steel is not None and steel.origin != entry["origin"] and around.record.origin == entry["origin"])


def _grit(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    system = value_at(around.record, entry["system"], stars)
    return found_if(system is not None and find_grit(system, value) is None)


def _size(value: Any, stars: Stars, entry: Entry, around: Around) -> Named | None:
    system, grit = (value_at(around.record, entry[name], stars) for name in ("system", "grit"))
    size = None if system is None or grit is None else find_grit(system, grit)
    if size is None:
        return None
    return found_if(not 1 / entry["factor"] <= value / size.micrometres <= entry["factor"], size=size.micrometres)


KINDS: dict[str, Kind] = {
    "unique": _unique,
    "one of": _one_of,
    "only": where(_only),
    "never": where(_never),
    "not after": where(_not_after),
    "not before": where(_not_before),
    "unused": where(_told),
    "told": where(_told),
    "at most": where(_at_most),
    "two edges": _two_edges,
    "factory edge": where(_factory_edge),
    "partners": where(_partners),
    "partners share": where(_partners_share),
    "partner edges": where(_partner_edges),
    "partners apart": where(_partners_apart),
    "partner works": where(_partner_works),
    "always first": _always_first,
    "steel": where(_steel),
    "steel origin": where(_steel_origin),
    "grit": where(_grit),
    "size": where(_size),
    **READING_KINDS,
    **SENSE_KINDS,
    **REFERENCE_KINDS,
    **LEVEL_KINDS,
    **STEEL_KINDS,
}
