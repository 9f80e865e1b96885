"""The check of a request: what is proposed, held against the base, and read together with it.

Only what must be is read: where a request touches result files alone, the others are searched for its keys and those that share one
are read with it (``read.neighbours``). Any other request, and whoever asks for it, has everything read.
"""

from __future__ import annotations

import contextlib
import datetime
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from edgehold.disk import bounded
from edgehold.errors import ERROR, Finding, InputError
from edgehold.records.canonical import Repository
from edgehold.records.findings import Collected
from edgehold.records.layout import readable, walk
from edgehold.records.model.base import ACCOUNT_FORM
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem, shown
from edgehold.records.read.loading import load_repository
from edgehold.records.read.neighbours import CHANGE, SUBMISSION, submission_of, with_neighbours
from edgehold.records.read.roles_files import measured_among
from edgehold.records.read.yaml_reading import parse_yaml
from edgehold.records.threads import closes_form
from edgehold.words import Reason

from .acts import tree_at
from .additions import (
    LARGEST_PROPOSED_BYTES,
    TOMBSTONES,
    identity_paths,
    is_data,
    is_register,
    request_problems,
    reuse_problem,
    submission_id,
)
from .closing_forms import closing_problems
from .floods import flood_problems
from .git_reading import Asked, ask, begin_asking
from .identity import identity_problems, sender
from .pool_mates import pool_mates
from .proposal import Proposal, read_proposal
from .register_entries import register_problems
from .requests import life_in_request
from .role_changes import role_changes, roles_of_base
from .union import write_union

_PERSON = re.compile(r"submissions/people/[^/]+\.json")
_ACCOUNT = re.compile(ACCOUNT_FORM)
MOST_CHOSEN = 200  # changed submissions; with more of them everything is read


@dataclass(frozen=True)
class CheckedProposal:
    """A request and everything found.

    Attributes
    ----------
    proposal : what is proposed.
    repository : what was read of base and proposal together.
    findings : errors wherever they are, warnings in files that the request touches, sorted.
    whole : whether every submission was read.
    pools : whether, where not, those were read with which what is new is pooled.
    author : the host's id of the account that sends it; None: nobody said, and whose it is was held against nothing.
    """

    proposal: Proposal
    repository: Repository
    findings: tuple[Finding, ...]
    whole: bool
    author: str | None = None
    pools: bool = False

    @property
    def errors(self) -> tuple[Finding, ...]:
        """Findings that stop a merge."""
        return tuple(f for f in self.findings if f.severity == ERROR)

    @property
    def touched(self) -> tuple[str, ...]:
        """Every file that the request touches, as findings name them."""
        return tuple(sorted({readable(path) for change in self.proposal.changes for path in (change.path, change.before) if path}))


def check_proposal(
    root: Path, reference: str, *, author: str | None = None, today: datetime.date | None = None, whole: bool = False, pools: bool = False
) -> CheckedProposal:
    """Check what the working tree proposes against a commit, branch or tag.

    Parameters
    ----------
    root : the working tree, top of a git repository.
    reference : the base.
    author : the host's id of the account that sends the request; None: whose it is is not asked.
    today : as in `load_repository`.
    whole : read every submission, also where the request touches few.
    pools : where it touches few, read all with which the new ones are pooled, and what the same people tested in the same months.

    Raises
    ------
    InputError, RepositoryError
        As `read_proposal` and `load_repository`; ``author`` is no id of an account.
    """
    if author is not None and not _ACCOUNT.fullmatch(author):
        raise InputError(Reason("identity.no_account", author=shown(author)))
    proposal, today = read_proposal(root, reference), today or datetime.date.today()
    past = _ask_for_past(proposal)
    with merged(proposal) as folder:
        touched, newer = ({submission_of(path) for path in paths} for paths in ((c.path for c in proposal.changes), _new(proposal)))
        chosen = None if whole or not _only_few_submissions(proposal) else _chosen(folder, touched, newer if pools else set())
        repository = load_repository(folder, today=today, chosen=chosen, newer=newer, warned=touched)
        roles, month = roles_of_base(proposal, repository.roles), f"{today:%Y-%m}"
        closing = [] if roles is None else _closing(proposal, repository, folder, roles, month)
    who = sender(proposal, repository, roles, author, month)
    own = Collected()
    own.add_all((readable(path), problem) for path, problem in identity_problems(proposal, repository, who))
    own.add_all(role_changes(proposal, who))
    own.add_all(flood_problems(repository.as_written, _new(proposal), roles, repository.names, month))
    own.add_all(closing)
    own.add_all(request_problems(proposal, _drafts(proposal) | _buried(proposal)))
    own.add_all(_reuse_problems(proposal, past))
    own.add_all(_register_problems(proposal))
    own.add_all(_late_seals(proposal, repository))
    own.add_all(_life_problems(proposal, repository))
    checked = CheckedProposal(proposal, replace(repository, root=root), (), chosen is None, author, pools)
    return replace(checked, findings=_together(repository.findings, own.findings(lambda _: {}), set(checked.touched)))


def _new(proposal: Proposal) -> frozenset[str]:
    return frozenset(change.path for change in proposal.changes if change.kind in ("added", "renamed"))


def _closing(proposal: Proposal, repository: Repository, folder: Path, roles: Roles, month: str) -> list[tuple[str, Problem]]:
    """Forms that the request closes; the base and what it knows lie in ``folder`` with the request."""
    if not any(map(closes_form, repository.as_written)):
        return []
    base = proposal.base_files.keys() - _new(proposal)
    measured = measured_among(folder, walk(folder), _new(proposal))
    return list(closing_problems(repository.as_written, base, roles, repository.accounts, measured, month))


def _together(read: tuple[Finding, ...], own: tuple[Finding, ...], touched: set[str]) -> tuple[Finding, ...]:
    """Both kinds of findings, each code once a file where the request itself is meant."""
    kept = [f for f in read if f.severity == ERROR or f.file in touched]
    said = {(f.file, f.code) for f in kept}
    return tuple(sorted([*kept, *(f for f in own if (f.file, f.code) not in said)]))


@contextlib.contextmanager
def merged(proposal: Proposal) -> Iterator[Path]:
    """The folder in which base and proposal lie together: the working tree itself unless the base has moved on."""
    if not proposal.behind:
        yield proposal.root
        return
    with tempfile.TemporaryDirectory(prefix="edgehold-") as folder:
        write_union(proposal, Path(folder))
        yield Path(folder)


def _only_few_submissions(proposal: Proposal) -> bool:
    data = [path for change in proposal.changes for path in (change.path, change.before) if path and is_data(path)]
    own = [path for path in data if not (path in _new(proposal) and _only_binds(proposal.root, path))]
    return len(data) <= MOST_CHOSEN and all(SUBMISSION.fullmatch(path) or CHANGE.fullmatch(path) for path in own)


def _only_binds(root: Path, path: str) -> bool:
    """Whether a new file of a handle gives it an account and no other name, so that nothing else is read otherwise for it."""
    if not _PERSON.fullmatch(path):
        return False
    tree = tree_at(root, path, "person")
    return tree.keys() == {"format", "handle", "account"}


def _chosen(folder: Path, touched: set[str], pooled: set[str]) -> set[str]:
    """The submissions that the request touches, and those that have something to do with them, their corrections counted in.

    ``pooled`` are those that are read with their pools.
    """
    there = walk(folder)
    return with_neighbours(folder, there, touched, pool_mates(folder, there, pooled) if pooled else lambda path, data: False)


def _drafts(proposal: Proposal) -> frozenset[str]:
    """Changed protocol versions that the base has and has not released."""
    versions = [c.before for c in proposal.changes if c.before.startswith("protocols/") and c.before.count("/") == 2]
    return frozenset(path for path in versions if path.endswith(".md") and not _released(proposal, path))


def _buried(proposal: Proposal) -> frozenset[str]:
    """Submissions, and their changes, that are taken out and leave a tombstone."""
    gone = [change.before for change in proposal.changes if change.kind in ("deleted", "renamed")]  # git guesses at what was renamed
    return frozenset(path for path in gone if (name := submission_id(path)) and (proposal.root / f"{TOMBSTONES}{name}.json").is_file())


def _released(proposal: Proposal, path: str) -> bool:
    folder, _, name = path.rpartition("/")
    for event in sorted(p for p in proposal.base_files if p.startswith(f"{folder}/events/")):
        tree = parse_yaml(proposal.base_bytes(event).decode(errors="replace"), 1).tree
        if isinstance(tree, dict) and tree.get("kind") == "released" and tree.get("version") == name.removesuffix(".md"):
            return True
    return False


def _late_seals(proposal: Proposal, repository: Repository) -> Iterator[tuple[str, Problem]]:
    """Seals that are published together with their results: nothing shows that they were made before."""
    added = {change.path for change in proposal.changes if change.kind in ("added", "renamed")}
    for submission in repository.submissions:
        plan = submission.record.plan
        if plan is not None and submission.path in added and f"submissions/plans/{plan.id}.json" in added:
            yield submission.path, Problem("/plan", "seal-late", Reason("requests.seal_with_result", id=plan.id))


def _life_problems(proposal: Proposal, repository: Repository) -> Iterator[tuple[str, Problem]]:
    """What the request does to the life of protocols."""
    if not any(change.path.startswith("protocols/") for change in proposal.changes):
        return
    events = {
        path: event
        for protocol, paths in repository.event_paths.items()
        for path, event in zip(paths, repository.events[protocol], strict=True)
    }
    yield from life_in_request(events, repository.objections, repository.protocols, proposal.base_files.keys(), repository.gone)


def _register_problems(proposal: Proposal) -> Iterator[tuple[str, Problem]]:
    for change in proposal.changes:
        place = proposal.root / change.path
        if is_register(change.path) and place.is_file() and not place.is_symlink():
            before = proposal.base_bytes(change.path) if change.path in proposal.base_files else b""
            now = bounded(place, LARGEST_PROPOSED_BYTES, links=False)
            if isinstance(now, bytes):  # what is too large is a finding already
                yield from ((change.path, problem) for problem in register_problems(change.path, before, now))


def _past_names(proposal: Proposal) -> dict[str, str]:
    """Where the added files' identities may have lain before, and which added file that concerns."""
    protocols = sorted({path.split("/")[1] for path in proposal.base_files if path.startswith("protocols/")})
    added = [c.path for c in proposal.changes if c.kind in ("added", "renamed") and c.path.isascii() and c.path.isprintable()]
    return {earlier: path for path in added for earlier in identity_paths(path, protocols) if earlier not in proposal.base_files}


def _ask_for_past(proposal: Proposal) -> Asked | None:
    """Begin to look for those names in the base's history; git does so while the files are read."""
    earlier = sorted(_past_names(proposal))
    if not earlier:
        return None
    given = "\n".join([proposal.base, "--", *earlier, ""]).encode()
    return begin_asking(proposal.root, "rev-list", "-1", "--stdin", given=given)


def _reuse_problems(proposal: Proposal, past: Asked | None) -> Iterator[tuple[str, Problem]]:
    if past is None or not past.answer().strip():
        return
    for earlier, path in sorted(_past_names(proposal).items()):
        if ask(proposal.root, "rev-list", "-1", proposal.base, "--", earlier).strip():
            yield reuse_problem(path, earlier)
