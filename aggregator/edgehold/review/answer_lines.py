"""Answers of several lines, read: levels with their rules, needs, threats and what is done about them; and figures.

``site/pages/assets/form/method_lines.js`` reads the same (``tests/browser/test_method_form.py`` holds them to each other).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

from edgehold.records.facts import NUMBERS
from edgehold.records.model.protocol import Need, ThreatKind
from edgehold.words import Reason

from .questions import WRITTEN, asked

Tree = dict[str, object]
THREATS: tuple[str, ...] = get_args(ThreatKind)
PLACES: tuple[str, ...] = get_args(Need.model_fields["where"].annotation)

_FIGURE = r"([0-9]{1,7}(?:\.[0-9]{1,4})?)"
_NUMBER = re.compile(_FIGURE)
_SPACES = re.compile(r"[ \t\r\n]+")
_BETWEEN, _BELOW, _FROM = re.compile(rf"{_FIGURE} to {_FIGURE}"), re.compile(rf"below {_FIGURE}"), re.compile(rf"from {_FIGURE}")
LONGEST_LINE = 200  # characters; as a ShortText of the settings
_TOP = 1e9  # above any figure that can be written


@dataclass(frozen=True)
class Wrong:
    """An answer that cannot be used: the question's name, and why."""

    name: str
    why: Reason


@dataclass(frozen=True)
class Guard:
    """A way to be misled, as its author tells it; ``met`` is empty where nothing is done about it."""

    kind: str
    text: str
    met: str


def spaced(text: str) -> str:
    """A text in one line, one space between its words."""
    return _SPACES.sub(" ", text).strip(" ")


def lines_of(text: str) -> list[tuple[int, str]]:
    """The lines with something in them, with their numbers."""
    return [(number, line) for number, line in enumerate(map(spaced, re.split(r"\r\n|\r|\n", text)), 1) if line]


def number_of(text: str) -> float | int | None:
    """A figure without sign or power; None where it is none."""
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return int(value) if value.is_integer() else value


def figures_of(text: str) -> list[float | int] | None:
    """Figures with commas or spaces between them; None where one of them is none."""
    found = [number_of(part) for part in re.split(r"[, ]+", text)]
    return [one for one in found if one is not None] if None not in found else None


def empty_or_unknown(answers: Mapping[str, str]) -> Iterator[Wrong]:
    """Questions without an answer that need one, words that are none of those offered, figures that are none."""
    for question in asked(answers):
        text = spaced(answers.get(question.name, ""))
        words = [word for word, _ in question.choices]
        if not text and question.needed:
            yield Wrong(question.name, Reason("method_draft.missing"))
        elif text and words and text not in words:
            yield Wrong(question.name, Reason("method_draft.no_such_choice", words="; ".join(words)))
        elif question.kind in ("line", "sentence") and len(text) > LONGEST_LINE:
            yield Wrong(question.name, Reason("method_draft.too_long", most=LONGEST_LINE, count=len(text)))
        elif text and question.kind == "number":
            yield from (Wrong(question.name, why) for why in _not_positive(question.name, text))


WHOLE = ("minutes", "runs", "repeats")
"""Questions whose answer is a whole number."""


def _not_positive(name: str, text: str) -> Iterator[Reason]:
    value = number_of(text)
    if value is None:
        yield Reason("method_draft.not_a_number", text=text)
    elif name in WHOLE and (value <= 0 or not isinstance(value, int)):
        yield Reason("method_draft.not_whole", text=text)
    elif value <= 0:
        yield Reason("method_draft.not_positive", text=text)
    elif name == "worthwhile" and value <= 1:
        yield Reason("method_draft.worthwhile_small", text=text)


def levels_of(text: str, fact: str) -> tuple[list[Tree], list[Wrong]]:
    """The levels that lines tell, as the settings hold them."""
    levels: list[Tree] = []
    wrong: list[Wrong] = []

    def say(code: str, line: int, told: str) -> None:
        wrong.append(Wrong("levels", Reason(f"method_draft.{code}", line=line, text=told)))

    for line, told in lines_of(text):
        word, colon, rest = (spaced(part) for part in told.partition(":"))
        done, rule_text = _last_part(rest)
        if fact == WRITTEN and rule_text:
            say("level_ruled", line, rule_text)
        elif not (word and colon and done):
            say("level_form", line, told)
        elif fact != WRITTEN and not rule_text:
            say("level_unruled", line, word)
        elif any(str(level["word"]).lower() == word.lower() for level in levels):
            say("level_twice", line, word)
        elif set("()") & set(word):
            say("level_brackets", line, word)
        elif fact == WRITTEN:
            levels.append({"word": word, "text": done})
        elif (rule := _rule(rule_text, fact)) is None:
            say("level_number", line, rule_text)
        else:
            levels.append({"word": word, "text": done, "rule": rule})
            if any(_overlap(dict(one["rule"]), rule) for one in levels[:-1]):  # type: ignore[call-overload]
                say("levels_overlap", line, word)
    if len(levels) < 2 and not wrong:
        wrong.append(Wrong("levels", Reason("method_draft.too_few_levels")))
    return levels, wrong


def _last_part(text: str) -> tuple[str, str]:
    """What stands before the last semicolon, and after it."""
    before, semicolon, after = text.rpartition(";")
    return (spaced(before), spaced(after)) if semicolon else (spaced(after), "")


def _rule(text: str, fact: str) -> Tree | None:
    if fact not in NUMBERS:
        name, words = ("other_than", text[4:]) if text.startswith("not ") else ("words", text)
        return {"fact": fact, name: [spaced(word) for word in words.split(" or ") if spaced(word)]}
    if found := _BETWEEN.fullmatch(text):
        low, high = number_of(found[1]), number_of(found[2])
        return {"fact": fact, "at_least": low, "below": high} if low and high and low < high else None
    for pattern, name in ((_BELOW, "below"), (_FROM, "at_least")):
        if (found := pattern.fullmatch(text)) and number_of(found[1]):
            return {"fact": fact, name: number_of(found[1])}
    return None


def _overlap(one: Tree, other: Tree) -> bool:
    """Whether an edge could be of both; as the check asks."""
    if one["fact"] in NUMBERS:
        low = max(float(str(one.get("at_least", 0))), float(str(other.get("at_least", 0))))
        return low < min(float(str(one.get("below", _TOP))), float(str(other.get("below", _TOP))))
    mine, theirs = ({str(word).lower() for word in rule.get("words", ())} for rule in (one, other))  # type: ignore[attr-defined]
    return bool(mine & theirs) or not (mine or theirs)


def needs_of(text: str) -> tuple[list[Tree], list[Wrong]]:
    """What the tester must have: item, where it is had, what does instead."""
    needs: list[Tree] = []
    wrong: list[Wrong] = []
    for line, told in lines_of(text):
        item, *more = (spaced(part) for part in told.split(";"))
        where, instead = (more[0] if more else PLACES[0]), (more[1] if len(more) > 1 else "")
        if not item or len(more) > 2 or where not in PLACES or (len(more) > 1 and not instead):
            wrong.append(Wrong("needs", Reason("method_draft.need_form", line=line, text=told)))
        else:
            substitute: Tree = {"substitute": instead} if instead else {}
            needs.append({"item": item, "where": where} | substitute)
    return needs, wrong


def guards_of(text: str) -> tuple[list[Guard], list[Wrong]]:
    """Ways to be misled that the author names."""
    guards: list[Guard] = []
    wrong: list[Wrong] = []
    for line, told in lines_of(text):
        kind, colon, rest = (spaced(part) for part in told.partition(":"))
        misleads, met = _last_part(rest)
        if not (colon and misleads) or kind not in THREATS:
            wrong.append(Wrong("threats", Reason("method_draft.threat_form", line=line, kinds=", ".join(THREATS))))
        else:
            guards.append(Guard(kind, misleads, met))
    return guards, wrong
