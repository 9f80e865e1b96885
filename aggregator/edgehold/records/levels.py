"""Which of a protocol's levels a run is of: by what is recorded of its edge, or as the file says where no recorded fact tells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from .facts import NUMBERS, WORDS, EdgeOfRun
from .model.protocol import Level, LevelRule, Protocol
from .model.submission import Run, Submission

BY_CONDITION = "condition"


@dataclass(frozen=True)
class Judged:
    """How one run stands to the levels of its protocol.

    Attributes
    ----------
    fits : words of the levels that a recorded fact, or the file where no fact tells, puts it into.
    against : words of those that a recorded fact keeps it out of.
    written : the level that the file says; None where it says none.
    """

    fits: tuple[str, ...]
    against: tuple[str, ...]
    written: str | None

    @property
    def level(self) -> str | None:
        """The one level that it is of: of which it fits the rule, or that the file says where nothing recorded speaks for or against it."""
        if len(self.fits) == 1:
            return self.fits[0]
        return self.written if not self.fits and self.written not in self.against else None

    @property
    def shown(self) -> bool:
        """Whether its level follows from more than the file's own word where the protocol has a rule."""
        return bool(self.fits)


def judged(levels: Sequence[Level], written: str | None, edge: EdgeOfRun) -> Judged:
    """How a run stands to levels.

    Parameters
    ----------
    levels : the protocol's.
    written : the level that the file says of the run.
    edge : what is recorded of its edge.
    """
    words = [level.word for level in levels]
    told = [_tells(level, written, edge) for level in levels]
    return Judged(
        fits=tuple(word for word, one in zip(words, told, strict=True) if one is True),
        against=tuple(word for word, one in zip(words, told, strict=True) if one is False),
        written=written if written in words else None,
    )


def level_of(protocol: Protocol, run: Run, edge: EdgeOfRun) -> str | None:
    """The level that a run is of; None where the protocol has none, and where a run fits none or two."""
    return judged(protocol.question.levels, run.level, edge).level if protocol.question.levels else None


def place_of(protocol: Protocol, word: str | None) -> int:
    """The place of a level among those that the protocol declares, from 0; 0 of none."""
    return next((place for place, level in enumerate(protocol.question.levels) if level.word == word), 0)


def told_by_last_abrasive(protocol: Protocol) -> bool:
    """Whether the size of the last abrasive decides the level of an edge."""
    return any(level.rule is not None and level.rule.fact == "last abrasive" for level in protocol.question.levels)


def edge_of(record: Submission, run: Run) -> EdgeOfRun:
    """What a file records of the edge of one of its runs."""
    preparation = next((one for one in record.preparations if one.id == run.preparation), None)
    blade = None if preparation is None else next((one for one in record.blades if one.key == preparation.blade), None)
    return EdgeOfRun(preparation, blade)


def fact_of(rule: LevelRule, edge: EdgeOfRun) -> float | str | None:
    """What is recorded of the fact that a rule asks for."""
    return NUMBERS[rule.fact](edge) if rule.fact in NUMBERS else WORDS[rule.fact](edge)


def facts_of_example(level: Level) -> dict[str, object]:
    """What a preparation of an example says, so that a recorded fact shows this level; nothing where none of a preparation's can."""
    rule = level.rule
    if rule is None:
        return {}
    if rule.fact in NUMBERS:
        middle = rule.at_least if rule.at_least is not None else (rule.below or 0.0) / 2
        shown: dict[str, dict[str, object]] = {
            "last abrasive": {"stages": [{"as_printed": level.word, "micrometres": middle}]},
            "edge angle": {"edge_angle": {"basis": "per side", "left_deg": middle}},
        }
        return shown.get(rule.fact, {})
    field = rule.fact.replace(" ", "_")
    return {} if rule.fact == "microbevel" else {field: rule.words[0] if rule.words else level.word}


def by_condition(protocol: Protocol) -> bool:
    """Whether a level is told by the stated condition of a sharpening, so that the condition is the treatment and not another person."""
    return any(level.rule is not None and level.rule.fact == BY_CONDITION for level in protocol.question.levels)


def _tells(level: Level, written: str | None, edge: EdgeOfRun) -> bool | None:
    """Whether a run is of a level; None where nothing tells."""
    if level.rule is None:
        return None if written is None else written == level.word
    value = fact_of(level.rule, edge)
    if value is None:
        return None
    return _in_words(level.rule, value) if isinstance(value, str) else _in_range(level.rule, value)


def _in_range(rule: LevelRule, value: float) -> bool:
    return (rule.at_least is None or value >= rule.at_least) and (rule.below is None or value < rule.below)


def _in_words(rule: LevelRule, text: str) -> bool:
    return (not rule.words or _any_in(rule.words, text)) and not _any_in(rule.other_than, text)


def _any_in(words: Sequence[str], text: str) -> bool:
    """Whether one of them stands in a text, as a word of its own; capitals make no difference."""
    return any(re.search(rf"(?<!\w){re.escape(word.lower())}(?!\w)", text.lower()) for word in words)
