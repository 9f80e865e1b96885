"""A reason as published: its text, and for programs its code in the catalogue and what stands in its places."""

from __future__ import annotations

import math
from typing import Protocol, TypedDict

from edgehold.results.model.arguments import Arguments
from edgehold.results.model.numbers import needed, published
from edgehold.words import arguments_of, code_of


class Reasoned(TypedDict):
    """The three fields of a reason."""

    reason: str
    reason_code: str
    reason_arguments: Arguments


class Weakness(TypedDict):
    """The three fields of what weakens an answer."""

    weak: str
    weak_code: str
    weak_arguments: Arguments


class Caveat(TypedDict):
    """The three fields of a caveat."""

    caveat: str
    caveat_code: str
    caveat_arguments: Arguments


def reasoned(reason: str) -> Reasoned:
    """A reason, or none."""
    return {"reason": str(reason), "reason_code": code_of(reason), "reason_arguments": _published(reason)}


class Published(Protocol):
    """A record that holds a reason already."""

    @property
    def reason(self) -> str: ...
    @property
    def reason_code(self) -> str: ...
    @property
    def reason_arguments(self) -> Arguments: ...


def again(record: Published) -> Reasoned:
    """The reason of a published record, for another one."""
    return {"reason": record.reason, "reason_code": record.reason_code, "reason_arguments": record.reason_arguments}


def weakness(weak: str) -> Weakness:
    """What weakens an answer, or nothing."""
    return {"weak": str(weak), "weak_code": code_of(weak), "weak_arguments": _published(weak)}


def caveat(text: str) -> Caveat:
    """A caveat, or none."""
    return {"caveat": str(text), "caveat_code": code_of(text), "caveat_arguments": _published(text)}


def _published(reason: str) -> Arguments:
    return {name: _value(value) for name, value in arguments_of(reason).items()}


def _value(value: str | int | float) -> str | int | float:
    """A number with ten digits; in words what JSON has no number for."""
    if isinstance(value, float):
        return needed(published(value)) if math.isfinite(value) else str(value)
    return int(value) if isinstance(value, int) else str(value)
