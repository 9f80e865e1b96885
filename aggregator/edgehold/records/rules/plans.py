"""A submission against the plan that it names: whether its seal held, and whether the runs were made in the drawn order.

Everything here is a warning: a broken seal says something about the experiment, and the experiment still counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from edgehold.records.model.plan import Plan, PlanSeal
from edgehold.records.model.submission import PlanReference, Submission
from edgehold.records.problem import Problem, pointer
from edgehold.records.sealing import plan_sha256
from edgehold.words import Reason

from .months import months_since_year_0


def plan_problems(record: Submission, seals: Mapping[str, PlanSeal]) -> list[Problem]:
    """What the plan says against the submission.

    Parameters
    ----------
    record : the submission.
    seals : published seals by id.
    """
    reference = record.plan
    found = [*_unsealed_runs(record)]
    if reference is None:
        return found
    seal = seals.get(reference.id)
    if seal is not None or reference.sha256 is not None or (reference.opened is not None and reference.opened.sha256 is not None):
        found += _seal(record, reference, seal)
    if reference.opened is not None:
        found += [*_other_plan(record, reference, reference.opened), *_count(record, reference.opened)]
    return found


def seal_held(record: Submission, problems: Iterable[Problem]) -> bool | None:
    """Whether the submission's seal held, by what `plan_problems` says of it; None where no seal is spoken of."""
    if any(problem.code in ("seal-broken", "seal-late") for problem in problems):
        return False
    return True if record.plan is not None and record.plan.sha256 is not None else None


def _unsealed_runs(record: Submission) -> Iterator[Problem]:
    """Runs that are called sealed in a submission without a seal."""
    sealed = [i for i, run in enumerate(record.runs) if run.blinding == "sealed"]
    if sealed and (record.plan is None or record.plan.sha256 is None):
        message = Reason("findings.no_seal_given", count=len(sealed), runs=len(record.runs))
        yield Problem(pointer("runs", sealed[0], "blinding"), "seal-broken", message)


def _seal(record: Submission, reference: PlanReference, seal: PlanSeal | None) -> Iterator[Problem]:
    if seal is None:
        yield Problem("/plan/id", "seal-broken", Reason("findings.no_seal_published", id=reference.id))
        return
    if months_since_year_0(seal.month) > months_since_year_0(record.month):
        yield Problem("/plan", "seal-late", Reason("findings.seal_late", month=seal.month, record_month=record.month))
    if (seal.protocol.id, seal.origin) != (record.protocol.id, record.origin):
        message = Reason(
            "findings.seal_of_another", id=seal.protocol.id, origin=seal.origin, record_id=record.protocol.id, record_origin=record.origin
        )
        yield Problem("/plan/id", "seal-broken", message)
    if reference.sha256 != seal.sha256:
        given = "none" if reference.sha256 is None else f"{reference.sha256[:12]}…"
        yield Problem("/plan/sha256", "seal-broken", Reason("findings.hash_differs", sha256=seal.sha256[:12], given=given))
    if reference.opened is None:
        yield Problem("/plan/opened", "seal-broken", Reason("findings.seal_not_opened"))
        return
    actual = plan_sha256(reference.opened)
    if actual != seal.sha256:
        message = Reason("findings.opened_hash_differs", actual=actual[:12], sha256=seal.sha256[:12])
        yield Problem("/plan/opened", "seal-broken", message)
    if reference.opened.nonce is None:
        yield Problem("/plan/opened", "seal-broken", Reason("findings.no_nonce"))


def _other_plan(record: Submission, reference: PlanReference, opened: Plan) -> Iterator[Problem]:
    if opened.id != reference.id:
        yield Problem("/plan/opened/id", "plan-differs", Reason("findings.other_plan_opened", id=reference.id, opened_id=opened.id))
    if opened.protocol != record.protocol:
        planned, followed = (f"{p.id} {p.version}" for p in (opened.protocol, record.protocol))
        yield Problem("/plan/opened/protocol", "plan-differs", Reason("findings.order_differs", planned=planned, followed=followed))


def _count(record: Submission, opened: Plan) -> Iterator[Problem]:
    """Runs that are missing or too many; which run is not the drawn one is a row of the table (``as planned``)."""
    if len(record.runs) != len(opened.runs):
        yield Problem("/runs", "order-differs", Reason("findings.other_number_of_runs", count=len(opened.runs), told=len(record.runs)))
