"""A drawn plan to the sheets that it is carried out by."""

from __future__ import annotations

from pathlib import Path

from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan

from .files import write_sheets
from .ready import protocol_figures


def give_out(root: Path, plan: Plan, folder: Path) -> tuple[Path, ...]:
    """Write a plan's sheets, with the drawings of its protocol.

    Parameters
    ----------
    root : the repository, for the protocol.
    plan : the drawn plan.
    folder : a new or empty one: filled-in sheets are never written over.

    Returns
    -------
    The files written.

    Raises
    ------
    InputError
        Something is in the folder already, or it cannot be written.
    """
    protocol = load_repository(root, chosen=()).protocols[(plan.protocol.id, plan.protocol.version)]
    try:
        if folder.exists() and any(folder.iterdir()):
            raise InputError(f"got {folder} for the sheets, wanted a new or empty folder: nothing is written over")
        return write_sheets(plan, protocol.record, folder, protocol_figures(protocol, root), protocol.body)
    except OSError as error:
        raise InputError(f"{folder} cannot be written ({error.strerror})") from None
