"""The words of `edgehold plan`."""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path

from edgehold.records.whole_numbers import LARGEST_EXACT_INTEGER

MOST_SEED = LARGEST_EXACT_INTEGER
_WHOLE = re.compile(r"[+-]?[0-9]{1,19}")
MOST_DRAWN = 100_000
"""Evenings that are drawn for a chance: its Monte-Carlo error is then below 0.2 %."""


def whole(text: str, least: int, most: int) -> int:
    """A whole number within limits, both of which may be.

    Raises
    ------
    argparse.ArgumentTypeError
        It is none, or lies outside.
    """
    if not _WHOLE.fullmatch(text.strip()):
        raise argparse.ArgumentTypeError(f"got {text!r}, wanted a whole number from {least} to {most}")
    if not least <= int(text) <= most:
        raise argparse.ArgumentTypeError(f"got {int(text)}, wanted {least} to {most}")
    return int(text)


def amount(text: str, most: float) -> float:
    """A number above 0 and at most ``most``.

    Raises
    ------
    argparse.ArgumentTypeError
        It is none, not finite, or lies outside.
    """
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 < value <= most:
        raise argparse.ArgumentTypeError(f"got {text!r}, wanted a number above 0 and at most {most:g}")
    return value


def seed(text: str) -> int:
    """A seed of drawn numbers."""
    return whole(text, 0, MOST_SEED)


_Kind = Callable[[str], float]
_LISTS = (
    ("--blade", "KEY", "a blade, <owner>.<name>; once for each"),
    ("--steel", "NAME", "what each blade is made of, in the same order; for all blades or for none"),
    (
        "--sharpener",
        "WHO",
        "whose edges are compared, a handle; once for each. Two of one person with a condition each: 'wren (guided)'. "
        "With --alone those whose edges are there as they left them: 'wren (before the course)', or factory",
    ),
    ("--tester", "HANDLE", "who cuts and reads; once for each"),
    ("--coder", "HANDLE", "a helper who keeps the codes in an envelope, and cuts and reads nothing; with --tables once for each table"),
    ("--metres", "M", "metres of medium in one lot; once for each lot (default: still to be bought, one lot)"),
)
_NUMBERS: tuple[tuple[str, _Kind, str], ...] = (
    (
        "--tables",
        partial(whole, least=2, most=6),
        "plan for so many tables, 2 to 6, that send each other edges: one --sharpener for each, the blades that travel being theirs",
    ),
    ("--minutes", partial(amount, most=10_000.0), "minutes in one evening (default: the protocol's for its least runs)"),
    ("--evenings", partial(whole, least=1, most=366), "how many evenings (default 1)"),
    ("--hand", partial(whole, least=1, most=1_000), "runs that one tester's hand will bear in an evening (default 4)"),
    ("--runs", partial(whole, least=1, most=500), "no more runs than this in all"),
    ("--last", partial(amount, most=1e6), "last checkpoint of every run (default: the one that the protocol's first question needs)"),
    ("--worthwhile", partial(amount, most=100.0), "smallest ratio worth acting on (default: the protocol's)"),
    ("--mm-per-cut", partial(amount, most=1_000.0), "millimetres of medium that one cut takes off (default 10)"),
    ("--thickness", partial(amount, most=20.0), "thickness behind the edge in mm (default 0.5)"),
    ("--angle", partial(amount, most=89.0), "edge angle in degrees per side (default 20)"),
    ("--steel-mm", partial(amount, most=100.0), "height of blade that the whole may cost its owner (default 0.5)"),
    ("--seed", seed, "draw the order of this seed again (default: one that nobody can guess)"),
    ("--drawn", partial(whole, least=1, most=MOST_DRAWN), "evenings to draw for each chance (default 1000, with lives 200)"),
)
_WORDS = (
    ("--protocol-version", "X.Y.Z", "which version (default: the newest that takes submissions)"),
    ("--alone", "HANDLE", "one person sharpens and tests, tonight"),
    ("--id", "ID", "the plan's id (default: made up)"),
    ("--month", "YYYY-MM", "when it is drawn (default: this month)"),
    ("--table", "FILE", "a published repeatability table (default: that of the last build, or else the protocol's assumption)"),
    ("--by", "HANDLE", "who publishes the seal and brings the result back (default: the coder)"),
    ("--output", "FILE", "where the plan goes (default: its id, in the current folder)"),
    (
        "--sheets",
        "DIR",
        "write there the sheets to print or fill in, and where edges are coded the key; with --tables also each table's part and order",
    ),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words that `edgehold plan` understands."""
    parser.add_argument("protocol", metavar="PROTOCOL", help="id of the protocol")
    for name, metavar, text in _LISTS:
        parser.add_argument(
            name, action="append", default=[], metavar=metavar, type=partial(amount, most=1e6) if name == "--metres" else str, help=text
        )
    for name, kind, text in _NUMBERS:
        parser.add_argument(name, type=kind, metavar="N", help=text)
    for name, metavar, text in _WORDS:
        parser.add_argument(name, metavar=metavar, type=Path if name in ("--table", "--output") else str, help=text)
    parser.add_argument("--sealed", action="store_true", help="seal the plan: publish its hash before the first cut")
    parser.add_argument("--origin", choices=("measured", "simulated"), default="measured", help="what will be sent in (default measured)")
    parser.add_argument("--dry", action="store_true", help="write no file, only say what there is to say")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print everything as JSON")
    form.add_argument("--card", action="store_true", help="print what will be done in at most 1,000 characters, for a post")
