"""What the author of a method is asked: the one list behind the form of the site and ``edgehold draft protocol --answers``.

An answer is a text. Where several things are asked for, each stands on a line of its own, in a form that its help tells; so a method is
told in at most fifteen places, whatever it compares.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from edgehold.records.model.protocol import LevelFact, ThreatKind
from edgehold.words import Reason, pattern_codes

WRITTEN = "written"
"""In the place of a fact: none tells the levels apart, the result file says which one it is."""
LEVEL = "level"

_READINGS = {
    "pass/fail": "pass", "force": "force", "length, less": "length_less", "length, more": "length_more",
    "count, fewer": "count_less", "count, more": "count_more",
}  # fmt: skip


@dataclass(frozen=True)
class Question:
    """One thing that is asked.

    Attributes
    ----------
    name : of the answer.
    part : of the form that it stands in.
    kind : line, sentence (which may be typed on several lines), lines (one thing to a line), number, or choice.
    needed : whether there is no method without it.
    levels : whether it is asked only where levels are compared.
    choices : words that may be chosen, each with what it means.
    usual : the answer where none is given; empty: none.
    """

    name: str
    part: str
    kind: str = "line"
    needed: bool = True
    levels: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    usual: str = ""

    @property
    def label(self) -> str:
        """What it is called."""
        return Reason(f"method_questions.{self.name}_label")

    @property
    def help(self) -> str:
        """What it means."""
        return Reason(f"method_questions.{self.name}_help", kinds=", ".join(get_args(ThreatKind)))

    @property
    def example(self) -> str:
        """A line that might stand there; empty where none is needed."""
        code = f"method_questions.{self.name}_example"
        return Reason(code) if code in pattern_codes() else ""


def _choices(words: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple((word, Reason(f"method_questions.{told}")) for word, told in words.items())


def _usual(name: str, kind: str = "line", usual: str = "", **more: object) -> Question:
    """A question that need not be answered."""
    return Question(name, "usual", kind, needed=False, usual=usual, **more)  # type: ignore[arg-type]


_COMPARED = _choices({word: f"compared_{word}" for word in ("sharpener", "steel", "blade", LEVEL)})


def _telling(fact: str) -> str:
    """What a fact tells a level by, with its unit where it has one."""
    code = f"method_questions.fact_{fact.replace(' ', '_')}"
    return Reason(code) if code in pattern_codes() else fact


_TELLING = tuple((word, _telling(word)) for word in (*get_args(LevelFact), WRITTEN))

QUESTIONS: tuple[Question, ...] = (
    Question("title", "question"),
    Question("question", "question", "sentence"),
    Question("compared", "question", "choice", choices=_COMPARED),
    Question("fact", "question", "choice", levels=True, choices=_TELLING),
    Question("levels", "question", "lines", levels=True),
    Question("medium", "cutting", "sentence"),
    Question("stroke", "cutting", "sentence"),
    Question("set_up", "cutting", "lines"),
    Question("reading_kind", "reading", "choice", choices=_choices({word: f"reading_kind_{told}" for word, told in _READINGS.items()})),
    Question("reading", "reading", "sentence"),
    Question("needs", "needs", "lines"),
    Question("minutes", "needs", "number"),
    Question("threats", "misled", "lines"),
    Question("cautions", "misled", "lines"),
    Question("by", "who"),
    _usual("id"),
    _usual("counted", "choice", "cuts", choices=_choices({word: f"counted_{word}" for word in ("cuts", "metres")})),
    _usual("checkpoints", usual="0, 1, 2, 5, 10, 20"),
    _usual("stretch", "number", "40"),
    _usual("repeats", "number", "3"),
    _usual("dulls", "choice", "no", choices=_choices({word: f"dulls_{word}" for word in ("no", "yes")})),
    _usual("life_ends", "number"),
    _usual("decides", "choice", "late", choices=_choices({word: f"decides_{word}" for word in ("late", "early", "life")})),
    _usual("worthwhile", "number", "1.3"),
    _usual("spread", "number", "0.4"),
    _usual("runs", "number", "4"),
    _usual("treatment", levels=True),
    _usual("order", "sentence", Reason("method_questions.order_usual")),
    _usual("blinding", "sentence", Reason("method_questions.blinding_usual")),
    _usual("alone", "sentence", Reason("method_questions.alone_usual")),
    _usual("two", "sentence", Reason("method_questions.two_usual")),
    _usual("evidence", "sentence"),
)  # fmt: skip
PARTS = ("question", "cutting", "reading", "needs", "misled", "who", "usual")
"""Parts of the form in order; the last holds what the form answers by itself."""


def asked(answers: Mapping[str, str]) -> tuple[Question, ...]:
    """The questions that these answers leave to be asked: those about levels only where levels are compared."""
    return tuple(question for question in QUESTIONS if not question.levels or answers.get("compared") == LEVEL)
