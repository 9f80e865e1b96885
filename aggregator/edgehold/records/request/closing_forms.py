"""Forms that a request closes: by an objector whom the base knows already, never by one whom the request itself makes known."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.rules.roles import has_role
from edgehold.records.rules.standing import Measured, found_right, taken_up
from edgehold.records.threads import closes_form, state_of
from edgehold.words import Reason

from .requests import of_base


def closing_problems(
    threads: Iterable[ObjectionThread], base: Collection[str], roles: Roles, measured: Measured, month: str
) -> Iterator[tuple[str, Problem]]:
    """What a request closes.

    Parameters
    ----------
    threads : of base and request together.
    base : the files of the base.
    roles, measured : who has a role, and who measured, by the base alone.
    month : the month of the check: what the request adds counts as of now, whatever month it bears.
    """
    everything = list(threads)
    before = [of_base(thread, base) for thread in everything if thread.path in base]
    for thread in everything:
        if not (closes_form(thread) and state_of(thread).unsettled):
            continue
        by, new = thread.objection.by, thread.path not in base
        raised = month if new else thread.objection.month
        known = raised < roles.since or has_role(roles, by, raised) or found_right(by, raised, before) or measured(by, raised)
        if new or not (known or taken_up(of_base(thread, base))):
            message = Reason("identity.closes_form", number=thread.number, protocol=thread.protocol, by=by)
            yield thread.path, Problem("/by", "closes-form" if known or not new else "closes-at-once", message, line=1)
