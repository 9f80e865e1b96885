"""Everything people wrote, read and checked: files -> `Repository`.

Each file alone is opened, parsed and validated; protocols are held against their events and versions, submissions
against their protocol and each other. Nothing stops at the first problem; a file with an error takes no further part.
"""

from __future__ import annotations

import datetime
import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from edgehold.cycles import without_looking_for_cycles
from edgehold.records.canonical import Repository
from edgehold.records.rules.life import closed_forms
from edgehold.records.rules.standing import waiting, weighed

from .adoption_files import check_adoptions
from .naming import check_people, named_events, named_seals, named_threads
from .neighbours import SUBMISSION, submission_of
from .objection_files import read_threads
from .people_files import exchanged, names_of, read_people, read_tombstones
from .plan_files import read_seals
from .protocol_files import read_events, read_protocols, version_keys
from .roles_files import accounts_of, check_roles, measured_by, read_carried, read_roles
from .session import Keep, begin, call, lines_of
from .submission_files import check_submissions, open_submissions


@dataclass(frozen=True)
class Asked:
    """Some submissions, by their paths, and the ids of all protocols that they follow."""

    submissions: frozenset[str]
    methods: frozenset[str]


@without_looking_for_cycles()
def load_repository(
    root: Path,
    *,
    today: datetime.date | None = None,
    chosen: Collection[str] | None = None,
    asked: Asked | None = None,
    newer: Collection[str] = (),
    earlier: bool = False,
    elsewhere: Mapping[str, Path] | None = None,
    warned: Collection[str] | None = None,
    keep: Keep = call,
) -> Repository:
    """Read and check a repository.

    Parameters
    ----------
    root : the repository's folder.
    today : what "in the future" is measured from; None: the date of this machine.
    chosen : paths of the submissions to read, relative to the root; the others lend their ids only. None: all.
    asked : what alone the answer is about. All else that is chosen lends the facts that it shares; only what was found in the submissions
        asked about and their changes is told, and only they and their methods are given. None: all that is chosen, and all protocols.
    newer : paths of files that come after all others: where two disagree or take one number, the finding is theirs.
    earlier : whether changed submissions shall come with how they stood before each change.
    elsewhere : submissions that lie outside, by the path at which they are read as if they lay there; nothing is written.
    warned : paths of the submissions that warnings are wanted about; no rule is asked of the others that would only warn. None: all.
    keep : who is asked for what a function gives for arguments that alone decide it: a build keeps it for the next one.

    Returns
    -------
    Every valid record, and every finding. A bad file never raises.

    Raises
    ------
    RepositoryError
        ``root`` holds neither protocols/ nor submissions/.
    """
    session = begin(Path(root), today or datetime.date.today(), earlier, elsewhere)
    session.warned, session.keep = warned, keep
    about, methods = (None, None) if asked is None else (asked.submissions, asked.methods)
    protocols = read_protocols(session, methods)
    placed = read_events(session, protocols, newer)
    events = {name: tuple(event for _, event in of_protocol) for name, of_protocol in placed.items()}
    sound = {key: p for key, p in protocols.items() if not session.collected.has_error(p.path)}
    tombstones, removed_files = read_tombstones(session)
    people, people_files = read_people(session)
    names = names_of(people)
    seals, seal_files = read_seals(session)
    read = open_submissions(session, chosen, newer, about)
    roles, role_files = read_roles(session, people)
    accounts = accounts_of(people.values())
    threads = weighed(read_threads(session, protocols, events, names, newer), roles, accounts, measured_by(session))
    session.collected.add_all(waiting(threads))
    check_roles(session, roles, placed, threads, read)
    carried, carried_files = read_carried(session, read, threads, accounts, names)
    closed, versions = closed_forms(threads, protocols), set(version_keys(session.layout))
    submissions, retracted = check_submissions(session, read, sound, versions, events, names, newer, seals, closed, about)
    check_adoptions(session, placed, protocols, threads, read, names)
    check_people(session, people, read, events, threads, seals)
    if about is not None:
        session.collected.keep(lambda path: submission_of(path) in about)
    if warned is not None:
        session.collected.spare({path for path in session.collected.problems if SUBMISSION.fullmatch(path) and path not in warned})
    return Repository(
        root=session.root,
        protocols=protocols,
        submissions=submissions,
        events=named_events(events, names),
        objections=named_threads(threads, names),
        steels=session.steels,
        findings=session.collected.findings(functools.partial(lines_of, session)),
        retracted=retracted,
        tombstones=tombstones,
        side_files=removed_files + people_files + seal_files + role_files + carried_files,
        life_files=tuple((path, session.hashes[path]) for path in (*session.layout.events, *session.layout.entries)),
        names=names,
        seals=named_seals(seals, names),
        event_paths={name: tuple(path for path, _ in of_protocol) for name, of_protocol in placed.items()},
        as_written=threads,
        roles=roles,
        accounts=accounts,
        carried=carried,
        exchanged=exchanged(people, names),
    )
