"""Objections, responses and outcomes that the program and the forms must judge alike, and what the program finds in each."""

from __future__ import annotations

import hashlib
import itertools
import random
from dataclasses import dataclass
from pathlib import Path

from edgehold.forms.review import review_forms
from edgehold.records import load_repository
from edgehold.records.model.review import EVENT_FORMAT, OBJECTION_FORMAT
from edgehold.review.drafts import name_of
from edgehold.review.writing import markdown_text
from tests.records.builder import (
    BODY,
    TODAY,
    make_repository,
    protocol,
    retraction,
    second,
    submission,
    write,
    write_change,
    write_event,
    write_protocol,
    write_tombstone,
)  # fmt: skip

RANDOM_FILES = 250
THREADS = "protocols/small-rope/objections"


@dataclass(frozen=True)
class Case:
    """A file that might be added: its front matter and body; ``number`` 0 for a new objection, else of the thread it goes on."""

    record: dict
    body: str
    protocol: str = "small-rope"
    number: int = 0


def objection(**changes: object) -> dict:
    """Front matter of an objection to step s2 of small-rope 1.0.0."""
    base = {
        "format": OBJECTION_FORMAT,
        "kind": "objection",
        "against": {"protocol": "small-rope", "version": "1.0.0", "step": "s2-cut-and-read"},
        "title": "Later cuts meet harder rope",
        "threat": "medium",
        "severity": "material",
        "interest": "none",
        "by": "auk",
        "month": "2026-03",
    }
    return _without_nothing(base | changes)


def response(**changes: object) -> dict:
    """Front matter of a rebuttal."""
    base = {"format": OBJECTION_FORMAT, "kind": "response", "response": "rebuttal", "evidence": [{"probe": "lot"}], "interest": "none"}
    return _without_nothing(base | {"by": "skua", "month": "2026-04"} | changes)


def outcome(**changes: object) -> dict:
    """Front matter of an outcome."""
    base = {"format": OBJECTION_FORMAT, "kind": "outcome", "outcome": "rebutted", "by": "moot", "month": "2026-05"}
    return _without_nothing(base | changes)


def _without_nothing(record: dict) -> dict:
    return {name: value for name, value in record.items() if value is not None}


REVISION = {"response": "revision", "revised_in": "1.1.0", "evidence": None}
STATES: tuple[tuple[dict, ...], ...] = (
    (objection(),),
    (objection(title="Rebutted"), response(), outcome()),
    (objection(title="Revised and not decided"), response(**REVISION)),
    (objection(title="Said before", duplicate_of=1),),
    (objection(title="Struck"), outcome(outcome="struck", month="2026-04")),
    (objection(title="Withdrawn"), outcome(outcome="withdrawn", by="auk")),
    (
        objection(title="Upheld, and more was said"),
        response(),
        outcome(outcome="upheld and unresolved"),
        response(by="ruff", month="2026-05"),
    ),
    (objection(title="To an endpoint", against={"protocol": "small-rope", "version": "1.0.0", "endpoint": "early"}),),
    (objection(title="To the whole", against={"protocol": "small-rope", "version": "1.0.0"}), response(**REVISION, by="board")),
)
"""Threads of small-rope as they stand; 1.1.0 differs in step s2 and is released late."""


def write_repository(root: Path) -> Path:
    """A repository with threads in every state."""
    kept, gone = submission(), second({"/id": "tern-gone"})
    make_repository(root, [kept, gone], [protocol()])
    write_change(root, 1, retraction(submission="tern-gone"))
    write_tombstone(root, "auk-removed")
    folder = root / "protocols" / "small-rope"
    newer = protocol({"/version": "1.1.0", "/changes": "other cuts", "/work/checkpoints": [0, 5, 10, 20, 40, 80], "/late_checkpoint": 40})
    path = write_protocol(root, newer, BODY.replace("Cut and read.", "Cut twice and read."))
    release(folder, path)
    for number, entries in enumerate(STATES, 1):
        put(root, f"{THREADS}/{number:03d}-{name_of(entries[0]['title'])}", entries)
    put(root, "protocols/analysis/objections/001-the-analysis", (objection(title="The analysis", against={}),))
    assert load_repository(root, today=TODAY).errors == ()
    return root


def release(folder: Path, path: Path) -> None:
    """Release one more version, in the month of TODAY."""
    event = {"format": EVENT_FORMAT, "kind": "released", "version": path.stem, "by": "guild", "month": "2026-06"}
    write_event(folder, len(list((folder / "events").iterdir())) + 1, event | {"sha256": hashlib.sha256(path.read_bytes()).hexdigest()})


def put(root: Path, folder: str, entries: tuple[dict, ...]) -> None:
    """Write a thread."""
    for number, record in enumerate(entries):
        write(root / folder / f"{number:02d}-{record['kind']}.md", markdown_text(record, "A text."))


def two_threads(root: Path) -> None:
    """An objection to a step of a method, with an answer, and one to the analysis."""
    against = {"protocol": "two-sharpeners-rope", "version": "1.0.0", "step": "s6-sharpen"}
    said = objection(against=against, title="The stone loads", threat="order", by="wren", month="2026-05")
    answer = response(evidence=[{"probe": "run-order"}], by="tern", month="2026-06")
    put(root, "protocols/two-sharpeners-rope/objections/001-the-stone-loads", (said, answer))
    put(root, "protocols/analysis/objections/001-shared-hands", (said | {"against": {}, "title": "Shared hands"},))


TEXTS = ("A text.", "", "  \n", "Ask @wren.", 'two\n\nparts: "quoted" # and\n- so on', "\u202egnorw", "bell \x07", "word " * 13_000)
EVIDENCE = (
    None, [], [{}], [{"probe": "lot"}], [{"probe": "moon"}], [{"submission": "wren-1"}], [{"submission": "nobody-1"}],
    [{"submission": "tern-gone"}, {"submission": "auk-removed"}], [{"citation": "Some one (1999): x"}, {"probe": "lot", "citation": "x"}],
)  # fmt: skip
MONTHS = ("2026-05", "2026-01", "2025-12", "2026-04", "2026-06", "2026-07", "2014-01", "May", "2026-13")
TARGETS = (
    {"protocol": "small-rope", "version": "1.0.0"}, {"protocol": "small-rope", "version": "1.1.0", "step": "s1-prepare"},
    {"protocol": "small-rope", "version": "1.0.0", "step": "s9"}, {"protocol": "small-rope", "version": "1.0.0", "endpoint": "late"},
    {"protocol": "small-rope", "version": "1.0.0", "endpoint": "early"}, {"protocol": "small-rope", "version": "9.0.0", "step": "s9"},
    {"protocol": "small-rope"}, {"protocol": "small-rope", "step": "s1-prepare"}, {"protocol": "small-rope", "version": "one"},
    {"protocol": "small-rope", "version": "1.0.0", "step": "S1"}, {"protocol": "small-rope", "version": "1.0.0", "who": "wren"},
)  # fmt: skip
TITLES = ("Plain", 'It\'s: "quoted"', "no", "é" * 201, "", "by @wren", "\x07", "1e3", " lead", "縄 🪢 rope", None)
HANDLES = ("auk", "skua", "board", "guild", "moot", "ruff", "wren", "Wren", "x", "two words", None)


def cases() -> list[Case]:
    """The whole corpus, always in the same order."""
    return [*_objections(), *_responses(), *_outcomes(), *_random()]


def _objections() -> list[Case]:
    changes = [{"title": title} for title in TITLES] + [{"against": target} for target in TARGETS]
    changes += [{"evidence": evidence} for evidence in EVIDENCE] + [{"month": month} for month in MONTHS]
    changes += [{"duplicate_of": number, "month": month} for number in (1, 2, 4, 5, 99, 0) for month in ("2026-03", "2026-05")]
    changes += [{"proposed_change": text} for text in ("Do\n\nthis: so", "x" * 5001, "@wren", "", "a \nb", "\ttab")]
    changes += [
        {"threat": "order"},
        {"threat": "moon"},
        {"severity": None},
        {"interest": None},
        {"interest": "friend"},
        {"simulated": True},
    ]
    found = [Case(objection(**change), "A text.") for change in changes]
    found += [Case(objection(), text) for text in TEXTS]
    analysis = ({}, {"step": "s1-prepare"}, {"version": "1.0.0"})
    return found + [Case(objection(against=against, by="wren"), "A text.", "analysis") for against in analysis]


def _numbers() -> list[tuple[str, int]]:
    return [("small-rope", number) for number in range(1, len(STATES) + 1) if number != 5] + [("analysis", 1)]


def _responses() -> list[Case]:
    changes = [{"evidence": evidence} for evidence in EVIDENCE] + [{"month": month} for month in ("2026-02", "2026-06", "2027-01")]
    changes += [REVISION | {"revised_in": version} for version in (None, "1.0.0", "1.1.0", "9.0.0", "one")]
    changes += [{"response": "more evidence wanted", "interest": None}, {"response": "no"}, {"revised_in": "1.0.0"}, {"by": "Wren"}]
    return [
        Case(response(**{"month": "2026-06"} | change), "A text.", *thread) for thread, change in itertools.product(_numbers(), changes)
    ]


def _outcomes() -> list[Case]:
    words = ("open", "rebutted", "revised", "withdrawn", "upheld and unresolved", "struck", "settled")
    people = ("moot", "auk", "board", "guild", "skua")
    return [
        Case(outcome(outcome=word, by=by, month=month), "A text.", *thread)
        for thread, word, by in itertools.product(_numbers(), words, people)
        for month in (("2026-05", "2026-06") if by == "moot" else ("2026-06",))
    ]


def _random() -> list[Case]:
    generator = random.Random(20261125)
    pools = {
        "title": TITLES,
        "evidence": EVIDENCE,
        "month": MONTHS,
        "by": HANDLES,
        "against": TARGETS,
        "interest": ("none", None, "seller"),
    }
    found = []
    for _ in range(RANDOM_FILES):
        make, thread = generator.choice([(objection, ("small-rope", 0)), *((response, thread) for thread in _numbers())])
        names = generator.sample([name for name in pools if make is objection or name not in ("title", "against")], 2)
        changes = {name: generator.choice(pools[name]) for name in names}
        found.append(Case(make(**changes), generator.choice(TEXTS[:6]), *thread))
    return found


def path_of(root: Path, case: Case) -> str:
    """Where a case's file belongs."""
    folder = root / "protocols" / case.protocol / "objections"
    threads = sorted(path.name for path in folder.iterdir())
    if not case.number:
        return f"protocols/{case.protocol}/objections/{len(threads) + 1:03d}-{name_of(case.record.get('title', ''))}/00-objection.md"
    name = threads[case.number - 1]
    kind = case.record["kind"]
    return f"protocols/{case.protocol}/objections/{name}/{len(list((folder / name).iterdir())):02d}-{kind}.md"


def program_findings(root: Path, corpus: list[Case]) -> list[set[tuple[str, str]]]:
    """(pointer, code) of everything that ``edgehold check`` finds in each file, put in its place by itself."""
    found = []
    for case in corpus:
        path = path_of(root, case)
        target = write(root / path, markdown_text(case.record, case.body))
        read = load_repository(root, today=TODAY, chosen=())
        found.append({(f.pointer, f.code) for f in read.findings if f.file == path})
        target.unlink()
        if not any(target.parent.iterdir()):
            target.parent.rmdir()
    return found


def rules_of(root: Path) -> dict:
    """The rules of the forms for the repository of the corpus."""
    return review_forms(load_repository(root, today=TODAY))
