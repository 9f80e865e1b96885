"""A page as a browser would read it, each text read once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from xml.etree.ElementTree import Element

import html5lib


@dataclass(frozen=True)
class Parsed:
    """A page read by the rules of HTML; no test changes the tree.

    Attributes
    ----------
    tree : its elements, their names with the namespace.
    errors : kinds of what is not well formed, in the order of the text.
    """

    tree: Element
    errors: tuple[str, ...]


@cache
def parsed(html: str) -> Parsed:
    parser = html5lib.HTMLParser()
    tree = parser.parse(html)
    return Parsed(tree, tuple(kind for _, kind, _ in parser.errors))
