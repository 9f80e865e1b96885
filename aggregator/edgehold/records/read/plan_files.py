"""Seals of plans that were published before the test."""

from __future__ import annotations

from edgehold.records.layout import file_id
from edgehold.records.model.plan import PlanSeal
from edgehold.records.rules.months import month_problem

from .change_files import json_tree
from .form import read_record
from .session import Session, path_agrees, reserved_id, sha256


def read_seals(session: Session) -> tuple[dict[str, PlanSeal], tuple[tuple[str, str], ...]]:
    """Published seals by id, and (path, hash) of their files."""
    found, files = {}, []
    for path in session.layout.seals:
        data, tree = json_tree(session, path, "seal")
        record, problems = (None, []) if tree is None else read_record(PlanSeal, tree)
        session.collected.add(path, problems)
        if record is None:
            continue
        wrong = [*path_agrees("/id", record.id, file_id(path)), *reserved_id(record.id)]
        session.collected.add(path, [*wrong, *month_problem(record.month, session.today)])
        files.append((path, sha256(data)))
        if not wrong:
            found[record.id] = record
    return found, tuple(files)
