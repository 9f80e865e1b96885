"""Limits on what a method's body may look like, so that every text which is taken becomes a page in a time that grows with its length.

Markdown's own grammar has constructs that take time by the square of their length, or are taken apart by functions that call
themselves once a level: brackets that never close, lists within lists. No method needs them in numbers; the largest there is has five
brackets in one paragraph. Every limit here is counted in one pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from edgehold.records.problem import Problem
from edgehold.words import Reason

LONGEST_BLOCK = 20_000
"""Characters between two blank lines."""
MOST_MARKS = 100
"""How often one sign that Markdown gives a meaning may stand in one block."""
MOST_HEADINGS = 500
MOST_DRAWINGS = 100
MOST_BLOCKS = 5_000
DEEPEST = 8
"""Lists and quotations within each other."""
MOST_CELLS = 2_000
"""Cells of one table, by their bars."""

_MOST_OF = dict.fromkeys("[]()&\\`!#", MOST_MARKS) | dict.fromkeys("*_~<", 4 * MOST_MARKS) | {"|": MOST_CELLS}
_LEVELS = re.compile(rf"(?:[ \t]{{0,3}}(?:>|[-+*](?=[ \t])|[0-9]{{1,9}}[.)](?=[ \t]))){{{DEEPEST + 1}}}")
_START = re.compile(r"^[ \t>]*")
_HEADING = re.compile(r"^[ \t]*#{1,6}|^[ \t]*(?:=+|-+)[ \t]*$", re.MULTILINE)
_RAW = re.compile(r"<(?![a-zA-Z][a-zA-Z0-9+.-]*:|[^\s<>]*@)(?:[a-zA-Z][^\s<>/]*(?=[\s/>])|/[a-zA-Z]|!|\?)")
_CODE = re.compile(r"(`+)(?!`)[^\n]*?(?<!`)\1(?!`)")


def body_problems(body: str, before: int = 0) -> list[Problem]:
    """What goes beyond a limit, the first place of each kind; ``before`` counts the lines of the file above the body."""
    first: dict[str, Problem] = {}
    for start, what in _beyond(body):
        if what.code not in first:
            first[what.code] = Problem("", "body-beyond-limits", what, line=before + body.count("\n", 0, start) + 1)
    if first:
        return list(first.values())
    tag = next(_raw_html(body), None)
    if tag is None:
        return []
    return [Problem("", "raw-html", Reason("bodies.raw_html", tag=tag[1]), line=before + body.count("\n", 0, tag[0]) + 1)]


def within_limits(body: str) -> bool:
    """Whether a body can be laid out in a time that grows with its length."""
    return next(_beyond(body), None) is None


def _beyond(body: str) -> Iterator[tuple[int, Reason]]:
    headings = list(_HEADING.finditer(body))
    if len(headings) > MOST_HEADINGS:
        yield headings[MOST_HEADINGS].start(), Reason("bodies.headings", count=len(headings), most=MOST_HEADINGS)
    drawings = body.count("](figures/")
    if drawings > MOST_DRAWINGS:
        yield body.index("](figures/"), Reason("bodies.drawings", count=drawings, most=MOST_DRAWINGS)
    if deep := _LEVELS.search(body):
        yield deep.start(), Reason("bodies.nested", most=DEEPEST)
    blocks = 0
    for start, text in _blocks(body.replace("\r\n", " \n").replace("\r", "\n")):
        blocks += 1
        yield from _block(text, start)
    if blocks > MOST_BLOCKS:
        yield 0, Reason("bodies.blocks", count=blocks, most=MOST_BLOCKS)


def _blocks(body: str) -> Iterator[tuple[int, str]]:
    """Lines without a blank one between them, each with its place. Blank is what Markdown takes for it: blanks and tabs alone."""
    start = place = 0
    for line in body.split("\n"):
        if not line.strip(" \t"):
            if place > start:
                yield start, body[start:place]
            start = place + len(line) + 1
        place += len(line) + 1
    if place > start:
        yield start, body[start:]


def _block(text: str, start: int) -> Iterator[tuple[int, Reason]]:
    if len(text) > LONGEST_BLOCK:
        yield start, Reason("bodies.long", count=len(text), most=LONGEST_BLOCK)
    for mark, most in _MOST_OF.items():
        if text.count(mark) > most:
            yield start, Reason("bodies.marks", mark=mark, count=text.count(mark), most=most)
    for line in text.split("\n"):
        if _depth(line) > DEEPEST:
            yield start, Reason("bodies.nested", most=DEEPEST)
            break
        start += len(line) + 1


def _depth(line: str) -> int:
    """How deep a line can lie: four columns, or a mark of quotation, are a level."""
    lead = _START.match(line)
    told = "" if lead is None else lead[0].expandtabs(4)
    return told.count(">") + told.count(" ") // 4


def _raw_html(body: str) -> Iterator[tuple[int, str]]:
    """Tags outside of code: a page shows them as text."""
    text = _CODE.sub(lambda found: " " * len(found[0]), body)
    for found in _RAW.finditer(text):
        line_start = text.rfind("\n", 0, found.start()) + 1
        if not text.startswith(("    ", "\t"), line_start):
            yield found.start(), found[0][:30]
