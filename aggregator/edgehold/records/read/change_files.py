"""Corrections and retractions of measured submissions: read, and applied in the order of their numbers.

The file of a submission never changes. What counts is the file with its corrections applied, and whatever the rules find in that is
told at the correction that brought it, where one can be named.
"""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from pydantic import JsonValue

from edgehold.errors import ERROR
from edgehold.records.canonical import LoadedChange
from edgehold.records.codes import CODES
from edgehold.records.findings import Collected
from edgehold.records.layout import Layout, changed_submission, file_id
from edgehold.records.model.changes import Correction, Retraction
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.rules.months import month_problem
from edgehold.words import Reason

from .form import read_record
from .json_reading import parse_json
from .json_values import NoSuchPlace, put, same, value_at
from .session import Session, file_text, folder_of, path_agrees, sha256

_MODELS: dict[str, type[Correction | Retraction]] = {"correction": Correction, "retraction": Retraction}
_FIXED = ("/id", "/origin", "/format", "/licence", "/protocol", "/protocol/id")
_ORIGIN_CURE = Reason("reading.never_exchanged")


def changes_of(layout: Layout) -> dict[str, list[str]]:
    """Paths of the changes of each submission, by the submission's path."""
    found: dict[str, list[str]] = {}
    for path in layout.changes:
        found.setdefault(changed_submission(path), []).append(path)
    return found


def placing_problems(layout: Layout) -> Iterator[tuple[str, Problem]]:
    """What the names of the files say: changes of nothing, numbers with gaps, changes after a retraction."""
    submissions = set(layout.submissions)
    for submission, paths in changes_of(layout).items():
        if submission not in submissions:
            yield paths[0], Problem("/submission", "change-without-submission", Reason("reading.there_is_no", submission=submission))
        retracted = ""
        for number, path in enumerate(paths, 1):
            name = path.rpartition("/")[2]
            if name[:2] != f"{number:02d}":
                message = Reason("reading.change_misnumbered", number=number, submission=file_id(submission), name=name[:2])
                yield path, Problem("", "wrong-number", message, f"call it {number:02d}-{name[3:]}", line=1)
            if retracted:
                yield path, Problem("/kind", "after-retraction", Reason("reading.retracted_before", retracted=retracted))
            retracted = retracted or (name if name.endswith("-retraction.json") else "")


def read_changes(session: Session, paths: Iterable[str]) -> tuple[LoadedChange, ...] | None:
    """The changes of one submission in their order; None when one of them cannot be read, with the problems collected."""
    read = [_change(session, path) for path in paths]
    changes = tuple(change for change in read if change is not None)
    return changes if len(changes) == len(read) else None


def _change(session: Session, path: str) -> LoadedChange | None:
    data, tree = json_tree(session, path, "change")
    if tree is None:
        return None
    kind = file_id(path)[3:]
    stated = tree.get("kind") if isinstance(tree, dict) else None
    if isinstance(stated, str) and stated in _MODELS and stated != kind:
        session.collected.add(path, path_agrees("/kind", stated, kind))
        return None
    record, problems = read_record(_MODELS[kind], tree)
    session.collected.add(path, problems)
    if record is None:
        return None
    wrong = path_agrees("/submission", record.submission, folder_of(path).rpartition("/")[2])
    session.collected.add(path, [*wrong, *month_problem(record.month, session.today)])
    return None if wrong else LoadedChange(record, path, sha256(data))


def json_tree(session: Session, path: str, kind: str) -> tuple[bytes, JsonValue]:
    """Bytes and tree of a JSON file; no tree when it cannot be read, with the problems collected."""
    data, text = file_text(session, path, kind)
    if not text:
        if not data and path not in session.collected.problems:
            session.collected.add(path, [Problem("", "not-json", Reason("reading.file_empty"), line=1)])
        return data, None
    tree, problems = parse_json(text)
    if tree is None and not problems:
        problems = [Problem("", "wrong-type", Reason("reading.null_for_object"), line=1)]
    session.collected.add(path, problems)
    return data, tree


def corrected(tree: JsonValue, changes: Iterable[LoadedChange]) -> tuple[JsonValue, list[tuple[str, Problem]]]:
    """A submission's tree with its corrections applied, and what stands in their way as (path, problem)."""
    tree = copy.deepcopy(tree)
    problems: list[tuple[str, Problem]] = []
    for change in changes:
        if isinstance(change.record, Correction):
            problems += [(change.path, problem) for problem in _applied(tree, change.record)]
    return tree, problems


def _applied(tree: JsonValue, correction: Correction) -> Iterator[Problem]:
    """Apply a correction in place; an entry with a problem is left out."""
    for number, entry in enumerate(correction.what):
        place = ("what", number)
        if entry.pointer in _FIXED:
            cure = _ORIGIN_CURE if entry.pointer == "/origin" else ""
            yield Problem(pointer(*place, "pointer"), "fixed-field", Reason("reading.fixed_field", pointer=entry.pointer), cure)
            continue
        try:
            found = value_at(tree, entry.pointer)
        except NoSuchPlace as error:
            yield Problem(pointer(*place, "pointer"), "no-such-place", f"{shown(entry.pointer)}: {error}")
            continue
        if not same(found, entry.before):
            message = Reason("reading.before_disagrees", before=shown(entry.before), found=shown(found), pointer=entry.pointer)
            yield Problem(pointer(*place, "before"), "before-disagrees", message)
        elif same(entry.before, entry.after):
            yield Problem(pointer(*place, "after"), "nothing-changed", Reason("reading.nothing_changed", value=shown(entry.after)))
        else:
            put(tree, entry.pointer, copy.deepcopy(entry.after))


def strangers(changes: Iterable[LoadedChange], people: Collection[str]) -> Iterator[tuple[str, Problem]]:
    """Changes by somebody who is not among the people named in the submission."""
    for change in changes:
        if change.record.by not in people:
            yield change.path, Problem("/by", "by-somebody-else", Reason("reading.not_named", by=change.record.by))


def tell_at_changes(collected: Collected, path: str, changes: Iterable[LoadedChange]) -> None:
    """Move what was found in a corrected submission to the corrections that brought it.

    What lies inside a changed value goes to the newest entry that changed it. An error elsewhere (a run that names a lot which was
    taken out) goes to the last correction, with its place in words; a warning elsewhere stays with the original file.
    """
    corrections = [(change.path, change.record) for change in changes if isinstance(change.record, Correction)]
    if not corrections or path not in collected.problems:
        return
    stay = []
    for problem in collected.problems.pop(path):
        target = None if problem.line else _bringer(problem, corrections)
        if target is None:
            stay.append(problem)
        else:
            collected.add(target[0], [target[1]])
    collected.add(path, stay)


def _bringer(problem: Problem, corrections: list[tuple[str, Correction]]) -> tuple[str, Problem] | None:
    for path, correction in reversed(corrections):
        for number, entry in reversed(list(enumerate(correction.what))):
            if problem.pointer == entry.pointer or problem.pointer.startswith(f"{entry.pointer}/"):
                rest = problem.pointer.removeprefix(entry.pointer)
                return path, replace(problem, pointer=f"{pointer('what', number, 'after')}{rest}")
    if CODES[problem.code].severity != ERROR or problem.pointer in _FIXED:
        return None
    message = Reason("reading.after_correction", place=problem.pointer or Reason("reading.whole_file"), message=problem.message)
    return corrections[-1][0], replace(problem, pointer="/what", message=message)
