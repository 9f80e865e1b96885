"""What the design of these runs cannot tell, each from the record and by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from edgehold.errors import Finding
from edgehold.estimates import SubmissionEstimate
from edgehold.estimates.codes import left_out, moves_together
from edgehold.records.canonical import CanonicalRun
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission

from .comparison import Leading
from .runs import ARM

OTHER_THINGS = "Corrosion, chipping, how easily it sharpens, and any other medium: none of that was tested here."


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
    if lead is not None:
        found += _order(runs, lead)
    found += [*_one_of_each(record, runs), *_start(runs), *_interest(record)]
    found += [Limit(threat.threat, threat.text) for threat in protocol.threats if not threat.steps]
    return (*found, Limit("generality", OTHER_THINGS))


def _aliased(estimates: Sequence[SubmissionEstimate], protocol: Protocol) -> Iterator[Limit]:
    """What changes together, told once at the primary endpoint."""
    primary = next(rule.id for rule in protocol.endpoints if rule.primary)
    contrasts = [c for e in estimates if e.endpoint == primary for c in e.contrasts]
    reasons: dict[str, list[str]] = {}
    for contrast in contrasts:
        if why := moves_together(contrast.reason):
            reasons.setdefault(why, []).append(f"{contrast.first} and {contrast.second}")
    for why, pairs in reasons.items():
        yield Limit("confounding", f"{'; '.join(pairs)} cannot be told apart: {why}.")
    for estimate in estimates:
        if estimate.endpoint == primary and estimate.left_out:
            yield Limit("confounding", f"There were {left_out(estimate.left_out)}.")


def _hidden(record: Submission, runs: Sequence[CanonicalRun], findings: Iterable[Finding]) -> Iterator[Limit]:
    open_runs = [run for run in runs if run.blinding in (None, "none")]
    if open_runs:
        unknown = sum(run.blinding is None for run in open_runs)
        how = "it is not stated that anything hid" if unknown == len(open_runs) else "nothing hid"
        all_of = "all runs" if len(open_runs) == len(runs) else f"{len(open_runs)} of {len(runs)} runs"
        yield Limit("expectation", f"In {all_of} {how} whose edge it was: whoever hopes that one wins can help it along without knowing.")
    own = sorted({run.tester for run in runs if run.own_sharpening})
    if own:
        yield Limit("expectation", f"{_and(own)} tested edges of their own: a hand may know its own work, and an edge may suit that hand.")
    for finding in findings:
        if finding.code in ("seal-broken", "seal-late", "plan-differs", "order-differs"):
            yield Limit("selection", f"{finding.message[0].upper()}{finding.message[1:]}.")
    if record.plan is None:
        yield Limit(
            "selection", "No plan is named: that the order was drawn beforehand, and that every run is here, rests on the tester's word."
        )


def _order(runs: Sequence[CanonicalRun], lead: Leading) -> Iterator[Limit]:
    label = ARM[lead.factor]
    places = {arm: [i for i, run in enumerate(runs) if label(run) == arm] for arm in (lead.first, lead.second)}
    if not all(places.values()):
        return
    means = {arm: sum(at) / len(at) for arm, at in places.items()}
    first, last = sorted(means, key=lambda arm: means[arm])
    apart = means[last] - means[first]
    if apart > 1e-9:
        later = f"{apart:.2g} run{'' if abs(apart - 1) < 0.005 else 's'}"
        yield Limit("order", f"On average {last} came {later} later than {first}: a tired hand and the coil's drift lean on that.")
    beginnings = [label(next(iter(group))) for _, group in groupby(runs, key=lambda run: run.evening)]
    if len(beginnings) > 1 and len(set(beginnings)) == 1:
        yield Limit("order", f"{beginnings[0]} came first on every evening.")
    turns = all(label(a) != label(b) for a, b in pairwise(runs)) and {label(run) for run in runs} == set(means)
    if turns and len(runs) > 2:
        yield Limit("carry-over", f"{lead.first} and {lead.second} only ever took turns: what one run leaves behind meets the other alone.")


def _one_of_each(record: Submission, runs: Sequence[CanonicalRun]) -> Iterator[Limit]:
    blades = sorted({run.blade for run in runs})
    steels = {run.steel for run in runs}
    if len(blades) == 1:
        yield Limit("generality", f"One blade, {blades[0]}: another blade may say otherwise.")
    elif len(steels - {None}) < 2 or any(len({r.blade for r in runs if r.steel == s}) < 2 for s in steels):
        yield Limit("generality", f"Only these blades, {_and(blades)}: one blade of a steel does not speak for its steel.")
    batches = {run.batch for run in runs} - {None}
    if len(batches) == 1 and all(run.batch for run in runs):
        yield Limit("generality", f"One batch, {next(iter(batches))}: steel as made there.")
    lots = {run.lot for run in runs} | {change.lot for run in record.runs for change in run.lot_changes or ()}
    if lots == {None}:
        yield Limit("medium", "Which lot of the medium was cut is not stated.")
    elif len(lots) == 1:
        yield Limit("medium", f"One lot of the medium, {next(iter(lots))}: another may say otherwise.")
    if len({run.evening for run in runs}) == 1:
        yield Limit("generality", "One evening, as far as is stated: the weather and the form of that day are in every figure.")
    testers = sorted({run.tester for run in runs})
    if len(testers) == 1:
        yield Limit("generality", f"One tester, {testers[0]}: another hand may read and cut otherwise.")
    sharpeners = sorted({run.sharpener for run in runs})
    if len(sharpeners) == 1:
        yield Limit("generality", f"One sharpener, {sharpeners[0]}: other hands may bring out something else in the same blades.")


def _start(runs: Sequence[CanonicalRun]) -> Iterator[Limit]:
    loose = sum(run.start_state in (None, "as left") for run in runs)
    if loose:
        how = "was not done, or is not stated"
        yield Limit("carry-over", f"For {loose} of {len(runs)} edges flattening the apex first {how}: the last edge may still be in it.")


def _interest(record: Submission) -> Iterator[Limit]:
    stated = [i for blade in record.blades for i in blade.interest or () if i.interest in ("maker", "seller")]
    for person, kinds in groupby(sorted(stated, key=lambda i: i.person), key=lambda i: i.person):
        does = _and(sorted({{"maker": "makes", "seller": "sells"}[i.interest] for i in kinds}))
        yield Limit("expectation", f"{person} {does} a blade compared here.")


def _and(names: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
