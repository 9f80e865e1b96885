"""The list of roles, whose handles are whose, and which results were carried in."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path

from edgehold.records.canonical import CarriedIn, ObjectionThread
from edgehold.records.layout import CARRIED_FILES, ROLES_FILE, Layout, file_id
from edgehold.records.model.carried import Carried, Confirmation
from edgehold.records.model.changes import PersonFile
from edgehold.records.model.review import Event
from edgehold.records.model.roles import Roles
from edgehold.records.names import Names
from edgehold.records.problem import Problem
from edgehold.records.rules.months import month_problem
from edgehold.records.rules.roles import Needed, acts_of_events, acts_of_thread, list_problems, role_problems
from edgehold.records.rules.standing import Measured
from edgehold.records.threads import entry_paths
from edgehold.words import Reason

from .change_files import json_tree
from .form import read_record
from .json_reading import parse_json
from .opening import decode, read_bytes
from .session import Session, folder_of, path_agrees, sha256
from .submission_files import ReadSubmission

_CARRIED_MODELS: dict[str, type[Carried | Confirmation]] = dict(zip(CARRIED_FILES, (Carried, Confirmation), strict=True))

SideFiles = tuple[tuple[str, str], ...]


def accounts_of(people: Iterable[PersonFile]) -> dict[str, str]:
    """The account of every handle that is bound to one."""
    return {person.handle: person.account for person in people if person.account is not None}


def read_roles(session: Session, people: Mapping[str, PersonFile]) -> tuple[Roles | None, SideFiles]:
    """The list of roles, None where there is none, and (path, hash) of its file."""
    if not session.layout.roles:
        return None, ()
    data, tree = json_tree(session, ROLES_FILE, "roles")
    record, problems = (None, []) if tree is None else read_record(Roles, tree)
    session.collected.add(ROLES_FILE, problems)
    if record is None:
        return None, ()
    session.collected.add(ROLES_FILE, list_problems(record, accounts_of(people.values())))
    return record, ((ROLES_FILE, sha256(data)),)


def check_roles(
    session: Session,
    roles: Roles | None,
    events: Mapping[str, Iterable[tuple[str, Event]]],
    threads: Iterable[ObjectionThread],
    read: Iterable[ReadSubmission],
) -> None:
    """Collect what was done without a role that it needed."""
    if roles is None:
        return
    needed = [act for of_protocol in events.values() for act in acts_of_events(of_protocol)]
    needed += [act for thread in threads for act in acts_of_thread(thread, entry_paths(thread))]
    needed += [act for item in read for act in acts_of_strangers(item)]
    session.collected.add_all(role_problems(roles, needed))


def acts_of_strangers(item: ReadSubmission) -> Iterable[Needed]:
    """Corrections and retractions by somebody whom the submission does not name."""
    named = {person.handle for person in item.record.people}
    for change in item.changes:
        if change.record.by not in named:
            act = Reason(
                "identity.retracts" if change.record.kind == "retraction" else "identity.corrects", submission=change.record.submission
            )
            yield Needed(change.path, "/by", change.record.by, change.record.month, "take down", act)


def read_carried(
    session: Session, read: Iterable[ReadSubmission], threads: Iterable[ObjectionThread], accounts: Mapping[str, str], names: Names
) -> tuple[dict[str, CarriedIn], SideFiles]:
    """Results that a friend's request brought in, by the submission's id, and (path, hash) of their files.

    The owner confirms one by a file or by an objection that rests on it, once the owner's handle is bound to an account. Until then the
    result bears the warning ``carried``, here and on its page.
    """
    found: dict[str, dict[str, Carried | Confirmation]] = {}
    files = []
    owners = {item.record.id: item.record.submitted_by for item in read}
    paths = {item.record.id: item.path for item in read}
    there = {file_id(path) for path in session.layout.submissions}
    for path in session.layout.carried:
        data, tree = json_tree(session, path, "carried")
        name = path.rpartition("/")[2]
        record, problems = (None, []) if tree is None else read_record(_CARRIED_MODELS[name], tree)
        session.collected.add(path, problems)
        if record is None:
            continue
        files.append((path, sha256(data)))
        wrong = path_agrees("/submission", record.submission, folder_of(path).rpartition("/")[2])
        owner = owners.get(record.submission)
        if record.submission not in there:
            wrong.append(Problem("/submission", "carried-form", Reason("identity.nothing_carried", submission=record.submission)))
        elif isinstance(record, Confirmation) and f"{folder_of(path)}/{CARRIED_FILES[0]}" not in session.layout.carried:
            wrong.append(Problem("/kind", "carried-form", Reason("identity.confirms_nothing", submission=record.submission)))
        elif owner is not None and (owner == record.by) != isinstance(record, Confirmation):
            of = "identity.confirmed_by_another" if isinstance(record, Confirmation) else "identity.carried_by_owner"
            wrong.append(Problem("/by", "carried-form", Reason(of, by=record.by, owner=owner)))
        session.collected.add(path, [*wrong, *month_problem(record.month, session.today)])
        if not wrong:
            found.setdefault(record.submission, {})[name] = record
    cited = {(t.objection.by, e.submission) for t in threads for e in t.objection.evidence if e.submission}
    carried = {}
    for submission, records in found.items():
        if (first := records.get(CARRIED_FILES[0])) is None:
            continue
        owner = owners.get(submission, "")
        confirmed = owner in accounts and (CARRIED_FILES[1] in records or (owner, submission) in cited)
        carried[submission] = CarriedIn(names.person(first.by), first.month, confirmed)
        if submission in paths and not confirmed:
            message = Reason("identity.is_carried", by=names.person(first.by), owner=names.person(owner))
            session.collected.add(paths[submission], [Problem("/submitted_by", "carried", message)])
    return carried, tuple(files)


def measured_by(session: Session) -> Measured:
    """`measured_among` all files of a repository."""
    return measured_among(session.root, session.layout)


def measured_among(root: Path, layout: Layout, leave_out: Collection[str] = ()) -> Measured:
    """Whether a handle was part of a measured submission of an earlier month, as the files say that were sent in.

    Only files that hold the handle are read, and only where somebody asks, so that it says the same whichever submissions a check
    reads. Retracted ones do not count.

    Parameters
    ----------
    root, layout : the repository and its files.
    leave_out : paths of files that do not count.
    """
    gone = {path.split("/")[4] for path in layout.changes if path.endswith("-retraction.json")}
    paths = [path for path in layout.submissions if path.startswith("submissions/measured/") and file_id(path) not in gone]
    paths = [path for path in paths if path not in leave_out]

    @functools.cache
    def months(handle: str) -> list[str]:
        wanted = re.compile(rb'"' + re.escape(handle).encode() + rb'"')
        return [month for path in paths if (month := _month_with(root / path, handle, wanted.search))]

    return lambda handle, month: any(earlier < month for earlier in months(handle))


def _month_with(path: Path, handle: str, holds: Callable[[bytes], object]) -> str:
    """The month of a submission that names a handle among its people; empty where it does not."""
    data, problems = read_bytes(path, "submission")
    if problems or not holds(data):
        return ""
    text, wrong = decode(data)
    tree = None if wrong else parse_json(text)[0]
    fields = tree if isinstance(tree, dict) else {}
    month = fields.get("month")
    return month if handle in named_in(fields) and isinstance(month, str) else ""


def named_in(tree: Mapping[str, object]) -> set[str]:
    """Handles of the people whom a submission names, from its fields as they stand in the file."""
    people = tree.get("people")
    listed = people if isinstance(people, list) else []
    return {person["handle"] for person in listed if isinstance(person, dict) and isinstance(person.get("handle"), str)}
