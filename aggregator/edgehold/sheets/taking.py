"""A filled-in sheet on the disk to a submission on the disk; nothing that is there is ever written over."""

from __future__ import annotations

import datetime
from pathlib import Path

from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan
from edgehold.records.read.form import read_record
from edgehold.records.read.json_reading import parse_json
from edgehold.records.read.opening import decode, read_bytes

from .intake import Intake, read_sheet
from .telling import submission_json


def take_in(
    root: Path, file: Path, *, plan: Path | None = None, output: Path | None = None, draft: bool = False, today: datetime.date | None = None
) -> tuple[Intake, Path | None]:
    """Read a sheet and write the submission.

    Parameters
    ----------
    root : the repository, for its protocols and registers.
    file : the sheet, CSV or XLSX.
    plan : the plan that it was made from.
    output : where to; None: ``<id>.json``, or ``<name>-half-done.json`` for a draft, in the current folder.
    draft : whether what could be read is written although something must be asked.
    today : what "in the future" is measured from; None: the date of this machine.

    Returns
    -------
    What came of the sheet, and the file written; None where nothing was.

    Raises
    ------
    InputError
        A file cannot be read, the plan is not one, or there is a file where the submission would go.
    """
    repository = load_repository(root, chosen=())
    intake = read_sheet(file, repository, today or datetime.date.today(), None if plan is None else _plan(plan))
    if intake.submission is None or not (intake.whole or draft):
        return intake, None
    name = f"{intake.submission['id']}.json" if intake.whole else f"{file.stem}-half-done.json"
    target = output or Path(name)
    try:
        with target.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(submission_json(intake))
    except FileExistsError:
        raise InputError(f"{target} is there already; name another file with --output, or move it away") from None
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror})") from None
    return intake, target


def _plan(path: Path) -> Plan:
    data, problems = read_bytes(path, "submission")
    text, unfit = decode(data) if not problems else ("", [])
    tree, broken = parse_json(text) if text else (None, [])
    plan, wrong = read_record(Plan, tree) if tree is not None else (None, [])
    if plan is None:
        found = [*problems, *unfit, *broken, *wrong]
        raise InputError(f"{path} is no plan: {found[0].message if found else 'it is empty'}; wanted the file that edgehold plan wrote")
    return plan
