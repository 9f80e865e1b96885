"""A demonstration as the repository that stage 1 would read from its files, without the files.

Two thousand seeds through the file checks would take days; a test holds this shortcut against the real reader.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import yaml

from aggregator.demo import Demonstration
from aggregator.records.canonical import CanonicalReading, CanonicalRun, LoadedProtocol, LoadedSubmission, Repository
from aggregator.records.model.protocol import Protocol
from aggregator.records.model.submission import Preparation, Run, Submission
from aggregator.records.registers import load_steels
from aggregator.records.units import convert, parse_number

ROOT = Path(__file__).resolve().parents[2]


@cache
def protocols() -> dict[tuple[str, str], LoadedProtocol]:
    """The published protocols, front matter only."""
    found = {}
    for path in sorted((ROOT / "protocols").glob("*/*.md")):
        front = yaml.safe_load(path.read_text(encoding="utf-8").split("\n---", 1)[0])
        record = Protocol.model_validate_json(json.dumps(front))
        found[(record.id, record.version)] = LoadedProtocol(record, "", path.relative_to(ROOT).as_posix(), "")
    return found


def repository_of(demonstration: Demonstration) -> Repository:
    """The demonstration with its numbers in canonical units."""
    submissions = []
    for name, data in demonstration.files.items():
        record = Submission.model_validate_json(data)
        protocol = protocols()[(record.protocol.id, record.protocol.version)].record
        runs = tuple(_run(run, record, protocol) for run in record.runs)
        submissions.append(LoadedSubmission(record, f"submissions/simulated/{name}", "", runs))
    return Repository(ROOT, protocols(), tuple(submissions), {}, (), load_steels(), ())


def _run(run: Run, record: Submission, protocol: Protocol) -> CanonicalRun:
    preparation: Preparation = next(p for p in record.preparations if p.id == run.preparation)
    blade = next(b for b in record.blades if b.key == preparation.blade)
    sharpener = next(p for p in record.people if p.handle == preparation.sharpener)
    return CanonicalRun(
        id=run.id,
        order=run.order,
        evening=run.evening,
        tester=run.tester,
        lot=run.lot,
        ended=run.ended,
        blinding=run.blinding,
        coil_position_m=run.coil_position_m,
        humidity_percent=run.humidity_percent,
        preparation=preparation.id,
        blade=blade.key,
        steel=blade.steel.designation if blade.steel else None,  # the demonstration writes register ids
        batch=blade.batch,
        sharpener=preparation.sharpener,
        edge_part=preparation.edge_part,
        own_sharpening=preparation.sharpener == run.tester,
        sharpening=sharpener.sharpening,
        start_state=preparation.start_state,
        split_tester=run.tester_change_at_work is not None,
        readings=tuple(_reading(reading, run, protocol) for reading in run.readings),
    )


@cache
def _canonical(written: int | float | str, unit: str, canonical_unit: str) -> float:
    return convert(parse_number(written).value, unit, canonical_unit)


def _reading(reading, run: Run, protocol: Protocol) -> CanonicalReading:
    rule = protocol.reading
    values = [_canonical(v.written, run.reading_unit, rule.canonical_unit) for v in reading.values or ()]
    limits = [
        v.limit or ("below" if x < rule.resolution else "above" if x > rule.scale_end else None)
        for v, x in zip(reading.values or (), values, strict=True)
    ]
    return CanonicalReading(
        work=_canonical(reading.work, run.work_unit, protocol.work.unit),
        values=tuple(values),
        limits=tuple(limits),
        passed=tuple(outcome == "pass" for outcome in reading.outcomes or ()),
    )
