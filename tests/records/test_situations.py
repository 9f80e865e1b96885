"""What real practice brings: each case names its situation and the exact findings it must give.

Every case changes one thing in a repository in which nothing is found.
"""

import hashlib
import json
import os

import pytest

from edgehold.errors import ERROR
from edgehold.records import load_repository
from edgehold.records.pairs import partner_of

from .builder import (
    PASS_FAIL,
    REMOVED,
    SMALL_BLADES,
    SMALL_HALVES,
    TODAY,
    endpoint,
    event,
    make_repository,
    pilot,
    protocol,
    run,
    second,
    submission,
    submission_path,
    values,
    write,
    write_event,
    write_protocol,
    write_submission,
)


def codes(root):
    return [finding.code for finding in load_repository(root, today=TODAY).findings]


def force(*pairs):
    return [{"work": work, "values": values(*forces)} for work, *forces in pairs]


RUN = "/runs/0"
READ = f"{RUN}/readings"
FIRST_VALUE = f"{READ}/1/values/0"
ANGLE = "/preparations/0/edge_angle"
HEEL = {"edge_part": "heel"}
TIP = {"edge_part": "tip"}


def preparations(*parts):
    """Preparations edge-1, edge-2 … of the one blade: (sharpener, edge part)."""
    return [
        {"id": f"edge-{number}", "blade": "wren.galley", "sharpener": who, "edge_part": part} for number, (who, part) in enumerate(parts, 1)
    ]


# Situation -> changes of the good submission, codes of the findings in their order.
ONE_FILE = {
    "nothing wrong": ({}, []),
    "30 given as the edge angle, per side": ({ANGLE: {"basis": "per side", "left_deg": 30}}, ["wide-angle"]),
    "30 given as both sides together": ({ANGLE: {"basis": "both together", "left_deg": 30}}, []),
    "25 per side is still usual": ({ANGLE: {"basis": "per side", "left_deg": 25}}, []),
    "left and right differ, both wide": (
        {ANGLE: {"basis": "per side", "left_deg": 26, "right_deg": 30}},
        ["wide-angle", "wide-angle"],
    ),
    "a right side beside both together": (
        {ANGLE: {"basis": "both together", "left_deg": 40, "right_deg": 20}},
        ["right-angle-unused"],
    ),
    "numbers as people write them: fractions, decimal comma, uncertainty in parentheses": (
        {
            f"{READ}/1/values": [{"written": "1 1/2"}, {"written": "1,6"}],
            f"{READ}/2/values": [{"written": "2.0 (0.1)"}, {"written": "2-1/8"}],
        },
        [],
    ),
    "3-Jan where a number was": ({f"{FIRST_VALUE}/written": "3-Jan"}, ["not-a-number"]),
    "a number that may be a thousand or a decimal": ({f"{FIRST_VALUE}/written": "1,234"}, ["not-a-number"]),
    "a stone only marked coarse/fine": ({"/preparations/0/stages": [{"as_printed": "coarse/fine"}]}, []),
    "grits as two systems name them": (
        {
            "/preparations/0/stages": [
                {"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400", "micrometres": 35},
                {"as_printed": "1000", "grit_system": "JIS", "grit": "#1000"},
            ]
        },
        [],
    ),
    "a grit that its system does not have": (
        {"/preparations/0/stages": [{"as_printed": "P333", "grit_system": "FEPA P", "grit": "P333"}]},
        ["unknown-grit"],
    ),
    "a size that is not the grit's": (
        {"/preparations/0/stages": [{"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400", "micrometres": 400}]},
        ["grit-disagrees"],
    ),
    "a microbevel is a stage with its own angle": (
        {"/preparations/0/stages": [{"as_printed": "fine", "angle_deg": 22}]},
        [],
    ),
    "a microbevel wider than usual": (
        {"/preparations/0/stages": [{"as_printed": "fine", "angle_deg": 28}]},
        ["wide-angle"],
    ),
    "recurve, one-sided grind": ({"/blades/0/profile": "recurve", "/blades/0/grind": "one-sided"}, []),
    "stropped in the middle: the run ends there": (
        {f"{RUN}/ended": "edge touched up", f"{READ}": force((0, 1.0, 1.1), (5, 1.5, 1.6))},
        [],
    ),
    "stropped in the middle and gone on with as the same preparation": (
        {f"{RUN}/ended": "edge touched up", "/runs/1/preparation": "edge-1"},
        ["preparation-used-twice"],
    ),
    "the same preparation used twice": ({"/runs/1/preparation": "edge-1"}, ["preparation-used-twice"]),
    "no reading at 0": ({f"{READ}/0": REMOVED}, ["no-reading-at-0"]),
    "no readings at all": ({READ: []}, ["no-readings"]),
    "read at 22 instead of 20": ({f"{READ}/3/work": 22}, ["off-checkpoint"]),
    "read at 22 instead of 20, and answered": (
        {
            f"{READ}/3/work": 22,
            "/answers": [{"pointer": f"{READ}/3/work", "code": "off-checkpoint", "says": "lost count"}],
        },
        ["off-checkpoint"],
    ),
    "an answer to nothing": (
        {"/answers": [{"pointer": "", "code": "pilot", "says": "so what"}]},
        ["answer-without-warning"],
    ),
    "the coil ran out in the middle of a run": (
        {f"{RUN}/lot_changes": [{"at_work": 12, "lot": "wren.second"}], "/lots/-": {"key": "wren.second"}},
        ["lot-change"],
    ),
    "the new coil is not in lots": (
        {f"{RUN}/lot_changes": [{"at_work": 12, "lot": "wren.second"}]},
        ["lot-change", "unknown-reference"],
    ),
    "a chip at 20 cuts": ({f"{RUN}/ended": "edge damaged", f"{READ}/4": REMOVED}, []),
    "the tester stopped early": ({f"{RUN}/ended": "tester stopped", f"{READ}/4": REMOVED}, []),
    "a serrated edge where only plain ones are asked for": ({"/blades/0/edge": "serrated"}, ["edge-not-allowed"]),
    "a part-serrated edge": ({"/blades/0/edge": "part serrated"}, ["edge-not-allowed"]),
    "two people under one handle": ({"/people/1/handle": "wren"}, ["duplicate-id", "unknown-person"]),
    "two testers in one run": ({f"{RUN}/tester_change_at_work": 12}, ["tester-change"]),
    "sharper at 5 cuts than at 0": ({f"{READ}/1/values": values(0.8, 0.9)}, ["sharper-after-work"]),
    "reading 0": ({f"{FIRST_VALUE}/written": 0}, ["censored-value"]),
    "reading 0, marked as below": ({FIRST_VALUE: {"written": 0, "limit": "below"}}, []),
    "below the resolution": ({f"{FIRST_VALUE}/written": 0.005}, ["censored-value"]),
    "over the scale's end": ({READ: force((0, 15, 15.5), (5, 20, 21), (10, 28, 27), (20, 29, 30), (40, 50, 51))}, ["censored-value"]),
    "over the scale's end, and far from the other repeat": ({f"{READ}/4/values/0/written": 50}, ["far-from-neighbours"]),
    "over the scale's end, marked as above": ({f"{READ}/4/values/0": {"written": 49, "limit": "above"}}, []),
    "implausibly large": ({READ: force((0, 15, 15.5), (5, 20, 21), (10, 28, 27), (20, 29, 30), (40, 35, 34))}, ["implausible-value"]),
    "implausibly small": (
        {READ: force((0, 0.16, 0.17), (5, 0.2, 0.25), (10, 0.3, 0.4), (20, 0.5, 0.55), (40, 1, 1.1))},
        ["implausible-value"],
    ),
    "ten times the other repeat": ({f"{READ}/4/values/0/written": 30}, ["far-from-neighbours"]),
    "a tenth of the other repeat": ({f"{READ}/4/values/0/written": 0.3}, ["far-from-neighbours"]),
    "a whole checkpoint ten times too high": ({f"{READ}/2/values": values(20, 22)}, ["far-from-neighbours"]),
    "grams of force under newtons": ({f"{RUN}/reading_unit": "gf"}, ["unit-in-doubt"]),
    "a stray sign before an exact reading": ({f"{READ}/2/values/0": {"written": 1.9, "limit": "above"}}, ["stray-limit"]),
    "the readings of 40 cuts at 5": ({f"{READ}/1/values": values(3.0, 3.1), f"{READ}/4/values": values(1.5, 1.6)}, ["sharper-again"]),
    "a line typed twice": ({f"{READ}/3/values": values(2.0, 2.1)}, ["checkpoint-twice"]),
    "a run typed twice": ({"/runs/1/readings": run(1)["readings"]}, ["run-copied"]),
    "said to have gone to the end": ({f"{READ}/4": REMOVED}, ["end-disagrees"]),
    "a new coil at 300 for 30": (
        {f"{RUN}/lot_changes": [{"at_work": 300, "lot": "wren.coil"}]},
        ["lot-change", "change-beyond"],
    ),
    "below nothing": ({f"{FIRST_VALUE}/written": -1.5}, ["negative-value"]),
    "far end of the coil": ({f"{RUN}/coil_position_m": 38.5}, []),
    "the blind tester's guess": (
        {f"{RUN}/tester_guess": {"sharpener": "tern", "blade": "wren.galley", "confidence_percent": 80}},
        [],
    ),
    "the guess names a stranger": ({f"{RUN}/tester_guess": {"sharpener": "auk"}}, ["unknown-person"]),
    "heel by one, tip by the other, never swapped": (
        {"/preparations": preparations(("wren", "heel"), ("tern", "tip"))},
        ["two-edges"],
    ),
    "heel and tip swapped in other runs": (
        {
            "/preparations": preparations(("wren", "heel"), ("tern", "tip"), ("tern", "heel"), ("wren", "tip")),
            "/runs/-": run(3),
        },
        [],
    ),
    "a run names a partner that does not name it": ({f"{RUN}/partner": "run-2"}, ["partner-one-sided"]),
    "two runs cut in turn by two testers": (
        {f"{RUN}/partner": "run-2", "/runs/1/partner": "run-1", "/runs/1/tester": "tern"},
        ["partner-differs"],
    ),
    "the factory edge against one's own": (
        {"/preparations/1": {"id": "edge-2", "blade": "wren.galley", "sharpener": "factory", "start_state": "factory"}},
        [],
    ),
    "a factory edge that somebody sharpened": ({"/preparations/0/start_state": "factory"}, ["factory-edge"]),
    "a factory edge whose start is not stated": ({"/preparations/0/sharpener": "factory"}, ["factory-edge"]),
    "a factory edge in a condition": (
        {"/preparations/0": {"id": "edge-1", "blade": "wren.galley", "sharpener": "factory", "start_state": "factory", "condition": "old"}},
        ["factory-edge"],
    ),
    "a person called factory": ({"/people/1/handle": "factory", "/preparations/1/sharpener": "wren"}, ["reserved-handle"]),
    "one person before and after learning": (
        {"/preparations/0/condition": "before", "/preparations/1/condition": "after", "/preparations/1/sharpener": "wren"},
        [],
    ),
    "a trade name typed as steel": ({"/blades/0/steel/designation": "Wonder Blade Steel"}, ["unknown-steel"]),
    "steel not known": ({"/blades/0/steel": None}, []),
    "steel by a composition of one class": (
        {"/blades/0/steel": {"composition_percent": {"C": 1.45, "Cr": 14, "Mo": 2, "V": 4, "Si": 0.5, "Fe": 78}}},
        [],
    ),
    "steel by a composition of no class": ({"/blades/0/steel": {"composition_percent": {"C": 1.1, "Cr": 0.4}}}, ["no-steel-class"]),
    "steel by a composition that a named steel would have": (
        {"/blades/0/steel": {"composition_percent": {"C": 1.5, "Cr": 12, "Mo": 0.9, "V": 0.9}}},
        ["named-steel-fits"],
    ),
    "a designation beside a composition is what counts": (
        {"/blades/0/steel": {"designation": "AISI D2", "composition_percent": {"C": 3, "Cr": 30}}},
        [],
    ),
    "an empty composition": ({"/blades/0/steel": {"composition_percent": {}}}, []),
    "an invented steel among measured ones": (
        {"/blades/0/steel/designation": "demo-plain-carbon"},
        ["invented-steel"],
    ),
    "a month that has not come": ({"/month": "2026-07"}, ["month-in-future", "month-in-future"]),
    "this very month": ({"/month": "2026-06"}, []),
    "more than ten years ago": ({"/month": "2016-05"}, ["month-long-ago"]),
    "ten years ago": ({"/month": "2016-06"}, []),
    "the tester is not in people": ({f"{RUN}/tester": "auk"}, ["unknown-person"]),
    "the submitter is not in people": ({"/submitted_by": "auk"}, ["unknown-person"]),
    "somebody with an interest is not in people": (
        {"/blades/0/interest": [{"person": "auk", "interest": "maker"}]},
        ["unknown-person"],
    ),
    "a blade that is not listed": ({"/preparations/0/blade": "wren.galey"}, ["unknown-reference"]),
    "a preparation that is not listed": ({"/runs/0/preparation": "edge-9"}, ["unknown-reference"]),
    "an earlier preparation that is not listed": (
        {"/preparations/0/previous_preparation": "edge-0"},
        ["unknown-reference"],
    ),
    "a lot that is not listed": ({f"{RUN}/lot": "wren.reel"}, ["unknown-reference"]),
    "an instrument that is not listed": ({f"{RUN}/instrument": "wren.balance"}, ["unknown-reference"]),
    "no lot, no instrument known": ({f"{RUN}/lot": None, f"{RUN}/instrument": None}, []),
    "two runs with one id": ({"/runs/1/id": "run-1"}, ["duplicate-id"]),
    "two preparations with one id": (
        {"/preparations/1/id": "edge-1"},
        ["duplicate-id", "unknown-reference"],
    ),
    "two runs at one place in the order": ({"/runs/1/order": 1}, ["order-repeated"]),
    "a blade listed twice": ({"/blades/-": {"key": "wren.galley"}}, ["duplicate-id"]),
    "a lot listed twice": ({"/lots/-": {"key": "wren.coil"}}, ["duplicate-id"]),
    "a lot of another medium": ({"/lots/0/medium": "rope, nylon"}, ["wrong-medium"]),
    "a protocol version that does not exist": ({"/protocol/version": "1.0.1"}, ["unknown-protocol"]),
    "a unit that the protocol does not accept": ({f"{RUN}/reading_unit": "lbf"}, ["wrong-unit"]),
    "a unit that nobody knows": ({f"{RUN}/reading_unit": "pulls"}, ["wrong-unit"]),
    "no unit at all": ({f"{RUN}/reading_unit": None}, ["wrong-unit"]),
    "work in a unit of another kind": ({f"{RUN}/work_unit": "m"}, ["wrong-unit"]),
    "a unit by its long name": ({f"{RUN}/reading_unit": "newtons"}, []),
    "pass and fail where a force is read": (
        {f"{READ}/0": {"work": 0, "outcomes": ["pass", "pass"]}},
        ["wrong-reading", "wrong-reading"],
    ),
    "a reading without values": ({f"{READ}/2/values": []}, ["wrong-reading"]),
    "the canonical value is right": ({FIRST_VALUE: {"written": 1.5, "canonical": 1.5}}, []),
    "the canonical value is something else": (
        {FIRST_VALUE: {"written": 1.5, "canonical": 1.6}},
        ["canonical-disagrees"],
    ),
    "readings out of order": ({f"{READ}/3/work": 5}, ["work-not-increasing"]),
    "work below 0": ({f"{READ}/0/work": -1}, ["negative-value"]),
    "one repeat less": ({f"{READ}/2/values/1": REMOVED}, ["repeats-differ"]),
    "one repeat more": ({f"{READ}/2/values/-": {"written": 2.2}}, ["repeats-differ"]),
    "three identical repeats are nothing to remark on": ({f"{READ}/2/values": values(2.0, 2.0)}, []),
    "thickness in a unit of length": (
        {"/blades/0/thickness_behind_edge": {"written": "1/64", "unit": "in"}},
        [],
    ),
    "thickness in newtons": ({"/blades/0/thickness_behind_edge": {"written": 0.4, "unit": "N"}}, ["wrong-unit"]),
    "thickness with another canonical value": (
        {"/blades/0/thickness_behind_edge": {"written": 0.4, "unit": "mm", "canonical": 0.4}},
        ["canonical-disagrees"],
    ),
    "resolution that is no number": (
        {"/instruments/0/resolution": {"written": "about 1", "unit": "gf"}},
        ["not-a-number"],
    ),
    "id aux": ({"/id": "aux"}, ["reserved-id"]),
    "id con": ({"/id": "con"}, ["reserved-id"]),
    "an unknown field": ({"/runs/0/sharpness": 3}, ["unknown-field"]),
    "somebody has not agreed": ({"/people/1/agreed": "no"}, ["unknown-word"]),
}


@pytest.mark.parametrize("row", ONE_FILE)
def test_one_file(row, tmp_path):
    changes, expected = ONE_FILE[row]
    make_repository(tmp_path, [submission(changes)])
    assert codes(tmp_path) == expected


@pytest.mark.parametrize("row", ONE_FILE)
def test_a_submission_takes_part_unless_it_has_an_error(row, tmp_path):
    changes, _ = ONE_FILE[row]
    make_repository(tmp_path, [submission(changes)])
    repository = load_repository(tmp_path, today=TODAY)
    assert len(repository.submissions) == (0 if repository.errors else 1)


def outcomes(*rows):
    return [{"work": work, "outcomes": list(read)} for work, *read in rows]


def paper(readings, **changes):
    runs = [run(n, readings=readings, ended="dull") for n in (1, 2)]
    runs = [{k: v for k, v in one.items() if k not in ("reading_unit", "instrument")} | changes for one in runs]
    return submission({"/protocol/id": "small-paper", "/runs": runs, "/instruments": None})


PASS, FAIL = ("pass", "pass"), ("fail", "fail")
PAPER = {
    "passes, then fails": (paper(outcomes((0, *PASS), (5, *PASS), (10, *FAIL))), []),
    "pass, fail, pass": (paper(outcomes((0, *PASS), (5, *FAIL), (10, *PASS))), ["pass-after-fail"] * 2),
    "one of two fails, then both fail": (paper(outcomes((0, *PASS), (5, "pass", "fail"), (10, *FAIL))), []),
    "a force where pass or fail is read": (paper(force((0, 1.0, 1.1))), ["wrong-reading"] * 4),
    "a unit where pass or fail is read": (paper(outcomes((0, *PASS)), reading_unit="N"), ["wrong-reading"] * 2),
}


@pytest.mark.parametrize("row", PAPER)
def test_pass_or_fail(row, tmp_path):
    record, expected = PAPER[row]
    make_repository(tmp_path, [record], [protocol(PASS_FAIL)])
    assert codes(tmp_path) == expected


def in_turn(protocol_id, *edges, **changes):
    """Runs of these edges (blade, sharpener, part), cut in turn two by two."""
    count = len(edges)
    keys = sorted({blade for blade, _, _ in edges})
    named = [{"id": f"edge-{n}", "blade": b, "sharpener": s, "edge_part": part} for n, (b, s, part) in enumerate(edges, 1)]
    runs = [run(n, partner=f"run-{partner_of(n)}") for n in range(1, count + 1)]
    blades = [{"key": key, "edge": "plain"} for key in keys]
    told = {"/protocol/id": protocol_id, "/format": "submission/1.2.0", "/preparations": named, "/runs": runs, "/blades": blades}
    return submission(told | {f"/{place}": value for place, value in changes.items()})


WREN, TERN = ("wren.galley", "wren", "whole"), ("tern.galley", "wren", "whole")
HEEL_HALF, TIP_HALF = ("wren.galley", "wren", "heel"), ("wren.galley", "tern", "tip")
ALONE = {"runs/1/readings": run(2)["readings"][:3], "runs/1/ended": "tester stopped"}
SKIPPED = {"runs/1/readings": [one for one in run(2)["readings"] if one["work"] != 10]}
MISCOUNTED = {"runs/1/readings/3/work": 22}
BESIDE = {
    "two blades in turn, the second beginning in the second pair": ("small-blades", (WREN, TERN, TERN, WREN), {}, []),
    "one blade always begins": ("small-blades", (WREN, TERN, WREN, TERN), {}, ["always-first"]),
    "one blade in turn with itself": ("small-blades", (WREN, WREN), {}, ["partner-edge"]),
    "partners far from each other": ("small-blades", (WREN, TERN, TERN, WREN), {"runs/1/order": 9}, ["partner-apart"]),
    "the partner goes on alone": ("small-blades", (WREN, TERN), ALONE, []),
    "one was not read at 10": ("small-blades", (WREN, TERN), SKIPPED, ["partner-works"]),
    "one was read at 22": ("small-blades", (WREN, TERN), MISCOUNTED, ["off-checkpoint"]),
    "one was to go farther": ("small-blades", (WREN, TERN), {"runs/1/planned_last_checkpoint": 20}, ["partner-differs"]),
    "halves in turn": ("small-halves", (HEEL_HALF, TIP_HALF), {}, ["two-edges"]),
    "halves of two blades in turn": ("small-halves", (HEEL_HALF, ("tern.galley", "tern", "tip")), {}, ["partner-edge"]),
    "one half twice": ("small-halves", (HEEL_HALF, ("wren.galley", "tern", "heel")), {}, ["partner-edge"]),
}


@pytest.mark.parametrize("row", BESIDE)
def test_edges_cut_in_turn(row, tmp_path):
    name, edges, changes, expected = BESIDE[row]
    make_repository(tmp_path, [in_turn(name, *edges, **changes)], [protocol(SMALL_BLADES if name == "small-blades" else SMALL_HALVES)])
    assert codes(tmp_path) == expected


def simulated(changes=None):
    return submission({"/origin": "simulated", "/blades/0/steel/designation": "demo-plain-carbon"} | (changes or {}))


def other_blade(changes):
    return second({f"/blades/0/{name}": value for name, value in changes.items()})


PLAIN = {f"/blades/0/{name}": None for name in ("steel", "edge")}

# Situation -> submissions, codes, and words that the message must hold.
TWO_FILES = {
    "two good files about one blade": ([submission(), second()], [], ""),
    "a file copied under another id": (
        [submission(), submission({"/id": "wren-2"})],
        ["duplicate-content"],
        "submissions/measured/small-rope/wren-1.json",
    ),
    "one id, measured and simulated": (
        [submission(), simulated()],
        ["id-used-twice", "facts-disagree"],
        "",
    ),
    "a real steel in the demonstration": (
        [pilot(), simulated({"/blades/0/steel/designation": "1095"})],
        ["real-steel"],
        "'1095'",
    ),
    "an invented steel in the demonstration": ([pilot(), simulated()], [], ""),
    "two files say different things of a blade's edge": (
        [submission({"/blades/0/edge": None, "/blades/0/grind": "flat"}), other_blade({"grind": "hollow"})],
        ["facts-disagree"],
        "submissions/measured/small-rope/wren-1.json",
    ),
    "two files say different things of a blade's profile": (
        [submission({"/blades/0/profile": "straight"}), other_blade({"profile": "recurve"})],
        ["facts-disagree"],
        "'straight'",
    ),
    "two files say different things of a blade's steel": (
        [submission(), other_blade({"steel": {"designation": "52100"}})],
        ["facts-disagree"],
        "'aisi-1095'",
    ),
    "the same steel by two of its names": (
        [submission(), other_blade({"steel": {"designation": "uns G10950"}})],
        [],
        "",
    ),
    "one file does not know the steel": ([submission(), other_blade({"steel": None})], [], ""),
    "two files say different things of a blade's batch": (
        [submission({"/blades/0/batch": "forge.one"}), other_blade({"batch": "forge.two"})],
        ["facts-disagree"],
        "'forge.one'",
    ),
    "one batch, two steels": (
        [
            submission({"/blades/0/batch": "forge.one"}),
            second(
                {
                    "/blades/0": {
                        "key": "tern.galley",
                        "batch": "forge.one",
                        "steel": {"designation": "52100"},
                    },
                    "/preparations/0/blade": "tern.galley",
                    "/preparations/1/blade": "tern.galley",
                }
            ),
        ],
        ["facts-disagree"],
        "batch 'forge.one'",
    ),
    "the same thickness in two units": (
        [
            submission({"/blades/0/thickness_behind_edge": {"written": 0.3175, "unit": "mm"}}),
            other_blade({"thickness_behind_edge": {"written": "1/80", "unit": "in"}}),
        ],
        [],
        "",
    ),
    "another thickness": (
        [
            submission({"/blades/0/thickness_behind_edge": {"written": 0.3, "unit": "mm"}}),
            other_blade({"thickness_behind_edge": {"written": 0.4, "unit": "mm"}}),
        ],
        ["facts-disagree"],
        "0.3 mm",
    ),
    "one instrument, two kinds": (
        [submission(), second({"/instruments/0/kind": "spring balance"})],
        ["facts-disagree"],
        "instrument 'wren.scale'",
    ),
    "one lot, two media": (
        [submission(), second({"/lots/0/medium": "rope, nylon"})],
        ["wrong-medium", "facts-disagree"],
        "",
    ),
}


@pytest.mark.parametrize("row", TWO_FILES)
def test_two_files(row, tmp_path):
    records, expected, words = TWO_FILES[row]
    make_repository(tmp_path, records)
    findings = load_repository(tmp_path, today=TODAY).findings
    assert sorted(f.code for f in findings) == sorted(expected)
    assert any(words in f.message for f in findings) or not words


def test_ten_files_from_one_evening_are_all_kept(tmp_path):
    """Ten files from one evening: nothing to find here; pooling counts them as one cluster."""
    records = [submission({"/id": f"wren-{n}", f"{FIRST_VALUE}/written": 1.5 + n / 100}) for n in range(10)]
    make_repository(tmp_path, records)
    repository = load_repository(tmp_path, today=TODAY)
    assert (len(repository.submissions), repository.findings) == (10, ())


# --- versions and events of a protocol ---


def test_a_draft_takes_no_submission(tmp_path):
    make_repository(tmp_path, adopted=False)
    assert codes(tmp_path) == ["protocol-draft"]


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (["released"], ["protocol-draft"]),
        (["released", "opened for review"], ["pilot"]),
        (["released", "opened for review", "adopted"], []),
        (["released", "adopted"], ["event-order"]),
        (["adopted"], ["event-order"]),
        (["released", "released"], ["event-order", "protocol-draft"]),
    ],
)
def test_life_of_a_version_decides_whether_it_takes_submissions(kinds, expected, tmp_path):
    make_repository(tmp_path, adopted=False)
    folder = tmp_path / "protocols" / "small-rope"
    sha256 = hashlib.sha256((folder / "1.0.0.md").read_bytes()).hexdigest()
    for number, kind in enumerate(kinds, 1):
        facts = {"released": {"sha256": sha256}, "adopted": {"by": "moot", "pilot": "wren-1"}}
        write_event(folder, number, event(kind, "1.0.0", month="2026-05", **facts.get(kind, {})))
    assert codes(tmp_path) == expected


@pytest.mark.parametrize(("month", "expected"), [("2026-06", []), ("2026-05", ["protocol-retired"])])
def test_a_retired_version_takes_only_runs_from_before(month, expected, tmp_path):
    make_repository(tmp_path)
    write_event(tmp_path / "protocols" / "small-rope", 4, event("retired", "1.0.0", month=month))
    assert codes(tmp_path) == expected


def test_a_released_version_never_changes(tmp_path):
    make_repository(tmp_path)
    path = tmp_path / "protocols" / "small-rope" / "1.0.0.md"
    path.write_text(path.read_text() + "One word more.\n")
    assert codes(tmp_path) == ["released-changed"]


def test_events_are_numbered_without_a_gap_and_name_versions_that_exist(tmp_path):
    make_repository(tmp_path)
    write_event(tmp_path / "protocols" / "small-rope", 5, event("retired", "1.0.1", month="2026-07"))
    assert sorted(codes(tmp_path)) == ["month-in-future", "unknown-version", "wrong-number"]


@pytest.mark.parametrize(("pilot", "expected"), [("wren-1", []), ("wren-2", ["unknown-reference"])])
def test_the_pilot_of_an_adoption_exists(pilot, expected, tmp_path):
    make_repository(tmp_path)
    write_event(tmp_path / "protocols" / "small-rope", 3, event("adopted", "1.0.0", by="moot", month="2026-05", pilot=pilot))
    assert codes(tmp_path) == expected


NEXT = {"/version": "1.1.0", "/changes": "one more checkpoint"}
LATE = endpoint(id="late", at=40, role="late", primary=False)
CHAIN = {
    "a checkpoint and an endpoint more": ({"/work/checkpoints/-": 80, "/endpoints/-": LATE}, []),
    "an accepted unit more": ({"/reading/accepted_units/-": "kgf"}, []),
    "an endpoint computed otherwise": ({"/endpoints/0/at": 20}, ["version-incompatible"]),
    "an endpoint gone": ({"/endpoints": [endpoint(id="other")]}, ["version-incompatible"]),
    "another canonical unit": ({"/reading/canonical_unit": "gf"}, ["version-incompatible"]),
    "another medium": ({"/medium/name": "rope, hemp"}, ["version-incompatible"]),
    "the other way keener": ({"/reading/keener": "higher"}, ["version-incompatible"]),
    "the other way keener in a new MAJOR": ({"/reading/keener": "higher", "/version": "2.0.0"}, []),
    "another title in a PATCH": ({"/title": "A method", "/version": "1.0.1"}, []),
    "repeats in a PATCH": ({"/reading/repeats": 3, "/version": "1.0.1"}, ["bump-too-small"]),
    "another medium in a PATCH": ({"/medium/name": "rope, hemp", "/version": "1.0.1"}, ["version-incompatible"]),
    "another title in a MINOR": ({"/title": "A method"}, ["bump-too-large"]),
    "a checkpoint more in a MAJOR": ({"/work/checkpoints/-": 80, "/version": "2.0.0"}, ["bump-too-large"]),
    "a reading made otherwise in a MAJOR": ({"/reading/description": "Force to part a thread", "/version": "2.0.0"}, []),
    "a MINOR left out": ({"/reading/repeats": 3, "/version": "1.2.0"}, ["version-skipped"]),
    "a PATCH in a new MINOR": ({"/reading/repeats": 3, "/version": "1.1.1"}, ["version-skipped"]),
}


@pytest.mark.parametrize("row", CHAIN)
def test_a_version_number_fits_what_differs(row, tmp_path):
    changes, expected = CHAIN[row]
    make_repository(tmp_path, protocols=[protocol(), protocol(NEXT | changes)])
    assert codes(tmp_path) == expected


def test_the_finding_names_the_field_that_forces_a_larger_number(tmp_path):
    versions = [protocol(), protocol(NEXT | {"/reading/keener": "higher"}), protocol({"/version": "1.1.1", "/reading/keener": "higher"})]
    versions[2]["reading"]["repeats"] = 3
    make_repository(tmp_path, protocols=versions)
    incompatible, small = load_repository(tmp_path, today=TODAY).findings
    assert (incompatible.pointer, incompatible.code) == ("/reading/keener", "version-incompatible")
    assert "reading, keener is 'higher', it was 'lower'" in incompatible.message
    assert incompatible.cure == "put it back as in 1.0.0, or call the version 2.0.0"
    assert (small.file, small.pointer) == ("protocols/small-rope/1.1.1.md", "/reading/repeats")
    assert "reading, repeats is 3, it was 2; from 1.1.0 to 1.1.1 only the PATCH number grows" in small.message
    assert small.cure == "put it back as in 1.1.0, or call the version 1.2.0"


LIFE = endpoint(id="life", kind="life", role="overall", at=None, threshold={"value": 4})
PROTOCOL = {
    "no endpoint is primary": ({"/endpoints/0/primary": False}, ["one-primary"]),
    "two endpoints are primary": ({"/endpoints/-": LIFE}, ["one-primary"]),
    "a level without its work": ({"/endpoints/0/at": None}, ["endpoint-form"]),
    "a level beyond the last checkpoint": ({"/endpoints/0/at": 80}, ["not-a-checkpoint"]),
    "a level with a threshold": ({"/endpoints/0/threshold": {"value": 4}}, ["endpoint-form"]),
    "a window that ends before it starts": (
        {"/endpoints/-": endpoint(id="hold", kind="window", at=None, start=20, end=10, primary=False)},
        ["endpoint-form"],
    ),
    "an absolute life is primary": ({"/endpoints": [LIFE]}, []),
    "a relative life is primary without a reason": (
        {"/endpoints": [LIFE | {"threshold": {"value": 0.5, "relative": True}}]},
        ["reason-needed"],
    ),
    "a loss is primary with a reason": (
        {"/endpoints": [endpoint(kind="loss", at=None, start=0, end=40, reason="asked for")]},
        [],
    ),
    "a loss is primary without a reason": (
        {"/endpoints": [endpoint(kind="loss", at=None, start=0, end=40)]},
        ["reason-needed"],
    ),
    "two endpoints with one id": ({"/endpoints/-": LIFE | {"id": "early", "primary": False}}, ["duplicate-id"]),
    "checkpoints that do not begin at 0": ({"/work/checkpoints/0": 1}, ["checkpoints-form"]),
    "checkpoints out of order": ({"/work/checkpoints": [0, 10, 5, 20, 40]}, ["checkpoints-form"]),
    "early is no checkpoint": ({"/early_checkpoint": 12}, ["not-a-checkpoint"]),
    "early after late": ({"/early_checkpoint": 40, "/late_checkpoint": 20}, ["checkpoints-form"]),
    "a step that the method does not have": ({"/threats/0/steps": ["s9-nowhere"]}, ["unknown-step"]),
    "work in newtons": ({"/work/unit": "N", "/work/accepted_units": ["N"]}, ["wrong-unit", "wrong-unit"]),
    "the canonical unit is not accepted": ({"/reading/accepted_units": ["gf"]}, ["wrong-unit"]),
    "force without a way that is keener": ({"/reading/keener": None}, ["reading-form"]),
    "an empty plausible range": ({"/reading/plausible_low": 40}, ["reading-form"]),
    "a figure that is not there": (
        {"/figures": [{"file": "figures/rig.svg", "sha256": "0" * 64, "caption": "the rig"}]},
        ["missing-figure"],
    ),
    "id con for a protocol": ({"/id": "con"}, ["reserved-id"]),
    "a level computed from pass or fail": (PASS_FAIL | {"/endpoints": [endpoint()]}, ["endpoint-form"]),
    "an implausible range for pass or fail": (PASS_FAIL | {"/reading/plausible_low": 1}, ["reading-form"]),
}


@pytest.mark.parametrize("row", PROTOCOL)
def test_one_protocol(row, tmp_path):
    changes, expected = PROTOCOL[row]
    make_repository(tmp_path, [], [protocol(changes)])
    findings = load_repository(tmp_path, today=TODAY).findings
    assert [f.code for f in findings] == expected
    assert {f.severity for f in findings} <= {ERROR}


def test_two_steps_may_not_share_an_id(tmp_path):
    body = "\n### s1-prepare\n\nOnce.\n\n### s1-prepare\n\nTwice.\n"
    make_repository(tmp_path, [], body=body)
    assert codes(tmp_path) == ["duplicate-id"]


def _figure(root, drawing, sha256=None):
    path = write(root / "protocols" / "small-rope" / "figures" / "rig.svg", drawing)
    return {"file": "figures/rig.svg", "sha256": sha256 or hashlib.sha256(path.read_bytes()).hexdigest(), "caption": "c"}


GOOD_DRAWING = '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0"/><title>one rig</title></svg>'


@pytest.mark.parametrize(
    ("drawing", "sha256", "expected"),
    [
        (GOOD_DRAWING, None, []),
        (GOOD_DRAWING, "0" * 64, ["wrong-hash"]),
        (GOOD_DRAWING.replace("<path", "<script>alert(1)</script><path"), None, ["active-figure"]),
        (GOOD_DRAWING.replace("<path", '<path onclick="x()"'), None, ["active-figure"]),
        (GOOD_DRAWING.replace("<path", '<a href="https://elsewhere.example">x</a><path'), None, ["active-figure"]),
    ],
)
def test_drawings_are_the_hashed_ones_and_nothing_but_drawings(drawing, sha256, expected, tmp_path):
    make_repository(tmp_path, protocols=[protocol() | {"figures": [_figure(tmp_path, drawing, sha256)]}])
    assert codes(tmp_path) == expected


def test_a_figure_that_no_version_names_has_no_place(tmp_path):
    make_repository(tmp_path)
    _figure(tmp_path, GOOD_DRAWING)
    assert codes(tmp_path) == ["unexpected-file"]


# --- files and paths ---


def test_the_path_is_the_key(tmp_path):
    make_repository(tmp_path, [pilot()])
    folder = tmp_path / "submissions" / "measured" / "small-rope"
    write(folder / "tern-1.json", json.dumps(submission()))
    assert codes(tmp_path) == ["path-disagrees"]
    path = load_repository(tmp_path, today=TODAY).findings[0]
    assert path.pointer == "/id" and "'wren-1'" in path.message and "'tern-1'" in path.message


def test_a_protocol_in_the_wrong_folder(tmp_path):
    make_repository(tmp_path, [])
    write_protocol(tmp_path, protocol({"/id": "other"})).rename(tmp_path / "protocols" / "small-rope" / "1.0.1.md")
    assert codes(tmp_path) == ["path-disagrees", "path-disagrees"]


def test_measured_in_the_simulated_folder(tmp_path):
    make_repository(tmp_path, [pilot()])
    write(tmp_path / "submissions" / "simulated" / "small-rope" / "wren-1.json", json.dumps(submission()))
    assert codes(tmp_path) == ["path-disagrees"]


def test_capitals_in_an_id(tmp_path):
    make_repository(tmp_path, [submission({"/id": "Tern-9"}), pilot()])
    found = load_repository(tmp_path, today=TODAY).findings
    assert [f.code for f in found] == ["wrong-case"] and "'tern-9'" in found[0].cure


def test_two_ids_that_differ_in_capitals_only(tmp_path):
    make_repository(tmp_path, [submission({"/id": "wren-9"}), second({"/id": "Wren-9"}), pilot()])
    assert sorted(codes(tmp_path)) == ["ids-differ-in-case", "wrong-case"]


@pytest.mark.parametrize(
    "path",
    [
        "protocols/notes.txt",
        "protocols/small-rope/draft.md",
        "protocols/small-rope/extra/thing.txt",
        "protocols/small-rope/events/adopted.yaml",
        "protocols/small-rope/figures/rig.png",
        "protocols/small-rope/objections/first/00-objection.md",
        "submissions/other/small-rope/wren-2.json",
        "submissions/measured/wren-2.json",
        "submissions/measured/small-rope/wren-2.csv",
        "submissions/measured/small-rope/deeper/wren-2.json",
        "submissions/measured/small-rope/.hidden",
    ],
)
def test_files_without_a_place(path, tmp_path):
    make_repository(tmp_path)
    write(tmp_path / path, "x")
    assert codes(tmp_path) == ["unexpected-file"]


@pytest.mark.parametrize("path", ["submissions/README.md", "protocols/.gitkeep", "submissions/simulated/effects.json"])
def test_files_that_may_lie_beside(path, tmp_path):
    make_repository(tmp_path)
    write(tmp_path / path, "{}")
    assert codes(tmp_path) == []


@pytest.mark.parametrize(
    "link",
    [
        "submissions/measured/small-rope/wren-2.json",
        "submissions/measured/elsewhere",
        "protocols/elsewhere",
        "protocols/small-rope/figures",
        "protocols/small-rope/1.0.1.md",
    ],
)
def test_links_are_refused_and_never_followed(link, tmp_path):
    secret = write(tmp_path / "outside" / "secret.json", json.dumps(second({"/month": "2099-01"})))
    root = make_repository(tmp_path / "repository")
    target = secret if link.endswith((".json", ".md")) else secret.parent
    (root / link).symlink_to(target)
    assert codes(root) == ["link-refused"]


def test_a_pipe_is_no_file(tmp_path):
    make_repository(tmp_path)
    os.mkfifo(tmp_path / "submissions" / "measured" / "small-rope" / "wren-2.json")
    assert codes(tmp_path) == ["not-a-file"]


def test_a_new_steel_may_come_with_its_first_result(tmp_path):
    steel = {"id": "aisi-9999", "origin": "measured", "family": "low alloy", "names": [{"system": "AISI/SAE", "designation": "9999"}]}
    make_repository(tmp_path, [submission({"/blades/0/steel/designation": "9999"})])
    assert codes(tmp_path) == ["unknown-steel"]
    register = json.dumps({"note": "a test's own", "steels": [steel]})
    write(tmp_path / "aggregator" / "registers" / "steels.json", register)
    repository = load_repository(tmp_path, today=TODAY)
    assert repository.findings == ()
    assert repository.submissions[0].runs[0].steel == "aisi-9999"


def test_a_register_that_cannot_be_read_is_a_finding(tmp_path):
    make_repository(tmp_path)
    write(tmp_path / "aggregator" / "registers" / "steels.json", "{")
    assert codes(tmp_path) == ["register-unreadable"]


def test_the_second_of_two_contradicting_pull_requests_goes_red(tmp_path):
    """Two green pull requests that contradict each other on a blade: each alone is green, together one is red."""
    one, two = submission({"/blades/0/grind": "flat"}), other_blade({"grind": "hollow"})
    root = make_repository(tmp_path, [one])
    assert codes(root) == []
    write_submission(root, two)
    (finding,) = load_repository(root, today=TODAY).findings
    assert finding.file == submission_path(root, two).relative_to(root).as_posix()
    assert "wren-1.json" in finding.message and "correct the wrong file" in finding.cure
