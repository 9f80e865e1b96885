"""A file or an id to one submission that the check accepts, or to what the check says of it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from edgehold.disk import read_file, there
from edgehold.errors import Finding, InputError
from edgehold.records import load_repository
from edgehold.records.canonical import LoadedProtocol, Repository
from edgehold.records.layout import file_id, walk
from edgehold.records.model.submission import Submission
from edgehold.records.read.alone import read_alone
from edgehold.records.read.loading import Asked
from edgehold.records.read.named import stated
from edgehold.records.read.opening import read_bytes
from edgehold.records.read.session import sha256
from edgehold.records.report import harmless
from edgehold.words import Reason


@dataclass(frozen=True, eq=False)
class Opened:
    """One submission as it counts now, without errors.

    Attributes
    ----------
    record : what it says.
    sha256 : of the file as it was sent in.
    corrected : whether corrections are applied.
    findings : of this file and its corrections; warnings only.
    repository : its protocol, steels and seals that it was held against; no other submission was read.
    file : where it lies.
    """

    record: Submission
    sha256: str
    corrected: bool
    findings: tuple[Finding, ...]
    repository: Repository
    file: Path

    @property
    def protocol(self) -> LoadedProtocol:
        """The version that it followed."""
        reference = self.record.protocol
        return self.repository.protocols[(reference.id, reference.version)]


@dataclass(frozen=True)
class Unsound:
    """A file in which errors stand: there is nothing to report on but what the check says of it."""

    findings: tuple[Finding, ...]
    record: None = None


def open_submission(root: Path, named: str, today: datetime.date | None = None) -> Opened | Unsound:
    """Open a submission of a repository, or a file that is not in it yet.

    Parameters
    ----------
    root : the repository.
    named : a file, or the id of a submission of the repository.
    today : what "in the future" is measured from; None: the date of this machine.

    Raises
    ------
    InputError
        There is neither such a file nor such a submission, or it was retracted.
    RepositoryError
        ``root`` is no repository.
    """
    path = _inside(root, named)
    return _alone(root, Path(named), today or datetime.date.today()) if path is None else _of_repository(root, path, today)


def _inside(root: Path, named: str) -> str | None:
    """Path of a submission of the repository, relative to its root; None for a file elsewhere."""
    known = walk(root).submissions
    file, found = Path(named), next((path for path in known if file_id(path) == named), None)
    if there(file) and not (file.is_dir() and (found or not named)):
        place = file.parent.resolve() / file.name
        return next((path for path in known if (root / path).resolve() == place), None)
    if found is None:
        raise InputError(Reason("report.no_submission", text=repr(harmless(named)), folder=str(root / "submissions")))
    return found


def _of_repository(root: Path, path: str, today: datetime.date | None) -> Opened | Unsound:
    asked = Asked(frozenset({path}), frozenset({path.split("/")[2], *stated(root / path)}))
    repository = load_repository(root, today=today, chosen={path}, asked=asked)
    changes = f"{path.rpartition('/')[0]}/changes/{file_id(path)}/"
    findings = tuple(f for f in repository.findings if f.file == path or f.file.startswith(changes))
    if any(retracted.path == path for retracted in repository.retracted):
        raise InputError(Reason("report.retracted", id=file_id(path)))
    loaded = next((s for s in repository.submissions if s.path == path), None)
    if loaded is None:
        return Unsound(findings)
    return Opened(loaded.record, loaded.sha256, bool(loaded.changes), findings, repository, root / path)


def _alone(root: Path, file: Path, today: datetime.date) -> Opened | Unsound:
    repository = load_repository(root, today=today, chosen=(), asked=Asked(frozenset(), frozenset(stated(file))))
    data, problems = read_bytes(file, "submission")
    if any(problem.code in ("not-a-file", "cannot-be-opened") for problem in problems):
        read_file(file)  # says so
    record, findings = read_alone(data, file.as_posix(), repository, today, problems)
    return Unsound(findings) if record is None else Opened(record, sha256(data), False, findings, repository, file)
