"""Kinds of rules about which of the protocol's levels a run is of."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from edgehold.records.facts import NUMBERS, EdgeOfRun
from edgehold.records.levels import Judged, edge_of, fact_of, judged
from edgehold.records.model.protocol import Level, LevelRule
from edgehold.words import Reason

from .sight import Around, Kind, Named, Sight, found_if
from .table import Entry


def _kind(test: Callable[[Judged], Named | None]) -> Kind:
    """A kind that looks at how every run stands to the entry's levels."""

    def kind(entry: Entry, around: Around) -> Iterator[Sight]:
        levels, runs = _looked_at(entry, around)
        rules = [level.rule for level in levels if level.rule is not None]
        words = " or ".join(level.word for level in levels)
        for number, (edge, found) in enumerate(runs):
            named = test(found)
            if named is not None:
                facts = "; ".join(dict.fromkeys(_recorded(rule, fact_of(rule, edge)) for rule in rules))
                told = {"levels": words, "facts": facts or Reason("findings.nothing_told"), **named}
                yield Sight((number,), around.record.runs[number].level, told)

    return kind


def _looked_at(entry: Entry, around: Around) -> tuple[list[Level], list[tuple[EdgeOfRun, Judged]]]:
    """The levels, and of every run its edge and how it stands to them: every kind asks for the same."""
    if "levels" not in around.memo:
        levels = [Level.model_validate(one, strict=False) for one in entry["levels"]]
        edges = [(run, edge_of(around.record, run)) for run in around.record.runs]
        around.memo["levels"] = levels, [(edge, judged(levels, run.level, edge)) for run, edge in edges]
    found: tuple[list[Level], list[tuple[EdgeOfRun, Judged]]] = around.memo["levels"]
    return found


def _recorded(rule: LevelRule, value: float | str | None) -> str:
    """What is recorded of a fact, as a message says it."""
    if value is None:
        return Reason("findings.fact_not_known", fact=rule.fact)
    if rule.fact in NUMBERS:
        return Reason(f"findings.{rule.fact.replace(' ', '_')}_is", value=value)
    return Reason("findings.fact_is", fact=rule.fact, value=value)


def _two(found: Judged) -> Named | None:
    return found_if(len(found.fits) > 1, fits=" and ".join(found.fits))


def _none(found: Judged) -> Named | None:
    return found_if(not found.fits and found.level is None)


def _other(found: Judged) -> Named | None:
    return found_if(found.written is not None and found.written in found.against)


def _not_shown(found: Judged) -> Named | None:
    return found_if(found.level is not None and not found.shown)


LEVEL_KINDS: dict[str, Kind] = {
    "no level": _kind(_none),
    "two levels": _kind(_two),
    "other level": _kind(_other),
    "level unshown": _kind(_not_shown),
}
