"""What somebody brings on the disk to a submission on the disk; nothing that is there is ever written over."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from edgehold.disk import there, write_file
from edgehold.errors import ERROR, Finding, InputError
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan
from edgehold.records.model.submission import Submission
from edgehold.records.read.form import read_record
from edgehold.records.read.json_reading import parse_json
from edgehold.records.read.opening import decode, read_bytes
from edgehold.records.read.placing import put_if_sound
from edgehold.words import Reason

from .cells import Question
from .finished import finished_from_bytes, is_finished
from .intake import Intake, sheet_bytes, sheet_from_bytes
from .telling import submission_json


def take_in(
    root: Path,
    file: Path,
    *,
    plan: Path | None = None,
    output: Path | None = None,
    draft: bool = False,
    place: bool = False,
    today: datetime.date | None = None,
) -> tuple[Intake, Path | None]:
    """Read what somebody brings, a sheet, a finished file or a block of letters, and write the submission.

    Parameters
    ----------
    root : the repository, for its protocols and registers.
    file : the sheet, CSV or XLSX; or a finished record, as JSON or in letters with any text around them.
    plan : the plan that a sheet was made from.
    output : where to; None: ``<id>.json``, or ``<name>-half-done.json`` for a draft, in the current folder.
    draft : whether what could be read is written although something must be asked.
    place : whether it goes where it belongs in the repository, if everything checks with it.
    today : what "in the future" is measured from; None: the date of this machine.

    Returns
    -------
    What came of the file, and the file written; None where nothing was.

    Raises
    ------
    InputError
        A file cannot be read, the plan is not one or nothing asks for it, or there is a file where the submission would go.
    """
    if place and (output is not None or draft):
        raise InputError(Reason("intake.place_alone"))
    repository, day = load_repository(root, chosen=()), today or datetime.date.today()
    data = sheet_bytes(file)
    if is_finished(data):
        if plan is not None:
            raise InputError(Reason("intake.no_plan_needed"))
        intake = finished_from_bytes(data, repository, day)
    else:
        intake = sheet_from_bytes(data, repository, day, None if plan is None else _plan(plan))
    if intake.submission is None or not (intake.whole or draft):
        return intake, None
    return _placed(root, intake) if place else (intake, _written(intake, file, output))


def _written(intake: Intake, file: Path, output: Path | None) -> Path:
    name = f"{intake.submission['id']}.json" if intake.whole and intake.submission else f"{file.stem}-half-done.json"
    target = output or Path(name)
    if there(target):
        raise InputError(f"{target} is there already; name another file with --output, or move it away")
    write_file(target, submission_json(intake).encode(), new=True)
    return target


def _placed(root: Path, intake: Intake) -> tuple[Intake, Path | None]:
    """Put a whole submission where it belongs, and read everything with it; where an error comes of it, nothing stays."""
    record = Submission.model_validate_json(submission_json(intake))
    if record.origin != "measured":
        raise InputError(Reason("intake.not_measured", id=record.id, origin=record.origin))
    place = f"submissions/{record.origin}/{record.protocol.id}/{record.id}.json"
    if (root / place).exists() or (root / place).is_symlink():
        raise InputError(Reason("intake.there_already", path=place))
    found = put_if_sound(root, place, submission_json(intake))
    if any(finding.severity == ERROR for finding in found):
        return replace(intake, questions=tuple(map(_asked, found))), None
    told = {*intake.remarks, *((finding.pointer or "the file", finding.message) for finding in found)}
    return replace(intake, remarks=tuple(sorted(told))), Path(place)


def _asked(finding: Finding) -> Question:
    return Question("", 0, 0, finding.code, f"{finding.file} {finding.pointer}: {finding.message}", finding.cure)


def _plan(path: Path) -> Plan:
    data, problems = read_bytes(path, "submission")
    text, unfit = decode(data) if not problems else ("", [])
    tree, broken = parse_json(text) if text else (None, [])
    plan, wrong = read_record(Plan, tree) if tree is not None else (None, [])
    if plan is None:
        found = [*problems, *unfit, *broken, *wrong]
        raise InputError(f"{path} is no plan: {found[0].message if found else 'it is empty'}; wanted the file that edgehold plan wrote")
    return plan
