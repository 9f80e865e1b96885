"""A demonstration as the repository that stage 1 would read from its files, without files and checks.

Two thousand seeds through every check of every file would take too long; a test holds this shortcut against the reader.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import yaml

from aggregator.demo import Demonstration
from aggregator.records.canonical import CanonicalRun, LoadedProtocol, LoadedSubmission, Repository
from aggregator.records.canonical_runs import canonical_readings, canonical_runs
from aggregator.records.model.protocol import Protocol
from aggregator.records.model.submission import Submission
from aggregator.records.registers import load_steels
from aggregator.records.rules.shared_keys import BladeFacts, shared_facts

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
    records = {f"submissions/simulated/{name}": data for name, data in demonstration.files.items()}
    read = {path: Submission.model_validate_json(data) for path, data in records.items()}
    steels = load_steels()
    facts = shared_facts(read.items(), steels).blades
    submissions = tuple(LoadedSubmission(record, path, "", _runs(record, facts)) for path, record in read.items())
    return Repository(ROOT, protocols(), submissions, {}, (), steels, ())


def _runs(record: Submission, facts: dict[str, BladeFacts]) -> tuple[CanonicalRun, ...]:
    protocol = protocols()[(record.protocol.id, record.protocol.version)].record
    readings, problems = canonical_readings(record, protocol)
    assert not problems, problems
    return canonical_runs(record, readings, facts)
