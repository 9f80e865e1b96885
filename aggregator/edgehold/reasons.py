"""Reasons that know what they are: code decides by their code, never by their words."""

from __future__ import annotations


class Reason(str):
    """A reason in words, made of a pattern.

    It stands wherever a reason stands, as ``numerics.attempt.NotFitted`` does.

    Attributes
    ----------
    code : name of the pattern in its stage's table.
    arguments : what was put into the pattern, by name.

    Examples
    --------
    >>> reason = Reason("no_run", "no usable run of {names}", names="a")
    >>> str(reason), reason.code, reason.arguments
    ('no usable run of a', 'no_run', {'names': 'a'})
    """

    __slots__ = ("arguments", "code")

    code: str
    arguments: dict[str, str]

    def __new__(cls, code: str, pattern: str, **arguments: str) -> Reason:
        """Put arguments into a pattern."""
        made = super().__new__(cls, pattern.format(**arguments))
        made.code, made.arguments = code, arguments
        return made

    def __reduce__(self) -> tuple[object, tuple[str, str, dict[str, str]]]:
        return _again, (self.code, str(self), self.arguments)


def _again(code: str, text: str, arguments: dict[str, str]) -> Reason:
    """A reason as it was before it was sent to another process."""
    made = str.__new__(Reason, text)
    made.code, made.arguments = code, arguments
    return made


def code_of(reason: str) -> str:
    """The code of a reason; empty where it has none."""
    return reason.code if isinstance(reason, Reason) else ""
