"""Reasons that know what they are: code decides by their code, never by their words."""

from __future__ import annotations

from typing import Self

from .catalogue import Argument, filled_in


class Reason(str):
    """Why, how or with what caveat, as a code with arguments; as a string it is their text.

    Attributes
    ----------
    code : name of the pattern, ``<file>.<name>`` of the catalogue.
    arguments : what was put into the pattern, by name.

    Examples
    --------
    >>> reason = Reason("contrasts.no_run", names="a")
    >>> str(reason), reason.code, reason.arguments
    ('no usable run of a', 'contrasts.no_run', {'names': 'a'})
    """

    __slots__ = ("arguments", "code")

    code: str
    arguments: dict[str, Argument]

    def __new__(cls, code: str, **arguments: Argument) -> Self:
        """Put arguments into a pattern."""
        made = super().__new__(cls, filled_in(code, arguments))
        made.code, made.arguments = code, arguments
        return made

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        return _again, (type(self), self.code, str(self), self.arguments)


def _again(kind: type[Reason], code: str, text: str, arguments: dict[str, Argument]) -> Reason:
    """A reason as it was before it was sent to another process."""
    made = str.__new__(kind, text)
    made.code, made.arguments = code, arguments
    return made


def code_of(reason: str) -> str:
    """The code of a reason; empty where it has none."""
    return reason.code if isinstance(reason, Reason) else ""


def arguments_of(reason: str) -> dict[str, Argument]:
    """What was put into the pattern of a reason, by name; empty where it has no code."""
    return dict(reason.arguments) if isinstance(reason, Reason) else {}
