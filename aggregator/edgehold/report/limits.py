"""What the design of these runs cannot tell, each from the record and by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from edgehold.errors import Finding
from edgehold.estimates import ContrastEstimated, SubmissionEstimate
from edgehold.estimates.codes import left_out, moves_together
from edgehold.records.canonical import CanonicalRun
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.words import Argument, Reason, capital, listed

from .comparison import Leading
from .runs import ARM


@dataclass(frozen=True)
class Limit:
    """One thing that cannot be told.

    Attributes
    ----------
    threat : its kind, as in a protocol.
    text : in one sentence or two.
    """

    threat: str
    text: str


def limits(
    record: Submission,
    runs: Sequence[CanonicalRun],
    estimates: Sequence[SubmissionEstimate],
    lead: Leading | None,
    protocol: Protocol,
    findings: Iterable[Finding],
) -> tuple[Limit, ...]:
    """Everything that these runs leave open.

    Parameters
    ----------
    record, runs : the submission, and its canonical runs in their order.
    estimates : for what cannot be told apart.
    lead : the leading comparison, where there is one.
    protocol : for the threats that it leaves open itself.
    findings : of the check, for a broken or late seal and for runs out of the drawn order.
    """
    found = [*_aliased(estimates, protocol), *_hidden(record, runs, findings)]
    if lead is not None and not _all_in_turn(runs, protocol):
        found += _order(runs, lead)
    if protocol.design.side_by_side == "blades" and any(run.partner is not None for run in runs):
        found.append(_limit("expectation", "report.limit_hand_feels"))
    found += [*_one_of_each(record, runs), *_start(runs), *_interest(record)]
    found += [Limit(threat.threat, threat.text) for threat in protocol.threats if not threat.steps]
    return (*found, _limit("generality", "report.limit_other_things"))


def _limit(threat: str, code: str, **arguments: Argument) -> Limit:
    return Limit(threat, Reason(code, **arguments))


def _aliased(estimates: Sequence[SubmissionEstimate], protocol: Protocol) -> Iterator[Limit]:
    """What changes together, told once at the primary endpoint."""
    primary = next(rule.id for rule in protocol.endpoints if rule.primary)
    lacking = [c for e in estimates if e.endpoint == primary for c in e.contrasts if not isinstance(c, ContrastEstimated)]
    reasons: dict[str, list[str]] = {}
    for contrast in lacking:
        if why := moves_together(contrast.reason):
            reasons.setdefault(why, []).append(listed([contrast.first, contrast.second]))
    for why, pairs in reasons.items():
        yield _limit("confounding", "report.limit_together", pairs="; ".join(pairs), reason=why)
    for estimate in estimates:
        if estimate.endpoint == primary and estimate.left_out:
            yield _limit("confounding", "report.limit_left_out", reason=left_out(estimate.left_out))


def _hidden(record: Submission, runs: Sequence[CanonicalRun], findings: Iterable[Finding]) -> Iterator[Limit]:
    open_runs = [run for run in runs if run.blinding in (None, "none")]
    if open_runs:
        unstated = all(run.blinding is None for run in open_runs)
        code = f"report.limit_{'hiding_unstated' if unstated else 'nothing_hid'}{'_all' if len(open_runs) == len(runs) else ''}"
        yield _limit("expectation", code, open=len(open_runs), runs=len(runs))
    own = sorted({run.tester for run in runs if run.own_sharpening})
    if own:
        yield _limit("expectation", "report.limit_own_edges", names=listed(own))
    for finding in findings:
        if finding.code in ("seal-broken", "seal-late", "plan-differs", "order-differs"):
            yield Limit("selection", f"{capital(finding.message)}.")
    if record.plan is None:
        yield _limit("selection", "report.limit_no_plan")


def _all_in_turn(runs: Sequence[CanonicalRun], protocol: Protocol) -> bool:
    """Whether every run was cut in turn with another: then none comes before the other."""
    return protocol.design.side_by_side is not None and all(run.partner is not None for run in runs)


def _order(runs: Sequence[CanonicalRun], lead: Leading) -> Iterator[Limit]:
    label = ARM[lead.factor]
    places = {arm: [i for i, run in enumerate(runs) if label(run) == arm] for arm in (lead.first, lead.second)}
    if not all(places.values()):
        return
    means = {arm: sum(at) / len(at) for arm, at in places.items()}
    first, last = sorted(means, key=lambda arm: means[arm])
    apart = means[last] - means[first]
    if apart > 1e-9:
        yield _limit("order", "report.limit_later", first=first, last=last, runs=1 if abs(apart - 1) < 0.005 else apart)
    beginnings = [label(next(iter(group))) for _, group in groupby(runs, key=lambda run: run.evening)]
    if len(beginnings) > 1 and len(set(beginnings)) == 1:
        yield _limit("order", "report.limit_first", arm=beginnings[0])
    turns = all(label(a) != label(b) for a, b in pairwise(runs)) and {label(run) for run in runs} == set(means)
    if turns and len(runs) > 2:
        yield _limit("carry-over", "report.limit_turns", first=lead.first, second=lead.second)


def _one_of_each(record: Submission, runs: Sequence[CanonicalRun]) -> Iterator[Limit]:
    blades = sorted({run.blade for run in runs})
    steels = {run.steel for run in runs}
    if len(blades) == 1:
        yield _limit("generality", "report.limit_one_blade", name=blades[0])
    elif len(steels - {None}) < 2 or any(len({r.blade for r in runs if r.steel == s}) < 2 for s in steels):
        yield _limit("generality", "report.limit_these_blades", names=listed(blades))
    batches = {run.batch or "" for run in runs}
    if len(batches) == 1 and batches != {""}:
        yield _limit("generality", "report.limit_one_batch", name=batches.pop())
    lots = {lot or "" for lot in (*(run.lot for run in runs), *(change.lot for run in record.runs for change in run.lot_changes or ()))}
    if lots == {""}:
        yield _limit("medium", "report.limit_lot_unstated")
    elif len(lots) == 1:
        yield _limit("medium", "report.limit_one_lot", name=lots.pop())
    if len({run.evening for run in runs}) == 1:
        yield _limit("generality", "report.limit_one_evening")
    testers, sharpeners = {run.tester for run in runs}, {run.sharpener for run in runs}
    if len(testers) == 1:
        yield _limit("generality", "report.limit_one_tester", name=testers.pop())
    if len(sharpeners) == 1:
        yield _limit("generality", "report.limit_one_sharpener", name=sharpeners.pop())


def _start(runs: Sequence[CanonicalRun]) -> Iterator[Limit]:
    loose = sum(run.start_state in (None, "as left") for run in runs)
    if loose:
        yield _limit("carry-over", "report.limit_start", loose=loose, runs=len(runs))


def _interest(record: Submission) -> Iterator[Limit]:
    stated = {(i.person, i.interest) for blade in record.blades for i in blade.interest or () if i.interest in ("maker", "seller")}
    for person, kinds in groupby(sorted(stated), key=lambda one: one[0]):
        yield _limit("expectation", f"report.limit_interest_{'_'.join(kind for _, kind in kinds)}", person=person)
