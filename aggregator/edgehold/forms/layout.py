"""How a submission's form is laid out: what comes first, what is filled in by itself, and how much is left to type.

All of it is data for the form's script; the fields themselves, their texts and their limits come from the schema.
"""

from __future__ import annotations

from edgehold.records.levels import facts_of_example
from edgehold.records.model.protocol import Level, Protocol
from edgehold.records.model.submission import SUBMISSION_FORMAT
from edgehold.records.pairs import HALVES, half_of, partner_of
from edgehold.words import Reason

Layout = dict[str, object]

PEOPLE = ("wren", "tern")
LEVELS = ("/runs/*/level", "/runs/*/tester_guess/level")  # asked for where a protocol compares levels
WEIGHT_UNITS = ("g", "kg", "N", "lb", "oz")  # in which weights are known and rigs read
FIRST_OF_RANGE, STEP_OF_RANGE, STEP_OF_ARM, STEP_OF_PAIR = 0.30, 0.05, 0.03, 0.01  # where in the plausible range the example's figures lie


def submission_layout(protocol: Protocol) -> Layout:
    """Sections, fixed values, values filled in, and the grid of readings.

    ``fixed`` values are written where nothing is and are not shown. ``filled`` ones are written where nothing is, follow what
    they are made of, and can be changed: ``with`` says how (number: ``text`` and the place in the list; month; same; only: the
    one value there is; previous: the same field of the entry before; value). ``hidden`` places are kept but not shown.
    ``like`` shows what is meant where nothing is typed yet. ``joined`` lists are shown as one: each run with its preparation.
    """
    kind = protocol.reading.kind
    return {
        "fixed": fixed(protocol),
        "filled": filled(protocol),
        "hidden": [
            "/answers",
            "/plan/opened",
            "/blades/*/thickness_behind_edge/canonical",
            "/instruments/*/resolution/canonical",
            "/runs/*/readings/*/values/*/canonical",
            "/references/*/readings/*/values/*/canonical",
            "/weights/*/known/canonical",
            "/weights/*/read/canonical",
        ],
        "joined": {"list": "/runs", "key": "preparation", "with": "/preparations", "by": "id"},
        "grid": {
            "at": "/runs/*/readings",
            "cells": "outcomes" if kind == "pass/fail" else "values",
            "repeats": protocol.reading.repeats,
            "checkpoints": list(protocol.work.checkpoints),
            "beside": {"at": "/references/*/readings", "checkpoints": reference_works(protocol)},
        },
        "choices": {
            **{f"/{of}/*/work_unit": list(protocol.work.accepted_units) for of in ("runs", "references")},
            **{f"/{of}/*/reading_unit": list(protocol.reading.accepted_units) for of in ("runs", "references")},
            **{f"/weights/*/{name}/unit": list(WEIGHT_UNITS) for name in ("known", "read")},
            **({at: [level.word for level in protocol.question.levels] for at in LEVELS} if protocol.question.levels else {}),
        },
        "like": {"/people/*/handle": "wren", "/blades/*/key": "wren.galley", "/month": "2026-05"},
        "absent": [
            *(["/runs/*/reading_unit", "/references/*/reading_unit"] if kind == "pass/fail" else []),
            *([] if protocol.design.side_by_side else ["/runs/*/partner"]),
            *([] if protocol.question.levels else LEVELS),
        ],
        "sections": [
            {"title": "People", "at": ["/people"], "entry": "Person"},
            {"title": "Blades", "at": ["/blades"], "entry": "Blade"},
            {"title": "Runs", "at": ["/runs"], "entry": "Run"},
            {"title": Reason("forms.references_and_weights"), "at": ["/references", "/weights"], "folded": protocol.reference is None},
            {"title": Reason("forms.lots_and_the_rest"), "at": ["/lots", "/instruments", "/plan", "/note"], "folded": True},
            {"title": Reason("forms.when_and_who"), "at": ["/month", "/submitted_by", "/id"]},
        ],
    }


def reference_works(protocol: Protocol) -> list[float]:
    """At which amounts of work a reference edge is read: before any, and after the protocol's fixed one where it has one."""
    return [0.0] if protocol.reference is None else [0.0, protocol.reference.work]


def fixed(protocol: Protocol) -> dict[str, str]:
    """What stands in every submission that follows this version."""
    return {
        "/format": SUBMISSION_FORMAT,
        "/protocol/id": protocol.id,
        "/protocol/version": protocol.version,
        "/origin": "measured",
        "/licence": "CC0-1.0",
    }


def filled(protocol: Protocol) -> list[dict[str, object]]:
    """What the form writes by itself where nothing is written yet."""
    found: list[dict[str, object]] = [
        {"at": "/preparations/*/id", "with": "number", "text": "edge-"},
        {"at": "/preparations/*/blade", "with": "only", "of": "/blades/*/key"},
        {"at": "/runs/*/id", "with": "number", "text": "run-"},
        {"at": "/runs/*/order", "with": "number", "text": ""},
        {"at": "/runs/*/tester", "with": "previous"},
        {"at": "/runs/*/work_unit", "with": "value", "value": protocol.work.unit},
        {"at": "/runs/*/readings/*/work", "with": "checkpoints"},
        {"at": "/month", "with": "month"},
        {"at": "/submitted_by", "with": "same", "of": "/people/0/handle"},
        {"at": "/id", "with": "id", "of": ["/submitted_by", "/month"]},
    ]
    found += _filled_references(protocol)
    if protocol.design.side_by_side == "halves":
        found.append({"at": "/preparations/*/edge_part", "with": "in turn", "of": list(HALVES)})
    if protocol.design.side_by_side is not None:
        found.append({"at": "/runs/*/partner", "with": "partner"})
    units = protocol.reading.accepted_units
    if len(units) == 1:
        found.append({"at": "/runs/*/reading_unit", "with": "value", "value": units[0]})
    elif units:
        found.append({"at": "/runs/*/reading_unit", "with": "previous"})
    return found


def _filled_references(protocol: Protocol) -> list[dict[str, object]]:
    """What the form writes for reference edges: as for the first run, one pack, the start and then the end of an evening."""
    names = ("tester", "lot", "reading_lot", "instrument", *(() if protocol.reading.kind == "pass/fail" else ("reading_unit",)))
    as_in_runs: list[dict[str, object]] = [{"at": f"/references/*/{name}", "with": "same", "of": f"/runs/0/{name}"} for name in names]
    return [
        {"at": "/references/*/when", "with": "in turn", "of": ["start", "end"]},
        {"at": "/references/*/pack", "with": "previous"},
        *as_in_runs,
        {"at": "/references/*/work_unit", "with": "value", "value": protocol.work.unit},
        {"at": "/references/*/readings/*/work", "with": "checkpoints"},
    ]


def worked_example(protocol: Protocol, month: str) -> dict[str, object]:
    """The least file for this protocol: as many runs as it asks for, made-up figures, nothing optional.

    Its origin is ``simulated``, because nobody measured it.
    """
    runs = protocol.design.least_runs
    sharpeners = PEOPLE if protocol.question.factor == "sharpener" else PEOPLE[:1]
    one_blade = len(sharpeners) > 1 or bool(protocol.question.levels)
    blades = ["wren.galley"] if one_blade else ["wren.galley", "wren.rigging"]
    return {
        "format": SUBMISSION_FORMAT,
        "id": f"example-{protocol.id}"[:63],
        "protocol": {"id": protocol.id, "version": protocol.version},
        "origin": "simulated",
        "licence": "CC0-1.0",
        "submitted_by": PEOPLE[0],
        "month": month,
        "people": [{"handle": handle, "agreed": "yes"} for handle in sharpeners],
        "blades": [{"key": key} for key in blades],
        "preparations": [_preparation(protocol, n, blades, sharpeners) for n in range(runs)],
        "runs": [_run(protocol, n) for n in range(runs)],
    }


def _preparation(protocol: Protocol, number: int, blades: list[str], sharpeners: tuple[str, ...]) -> dict[str, object]:
    """One of the sharpenings; halves of one edge change hands from pair to pair, and of two blades the other begins."""
    halves = protocol.design.side_by_side == "halves"
    turn = number + number // 2 if protocol.design.side_by_side is not None else number
    whole: dict[str, object] = {
        "id": f"edge-{number + 1}",
        "blade": blades[turn % len(blades)],
        "sharpener": sharpeners[turn % len(sharpeners)],
    }
    level = _level(protocol, number)
    return whole | ({"edge_part": half_of(number + 1)} if halves else {}) | ({} if level is None else facts_of_example(level))


def _level(protocol: Protocol, number: int) -> Level | None:
    """The level of a run; in the second pair the one that came second comes first."""
    levels = protocol.question.levels
    return levels[(number + number // 2) % len(levels)] if levels else None


def _run(protocol: Protocol, number: int) -> dict[str, object]:
    rule = protocol.reading
    run: dict[str, object] = {
        "id": f"run-{number + 1}",
        "order": number + 1,
        "preparation": f"edge-{number + 1}",
        "tester": PEOPLE[0],
        "work_unit": protocol.work.unit,
    }
    if (level := _level(protocol, number)) is not None:
        run["level"] = level.word
    if protocol.design.side_by_side is not None:
        run["partner"] = f"run-{partner_of(number + 1)}"
    if rule.kind != "pass/fail":
        run["reading_unit"] = rule.canonical_unit
    points = (int(work) if work == int(work) else work for work in protocol.work.checkpoints)
    readings = [{"work": work, **_read(protocol, number, place)} for place, work in enumerate(points)]
    return run | {"ended": "last checkpoint", "readings": readings}


def _read(protocol: Protocol, number: int, place: int) -> dict[str, object]:
    """The repeats of one made-up reading; every other run dulls a little sooner."""
    rule = protocol.reading
    if rule.kind == "pass/fail":
        lasts = len(protocol.work.checkpoints) - 3 - number % 2
        return {"outcomes": ["pass" if place < lasts else "fail"] * rule.repeats}
    low, high = rule.plausible_low or 1.0, rule.plausible_high or 100.0
    dullness = FIRST_OF_RANGE + STEP_OF_RANGE * place + STEP_OF_ARM * (number % 2) + STEP_OF_PAIR * (number // 2)
    share = dullness if rule.keener == "lower" else 1 - dullness
    values = (low * (high / low) ** (share + 0.004 * repeat) for repeat in range(rule.repeats))
    return {"values": [{"written": float(f"{value:.3g}")} for value in values]}


def fields_to_fill(example: dict[str, object], protocol: Protocol) -> dict[str, int]:
    """How many fields somebody fills in to write ``example``: ``fields``, and ``readings`` beside them."""
    ways = {str(entry["at"]): str(entry["with"]) for entry in filled(protocol)}
    known, blades = fixed(protocol), example["blades"]
    places = [(place, pattern) for place, pattern in _leaves(example) if pattern not in known and pattern != "/runs/*/preparation"]
    one_blade = isinstance(blades, list) and len(blades) == 1
    readings = sum(pattern.startswith("/runs/*/readings/*/") and not pattern.endswith("/work") for _, pattern in places)
    by_hand = [p for p in places if not p[1].startswith("/runs/*/readings/") and not _filled_in(*p, ways, one_blade)]
    return {"fields": len(by_hand), "readings": readings}


def _filled_in(place: str, pattern: str, ways: dict[str, str], one_blade: bool) -> bool:
    way = ways.get(pattern)
    if way == "previous":
        return place.split("/")[2] != "0"
    return one_blade if way == "only" else way is not None


def _leaves(tree: object, place: str = "", pattern: str = "") -> list[tuple[str, str]]:
    """Every value that is no list and no object: its JSON pointer, and that with ``*`` for places in lists."""
    if isinstance(tree, dict):
        return [leaf for name, inside in tree.items() for leaf in _leaves(inside, f"{place}/{name}", f"{pattern}/{name}")]
    if isinstance(tree, list):
        return [leaf for n, inside in enumerate(tree) for leaf in _leaves(inside, f"{place}/{n}", f"{pattern}/*")]
    return [(place, pattern)]
