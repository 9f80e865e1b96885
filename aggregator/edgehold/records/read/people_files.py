"""What people say of their handles, and what is left of submissions that were taken out."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

from edgehold.records.groups import groups_of
from edgehold.records.layout import file_id
from edgehold.records.model.changes import PersonFile, Tombstone
from edgehold.records.names import Names
from edgehold.records.problem import Problem, pointer
from edgehold.records.rules.months import month_problem
from edgehold.words import Reason

from .change_files import json_tree
from .form import read_record
from .session import Session, path_agrees, reserved_id, sha256


def read_tombstones(session: Session) -> tuple[tuple[Tombstone, ...], tuple[tuple[str, str], ...]]:
    """Tombstones by id, and (path, hash) of their files; a file that is still there, or there again, is a finding."""
    found, files = [], []
    for path in session.layout.tombstones:
        data, tree = json_tree(session, path, "tombstone")
        record, problems = (None, []) if tree is None else read_record(Tombstone, tree)
        session.collected.add(path, problems)
        if record is not None:
            wrong = [*path_agrees("/id", record.id, file_id(path)), *reserved_id(record.id)]
            session.collected.add(path, [*wrong, *month_problem(record.month, session.today)])
            found.append(record)
            files.append((path, sha256(data)))
    session.collected.add_all(_still_there(session))
    return tuple(found), tuple(files)


def _still_there(session: Session) -> Iterator[tuple[str, Problem]]:
    removed = {file_id(path): path for path in session.layout.tombstones}
    for path in session.layout.submissions:
        if file_id(path) in removed:
            message = Reason("reading.taken_out", removed=removed[file_id(path)])
            yield path, Problem("/id", "tombstone-and-file", message)


def read_people(session: Session) -> tuple[dict[str, PersonFile], tuple[tuple[str, str], ...]]:
    """What people say of their handles, by path, and (path, hash) of their files."""
    found, files = {}, []
    for path in session.layout.people:
        data, tree = json_tree(session, path, "person")
        record, problems = (None, []) if tree is None else read_record(PersonFile, tree)
        session.collected.add(path, problems)
        if record is None:
            continue
        wrong = path_agrees("/handle", record.handle, file_id(path))
        reserved = reserved_id(record.handle, "/handle")
        session.collected.add(path, [*wrong, *reserved])
        files.append((path, sha256(data)))
        if not wrong:
            found[path] = record
    return found, tuple(files)


def names_of(people: Mapping[str, PersonFile]) -> Names:
    """Which handle is shown for which. Handles are one person's once each pair on the way names each other, or has one account."""
    aliases = {person.handle: person.shown_as for person in people.values() if person.shown_as}
    shown = dict(aliases)
    for group in _groups(people):
        name = min([aliases[handle] for handle in group if handle in aliases] or group)
        shown |= dict.fromkeys(group, name)
    return Names({handle: name for handle, name in shown.items() if handle != name}, aliases)


def exchanged(people: Mapping[str, PersonFile], names: Names) -> dict[str, frozenset[str]]:
    """With whom every person who has an account says to have exchanged something, by the handle shown."""
    found: dict[str, frozenset[str]] = {}
    for person in people.values():
        if person.account is not None and person.exchanged_with:
            shown = names.person(person.handle)
            found[shown] = found.get(shown, frozenset()) | frozenset(map(names.person, person.exchanged_with))
    return found


def _confirmed(people: Mapping[str, PersonFile]) -> set[tuple[str, str]]:
    said = {(person.handle, other) for person in people.values() for other in person.same_person if other != person.handle}
    return {pair for pair in said if pair[::-1] in said}


def _of_one_account(people: Mapping[str, PersonFile]) -> set[tuple[str, str]]:
    """Handles of one account are one person's, whatever is said of them: nobody decides about their own objection by a second one."""
    bound = sorted((person.account, person.handle) for person in people.values() if person.account is not None)
    return {(one[1], other[1]) for one, other in itertools.pairwise(bound) if one[0] == other[0]}


def _groups(people: Mapping[str, PersonFile]) -> list[frozenset[str]]:
    return groups_of(_confirmed(people) | _of_one_account(people))


def people_problems(people: Mapping[str, PersonFile], used: Mapping[str, str], ids: frozenset[str]) -> Iterator[tuple[str, Problem]]:
    """Aliases that another person has or that lead on, and handles that are not said to be one person's from both sides.

    Parameters
    ----------
    people : files by path.
    used : where a handle that is in use stands, by handle.
    ids : ids of all submissions.
    """
    confirmed = _confirmed(people)
    groups = {handle: group for group in _groups(people) for handle in group}
    for path, person in people.items():
        yield from ((path, problem) for problem in _alias(person, people, groups.get(person.handle, frozenset()), used, ids))
        for number, other in enumerate(person.same_person):
            if (person.handle, other) not in confirmed:
                message = Reason("reading.not_confirmed", other=other, handle=person.handle)
                yield path, Problem(pointer("same_person", number), "same-person-unconfirmed", message)


def _alias(
    person: PersonFile, people: Mapping[str, PersonFile], group: frozenset[str], used: Mapping[str, str], ids: frozenset[str]
) -> Iterator[Problem]:
    alias = person.shown_as
    if alias is None:
        return
    if alias == person.handle or any(alias == other.handle for other in people.values()):
        yield Problem("/shown_as", "alias-chain", Reason("reading.has_own_file", alias=alias))
    elif alias in used:
        yield Problem("/shown_as", "alias-taken", Reason("reading.stands_as_handle", alias=alias, used=used[alias]))
    others = [p.handle for p in people.values() if p.shown_as == alias and p.handle != person.handle and p.handle not in group]
    if others:
        yield Problem("/shown_as", "alias-taken", Reason("reading.shown_twice", others=min(others), alias=alias))
    telling = sorted(name for name in ids if f"-{person.handle}-" in f"-{name}-")
    if telling:
        message = Reason("reading.ids_show_handle", count=len(telling), handle=person.handle, names=", ".join(telling[:3]))
        yield Problem("/handle", "handle-in-id", message)
