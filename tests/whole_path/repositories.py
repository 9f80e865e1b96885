"""Small repositories on disk for tests of the whole path, cut from the project's own first protocol."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import yaml

ROOT = Path(__file__).parents[2]


def protocol_text(**changes: object) -> str:
    """The two-sharpeners protocol with top-level fields of its front matter changed, without figures; its body then says nothing."""
    text = (ROOT / "protocols" / "two-sharpeners-rope" / "1.0.0.md").read_text(encoding="utf-8")
    _, front, body = text.split("---\n", 2)
    data = yaml.safe_load(front) | {"figures": [], "version": "1.0.0"} | changes
    data["needs"] = [need | ({"where": "cheap"} if need["where"] == "made" else {}) for need in data.get("needs", [])]  # else it needs a drawing
    headings = [line for line in body.splitlines() if line.startswith("#")]
    body = "".join(f"\n{line}\n\nAs the settings have it.\n" for line in headings) if changes else body
    return f"---\n{yaml.safe_dump(data, sort_keys=False, allow_unicode=True)}---\n{body}"


def changed_reading(**changes: object) -> dict[str, object]:
    """The protocol's reading rule with fields changed."""
    text = (ROOT / "protocols" / "two-sharpeners-rope" / "1.0.0.md").read_text(encoding="utf-8")
    return yaml.safe_load(text.split("---\n", 2)[1])["reading"] | changes


def level_endpoint(at: float, **changes: object) -> dict[str, object]:
    """A primary level endpoint."""
    return {
        "id": "level",
        "title": f"Reading after {at:g} cuts",
        "kind": "level",
        "role": "early",
        "primary": True,
        "at": at,
        "worthwhile_ratio": 1.25,
        "assumed_repeatability": {"ln_sd": 0.25, "prior_df": 4, "source": "made up for a test"},
    } | changes


def run(number: int, blade: str, tester: str, readings: list[tuple[float, list[float]]], **changes) -> tuple[dict, dict]:
    """A preparation and its run by the same person."""
    preparation = {"id": f"p{number}", "blade": blade, "sharpener": tester}
    record = {
        "id": f"r{number}",
        "order": number,
        "preparation": f"p{number}",
        "tester": tester,
        "work_unit": "cut",
        "reading_unit": "N",
        "ended": "last checkpoint",
        "readings": [{"work": work, "values": [{"written": value} for value in values]} for work, values in readings],
    }
    return preparation | {k: v for k, v in changes.items() if k == "sharpener"}, record | {
        k: v for k, v in changes.items() if k != "sharpener"
    }


def submission(name: str, people: list[str], blades: list[dict], runs: list[tuple[dict, dict]], **changes) -> dict:
    """A submission to the small protocol."""
    return {
        "format": "submission/1.0.0",
        "id": name,
        "protocol": {"id": "two-sharpeners-rope", "version": "1.0.0"},
        "origin": "measured",
        "licence": "CC0-1.0",
        "submitted_by": people[0],
        "month": "2026-05",
        "people": [{"handle": handle, "agreed": "yes"} for handle in people],
        "blades": blades,
        "preparations": [preparation for preparation, _ in runs],
        "runs": [record for _, record in runs],
    } | changes


def write_repository(root: Path, protocol: str, submissions: list[dict]) -> Path:
    """Write the protocol, its life, and the submissions, the last of which is the pilot of its adoption; return the root."""
    folder = root / "protocols" / "two-sharpeners-rope"
    (folder / "events").mkdir(parents=True)
    (folder / "1.0.0.md").write_text(protocol, encoding="utf-8")
    life = {"released": {"sha256": hashlib.sha256(protocol.encode()).hexdigest()}, "opened for review": {"evidence": "a test"}}
    if submissions:
        life["adopted"] = {"by": "slip-warden", "month": submissions[-1]["month"], "pilot": submissions[-1]["id"]}
    for number, (kind, facts) in enumerate(life.items(), start=1):
        event = {"format": "event/1.0.0", "kind": kind, "version": "1.0.0", "by": "harbour-board", "month": "2025-01"} | facts
        name = f"{number:03d}-{kind.replace(' ', '-')}-1-0-0.yaml"
        (folder / "events" / name).write_text(yaml.safe_dump(event), encoding="utf-8")
    for record in submissions:
        place = root / "submissions" / record["origin"] / record["protocol"]["id"]
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{record['id']}.json").write_text(json.dumps(record, indent=1), encoding="utf-8")
    (root / "submissions").mkdir(exist_ok=True)
    return root
