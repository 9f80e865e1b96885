"""Forms that a request closes: by an objector whom the base knows already, never by one whom the request itself makes known."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.rules.standing import Measured, known, taken_up
from edgehold.records.threads import closes_form, state_of
from edgehold.words import Reason

from .requests import of_base


def closing_problems(
    threads: Iterable[ObjectionThread], base: Collection[str], roles: Roles, bound: Container[str], measured: Measured, month: str
) -> Iterator[tuple[str, Problem]]:
    """What a request closes.

    Parameters
    ----------
    threads : of base and request together, with handles as they stand in files.
    base : the files of the base.
    roles, measured : who has a role, and who measured, by the base alone.
    bound : the handles that are bound once this is merged: whether rightly says ``identity``.
    month : the month of the check: what the request adds counts as of now, whatever month it bears.
    """
    everything = list(threads)
    before = [of_base(thread, base) for thread in everything if thread.path in base]
    for thread in everything:
        if not (closes_form(thread) and state_of(thread).unsettled):
            continue
        new = thread.path not in base
        was_known = known(thread, month if new else thread.objection.month, before, roles, bound, measured)
        if new or not (was_known or taken_up(of_base(thread, base), roles)):
            message = Reason("identity.closes_form", number=thread.number, protocol=thread.protocol, by=thread.objection.by)
            yield thread.path, Problem("/by", "closes-form" if was_known or not new else "closes-at-once", message, line=1)
