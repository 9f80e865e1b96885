"""What the search looks through: an entry for every page, and for every part of a page that is read in parts.

The index is one file of plain texts, which a browser asks for when somebody begins to search (``assets/search/main.js``). Nothing
in it is markup: the browser shows every text as text.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from html.parser import HTMLParser

from edgehold.words import Reason

from .safe_text import visible

PLACE = "assets/search/index.json"

WEIGHTS = {"steel": 4.0, "two": 2.0, "method": 1.3, "form": 0.9, "sheet": 0.7, "code": 0.9}
"""What of several things with the same words comes first: the steel before its pairs, the method before its forms."""
WHOLE, OLDER = 1.4, 0.5  # a page before its parts; what stands at an address of its own although a newer one replaced it

TOLD = 150  # characters of a text that stand below an entry's title
WORD = re.compile(r"[^\W\d_][\w.-]*\w|\d[\d.]*[^\W\d_]\w*")  # no figures: nobody looks for a number in a table
SKIPPED = {"script", "style", "svg", "template", "nav"}
HEADINGS = {"h1", "h2", "h3"}


@dataclass(frozen=True)
class Entry:
    """One thing that can be found.

    Attributes
    ----------
    address : from the site's root, without the slash in front.
    kind : what it is, as said beside its title.
    title : what it is called.
    names : other names that people use for it.
    told : a line about it.
    words : what else is said there, each word once.
    weight : what its score is multiplied by.
    """

    address: str
    kind: str
    title: str
    names: tuple[str, ...] = ()
    told: str = ""
    words: str = ""
    weight: float = 1.0


@dataclass(frozen=True)
class Findable:
    """How the search finds a page.

    Attributes
    ----------
    kind : what it is, by the name of a pattern in ``words/catalogue/search.json``.
    names : other names that people use for it.
    told : a line about it; without one the page's description, or its first words.
    older : whether a newer one replaced it.
    parts : lines of a table with an address of their own: id, kind, title, a line about it.
    """

    kind: str = "page"
    names: tuple[str, ...] = ()
    told: str = ""
    older: bool = False
    parts: tuple[tuple[str, str, str, str], ...] = ()


def of_page(address: str, title: str, description: str, found: Findable, html: str, *, record: bool) -> Iterator[Entry]:
    """The entries of one finished page.

    Parameters
    ----------
    address : from the site's root, with a slash at both ends.
    title, description : as in its head.
    found : how it wants to be found.
    html : its main part.
    record : whether it is one entry, whatever its text.
    """
    kind = Reason(f"search.{found.kind}")
    at = address.removeprefix("/")
    names, weight = tuple(dict.fromkeys(found.names)), WEIGHTS.get(found.kind, 1.0)
    if record:
        yield Entry(at, kind, title, names, _short(found.told or description), weight=weight * (OLDER if found.older else 1))
        return
    first, *parts = _parts(html)
    yield Entry(at, kind, title, names, _short(found.told or description or first.text), _words(first.text), weight * WHOLE)
    for part in parts:
        if part.anchor:
            name, told = _short(visible(part.title)), _short(part.text)
            yield Entry(f"{at}#{part.anchor}", kind, name, (title,), told, _words(part.text), weight)
    for anchor, what, name, told in found.parts:
        yield Entry(f"{at}#{anchor}", Reason(f"search.{what}"), name, (), _short(told), weight=WEIGHTS.get(what, 1.0))


def written(entries: Iterable[Entry]) -> bytes:
    """The index as a file; what is empty is left out."""
    rows = [
        {name: value for name, value in asdict(entry).items() if value and (name, value) != ("weight", 1)}
        for entry in sorted(entries, key=lambda e: e.address)
    ]
    text = json.dumps(rows, ensure_ascii=False, separators=(",", ":"))
    return (text.replace("<", "\\u003c") + "\n").encode()  # whatever reads it, it never looks like markup


def _short(text: str) -> str:
    line = visible(text)
    return line if len(line) <= TOLD else line[: TOLD - 1].rsplit(" ", 1)[0] + " …"


def _words(text: str) -> str:
    return " ".join(dict.fromkeys(word.lower() for word in WORD.findall(text)))


@dataclass
class _Part:
    """What stands under one heading while the page is read."""

    anchor: str = ""
    title: str = ""
    text: str = ""


class _Reader(HTMLParser):
    """Collects the parts of a page, by its headings."""

    def __init__(self) -> None:
        super().__init__()
        self.parts = [_Part()]
        self._heading = ""
        self._skipped: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in SKIPPED or (self._skipped and tag == self._skipped[0]):
            self._skipped.append(tag)
        elif tag in HEADINGS:
            self._heading = tag
            if tag != "h1":
                self.parts.append(_Part(dict(attrs).get("id") or ""))
        else:
            self.parts[-1].text += " "

    def handle_endtag(self, tag: str) -> None:
        if self._skipped and tag == self._skipped[-1]:
            self._skipped.pop()
        elif tag == self._heading:
            self._heading = ""
        else:
            self.parts[-1].text += " "

    def handle_data(self, data: str) -> None:
        if self._skipped:
            return
        if not self._heading:
            self.parts[-1].text += data
        elif self._heading != "h1":
            self.parts[-1].title += data


def _parts(html: str) -> list[_Part]:
    reader = _Reader()
    reader.feed(html)
    return reader.parts
