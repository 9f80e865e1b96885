"""What every reader owes, whatever it is given: a record or an error with a place; in bounded time and memory; no traceback."""

from __future__ import annotations

import hashlib
import json
import random
import resource
import sys
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from edgehold.errors import Finding
from edgehold.everything import find_everything
from edgehold.records import load_repository
from edgehold.records.canonical import ObjectionThread, Repository
from edgehold.records.registers import PROGRAMS_OWN
from edgehold.results.publish.assemble import assemble
from edgehold.results.tables.pool_tables import tables
from tests.generated import generate_pages
from tests.records.builder import (
    ABSENT,
    BODY,
    TODAY,
    changed,
    correction,
    event,
    make_repository,
    markdown,
    protocol,
    retraction,
    second,
    write,
    write_change,
    write_person,
    write_submission,
    write_tombstone,
)
from tests.records.test_objections import OBJECTION, OUTCOME, RESPONSE

from .mutations import mutated

MOST_SECONDS = 2.0  # of processor time, so that a busy machine is not taken for a slow reader
MOST_BYTES = 500 * 2**20  # by which the process may grow
POOLED_EVERY = 25  # cases, of which one goes on to the results and their pages, which takes longer than reading
PEOPLE_FILES = ("protocols/", "submissions/", "aggregator/registers/")


SUBMISSIONS = frozenset({"wren-1", "tern-1", "smew-1"})
"""Those of the repository that ``repository`` writes."""


@dataclass(frozen=True)
class Target:
    """One file of the small repository that is damaged, and how it is written."""

    path: str
    kind: str


TARGETS = (
    Target("submissions/measured/small-rope/wren-1.json", "json"),
    Target("submissions/measured/small-rope/changes/wren-1/01-correction.json", "json"),
    Target("submissions/measured/small-rope/changes/tern-1/01-retraction.json", "json"),
    Target("submissions/tombstones/auk-1.json", "json"),
    Target("submissions/people/wren.json", "json"),
    Target("submissions/carried/wren-1/carried.json", "json"),
    Target("submissions/carried/wren-1/confirmed.json", "json"),
    Target("protocols/roles.json", "json"),
    Target("protocols/small-rope/1.0.0.md", "markdown"),
    Target("protocols/small-rope/events/001-released.yaml", "yaml"),
    Target("protocols/small-rope/1.1.0.md", "markdown"),
    Target("protocols/small-rope/events/003-adopted.yaml", "yaml"),
    Target("protocols/small-rope/events/004-retired.yaml", "yaml"),
    Target("protocols/small-rope/objections/001-stone-wears/00-objection.md", "markdown"),
    Target("protocols/small-rope/objections/001-stone-wears/01-response.md", "markdown"),
    Target("protocols/small-rope/objections/001-stone-wears/02-outcome.md", "markdown"),
    Target("protocols/small-rope/objections/001-stone-wears/04-outcome.md", "markdown"),
    Target("protocols/small-rope/objections/002-apex-left/01-response.md", "markdown"),
    Target("protocols/small-rope/objections/002-apex-left/02-outcome.md", "markdown"),
    Target("protocols/small-rope/objections/003-again/00-objection.md", "markdown"),
    Target("protocols/small-rope/objections/004-about-somebody/01-outcome.md", "markdown"),
    Target("protocols/analysis/objections/001-shared-hands/00-objection.md", "markdown"),
    Target("protocols/analysis/objections/001-shared-hands/01-response.md", "markdown"),
    Target("aggregator/registers/steels.json", "json"),
    Target("aggregator/registers/steel_classes.json", "json"),
)


AGAIN = {"/against/step": "s2-cut-and-read", "/against/endpoint": None, "/interest": "none"}
DECIDED = changed(OUTCOME, {"/by": "ruff"})
THREADS = {
    "small-rope/objections/001-stone-wears": (  # decided, and opened again
        changed(OBJECTION, {"/interest": "none", "/proposed_change": "Another stone.", "/evidence": [{"probe": "run-order"}]}),
        RESPONSE,
        DECIDED,
        changed(RESPONSE, {"/response": "more evidence wanted", "/month": "2026-05", "/evidence": [{"citation": "A book."}]}),
        changed(DECIDED, {"/outcome": "open"}),
    ),
    "small-rope/objections/002-apex-left": (  # cured in the second version
        changed(OBJECTION, {"/severity": "blocking", "/against/endpoint": None, "/month": "2026-05", "/simulated": True}),
        changed(RESPONSE, {"/response": "revision", "/revised_in": "1.1.0", "/month": "2026-06", "/evidence": []}),
        changed(DECIDED, {"/outcome": "revised", "/month": "2026-06"}),
    ),
    "small-rope/objections/003-again": (changed(OBJECTION, AGAIN | {"/duplicate_of": 1}),),
    "small-rope/objections/004-about-somebody": (changed(OBJECTION, AGAIN), changed(DECIDED, {"/outcome": "struck"})),
    "analysis/objections/001-shared-hands": (
        changed(OBJECTION, {"/against": {}, "/threat": "analysis"}),
        changed(RESPONSE, {"/evidence": [{"probe": "interest"}]}),
    ),
}
"""Entries of each thread, by its folder: what may become of an objection."""


class Complaint(str):
    """What is wrong with how a case was taken, in words; empty where nothing is. ``kind`` is the promise that it broke."""

    kind: str

    def __new__(cls, kind: str = "", told: str = "") -> Complaint:
        made = super().__new__(cls, told)
        made.kind = kind
        return made


TRACEBACK, OVER_TIME, OVER_MEMORY, LOST = "tracebacks", "over time", "over memory", "records lost"
FINE = Complaint()


@dataclass(frozen=True)
class Failure:
    """A case that broke a promise."""

    path: str
    data: bytes
    complaint: Complaint


@dataclass(frozen=True)
class Case(Failure):
    """A case, whether or not it broke a promise, with the seconds of processor time that it took."""

    seconds: float


def repository(root: Path) -> Path:
    """A small repository with a good file of every kind."""
    make_repository(root)
    write(root / "submissions/measured/small-rope/tern-1.json", json.dumps(second(), indent=1))
    write_submission(root, second({"/id": "smew-1", "/month": "2026-04"}))
    changed = [("/runs/0/humidity_percent", ABSENT, 55), ("/runs/1/readings/2/values/0", {"written": 2.0}, {"written": "2 1/8"})]
    write_change(root, 1, correction(*changed))
    write_change(root, 1, retraction(submission="tern-1"))
    write_tombstone(root, "auk-1")
    write_person(root, "wren", shown_as="heron", same_person=["tern"], format="person/1.1.0", account="101")
    for kind, by in (("carried", "smew"), ("confirmed", "wren")):
        record = {"format": "carried/1.0.0", "kind": kind, "submission": "wren-1", "by": by, "month": "2026-06"}
        write(root / f"submissions/carried/wren-1/{kind}.json", json.dumps(record))
    roles = [{"handle": "board", "may": ["retire", "decide"], "since": "2026-01", "simulated": True}]
    roles.append({"handle": "ruff", "may": ["decide", "strike"], "since": "2026-06", "simulated": True})
    write(root / "protocols/roles.json", json.dumps({"format": "roles/1.0.0", "since": "2026-06", "roles": roles}))
    write_person(root, "tern", same_person=["wren"])
    write(root / "protocols/small-rope/events/004-retired.yaml", json.dumps(event("retired", "1.0.0", month="2026-06", evidence="done")))
    _write_second_version(root / "protocols/small-rope")
    for folder, entries in THREADS.items():
        for number, record in enumerate(entries):
            write(root / "protocols" / folder / f"{number:02d}-{record['kind']}.md", markdown(record, "Because.\n"))
    for register in ("steels.json", "steel_classes.json"):
        write(root / "aggregator/registers" / register, (PROGRAMS_OWN / register).read_bytes())
    return root


def _write_second_version(folder: Path) -> None:
    """A version in review whose steps and fields differ from the first."""
    front = protocol({"/version": "1.1.0", "/changes": "a checkpoint more", "/work/checkpoints/-": 80, "/cautions/-": "Rest"})
    text = markdown(front, BODY.replace("Flatten the apex", "Flatten the apex under a lamp"))
    write(folder / "1.1.0.md", text)
    released = event("released", "1.1.0", month="2026-06", sha256=hashlib.sha256(text.encode()).hexdigest())
    write(folder / "events/005-released.yaml", json.dumps(released))
    write(folder / "events/006-opened-for-review.yaml", json.dumps(event("opened for review", "1.1.0", month="2026-06")))


def failures(root: Path, seed: int, cases: int) -> Iterator[Failure]:
    """Every case of ``damaged`` that broke a promise."""
    return (Failure(case.path, case.data, case.complaint) for case in damaged(root, seed, cases) if case.complaint)


def damaged(root: Path, seed: int, cases: int, pooled_every: int = POOLED_EVERY) -> Iterator[Case]:
    """Damage files of a repository made by ``repository`` and read it.

    Parameters
    ----------
    root : the repository; every file is as it was afterwards.
    seed : of the first case; case i has seed + i.
    cases : how many.
    pooled_every : one of how many is pooled and made into pages, where it is read without an error.
    """
    good = {target: (root / target.path).read_bytes() for target in TARGETS}
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        target = rng.choice(TARGETS)
        data = mutated(good[target], target.kind, rng)
        began = time.process_time()
        complaint = complaint_about(root, target.path, data, pooled=number % pooled_every == 0)
        write(root / target.path, good[target])
        yield Case(target.path, data, complaint, time.process_time() - began)


def complaint_about(root: Path, path: str, data: bytes, pooled: bool = False) -> Complaint:
    """What is wrong with how the readers took ``data`` at ``path``; empty if nothing is.

    With ``pooled``, what was read without an error goes through every later stage up to the pages too: no traceback there either.
    """
    write(root / path, data)
    before, began = peak_bytes(), time.process_time()
    try:
        found = load_repository(root, today=TODAY)
        spent, grown = time.process_time() - began, peak_bytes() - before
        if pooled and not found.errors:
            everything = find_everything(found)
            results = assemble(everything)
            tables(everything, results)
            generate_pages(results)
    except Exception:
        return Complaint(TRACEBACK, traceback.format_exc(limit=-6))
    return beyond_limits(spent, grown) or _lost(found, path) or next((bad for f in found.findings if (bad := _unplaced(f))), FINE)


def beyond_limits(spent: float, grown: float) -> Complaint:
    """What is wrong with seconds of processor time and bytes by which the process grew."""
    if spent > MOST_SECONDS:
        return Complaint(OVER_TIME, f"took {spent:.1f} s of processor time")
    if grown > MOST_BYTES:
        return Complaint(OVER_MEMORY, f"grew by {grown / 2**20:.0f} MiB")
    return FINE


def peak_bytes() -> int:
    """The most memory that this process has held so far."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024


def _lost(found: Repository, path: str) -> Complaint:
    """A file is read, or an error says why not: in the file, or in a correction that no longer fits it. Nor is any other lost unsaid."""
    missing = SUBMISSIONS - {s.record.id for s in (*found.submissions, *found.retracted)}
    if missing and not found.errors:
        return Complaint(LOST, f"{', '.join(sorted(missing))}: read before, absent now, and no error")
    corrections = path.replace("small-rope/", "small-rope/changes/").removesuffix(".json") + "/"
    if any(f.severity == "error" and (f.file == path or f.file.startswith(corrections)) for f in found.findings):
        return FINE
    kept = (*found.submissions, *found.retracted)
    read = {p.path for p in found.protocols.values()} | {s.path for s in kept} | {c.path for s in kept for c in s.changes}
    read |= {side for side, _ in found.side_files} | {path for thread in found.objections for path in _entries(found, thread)}
    if path in read or path.startswith(("aggregator/", "protocols/small-rope/events/")):
        return FINE
    return Complaint(LOST, "neither read nor refused")


def _entries(found: Repository, thread: ObjectionThread) -> list[str]:
    """Files of a thread that was read whole."""
    files = sorted((found.root / thread.path).parent.iterdir())
    return [file.relative_to(found.root).as_posix() for file in files] if len(files) == 1 + len(thread.entries) else []


def _unplaced(finding: Finding) -> Complaint:
    if not finding.file.startswith(PEOPLE_FILES) or finding.line < 1 or not finding.message or not finding.cure:
        return Complaint(TRACEBACK, f"a finding without place or cure: {finding}")
    return FINE
