"""Numbers that agree with their nouns."""

from __future__ import annotations


def counted(number: int | str, noun: str) -> str:
    """A number and its noun.

    Parameters
    ----------
    number : a whole number, or a number as it is to be printed.
    noun : one of it, with a regular plural.

    Examples
    --------
    >>> counted(1, "error"), counted(0, "warning"), counted("2.5", "run")
    ('1 error', '0 warnings', '2.5 runs')
    """
    return f"{number} {noun}{'' if str(number) == '1' else 's'}"
