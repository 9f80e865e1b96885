"""Which one exchange, or one test, would compare two that nothing compares yet.

The browser asks the same of the chooser's data (``site/pages/assets/compare/exchange.js``); ``tests/browser/test_compare.py`` holds
the two to each other.
"""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.forms.submission import OPEN
from edgehold.records.model.protocol import Protocol
from edgehold.results.model.results import Results, SubmissionResult
from edgehold.results.model.versions import ProtocolResult
from edgehold.words import Reason

from . import addresses
from .hands import settings_of


@dataclass(frozen=True)
class OpenMethod:
    """A method that takes results.

    Attributes
    ----------
    version : its newest version.
    settings : its settings.
    """

    version: ProtocolResult
    settings: Protocol

    @property
    def title(self) -> str:
        """What it is called."""
        return self.settings.title

    @property
    def factor(self) -> str:
        """What it asks about."""
        return self.settings.question.factor


@dataclass(frozen=True)
class Table:
    """A submission that tested a steel: where the blade and the hands are.

    Attributes
    ----------
    address : the submission's page.
    method : id of the open method about steels that it followed; empty where it followed another.
    """

    address: str
    method: str


@dataclass(frozen=True)
class Exchange:
    """What would tell: a sentence, and the pages it speaks of, by what their links say."""

    sentence: str
    links: tuple[tuple[str, str], ...]


def open_methods(results: Results) -> dict[str, OpenMethod]:
    """Methods that take results, by id: the shorter ones first, then by id."""
    found = []
    for version in results.protocols:
        settings = settings_of(version) if version.newest and version.status in OPEN and not version.closed_by else None
        if settings is not None:
            found.append((settings.minutes.whole, version.id, OpenMethod(version, settings)))
    return {name: method for _, name, method in sorted(found, key=lambda one: one[:2])}


def tables(results: Results, methods: dict[str, OpenMethod]) -> dict[str, Table]:
    """For each steel the submission to ask: by an open method about steels before any other, then the one with most runs of it."""
    found: dict[str, tuple[tuple[bool, int, str], Table]] = {}
    for submission in results.submissions:
        table = _table(submission, methods)
        for steel in {run.steel for run in submission.runs}:
            rank = (not table.method, -sum(run.steel == steel for run in submission.runs), submission.id)
            if steel not in found or rank < found[steel][0]:
                found[steel] = (rank, table)
    return {steel: table for steel, (_, table) in found.items()}


def _table(submission: SubmissionResult, methods: dict[str, OpenMethod]) -> Table:
    method = methods.get(submission.protocol)
    return Table(addresses.submission(submission), submission.protocol if method is not None and method.factor == "steel" else "")


def method_about(methods: dict[str, OpenMethod], factor: str) -> OpenMethod | None:
    """The shortest open method that asks about a factor."""
    return next((method for method in methods.values() if method.factor == factor), None)


def of_steels(first: str, second: str, known: dict[str, Table], methods: dict[str, OpenMethod]) -> Exchange:
    """A blade goes to the table that tested the other; without such a table anybody with both may begin."""
    tested = [name for name in (first, second) if name in known]
    kept = next((name for name in tested if known[name].method), tested[0] if tested else first)
    sent = second if kept == first else first
    method = methods.get(known[kept].method) if kept in known else None
    method = method or method_about(methods, "steel")
    kind = ("anybody", "send", "swap")[len(tested)]
    return _exchange(kind, method, {"sent": sent, "kept": kept}, [(name, known[name].address) for name in (sent, kept) if name in known])


def of_levels(protocol: str, methods: dict[str, OpenMethod]) -> Exchange:
    """One evening by their own method."""
    return _exchange("level", methods.get(protocol), {}, [])


def of_practice(methods: dict[str, OpenMethod]) -> Exchange:
    """One evening by the method that compares sharpeners."""
    return _exchange("practice", method_about(methods, "sharpener"), {}, [])


def _exchange(kind: str, method: OpenMethod | None, names: dict[str, str], tables: list[tuple[str, str]]) -> Exchange:
    links = [(Reason("chooser.table", name=name), address) for name, address in tables]
    if method is None:
        return Exchange(Reason("chooser.no_method"), tuple(links))
    links.append((Reason("chooser.method", method=method.title), addresses.protocol(method.version.id)))
    links.append((Reason("chooser.plan"), addresses.planner(method.version.id)))
    return Exchange(Reason(f"chooser.{kind}", method=method.title, **names), tuple(links))
