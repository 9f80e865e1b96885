"""Keys cross files: a blade, batch, lot or instrument has the same facts wherever it is named.

The submission with the earliest month (then the first path) fixes a fact; a later file that says otherwise is a
finding that names both. Null says nothing and contradicts nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from edgehold.records.canonical_runs import BladeFacts
from edgehold.records.model.base import Quantity
from edgehold.records.model.submission import Blade, Submission
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.quantities import base_value
from edgehold.records.registers import Steels, folded_name
from edgehold.records.steel_search import steel_of
from edgehold.words import Reason

SAME_QUANTITY = 1e-6  # relative; the same figure written in two units


@dataclass(frozen=True)
class _Fact:
    """One fact that one file states about one key."""

    key: tuple[str, str]  # what it is, and its key
    name: str
    value: object
    text: str
    path: str
    place: str


@dataclass(frozen=True)
class SharedFacts:
    """Steel and batch by blade key over all files, and contradictions as (path, problem)."""

    blades: dict[str, BladeFacts]
    problems: list[tuple[str, Problem]]


def shared_facts(submissions: Iterable[tuple[str, Submission]], steels: Steels, newer: Collection[str] = ()) -> SharedFacts:
    """Collect what all files say about their keys; ``submissions`` are (path, record), and ``newer`` paths fix no fact of others."""
    first: dict[tuple[tuple[str, str], str], _Fact] = {}
    problems = []
    for path, record in sorted(submissions, key=lambda item: (item[0] in newer, item[1].month, item[0])):
        for fact in _facts(path, record, steels):
            known = first.setdefault((fact.key, fact.name), fact)
            if known is not fact and not _alike(known.value, fact.value):
                problems.append((path, _contradiction(known, fact)))
    return SharedFacts(_blade_facts(first), problems)


def _contradiction(known: _Fact, fact: _Fact) -> Problem:
    kind, key = fact.key
    elsewhere = Reason("findings.above_in_file") if known.path == fact.path else f"in {known.path}"
    message = Reason(
        "findings.facts_disagree", name=fact.name, kind=kind, key=key, text=fact.text, known_text=known.text, elsewhere=elsewhere
    )
    cure = Reason("findings.correct_or_other_key", kind=kind)
    return Problem(fact.place, "facts-disagree", message, cure)


def _alike(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= SAME_QUANTITY * max(abs(one), abs(other))
    return one == other


def _blade_facts(first: dict[tuple[tuple[str, str], str], _Fact]) -> dict[str, BladeFacts]:
    known: dict[str, dict[str, str]] = {}
    for (key, name), fact in first.items():
        if key[0] == "blade" and name in ("steel", "batch"):
            known.setdefault(key[1], {})[name] = str(fact.value)
    return {key: BladeFacts(facts.get("steel"), facts.get("batch")) for key, facts in known.items()}


def _facts(path: str, record: Submission, steels: Steels) -> Iterator[_Fact]:
    for i, blade in enumerate(record.blades):
        yield from _facts_of_blade(path, blade, i, steel_of(blade.steel, record.origin, steels))
    for i, lot in enumerate(record.lots or ()):
        for name in ("medium", "use"):
            value = getattr(lot, name)
            if value is not None:
                yield _Fact(("lot", lot.key), name, value, shown(value), path, pointer("lots", i, name))
    for i, instrument in enumerate(record.instruments or ()):
        key = ("instrument", instrument.key)
        if instrument.kind is not None:
            place = pointer("instruments", i, "kind")
            yield _Fact(key, "kind", folded_name(instrument.kind), shown(instrument.kind), path, place)
        yield from _quantity(key, "resolution", instrument.resolution, path, pointer("instruments", i, "resolution"))


def _facts_of_blade(path: str, blade: Blade, number: int, steel: str | None) -> Iterator[_Fact]:
    key = ("blade", blade.key)
    for name in ("batch", "edge", "profile", "grind"):
        value = getattr(blade, name)
        if value is not None:
            yield _Fact(key, name, value, shown(value), path, pointer("blades", number, name))
    place = pointer("blades", number, "thickness_behind_edge")
    yield from _quantity(key, "thickness_behind_edge", blade.thickness_behind_edge, path, place)
    if steel is not None:
        place = pointer("blades", number, "steel")
        yield _Fact(key, "steel", steel, shown(steel), path, place)
        if blade.batch is not None:
            yield _Fact(("batch", blade.batch), "steel", steel, shown(steel), path, place)


def _quantity(key: tuple[str, str], name: str, quantity: Quantity | None, path: str, place: str) -> Iterator[_Fact]:
    if quantity is None:
        return
    value = base_value(quantity)
    if value is not None:
        yield _Fact(key, name, value, f"{quantity.written} {quantity.unit}", path, place)
