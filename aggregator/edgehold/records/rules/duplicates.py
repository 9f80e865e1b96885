"""Submissions against each other: ids used twice, and files that say exactly the same."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import rfc8785
from pydantic import JsonValue

from edgehold.records.model.submission import Submission
from edgehold.records.problem import Problem
from edgehold.words import Reason


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
        code, what = ("id-used-twice", "is") if same else ("ids-differ-in-case", Reason("findings.capitals_only"))
        message = f"the id {name!r} {what} {Reason('findings.also_that_of') if same else 'that of'} {earlier}"
        problems.append((path, Problem("/id", code, message)))
    return problems


def _name(path: str) -> str:
    return path.rpartition("/")[2].removesuffix(".json")


def content_problems(submissions: Iterable[tuple[str, Submission]]) -> list[tuple[str, Problem]]:
    """Files that tell the same experiment; the later one given is the finding, naming its twin.

    Compared is what counts: the record with its corrections applied. The hash is computed only where a few cheap facts are alike.
    """
    alike: dict[tuple[object, ...], list[tuple[str, Submission]]] = {}
    for path, record in submissions:
        alike.setdefault(_gist(record), []).append((path, record))
    problems = []
    for group in alike.values():
        problems += _twins(group) if len(group) > 1 else []
    return problems


def _gist(record: Submission) -> tuple[object, ...]:
    first, edge = record.runs[0], record.preparations[0]
    read = [str(item.written) for reading in first.readings for item in reading.values or ()]
    return (
        record.protocol,
        record.origin,
        record.month,
        len(record.runs),
        first.order,
        first.tester,
        edge.blade,
        edge.sharpener,
        tuple(read),
    )


def _twins(group: list[tuple[str, Submission]]) -> list[tuple[str, Problem]]:
    first: dict[bytes, str] = {}
    problems = []
    for path, record in group:
        twin = first.setdefault(content_hash(record), path)
        if twin != path:
            problems.append((path, Problem("", "duplicate-content", Reason("findings.same_content", twin=twin))))
    return problems


def content_hash(record: Submission) -> bytes:
    """SHA-256 of what a submission tells, as canonical JSON (RFC 8785).

    Canonical JSON makes order of fields, spaces and nulls left out no difference. Left out as well is what can be written otherwise
    about the same evening: the id, who sends it in and who else is named, notes, answers to warnings, the reference to a plan,
    hashes of films, and canonical values, which are computed anyway. Who sharpened and tested stands with preparations and runs, and
    stays in.
    """
    return hashlib.sha256(rfc8785.dumps(_told(record.model_dump(mode="json", exclude=_ABOUT)))).digest()


_ABOUT = {"id", "submitted_by", "people", "answers", "plan"}
_ASIDE = {"note", "canonical", "film"}


def _told(value: JsonValue) -> JsonValue:
    if isinstance(value, dict):
        return {name: _told(inside) for name, inside in value.items() if name not in _ASIDE}
    return [_told(item) for item in value] if isinstance(value, list) else value
