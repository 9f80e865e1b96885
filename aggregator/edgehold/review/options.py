"""What is asked for each kind of draft: the same list for the command line, and for telling what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import get_args

from pydantic import BaseModel

from edgehold.errors import InputError
from edgehold.records.model.base import Interest
from edgehold.records.model.described import descriptions
from edgehold.records.model.review import Event, Objection, Outcome, Response


@dataclass(frozen=True)
class Option:
    """One thing that is asked.

    Attributes
    ----------
    name : on the command line, without hyphens.
    field : of the front matter; empty: the body, or not a field of its own.
    text : what it means.
    needed : whether there is no draft without it.
    words : the words allowed; empty: anything.
    many : whether it may be given again and again.
    metavar : what stands for the value.
    """

    name: str
    field: str = ""
    text: str = ""
    needed: bool = False
    words: tuple[str, ...] = ()
    many: bool = False
    metavar: str = "TEXT"

    @property
    def told(self) -> str:
        """The option with its meaning and words."""
        return f"{self.text}: {', '.join(self.words)}" if self.words else self.text


def _of(model: type[BaseModel], name: str, field: str = "", *, needed: bool = False, metavar: str = "TEXT") -> Option:
    """An option that is a field: meaning and words are the model's."""
    used = model.model_fields[field or name]
    words = get_args(Interest) if name == "interest" else tuple(w for w in get_args(used.annotation) if isinstance(w, str))
    text = descriptions(model).get(field or name, name).rstrip(".")
    return Option(name, field or name, text[0].lower() + text[1:], needed, words, metavar="WORD" if words else metavar)


_MONTH = Option("month", "month", "when (default: this month)", metavar="YYYY-MM")
_EVIDENCE = Option(
    "evidence",
    "evidence",
    "what it rests on, probe:NAME, submission:ID or citation:TEXT; once for each",
    many=True,
    metavar="KIND:WHAT",
)

OPTIONS: Mapping[str, tuple[Option, ...]] = {
    "objection": (
        Option("against", text="ID@VERSION of a protocol, or analysis", needed=True, metavar="TARGET"),
        Option("step", text="the step's id, when one is meant", metavar="STEP"),
        Option("endpoint", text="the endpoint's id, when one is meant", metavar="ID"),
        _of(Objection, "title", needed=True),
        _of(Objection, "threat", needed=True),
        _of(Objection, "severity", needed=True),
        Option("statement", text="what is wrong, in plain text; - reads it from standard input", needed=True),
        _of(Objection, "change", "proposed_change"),
        _EVIDENCE,
        _of(Objection, "interest"),
        _of(Objection, "by", needed=True, metavar="HANDLE"),
        _MONTH,
        Option("duplicate-of", "duplicate_of", "number of the objection this one repeats", metavar="N"),
    ),
    "response": (
        _of(Response, "kind", "response", needed=True),
        _EVIDENCE,
        _of(Response, "revised-in", "revised_in", metavar="X.Y.Z"),
        Option("text", text="the response, in plain text; - reads it from standard input", needed=True),
        _of(Response, "interest"),
        _of(Response, "by", needed=True, metavar="HANDLE"),
        _MONTH,
    ),
    "outcome": (
        _of(Outcome, "outcome", needed=True),
        Option("reason", text="why, in plain text; - reads it from standard input", needed=True),
        _of(Outcome, "by", needed=True, metavar="HANDLE"),
        _MONTH,
    ),
    "review": (_of(Event, "by", needed=True, metavar="HANDLE"), _MONTH, _of(Event, "evidence")),
    "event": (
        _of(Event, "kind", needed=True),
        _of(Event, "by", needed=True, metavar="HANDLE"),
        _MONTH,
        _of(Event, "pilot", metavar="ID"),
        _of(Event, "evidence"),
    ),
}


def refuse_missing(kind: str, given: Mapping[str, object]) -> None:
    """Say everything that is missing at once, with what it means and the words allowed.

    Raises
    ------
    InputError
        An option that is needed is not given.
    """
    missing = [option for option in OPTIONS[kind] if option.needed and not given.get(option.name.replace("-", "_"))]
    if missing:
        lines = "\n".join(f"  --{option.name}: {option.told}" for option in missing)
        raise InputError(f"a draft of this kind ({kind}) needs more than was given:\n{lines}")


def option_at(kind: str, pointer: str) -> str:
    """The option that a place in the front matter comes from."""
    first = pointer.split("/")[1] if pointer else ""
    found: Iterable[Option] = OPTIONS[kind]
    return next((f"--{option.name}" for option in found if option.field == first), pointer or "the draft")
