"""One submission by itself and against its protocol: month, medium, edges, angles, changes during runs, steels."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator

from edgehold.records.model.protocol import Protocol
from edgehold.records.model.registers import SteelEntry
from edgehold.records.model.submission import EdgeAngle, Submission
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.quantities import quantity_problems
from edgehold.records.registers import DEMO_PREFIX, find_grit
from edgehold.records.units import plural

FindSteel = Callable[[str], SteelEntry | None]

WIDEST_USUAL_ANGLE_DEG = 25.0  # per side; common practice has 10 to 25
LONG_AGO_YEARS = 10
FARTHEST_GRIT = 2.0  # systems state different statistics of one powder (d50, largest); a factor of 2 covers them


def own_problems(record: Submission, today: datetime.date, find_steel: FindSteel) -> list[Problem]:
    """Problems that need no other file but the register of steels."""
    return [
        *_month(record, today),
        *_angles(record),
        *_grits(record),
        *_changes(record),
        *_two_edges(record),
        *_steels(record, find_steel),
        *_quantities(record),
    ]


def fit_problems(record: Submission, protocol: Protocol) -> list[Problem]:
    """Problems against the protocol that the submission follows."""
    return [*_medium(record, protocol), *_edges(record, protocol)]


def months_since_year_0(month: str) -> int:
    """A month such as 2026-05 as one number."""
    return int(month[:4]) * 12 + int(month[5:7]) - 1


def month_problem(month: str, today: datetime.date, place: str = "/month") -> Iterator[Problem]:
    """A month that has not come yet."""
    if months_since_year_0(month) > today.year * 12 + today.month - 1:
        yield Problem(place, "month-in-future", f"{month} has not come yet")


def _month(record: Submission, today: datetime.date) -> Iterator[Problem]:
    yield from month_problem(record.month, today)
    if months_since_year_0(record.month) < (today.year - LONG_AGO_YEARS) * 12 + today.month - 1:
        yield Problem("/month", "month-long-ago", f"{record.month} is more than {LONG_AGO_YEARS} years ago")


def _angles(record: Submission) -> Iterator[Problem]:
    for i, preparation in enumerate(record.preparations):
        if preparation.edge_angle is not None:
            yield from _angle(preparation.edge_angle, ("preparations", i, "edge_angle"))
        for j, stage in enumerate(preparation.stages or ()):
            if stage.angle_deg is not None and stage.angle_deg > WIDEST_USUAL_ANGLE_DEG:
                place = pointer("preparations", i, "stages", j, "angle_deg")
                yield Problem(place, "wide-angle", f"{stage.angle_deg:g} degrees per side")


def _grits(record: Submission) -> Iterator[Problem]:
    """Grits that their system does not have, and sizes that are not theirs."""
    for i, preparation in enumerate(record.preparations):
        for j, stage in enumerate(preparation.stages or ()):
            place = ("preparations", i, "stages", j)
            if stage.grit_system is None or stage.grit is None:
                continue
            size = find_grit(stage.grit_system, stage.grit)
            if size is None:
                yield Problem(pointer(*place, "grit"), "unknown-grit", f"{stage.grit_system} lists no {stage.grit!r}")
            elif stage.micrometres is not None and not 1 / FARTHEST_GRIT <= stage.micrometres / size.micrometres <= FARTHEST_GRIT:
                message = f"{stage.grit_system} {stage.grit} is about {size.micrometres:g} micrometres, not {stage.micrometres:g}"
                yield Problem(pointer(*place, "micrometres"), "grit-disagrees", message)


def _angle(angle: EdgeAngle, place: tuple[str | int, ...]) -> Iterator[Problem]:
    sides = 1 if angle.basis == "per side" else 2
    for name in ("left_deg", "right_deg"):
        degrees = getattr(angle, name)
        if degrees is not None and degrees > sides * WIDEST_USUAL_ANGLE_DEG:
            yield Problem(pointer(*place, name), "wide-angle", f"{degrees:g} degrees {angle.basis}")
    if sides == 2 and angle.right_deg is not None:
        yield Problem(pointer(*place, "right_deg"), "right-angle-unused", "a right side beside both together")


def _changes(record: Submission) -> Iterator[Problem]:
    for i, run in enumerate(record.runs):
        for j, change in enumerate(run.lot_changes or ()):
            message = f"lot {change.lot!r} was begun at {shown(change.at_work)} {plural(run.work_unit)}"
            yield Problem(pointer("runs", i, "lot_changes", j), "lot-change", message)
        if run.tester_change_at_work is not None:
            message = f"a second tester took over at {shown(run.tester_change_at_work)} {plural(run.work_unit)}"
            yield Problem(pointer("runs", i, "tester_change_at_work"), "tester-change", message)


def _two_edges(record: Submission) -> Iterator[Problem]:
    """Heel by one, tip by the other: part and person stay mixed unless everybody sharpened every part."""
    for key in sorted({p.blade for p in record.preparations}):
        parts = [(i, p) for i, p in enumerate(record.preparations) if p.blade == key and p.edge_part != "whole"]
        names = {p.edge_part for _, p in parts}
        people = {p.sharpener for _, p in parts}
        if len(names) > 1 and len({(p.edge_part, p.sharpener) for _, p in parts}) < len(names) * len(people):
            message = f"blade {key!r}: {' and '.join(sorted(names))} were not sharpened by the same people"
            yield Problem(pointer("preparations", parts[0][0], "edge_part"), "two-edges", message)


def _quantities(record: Submission) -> Iterator[Problem]:
    for i, blade in enumerate(record.blades):
        if blade.thickness_behind_edge is not None:
            place = ("blades", i, "thickness_behind_edge")
            yield from quantity_problems(blade.thickness_behind_edge, place, {"length"})
    for i, instrument in enumerate(record.instruments or ()):
        if instrument.resolution is not None:
            place = ("instruments", i, "resolution")
            yield from quantity_problems(instrument.resolution, place, {"force", "length", "count"})


def _steels(record: Submission, find_steel: FindSteel) -> Iterator[Problem]:
    for i, blade in enumerate(record.blades):
        if blade.steel is not None and blade.steel.designation is not None:
            yield from _steel(blade.steel.designation, pointer("blades", i, "steel", "designation"), record.origin, find_steel)


def _steel(name: str, place: str, origin: str, find_steel: FindSteel) -> Iterator[Problem]:
    entry = find_steel(name)
    if entry is None:
        yield Problem(place, "unknown-steel", f"{shown(name)} is not in the register of steels")
    elif origin == "measured" and entry.origin == "simulated":
        yield Problem(place, "invented-steel", f"{shown(name)} is invented for the demonstration")
    elif origin == "simulated" and entry.origin == "measured":
        yield Problem(place, "real-steel", f"{shown(name)} is a real steel", f"use a steel whose id begins with {DEMO_PREFIX}")


def _medium(record: Submission, protocol: Protocol) -> Iterator[Problem]:
    for i, lot in enumerate(record.lots or ()):
        if lot.medium is not None and lot.medium != protocol.medium.name:
            message = f"lot {lot.key!r} is {shown(lot.medium)}; the protocol cuts {protocol.medium.name!r}"
            yield Problem(pointer("lots", i, "medium"), "wrong-medium", message)


def _edges(record: Submission, protocol: Protocol) -> Iterator[Problem]:
    for i, blade in enumerate(record.blades):
        if protocol.edges == "plain only" and blade.edge in ("serrated", "part serrated"):
            message = f"the edge is {blade.edge}; the protocol is for plain edges only"
            yield Problem(pointer("blades", i, "edge"), "edge-not-allowed", message)
