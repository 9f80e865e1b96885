"""Submissions against each other: ids used twice, and files that say exactly the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import rfc8785

from ..model.submission import Submission
from ..problem import Problem


def id_problems(paths: Iterable[str]) -> list[tuple[str, Problem]]:
    """Ids that two submissions share, or that differ in capitals only; of two ``paths`` the later one is the finding."""
    first: dict[str, str] = {}
    problems = []
    for path in paths:
        name = _name(path)
        earlier = first.setdefault(name.lower(), path)
        if earlier == path:
            continue
        same = _name(earlier) == name
        code, what = ("id-used-twice", "is") if same else ("ids-differ-in-case", "differs in capitals only from")
        message = f"the id {name!r} {what} {'also that of' if same else 'that of'} {earlier}"
        problems.append((path, Problem("/id", code, message)))
    return problems


def _name(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".json")


def content_problems(submissions: Iterable[tuple[str, Submission]]) -> list[tuple[str, Problem]]:
    """Files with the same content but for their id; the later one given is the finding, naming its twin.

    Content is compared as canonical JSON (RFC 8785) of the record, so order of fields, spaces and nulls left out make
    no difference. The hash is computed only where a few cheap facts are alike.
    """
    alike: dict[tuple, list[tuple[str, Submission]]] = {}
    for path, record in submissions:
        alike.setdefault(_gist(record), []).append((path, record))
    problems = []
    for group in alike.values():
        problems += _twins(group) if len(group) > 1 else []
    return problems


def _gist(record: Submission) -> tuple:
    first = record.runs[0]
    read = [str(item.written) for reading in first.readings for item in reading.values or ()]
    return record.protocol, record.origin, record.month, record.submitted_by, len(record.runs), first.order, tuple(read)


def _twins(group: list[tuple[str, Submission]]) -> list[tuple[str, Problem]]:
    first: dict[bytes, str] = {}
    problems = []
    for path, record in group:
        twin = first.setdefault(content_hash(record), path)
        if twin != path:
            problems.append((path, Problem("", "duplicate-content", f"says exactly what {twin} says")))
    return problems


def content_hash(record: Submission) -> bytes:
    """SHA-256 of a submission's canonical JSON (RFC 8785) without its id."""
    return hashlib.sha256(rfc8785.dumps(record.model_dump(mode="json", exclude={"id"}))).digest()
