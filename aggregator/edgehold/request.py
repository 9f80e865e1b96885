"""Beside the path: a request checked against its base, what each new submission in it says by itself, and what to ask about it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from .endpoints import endpoint_rows
from .estimates import estimate_submissions, repeatability_table
from .records.canonical import Repository, pool_key
from .records.grades import graded
from .records.model.submission import Submission
from .records.read.neighbours import submission_of
from .records.request.against import CheckedProposal, check_proposal
from .results.model.results import SubmissionResult
from .results.publish.ledger import submission_results
from .results.publish.request_summary import request_summary
from .screens import Asked, questions
from .screens.questions import of_request
from .screens.readings import read_files, runs_by_month
from .trial import tried


def summarised(
    root: Path, reference: str, author: str | None = None, pool: bool = False, whole: bool = False
) -> tuple[CheckedProposal, str]:
    """A request checked and tried, and its summary as Markdown, which says the same whether or not every submission was read.

    Parameters
    ----------
    root, reference, author : as in `check_proposal`.
    pool : as in `tried`.
    whole : read every submission. Without it those are read beside which what is new is judged, and all where so many people are new that
        it must be known whether anybody has met them.

    Raises
    ------
    InputError, RepositoryError
        As `check_proposal`.
    """
    checked = check_proposal(root, reference, author=author, whole=whole, pools=True)
    added = frozenset(submission_of(change.path) for change in checked.proposal.changes if change.kind in ("added", "renamed"))
    if not checked.whole and _many_people(checked.repository, added):
        checked = check_proposal(root, reference, author=author, whole=True)
    checked = tried(checked, pool)
    asked = tuple((one.submission, one.question) for one in asked_about(checked.repository, added))
    return checked, request_summary(checked, own_answers(checked.repository, added), asked)


def _many_people(repository: Repository, paths: frozenset[str]) -> bool:
    """Whether some submissions name so many people, all of them together, that one would ask if nobody knew them."""
    new = {s.record.id: s.record for s in repository.submissions if s.path in paths}
    people, senders = {name: _handles(record) for name, record in new.items()}, {name: record.submitted_by for name, record in new.items()}
    return any(of_request(people, senders, frozenset()))


def asked_about(repository: Repository, paths: frozenset[str]) -> tuple[Asked, ...]:
    """What to ask about some measured submissions, and about the request that brings them: what chance seldom gives."""
    asked = tuple(s for s in repository.submissions if s.path in paths and s.record.origin == "measured")
    new = {s.record.id: s.record for s in asked}
    known = frozenset(handle for s in repository.submissions if s.path not in paths for handle in _handles(s.record))
    of_all = of_request({name: _handles(record) for name, record in new.items()}, {n: r.submitted_by for n, r in new.items()}, known)
    pools = {pool_key(s) for s in asked}
    files = read_files(replace(repository, submissions=tuple(s for s in repository.submissions if pool_key(s) in pools)))
    return (*questions(files, frozenset(new), runs_by_month(repository)), *of_all)


def _handles(record: Submission) -> tuple[str, ...]:
    return (record.submitted_by, *(person.handle for person in record.people))


def own_answers(repository: Repository, paths: frozenset[str]) -> tuple[SubmissionResult, ...]:
    """What some submissions say by themselves, against the repeatability of their pools: as on their pages."""
    asked = tuple(s for s in repository.submissions if s.path in paths)
    pools = {pool_key(s) for s in asked}
    rows = endpoint_rows(replace(repository, submissions=tuple(s for s in repository.submissions if pool_key(s) in pools)), relative=False)
    table = repeatability_table(rows, repository.protocols)
    names = {s.record.id for s in asked}
    own = [row for row in rows if row.submission in names]
    estimates = estimate_submissions(own, table, repository.protocols)
    some = replace(repository, submissions=asked, retracted=())
    return submission_results(some, own, estimates, graded(some))
