"""Small repositories in memory, cut from the project's own exchange protocol."""

from __future__ import annotations

import json
from pathlib import Path

import yaml

from edgehold.records.canonical import CanonicalReading, CanonicalRun, LoadedProtocol, LoadedSubmission, Repository
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission

ROOT = Path(__file__).parents[2]
ASSUMED = {"ln_sd": 0.25, "prior_df": 4, "source": "made up for a test"}


def make_protocol(endpoints: list[dict], reading: dict | None = None, name: str = "steels-exchanged-rope", **work):
    """The project's protocol with its endpoints, parts of its reading, and its work replaced."""
    version = "1.0.0" if name == "life-on-card" else "2.0.0"
    text = (ROOT / "protocols" / name / f"{version}.md").read_text(encoding="utf-8")
    data = yaml.safe_load(text.split("---\n", 2)[1])
    common = {"title": "t", "role": "early", "worthwhile_ratio": 1.25, "assumed_repeatability": ASSUMED}
    data["endpoints"] = [common | {"id": f"{rule['kind']}-{i}"} | rule for i, rule in enumerate(endpoints)]
    data["reading"] |= reading or {}
    data["work"] |= work
    return Protocol.model_validate_json(json.dumps(data))


def make_run(protocol: Protocol, readings: dict, number: int = 1, **facts) -> CanonicalRun:
    """A run; readings are {work: repeats}, repeats numbers or outcomes. ``limits`` gives marks by work."""
    rule, limits = protocol.reading, facts.pop("limits", {})
    read = []
    for work, repeats in readings.items():
        if rule.kind == "pass/fail":
            read.append(CanonicalReading(work, (), (), tuple(repeats)))
        else:
            marks = limits.get(work, (None,) * len(repeats))
            read.append(CanonicalReading(work, tuple(repeats), tuple(marks), ()))
    known = {
        "id": f"r{number}", "order": number, "evening": 1, "tester": "wren", "lot": None, "ended": "last checkpoint",
        "blinding": None, "coil_position_m": None, "humidity_percent": None, "preparation": f"p{number}",
        "blade": "wren.galley", "steel": None, "batch": None, "sharpener": "wren", "edge_part": "whole",
        "own_sharpening": True, "sharpening": None, "start_state": None, "split_tester": False,
    }  # fmt: skip
    return CanonicalRun(**(known | facts), readings=tuple(read))


def make_repository(protocol: Protocol, runs: list[CanonicalRun], changed: tuple[str, ...] = (), angle=None, name="one"):
    """A repository of one submission."""
    record = {
        "format": "submission/1.0.0", "id": name, "protocol": {"id": protocol.id, "version": protocol.version},
        "origin": "measured", "licence": "CC0-1.0", "submitted_by": "wren", "month": "2026-05",
        "people": [{"handle": "wren", "agreed": "yes"}], "blades": [{"key": "wren.galley"}],
        "preparations": [
            {"id": run.preparation, "blade": run.blade, "sharpener": run.sharpener, "edge_angle": angle} for run in runs
        ],
        "runs": [
            {
                "id": run.id, "order": run.order, "preparation": run.preparation, "tester": run.tester,
                "work_unit": protocol.work.unit, "ended": run.ended, "readings": [],
                "lot_changes": [{"at_work": 7, "lot": "wren.coil"}] if run.id in changed else None,
            }
            for run in runs
        ],
    }  # fmt: skip
    submission = LoadedSubmission(Submission.model_validate_json(json.dumps(record)), "x.json", "0" * 64, tuple(runs))
    loaded = LoadedProtocol(protocol, "", "x.md", "0" * 64)
    return Repository(Path(), {(protocol.id, protocol.version): loaded}, (submission,), {}, (), {}, ())
