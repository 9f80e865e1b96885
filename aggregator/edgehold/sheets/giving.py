"""A drawn plan to the sheets that it is carried out by."""

from __future__ import annotations

from pathlib import Path

from edgehold.disk import names_in, there
from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan

from .files import write_sheets
from .ready import protocol_figures


def refuse_used(folder: Path) -> None:
    """Say that sheets cannot go into a folder, where something is in it already or it is none.

    Raises
    ------
    InputError
        As said.
    """
    if there(folder) and names_in(folder):
        raise InputError(f"got {folder} for the sheets, wanted a new or empty folder: nothing is written over")


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
    refuse_used(folder)
    return write_sheets(plan, protocol.record, folder, protocol_figures(protocol, root), protocol.body)
