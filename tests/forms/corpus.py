"""Records that the program and the form's script must judge alike, and what the program finds in each.

Three sources: the corpus of single files (tests/cases), the awkward situations (tests/records/test_situations.py), and records
with random changes drawn from a fixed seed.
"""

from __future__ import annotations

import copy
import json
import random
from dataclasses import dataclass
from pathlib import Path

from edgehold.forms.submission import form_rules
from edgehold.records import load_repository
from edgehold.records.model.protocol import Protocol
from edgehold.records.registers import load_steels
from tests.records.builder import (
    PASS_FAIL,
    REMOVED,
    SMALL_BLADES,
    SMALL_FACTS,
    SMALL_HALVES,
    SMALL_LEVELS,
    TODAY,
    changed,
    make_repository,
    protocol,
    submission,
)
from tests.records.test_levels import LEVELS, of_two_edges
from tests.records.test_situations import BESIDE, ONE_FILE, PAPER, PASS, in_turn, paper
from tests.records.test_situations import outcomes as read_outcomes

REFERENCE = {
    "/format": "protocol/1.2.0",
    "/reference": {"edge": "A fresh segment of a snap-off blade, 18 mm", "work": 10, "weights": "A litre of water"},
}
CASES = Path(__file__).parents[1] / "cases"
FRONTS = {
    "small-rope": protocol(REFERENCE),
    "small-paper": protocol(PASS_FAIL),
    "small-blades": protocol(SMALL_BLADES),
    "small-halves": protocol(SMALL_HALVES),
    "small-levels": protocol(SMALL_LEVELS),
    "small-facts": protocol(SMALL_FACTS),
}
RANDOM_RECORDS = 600
REFUSED = {"number-too-large"}
"""Codes of texts that are not parsed; a browser's reader has no such limits, and the form finds the number out of range."""


@dataclass(frozen=True)
class Case:
    """A record for one of the protocols of ``FRONTS``, and why it is here."""

    why: str
    protocol: str
    record: dict


def rules_of(name: str, status: str = "adopted") -> dict:
    """The form's rules for one of the protocols of the corpus."""
    record = Protocol.model_validate_json(json.dumps(FRONTS[name]))
    return form_rules(record, status, "2026-01", load_steels(), base_url="https://edgehold.example/")


def cases() -> list[Case]:
    """The whole corpus, always in the same order."""
    return [*_single_files(), *_rule_cases(), *_situations(), *_random()]


def _base(name: str) -> dict:
    return json.loads((CASES / "pass" / f"{name}.json").read_text(encoding="utf-8"))


def _changed(case: dict) -> dict:
    return changed(_base(case["base"]), {case["at"]: REMOVED if case.get("remove") else case["value"]})


def _single_files() -> list[Case]:
    good = [Case(path.stem, "small-rope", _base(path.stem)) for path in sorted(CASES.glob("pass/submission-*.json"))]
    bad = json.loads((CASES / "fail" / "submission.json").read_text(encoding="utf-8"))
    return good + [Case(case["why"], "small-rope", _changed(case)) for case in bad]


def rule_cases() -> list[dict]:
    """The corpus of rules between fields (tests/cases/rules)."""
    return json.loads((CASES / "rules" / "submission.json").read_text(encoding="utf-8"))


def _rule_cases() -> list[Case]:
    return [Case(case["why"], "small-rope", _changed(case)) for case in rule_cases()]


def _situations() -> list[Case]:
    rope = [Case(why, "small-rope", submission(changes)) for why, (changes, _) in ONE_FILE.items()]
    beside = [Case(why, name, in_turn(name, *edges, **changes)) for why, (name, edges, changes, _) in BESIDE.items()]
    levels = [Case(why, name, of_two_edges(name, **changes)) for why, (name, changes, _) in LEVELS.items()]
    return [*rope, *(Case(why, "small-paper", record) for why, (record, _) in PAPER.items()), *beside, *levels]


def program_findings(root: Path, corpus: list[Case]) -> list[set[tuple[str, str]]]:
    """(pointer, code) of everything that ``edgehold check`` finds in each record and that a form can know.

    What only other files can tell (keys with other facts, twins, paths) is not asked of the form. A file whose text says too
    large a number is refused before it is parsed, and nothing else of it is told: see ``REFUSED``.
    """
    known = {code for name in FRONTS for code in rules_of(name)["messages"]} | REFUSED
    make_repository(root, [], list(FRONTS.values()))
    paths = [f"submissions/measured/{case.protocol}/case-{number:04d}.json" for number, case in enumerate(corpus)]
    for path, case in zip(paths, corpus, strict=True):
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(json.dumps(case.record), encoding="utf-8")
    found: dict[str, set[tuple[str, str]]] = {path: set() for path in paths}
    for finding in load_repository(root, today=TODAY).findings:
        if finding.file in found and finding.code in known:
            found[finding.file].add((finding.pointer, finding.code))
    return [found[path] for path in paths]


WORDS = (
    "wren", "tern", "auk", "wren.galley", "wren.coil", "wren.scale", "wren.spare", "edge-1", "edge-2", "edge-3", "run-1",
    "run-2", "whole", "heel", "tip", "plain", "serrated", "N", "gf", "newtons", "lbf", "cut", "cuts", "m", "mm", "in",
    "per side", "both together", "dull", "last checkpoint", "AISI 1095", "uns g10950", "demo-plain-carbon", "Fine Steel",
    "FEPA P", "FEPA F", "JIS", "P400", "#1000", "F220", "1000", "pass", "fail", "below", "above", "yes", "measured", "simulated",
    "rope, cotton, 8 mm", "2026-05", "2026-07", "2014-01", "aux", "Wren", "1.5", "1,5", "3 1/8", "25 (5)", "1.25(3)", "-2",
    "3-Jan", "1,234", "0", "1e3", "½", "1/64\"", "12 cm", "coarse", "fine", "none", "", " ", "1.5 N", "<5", "a\nb", "é" * 61,
)  # fmt: skip
NUMBERS = (0, 1, 2, 3, 5, 7, 10, 20, 22, 40, 40.5, 80, 0.1, 0.2, 0.005, 1.5, 1.05, 15, 25, 26, 30, 35, 50, 60, 100, 101, -1, -0.5, 1e15)
OTHER = (None, True, [], {}, [1], ["pass"], [{"written": 2}, {"written": "2,1"}], {"key": "wren.spare"}, {"written": 0.4, "unit": "mm"})


def _random() -> list[Case]:
    """Records with one to three values exchanged for others, some of which fit."""
    generator = random.Random(20260615)
    bases = [("small-rope", submission(_FULL)), ("small-paper", paper(read_outcomes((0, *PASS), (5, *PASS), (10, "pass", "fail"))))]
    bases += [(name, submission(_FULL | _OF_LEVELS | {"/protocol/id": name})) for name in ("small-levels", "small-facts")]
    found = []
    for number in range(RANDOM_RECORDS):
        name, base = bases[(0, 0, 1, 2, 0, 3)[number % 6]]
        record = copy.deepcopy(base)
        for _ in range(generator.randint(1, 3)):
            _exchange(record, generator)
        found.append(Case(f"random {number}", name, record))
    return found


_FULL = {
    "/preparations/0/edge_angle": {"basis": "per side", "left_deg": 15, "right_deg": 18},
    "/preparations/0/stages": [{"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400", "micrometres": 35, "angle_deg": 17}],
    "/preparations/1/edge_angle": {"basis": "both together", "left_deg": 40},
    "/preparations/0/edge_part": "heel",
    "/blades/0/thickness_behind_edge": {"written": "1/64", "unit": "in", "canonical": 0.000396875},
    "/blades/0/interest": [{"person": "wren", "interest": "owner"}],
    "/instruments/0/resolution": {"written": 1, "unit": "gf", "canonical": None},
    "/runs/0/tester_guess": {"sharpener": "tern", "blade": "wren.galley", "confidence_percent": 60},
    "/runs/0/lot_changes": [{"at_work": 15, "lot": "wren.coil"}],
    "/runs/1/planned_last_checkpoint": 40,
    "/runs/0/readings/1/values": [{"written": "1,5", "limit": None, "canonical": 1.5}, {"written": "1 3/5"}],
    "/runs/1/readings/4/values/0": {"written": 49, "limit": "above"},
}


_OF_LEVELS = {
    "/format": "submission/1.6.0",
    "/preparations/1/stages": [{"as_printed": "fine", "micrometres": 3}],
    "/preparations/0/strop": "leather",
    "/preparations/1/condition": "before",
    "/blades/0/hardness": {"hrc": 60},
    "/runs/0/level": "coarse",
    "/runs/1/level": "fine",
}


def _exchange(record: dict, generator: random.Random) -> None:
    places = list(_places(record))
    inside, name = generator.choice(places)
    way = generator.random()
    if way < 0.15 and isinstance(inside, dict):
        del inside[name]
    elif way < 0.55:
        inside[name] = generator.choice(WORDS)
    elif way < 0.85:
        inside[name] = generator.choice(NUMBERS)
    elif way < 0.95:
        inside[name] = copy.deepcopy(generator.choice(OTHER))
    else:
        other, last = generator.choice(places)
        inside[name] = copy.deepcopy(other[last])


def _places(tree: object):
    entries = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for name, value in entries:
        yield tree, name
        yield from _places(value)
