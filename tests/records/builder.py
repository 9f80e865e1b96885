"""Small repositories for tests: one good protocol, one good submission, and whatever is changed in them.

``make_repository(path)`` writes a repository in which nothing is found on ``TODAY``. Each test changes one thing::

    make_repository(path, submissions=[submission({"/runs/0/tester": "nobody"})])

Changes are values by JSON pointer; ``REMOVED`` takes a member out, a pointer ending in ``/-`` appends to a list.
"""

from __future__ import annotations

import copy
import datetime
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

import yaml

TODAY = datetime.date(2026, 6, 15)
REMOVED = object()

MEDIUM = "rope, cotton, 8 mm"
BODY = "\n## The method\n\n### s1-prepare\n\nFlatten the apex, sharpen.\n\n### s2-cut-and-read\n\nCut and read.\n"


def changed(tree: dict, changes: dict[str, object]) -> dict:
    """A copy of a tree with values set by JSON pointer."""
    tree = copy.deepcopy(tree)
    for pointer, value in changes.items():
        *parents, last = pointer.split("/")[1:]
        inside = tree
        for part in parents:
            inside = inside[int(part)] if isinstance(inside, list) else inside[part]
        if isinstance(inside, list) and last == "-":
            inside.append(copy.deepcopy(value))
        elif value is REMOVED:
            del inside[int(last) if isinstance(inside, list) else last]
        else:
            inside[int(last) if isinstance(inside, list) else last] = copy.deepcopy(value)
    return tree


def endpoint(**changes: object) -> dict:
    """A level after 10 cuts."""
    return {
        "id": "early",
        "title": "Sharpness after 10 cuts",
        "kind": "level",
        "role": "early",
        "primary": True,
        "at": 10,
        "worthwhile_ratio": 1.25,
        "assumed_repeatability": {"ln_sd": 0.25, "prior_df": 4, "source": "made up for a test"},
    } | changes


def protocol(changes: dict[str, object] | None = None) -> dict:
    """Front matter of a protocol read as force: small-rope 1.0.0."""
    base = {
        "format": "protocol/1.0.0",
        "id": "small-rope",
        "version": "1.0.0",
        "title": "A small test method",
        "question": {"factor": "sharpener", "text": "Does the sharpener matter?"},
        "changes": "first version",
        "medium": {"name": MEDIUM, "description": "Cotton rope, 8 mm"},
        "work": {
            "kind": "cuts",
            "unit": "cut",
            "accepted_units": ["cut"],
            "checkpoints": [0, 5, 10, 20, 40],
            "edge_stretch_mm": 40,
            "stroke": "One slice down",
        },
        "reading": {
            "kind": "force",
            "description": "Force to sever a thread",
            "canonical_unit": "N",
            "accepted_units": ["N", "gf"],
            "keener": "lower",
            "repeats": 2,
            "resolution": 0.01,
            "scale_end": 49,
            "plausible_low": 0.2,
            "plausible_high": 30,
            "dulls": False,
        },
        "stopping": {"text": "Two readings above 4 N", "readings_below": 2},
        "endpoints": [endpoint()],
        "early_checkpoint": 10,
        "late_checkpoint": 40,
        "estimand": "total",
        "design": {
            "varies": ["sharpener"],
            "holds": ["blade"],
            "least_runs": 2,
            "order": "A coin decides",
            "blinding": "None",
        },
        "apex_start": "Three strokes square on the stone",
        "edges": "plain only",
        "needs": [{"item": "A kitchen scale", "where": "in the house"}],
        "minutes": {"one_run": 30, "whole": 60},
        "people": {"alone": "One run each", "two": "Both sharpen"},
        "practice_run": "Another knife",
        "threats": [{"threat": "confounding", "text": "The stone changes too", "steps": ["s1-prepare"]}],
        "cautions": ["Clamp the rope"],
    }
    return changed(base, changes or {})


PASS_FAIL = {
    "/reading": {"kind": "pass/fail", "description": "Slices hanging paper", "repeats": 2, "dulls": False},
    "/endpoints": [endpoint(id="life", kind="life", role="overall", at=None)],
    "/id": "small-paper",
}
"""Changes that make the protocol one that is read as pass or fail."""


SMALL_BLADES = {"/format": "protocol/1.3.0", "/id": "small-blades", "/design/side_by_side": "blades"}
SMALL_HALVES = {"/format": "protocol/1.1.0", "/id": "small-halves", "/design/side_by_side": "halves"}
"""Changes that make the protocol one whose edges are cut in turn."""


def level(word: str, **rule: object) -> dict:
    """A level of a protocol; without a rule it is told by the file alone."""
    return {"word": word, "text": f"The edge is {word}."} | ({"rule": rule} if rule else {})


def of_levels(name: str, treatment: str, *levels: dict) -> dict:
    """Changes that make the protocol one that compares levels."""
    question = {"factor": "level", "text": "Does it matter?", "treatment": treatment, "levels": list(levels)}
    return {"/format": "protocol/1.4.0", "/id": name, "/question": question}


SMALL_LEVELS = of_levels(
    "small-levels",
    "finish",
    level("coarse", fact="last abrasive", at_least=20, below=80),
    level("fine", fact="last abrasive", below=6),
    level("as it came"),
)
SMALL_FACTS = of_levels(
    "small-facts",
    "make",
    level("slim", fact="edge angle", below=15),
    level("thick", fact="thickness behind the edge", at_least=0.5),
    level("hard", fact="hardness", at_least=62),
    level("microbevelled", fact="microbevel", words=["yes"]),
    level("stropped", fact="strop", other_than=["none", "not"]),
    level("on leather", fact="deburring", words=["leather"]),
    level("new", fact="start state", words=["factory"]),
    level("before", fact="condition", words=["before"]),
)
"""Changes that make the protocol one that compares levels: by one fact and by the file's word, and by every fact there is."""


def values(*written: object) -> list[dict]:
    """Repeats of a reading."""
    return [{"written": number} for number in written]


def run(number: int, **changes: object) -> dict:
    """A run that went as planned; force rises with work, and no two runs read the same."""
    wider = round(0.1 * number, 1)
    return {
        "id": f"run-{number}",
        "order": number,
        "preparation": f"edge-{number}",
        "tester": "wren",
        "lot": "wren.coil",
        "instrument": "wren.scale",
        "work_unit": "cut",
        "reading_unit": "N",
        "ended": "last checkpoint",
        "readings": [
            {"work": work, "values": values(force, round(force + wider, 1))}
            for work, force in ((0, 1.0), (5, 1.5), (10, 2.0), (20, 2.5), (40, 3.0))
        ],
    } | changes


def submission(changes: dict[str, object] | None = None) -> dict:
    """A good submission to small-rope 1.0.0: one blade, two sharpeners, two runs."""
    base = {
        "format": "submission/1.0.0",
        "id": "wren-1",
        "protocol": {"id": "small-rope", "version": "1.0.0"},
        "origin": "measured",
        "licence": "CC0-1.0",
        "submitted_by": "wren",
        "month": "2026-05",
        "people": [{"handle": "wren", "agreed": "yes"}, {"handle": "tern", "agreed": "yes"}],
        "blades": [{"key": "wren.galley", "steel": {"designation": "AISI 1095"}, "edge": "plain"}],
        "lots": [{"key": "wren.coil", "medium": MEDIUM}],
        "instruments": [{"key": "wren.scale", "kind": "kitchen scale"}],
        "preparations": [
            {"id": "edge-1", "blade": "wren.galley", "sharpener": "wren"},
            {"id": "edge-2", "blade": "wren.galley", "sharpener": "tern", "previous_preparation": "edge-1"},
        ],
        "runs": [run(1), run(2)],
    }
    return changed(base, changes or {})


def second(changes: dict[str, object] | None = None) -> dict:
    """Another good submission about the same blade by other runs, a month later."""
    return submission({"/id": "tern-1", "/submitted_by": "tern", "/month": "2026-06"} | (changes or {}))


def pilot() -> dict:
    """A good submission that has nothing to do with the others: no person, blade, lot or instrument of theirs."""
    runs = {f"/runs/{i}/{name}": value for i in (0, 1) for name, value in (("tester", "auk"), ("lot", None), ("instrument", None))}
    edges = {f"/preparations/{i}/{name}": value for i in (0, 1) for name, value in (("sharpener", "auk"), ("blade", "auk.galley"))}
    auk = {"/id": "auk-1", "/submitted_by": "auk", "/people": [{"handle": "auk", "agreed": "yes"}], "/blades/0/key": "auk.galley"}
    return submission(auk | {"/lots": [], "/instruments": []} | edges | runs)


def markdown(front: dict, body: str = BODY) -> str:
    """A file with front matter."""
    return f"---\n{yaml.safe_dump(front, sort_keys=False, allow_unicode=True)}---\n{body}"


def event(kind: str, version: str, **changes: object) -> dict:
    """An event of a protocol's life."""
    return {"format": "event/1.0.0", "kind": kind, "version": version, "by": "board", "month": "2026-01"} | changes


def make_repository(
    root: Path,
    submissions: list[dict] | None = None,
    protocols: list[dict] | None = None,
    adopted: bool = True,
    body: str = BODY,
) -> Path:
    """Write a repository and return its folder.

    Parameters
    ----------
    root : an empty or missing folder.
    submissions : each goes where its origin, protocol and id say; None: the good one.
    protocols : front matters; None: the good one. Each gets events unless ``adopted`` is False.
    body : the method's text, the same for every protocol.
    """
    for front in [protocol()] if protocols is None else protocols:
        write_protocol(root, front, body)
    written = [submission()] if submissions is None else submissions
    if adopted:
        for folder in sorted((root / "protocols").iterdir()):
            adopt(folder, written)
    (root / "submissions" / "measured").mkdir(parents=True, exist_ok=True)
    for record in written:
        write_submission(root, record)
    return root


def write_protocol(root: Path, front: dict, body: str = BODY) -> Path:
    """Write one version of a protocol."""
    path = root / "protocols" / str(front["id"]) / f"{front['version']}.md"
    return write(path, markdown(front, body))


def adopt(folder: Path, submissions: Sequence[dict] = ()) -> None:
    """Write the events of every version of a protocol: released, in review; adopted where submissions follow it, the last the pilot."""
    number, month = 0, "2026-01"
    for path in sorted(folder.glob("*.md")):
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        own = {"id": folder.name, "version": path.stem}
        follow = sorted((r for r in submissions if r.get("protocol") == own), key=lambda r: r["origin"] == "measured")
        events = [event("released", path.stem, sha256=sha256), event("opened for review", path.stem)]
        events += [event("adopted", path.stem, by="moot", pilot=follow[-1]["id"], month=follow[-1]["month"])] if follow else []
        for record in events:
            number += 1
            month = max(month, record["month"])
            write_event(folder, number, record | {"month": month})


def write_event(folder: Path, number: int, record: dict) -> Path:
    """Write one event of a protocol."""
    name = f"{number:03d}-{record['kind'].replace(' ', '-')}.yaml"
    return write(folder / "events" / name, yaml.safe_dump(record, sort_keys=False))


def write_submission(root: Path, record: dict) -> Path:
    """Write one submission where its own words say."""
    return write(submission_path(root, record), json.dumps(record, indent=1))


def submission_path(root: Path, record: dict) -> Path:
    """Where a submission belongs."""
    return root / "submissions" / record["origin"] / record["protocol"]["id"] / f"{record['id']}.json"


def write(path: Path, text: str | bytes) -> Path:
    """Write a file, folders included."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


ABSENT = {"absent": True}


def correction(*what: tuple[str, object, object], **changes: object) -> dict:
    """A correction of wren-1: (pointer, before, after) each."""
    return {
        "format": "change/1.0.0",
        "kind": "correction",
        "submission": "wren-1",
        "what": [{"pointer": place, "before": before, "after": after} for place, before, after in what],
        "why": "the humidity was read from another evening's sheet",
        "by": "wren",
        "month": "2026-06",
    } | changes


def retraction(**changes: object) -> dict:
    """A retraction of wren-1."""
    return {
        "format": "change/1.0.0",
        "kind": "retraction",
        "submission": "wren-1",
        "why": "the thread had been changed between the runs",
        "by": "wren",
        "month": "2026-06",
    } | changes


def write_change(root: Path, number: int, record: dict, protocol: str = "small-rope") -> Path:
    """Write a correction or retraction where its own words say."""
    folder = root / "submissions" / "measured" / protocol / "changes" / record["submission"]
    return write(folder / f"{number:02d}-{record['kind']}.json", json.dumps(record, indent=1))


def write_tombstone(root: Path, name: str, **changes: object) -> Path:
    """Write the tombstone of a submission."""
    record = {"format": "tombstone/1.0.0", "id": name, "month": "2026-06", "reason": "privacy"} | changes
    return write(root / "submissions" / "tombstones" / f"{name}.json", json.dumps(record, indent=1))


def write_person(root: Path, name: str, **changes: object) -> Path:
    """Write what a person says of a handle."""
    record = {"format": "person/1.0.0", "handle": name} | changes
    return write(root / "submissions" / "people" / f"{name}.json", json.dumps(record, indent=1))
