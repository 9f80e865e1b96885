"""The levels of a treatment by themselves: two or more, each told by a fact in its own way, none of which holds another's runs."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from edgehold.records.facts import NUMBERS
from edgehold.records.model.protocol import Level, LevelRule, Protocol
from edgehold.records.problem import Problem, pointer, shown
from edgehold.words import Reason

BRACKETS = "()"
BY_LEVELS = ("level", "abrasive", "angle")
FIXED_ANGLE, ANGLE = "same stone and angle", "edge angle"
FIXED_STONE, FINISH = ("same stone", FIXED_ANGLE), "last abrasive"


def level_problems(record: Protocol) -> Iterator[Problem]:
    """What is wrong with the levels of a protocol, and with a question that needs them and has none."""
    question = record.question
    if not question.levels:
        if question.factor == "level":
            yield Problem("/question/levels", "levels-form", Reason("protocols.no_levels"))
        if question.treatment is not None:
            yield Problem("/question/treatment", "levels-form", Reason("protocols.treatment_unused"), Reason("protocols.take_out"))
        return
    if question.factor not in BY_LEVELS:
        yield Problem("/question/levels", "levels-form", Reason("protocols.levels_unused", factor=question.factor))
    if question.treatment is None:
        yield Problem("/question/treatment", "levels-form", Reason("protocols.no_treatment"), Reason("protocols.name_treatment"))
    if len(question.levels) == 1:
        yield Problem("/question/levels", "levels-form", Reason("protocols.one_level"))
    yield from _words(question.levels)
    for number, level in enumerate(question.levels):
        if level.rule is not None:
            yield from _rule(level.rule, ("question", "levels", number, "rule"))
    yield from _overlaps(question.levels)
    yield from _held_equal(record)


def _words(levels: tuple[Level, ...]) -> Iterator[Problem]:
    for number, level in enumerate(levels):
        if level.word.casefold() in {other.word.casefold() for other in levels[:number]}:
            yield Problem(pointer("question", "levels", number, "word"), "duplicate-id", Reason("protocols.level_twice", word=level.word))
        if set(BRACKETS) & set(level.word):  # a plan writes whose edge it is as "wren (coarse)"
            yield Problem(pointer("question", "levels", number, "word"), "levels-form", Reason("protocols.level_brackets", word=level.word))


def _rule(rule: LevelRule, place: tuple[str | int, ...]) -> Iterator[Problem]:
    limits, words = rule.at_least is not None or rule.below is not None, bool(rule.words or rule.other_than)
    wanted, unused = (limits, words) if rule.fact in NUMBERS else (words, limits)
    kind = "number" if rule.fact in NUMBERS else "words"
    if not wanted or unused:
        yield Problem(pointer(*place), "levels-form", Reason(f"protocols.level_by_{kind}", fact=rule.fact))
    if rule.at_least is not None and rule.below is not None and rule.at_least >= rule.below:
        yield Problem(pointer(*place, "below"), "levels-form", Reason("protocols.empty_range"), Reason("protocols.low_below_high"))


def _overlaps(levels: tuple[Level, ...]) -> Iterator[Problem]:
    for (_, one), (number, other) in combinations(enumerate(levels), 2):
        if one.rule is not None and other.rule is not None and _overlap(one.rule, other.rule):
            named = {"one": one.word, "other": other.word}
            yield Problem(pointer("question", "levels", number, "rule"), "levels-form", Reason("protocols.levels_overlap", **named))


def _overlap(one: LevelRule, other: LevelRule) -> bool:
    """Whether one fact can put a run into both; of words only where both name the same one, or neither names any."""
    if one.fact != other.fact:
        return False
    if one.fact in NUMBERS:
        low = max(one.at_least or 0.0, other.at_least or 0.0)
        return low < min(_top(one), _top(other))
    mine, theirs = ({word.lower() for word in rule.words} for rule in (one, other))
    return bool(mine & theirs) or not (mine or theirs)


def _top(rule: LevelRule) -> float:
    return float("inf") if rule.below is None else rule.below


def _held_equal(record: Protocol) -> Iterator[Problem]:
    """What the estimand holds equal cannot be what is compared."""
    for fact, estimands in ((ANGLE, (FIXED_ANGLE,)), (FINISH, FIXED_STONE)):
        compared = any(level.rule is not None and level.rule.fact == fact for level in record.question.levels)
        if compared and record.estimand in estimands:
            message = Reason("protocols.held_equal", fact=fact, estimand=shown(record.estimand))
            yield Problem("/estimand", "levels-form", message, Reason("protocols.write_total"))
