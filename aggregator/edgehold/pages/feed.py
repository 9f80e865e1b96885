"""What is new, as an Atom feed (RFC 4287): verdicts that moved, and objections that were raised.

Dates are those of the data: files name months, so an entry is dated the first day of its month, and no clock is asked. Ids are UUIDs made
from names (RFC 4122, version 5), so that they stay when the site moves.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

from edgehold.results.model.moves import PoolLog
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import addresses, safe_text
from .citing import AUTHOR, MONTH

ATOM = "http://www.w3.org/2005/Atom"
PATH = "feed.xml"
MOST = 100
UNKNOWN = "1970-01"  # a feed must say when it was updated, and one without months has nothing in it


@dataclass(frozen=True)
class News:
    """One entry: a name for good, its month, where it stands, and what it says."""

    name: str
    month: str
    address: str
    title: str
    summary: str
    simulated: bool


def feed(results: Results, base_url: str) -> bytes:
    """The feed as XML, newest first.

    Parameters
    ----------
    results : the bundle.
    base_url : address of the published site; where there is none, links are relative to the feed's own.
    """
    news = sorted([*_verdicts(results), *_objections(results)], key=lambda one: (one.month, one.name), reverse=True)[:MOST]
    root = ElementTree.Element("feed", {"xmlns": ATOM, "xml:lang": "en"} | ({"xml:base": base_url} if base_url else {}))
    _texts(
        root,
        id=_id("feed"),
        title=str(Reason("news.title")),
        subtitle=str(Reason("news.subtitle")),
        updated=_date(news[0].month if news else results.provenance.data_month),
        rights="CC0-1.0",
    )
    _author(root)
    ElementTree.SubElement(root, "link", {"rel": "self", "type": "application/atom+xml", "href": base_url + PATH})
    ElementTree.SubElement(root, "link", {"rel": "alternate", "type": "text/html", "href": base_url or "./"})
    for one in news:
        entry = ElementTree.SubElement(root, "entry")
        marked = str(Reason("news.simulated", title=one.title)) if one.simulated else one.title
        _texts(entry, id=_id(one.name), title=marked, updated=_date(one.month), summary=one.summary)
        ElementTree.SubElement(entry, "link", {"rel": "alternate", "type": "text/html", "href": base_url + one.address.removeprefix("/")})
        if one.simulated:
            ElementTree.SubElement(entry, "category", {"term": "simulated"})
    ElementTree.indent(root, "")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'.encode()


def _verdicts(results: Results) -> Iterator[News]:
    """Every month in which the verdict on a leading comparison became another."""
    for log in results.moves:
        for course in log.courses:
            for move in course.moves:
                if move.before.verdict == move.after.verdict:
                    continue
                code = (
                    "verdict_moved"
                    if move.before.verdict and move.after.verdict
                    else "verdict_came"
                    if move.after.verdict
                    else "verdict_went"
                )
                yield News(
                    name="/".join((_pool(log), course.endpoint, course.factor, course.first, course.second, move.month)),
                    month=move.month,
                    address=addresses.log(log),
                    title=Reason("news.verdict_title", first=course.first, second=course.second, endpoint=course.title, pool=log.title),
                    summary=f"{Reason(f'news.{code}', before=move.before.verdict, after=move.after.verdict)} {move.sentence}",
                    simulated=log.origin == "simulated",
                )


def _pool(log: PoolLog) -> str:
    return f"{log.protocol}-v{log.major}-{log.origin}"


def _objections(results: Results) -> Iterator[News]:
    """Every objection in the month in which it was raised; of a struck one that it was."""
    for one in results.objections:
        against = one.protocol or str(Reason("news.the_analysis"))
        yield News(
            name=f"objection/{one.protocol or 'analysis'}/{one.number}",
            month=one.month,
            address=addresses.objection(one.protocol, one.number),
            title=Reason("news.objection_title", number=one.number, against=against),
            summary=Reason("news.objection", title=one.title or "struck", severity=one.severity, state=one.state),
            simulated=one.simulated,
        )


def _id(name: str) -> str:
    return uuid.uuid5(uuid.NAMESPACE_URL, f"edgehold:{name}").urn


def _date(month: str) -> str:
    return f"{month if MONTH.fullmatch(month) else UNKNOWN}-01T00:00:00Z"


def _author(root: ElementTree.Element) -> None:
    ElementTree.SubElement(ElementTree.SubElement(root, "author"), "name").text = AUTHOR


def _texts(element: ElementTree.Element, **texts: str) -> None:
    """Children that hold text, without what XML cannot hold (Extensible Markup Language 1.0, production 2)."""
    for name, text in texts.items():
        ElementTree.SubElement(element, name).text = "".join(c for c in safe_text.visible(text) if c not in "\ufffe\uffff")
