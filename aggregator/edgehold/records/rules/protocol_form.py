"""One protocol version by itself: its fields fit each other, its body and its figures."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.units import find_unit
from edgehold.words import Reason

from .protocol_levels import level_problems

_STEP_HEADING = re.compile(r"^#{2,6}[ \t]+(s[0-9]{1,3}(?:-[a-z0-9-]{1,40})?)(?![a-z0-9-])", re.MULTILINE)
_HEADING = re.compile(r"^(#{1,6})[ \t]", re.MULTILINE)
_UNIT_KINDS = {"force": "force", "length": "length", "count": "count", "cuts": "count"}
_FIELDS = {"level": {"at"}, "window": {"start", "end"}, "loss": {"start", "end"}, "life": {"threshold"}}


def protocol_problems(record: Protocol, body: str) -> list[Problem]:
    """Everything that can be said from the file alone."""
    return [
        *_checkpoints(record),
        *_work_units(record),
        *_reading(record),
        *_reference(record),
        *_endpoints(record),
        *_primary(record),
        *level_problems(record),
        *_steps(record, body),
    ]


def steps_of(body: str) -> list[str]:
    """Ids of the steps in a method's body: a heading that begins with one."""
    return _STEP_HEADING.findall(body)


def step_texts(body: str) -> dict[str, str]:
    """Text of each step: from its heading to the next heading that is not below it."""
    headings = [(found.start(), len(found[1])) for found in _HEADING.finditer(body)]
    steps = {found.start(): found[1] for found in _STEP_HEADING.finditer(body)}
    texts: dict[str, str] = {}
    for number, (start, level) in enumerate(headings):
        if start in steps:
            later = itertools.islice(headings, number + 1, None)
            texts.setdefault(steps[start], body[start : next((place for place, other in later if other <= level), len(body))])
    return texts


def _checkpoints(record: Protocol) -> Iterator[Problem]:
    points = record.work.checkpoints
    if points[0] != 0 or any(b <= a for a, b in itertools.pairwise(points)):
        yield Problem("/work/checkpoints", "checkpoints-form", f"checkpoints are {', '.join(f'{p:g}' for p in points)}")
    for name in ("early_checkpoint", "late_checkpoint"):
        if getattr(record, name) not in points:
            yield Problem(f"/{name}", "not-a-checkpoint", Reason("protocols.no_checkpoint", work=getattr(record, name)))
    if record.early_checkpoint >= record.late_checkpoint:
        message = Reason("protocols.early_after_late", early_checkpoint=record.early_checkpoint, late_checkpoint=record.late_checkpoint)
        yield Problem("/late_checkpoint", "checkpoints-form", message, Reason("protocols.let_early_come_before"))


def _work_units(record: Protocol) -> Iterator[Problem]:
    work = record.work
    yield from _units(work.unit, work.accepted_units, _UNIT_KINDS[work.kind], "work", "unit")


def _units(canonical: str, accepted: tuple[str, ...], kind: str, part: str, name: str) -> Iterator[Problem]:
    for place, unit in [((part, name), canonical), *(((part, "accepted_units", i), u) for i, u in enumerate(accepted))]:
        known = find_unit(unit)
        if known is None or known.kind != kind:
            message = Reason("protocols.no_unit", unit=shown(unit), kind=kind)
            yield Problem(pointer(*place), "wrong-unit", message, Reason("protocols.use_registered_unit"))
    if canonical not in accepted:
        message = Reason("protocols.canonical_not_accepted", canonical=shown(canonical))
        yield Problem(pointer(part, "accepted_units"), "wrong-unit", message, "add it")


def _reading(record: Protocol) -> Iterator[Problem]:
    rule = record.reading
    if rule.kind == "pass/fail":
        for name in ("canonical_unit", "keener", "resolution", "scale_end", "plausible_low", "plausible_high"):
            if getattr(rule, name) is not None:
                yield Problem(pointer("reading", name), "reading-form", Reason("protocols.field_of_pass_fail", name=name), "write null")
        if rule.accepted_units:
            yield Problem("/reading/accepted_units", "reading-form", Reason("protocols.units_of_pass_fail"), "write []")
        return
    for name in ("canonical_unit", "keener"):
        if getattr(rule, name) is None:
            yield Problem(
                pointer("reading", name), "reading-form", Reason("protocols.field_missing", name=name, kind=rule.kind), f"give {name}"
            )
    if rule.canonical_unit is not None:
        yield from _units(rule.canonical_unit, rule.accepted_units, rule.kind, "reading", "canonical_unit")
    if rule.plausible_low and rule.plausible_high and rule.plausible_low >= rule.plausible_high:
        yield Problem("/reading/plausible_high", "reading-form", Reason("protocols.empty_range"), Reason("protocols.low_below_high"))


def _reference(record: Protocol) -> Iterator[Problem]:
    if record.reference is not None and record.reference.work > max(record.work.checkpoints):
        message = Reason("protocols.beyond_last", work=record.reference.work, last=max(record.work.checkpoints))
        yield Problem("/reference/work", "not-a-checkpoint", message, Reason("protocols.small_amount"))


def _endpoints(record: Protocol) -> Iterator[Problem]:
    seen: set[str] = set()
    for i, rule in enumerate(record.endpoints):
        if rule.id in seen:
            yield Problem(pointer("endpoints", i, "id"), "duplicate-id", Reason("protocols.endpoint_twice", id=rule.id))
        seen.add(rule.id)
        yield from _endpoint(rule, i, record)


def _endpoint(rule: EndpointRule, number: int, record: Protocol) -> Iterator[Problem]:
    place = ("endpoints", number)
    pass_fail = record.reading.kind == "pass/fail"
    if pass_fail and rule.kind != "life":
        message = Reason("protocols.not_of_pass_fail", kind=rule.kind)
        yield Problem(pointer(*place, "kind"), "endpoint-form", message, "use life")
    wanted = set() if pass_fail and rule.kind == "life" else _FIELDS[rule.kind]
    for name in ("at", "start", "end", "threshold"):
        given = getattr(rule, name) is not None
        if given != (name in wanted):
            what = Reason("protocols.not_used") if given else "is missing"
            cure = Reason("protocols.take_out") if given else f"give {name}"
            yield Problem(pointer(*place, name), "endpoint-form", f"{name} {what} for {rule.kind}", cure)
    yield from _amounts(rule, place, record)


def _amounts(rule: EndpointRule, place: tuple[str | int, ...], record: Protocol) -> Iterator[Problem]:
    last = max(record.work.checkpoints)
    for name in ("at", "start", "end"):
        amount = getattr(rule, name)
        if amount is not None and amount > last:
            message = Reason("protocols.endpoint_beyond_last", amount=amount, last=last)
            yield Problem(pointer(*place, name), "not-a-checkpoint", message, Reason("protocols.stay_within"))
    if rule.start is not None and rule.end is not None and rule.start >= rule.end:
        yield Problem(
            pointer(*place, "end"), "endpoint-form", Reason("protocols.end_not_after_start"), Reason("protocols.let_end_come_after")
        )


def _primary(record: Protocol) -> Iterator[Problem]:
    primaries = [i for i, rule in enumerate(record.endpoints) if rule.primary]
    if len(primaries) != 1:
        yield Problem("/endpoints", "one-primary", Reason("protocols.endpoints_primary", count=len(primaries)))
    for i in primaries:
        rule = record.endpoints[i]
        relative = rule.threshold is not None and rule.threshold.relative
        if (rule.kind == "loss" or relative) and not rule.reason:
            what = "relative life" if relative else "loss"
            yield Problem(pointer("endpoints", i, "reason"), "reason-needed", Reason("protocols.no_reason", what=what))


def _steps(record: Protocol, body: str) -> Iterator[Problem]:
    found = steps_of(body)
    for step in sorted({step for step in found if found.count(step) > 1}):
        yield Problem("", "duplicate-id", Reason("protocols.step_twice", step=step))
    for i, threat in enumerate(record.threats):
        for j, step in enumerate(threat.steps):
            if step not in found:
                yield Problem(pointer("threats", i, "steps", j), "unknown-step", Reason("protocols.no_step_in_method", step=step))
