"""What differs between two versions of a protocol, and what that asks of the version's number."""

from pathlib import Path

import pytest

from edgehold.records import load_repository
from edgehold.records.canonical import LoadedProtocol
from edgehold.records.model.protocol import Protocol
from edgehold.records.read.form import read_record
from edgehold.records.rules.bumps import bump_needed
from edgehold.records.rules.differences import field_differences, steps_touched, text_differences

from .builder import BODY, PASS_FAIL, REMOVED, changed, endpoint, protocol

ROOT = Path(__file__).parents[2]


def version(changes=None, body=BODY, base=None):
    record, problems = read_record(Protocol, changed(base or protocol(), changes or {}))
    assert not problems
    return LoadedProtocol(record, body, "", "")


def differences(changes):
    return [(d.pointer, d.names, d.before, d.after) for d in field_differences(version().record, version(changes).record)]


def test_two_alike_differ_in_nothing():
    assert differences({"/version": "1.0.1", "/changes": "a word"}) == []


FIELDS = {
    "a field inside another": (
        {"/reading/repeats": 3},
        [("/reading/repeats", ("reading", "repeats"), 2, 3)],
    ),
    "a value more in a list": (
        {"/work/checkpoints/-": 80},
        [("/work/checkpoints/5", ("work", "checkpoints", "80"), None, 80.0)],
    ),
    "a value less in a list": (
        {"/work/checkpoints/1": REMOVED},
        [("/work/checkpoints/1", ("work", "checkpoints", "5"), 5.0, None)],
    ),
    "the order of a list": (
        {"/reading/accepted_units": ["gf", "N"]},
        [("/reading/accepted_units", ("reading", "accepted_units"), ("N", "gf"), ("gf", "N"))],
    ),
    "a field of an endpoint that has moved in its list": (
        {"/endpoints": [endpoint(id="late", at=40, primary=False), endpoint(at=20)]},
        [
            ("/endpoints/0", ("endpoints", "late"), None, version({"/endpoints/-": endpoint(id="late", at=40, primary=False)})),
            ("/endpoints/1/at", ("endpoints", "early", "at"), 10.0, 20.0),
        ],
    ),
    "where a need is to be had": (
        {"/needs/0/where": "cheap"},
        [("/needs/0/where", ("needs", "A kitchen scale", "where"), "in the house", "cheap")],
    ),
    "a value that was null": (
        {"/work/force_limit_n": 50},
        [("/work/force_limit_n", ("work", "force_limit_n"), None, 50.0)],
    ),
}


@pytest.mark.parametrize("row", FIELDS)
def test_the_front_matter_is_compared_field_by_field(row):
    changes, expected = FIELDS[row]
    whole = [(p, n, b, a.record.endpoints[1].model_dump()) if isinstance(a, LoadedProtocol) else (p, n, b, a) for p, n, b, a in expected]
    assert differences(changes) == whole


def test_a_text_is_compared_by_line_and_long_unchanged_stretches_are_counted():
    older = [f"line {i}" for i in range(20)]
    newer = [*older[:9], "nine", "and a half", *older[10:]]
    found = [(d.kind, d.lines, d.folded) for d in text_differences("\n".join(older), "\n".join(newer))]
    assert found == [
        ("same", (), 6),
        ("same", ("line 6", "line 7", "line 8"), 0),
        ("removed", ("line 9",), 0),
        ("added", ("nine", "and a half"), 0),
        ("same", ("line 10", "line 11", "line 12"), 0),
        ("same", (), 7),
    ]


def test_both_texts_can_be_put_together_again():
    older, newer = "a\nb\nc\nd", "a\nc\nx\nd"
    found = text_differences(older, newer)
    assert [line for d in found if d.kind != "added" for line in d.lines] == older.split("\n")
    assert [line for d in found if d.kind != "removed" for line in d.lines] == newer.split("\n")


def test_texts_too_long_to_compare_are_shown_whole():
    older, newer = "a\n" * 5_001, "b\nc"
    assert [(d.kind, len(d.lines)) for d in text_differences(older, newer)] == [("removed", 5_001), ("added", 2)]


FIGURE = {"file": "figures/rig.svg", "sha256": "0" * 64, "caption": "The rig"}
DRAWN = BODY.replace("Cut and read.", "![The rig](figures/rig.svg)")
STEPS = {
    "no word": ({}, BODY, {}, BODY, set()),
    "a word": ({}, BODY, {}, BODY.replace("sharpen.", "then sharpen."), {"s1-prepare"}),
    "only where lines break": ({}, BODY, {}, BODY.replace("Flatten the apex, sharpen.", "Flatten the apex,\nsharpen."), set()),
    "a step more": ({}, BODY, {}, BODY + "\n### s3-clean-up\n\nSweep.\n", {"s3-clean-up"}),
    "a step less": ({}, BODY + "\n### s3-clean-up\n\nSweep.\n", {}, BODY, {"s3-clean-up"}),
    "words below the steps": ({}, BODY, {}, BODY + "\n## What is computed\n\nA ratio.\n", set()),
    "words of a part of a step": (
        {},
        BODY + "\n#### Thread\n\nCotton.\n\n## After\n",
        {},
        BODY + "\n#### Thread\n\nLinen.\n\n## After\n",
        {"s2-cut-and-read"},
    ),
    "the step's drawing": ({"/figures": [FIGURE]}, DRAWN, {"/figures": [FIGURE | {"sha256": "1" * 64}]}, DRAWN, {"s2-cut-and-read"}),
    "a threat it deals with": ({}, BODY, {"/threats/0/text": "The stone loads"}, BODY, {"s1-prepare"}),
    "which step deals with a threat": ({}, BODY, {"/threats/0/steps": ["s2-cut-and-read"]}, BODY, {"s1-prepare", "s2-cut-and-read"}),
}


@pytest.mark.parametrize("row", STEPS)
def test_a_step_is_touched_by_its_words_drawings_and_threats(row):
    before, older, after, newer, expected = STEPS[row]
    assert steps_touched(version(before, older), version(after, newer)) == expected


LIFE = endpoint(
    id="life", kind="life", at=None, threshold={"value": 4}, fit_from="first positive checkpoint", primary=False, role="overall"
)
ONLY_LIFE = changed(protocol(), {"/endpoints": [LIFE | {"primary": True}]})
PAPER = changed(protocol(), PASS_FAIL)
DULLING = changed(protocol(), {"/reading/dulls": True})
WINDOW = changed(protocol(), {"/endpoints": [endpoint(kind="window", at=None, start=10, end=40)]})
PARTS = {"once": 20, "sharpening": 8, "unit_seconds": 12, "value_seconds": 50, "runs_a_hand": 8, "source": "made up for a test"}
BUMPS = {
    "nothing": ({}, None, "patch", ""),
    "the title": ({"/title": "A small method"}, None, "patch", ""),
    "an endpoint's title": ({"/endpoints/0/title": "Early"}, None, "patch", ""),
    "minutes": ({"/minutes/one_run": 40}, None, "patch", ""),
    "what minutes are made of": ({"/minutes/parts": PARTS}, None, "patch", ""),
    "halves cut in turn": ({"/design/side_by_side": "halves"}, None, "major", "/design/side_by_side"),
    "a caution more": ({"/cautions/-": "Eye protection"}, None, "patch", ""),
    "a threat more": ({"/threats/-": {"threat": "medium", "text": "Damp", "steps": []}}, None, "patch", ""),
    "a checkpoint more": ({"/work/checkpoints/-": 80}, None, "minor", "/work/checkpoints/5"),
    "a checkpoint less that no endpoint needs": ({"/work/checkpoints/3": REMOVED}, None, "minor", "/work/checkpoints/3"),
    "an endpoint more": ({"/endpoints/-": endpoint(id="late", at=40, primary=False)}, None, "minor", "/endpoints/1"),
    "an accepted unit more": ({"/reading/accepted_units/-": "kgf"}, None, "minor", "/reading/accepted_units/2"),
    "repeats": ({"/reading/repeats": 3}, None, "minor", "/reading/repeats"),
    "what is worthwhile": ({"/endpoints/0/worthwhile_ratio": 1.3}, None, "minor", "/endpoints/0/worthwhile_ratio"),
    "how a cut is made": ({"/work/stroke": "A saw"}, None, "minor", "/work/stroke"),
    "how a reading is made": ({"/reading/description": "Force to cut"}, None, "minor", "/reading/description"),
    "what is needed": ({"/needs/0/item": "A spring scale"}, None, "minor", "/needs/0"),
    "the early checkpoint": ({"/early_checkpoint": 5}, None, "minor", "/early_checkpoint"),
    "the factor": ({"/question/factor": "steel"}, None, "major", "/question/factor"),
    "the estimand": ({"/estimand": "same stone"}, None, "major", "/estimand"),
    "the medium": ({"/medium/name": "card"}, None, "major", "/medium/name"),
    "the stretch of edge": ({"/work/edge_stretch_mm": 60}, None, "major", "/work/edge_stretch_mm"),
    "the unit of work": ({"/work/unit": "cuts"}, None, "major", "/work/unit"),
    "the reading's unit": ({"/reading/canonical_unit": "gf"}, None, "major", "/reading/canonical_unit"),
    "which way is keener": ({"/reading/keener": "higher"}, None, "major", "/reading/keener"),
    "whether reading dulls": ({"/reading/dulls": True}, None, "major", "/reading/dulls"),
    "where an endpoint is read": ({"/endpoints/0/at": 20}, None, "major", "/endpoints/0/at"),
    "a threshold": ({"/endpoints/0/threshold/value": 5}, ONLY_LIFE, "major", "/endpoints/0/threshold/value"),
    "where a life begins": ({"/endpoints/0/fit_from": "zero"}, ONLY_LIFE, "major", "/endpoints/0/fit_from"),
    "an endpoint less": ({"/endpoints": [endpoint(id="other")]}, None, "major", "/endpoints"),
    "a checkpoint less that a level is read at": ({"/work/checkpoints/2": REMOVED}, None, "major", "/work/checkpoints"),
    "a checkpoint less where a window ends": ({"/work/checkpoints/4": REMOVED}, WINDOW, "major", "/work/checkpoints"),
    "another first positive checkpoint": ({"/work/checkpoints/1": 2}, None, "major", "/work/checkpoints"),
    "a checkpoint more where reading dulls": ({"/work/checkpoints/-": 80}, DULLING, "major", "/work/checkpoints"),
    "repeats where reading dulls": ({"/reading/repeats": 3}, DULLING, "major", "/reading/repeats"),
    "repeats of a pass or fail": ({"/reading/repeats": 3}, PAPER, "major", "/reading/repeats"),
    "the gravest counts, not the first": ({"/work/stroke": "A saw", "/reading/keener": "higher"}, None, "major", "/reading/keener"),
}


@pytest.mark.parametrize("row", BUMPS)
def test_what_differs_asks_for_its_part_of_the_number(row):
    changes, base, level, place = BUMPS[row]
    found = bump_needed(version(base=base), version(changes, base=base))
    assert (found.level, found.pointer if level != "patch" else "") == (level, place)


def test_a_step_more_asks_for_minor():
    found = bump_needed(version(), version(body=BODY + "\n### s3-clean-up\n\nSweep.\n"))
    assert (found.level, found.why) == ("minor", "the step 's3-clean-up' is new")


def test_reworded_steps_are_a_patch():
    assert bump_needed(version(), version(body=BODY.replace("sharpen", "hone"))).level == "patch"


def test_the_published_versions_ask_for_no_more_than_they_took():
    protocols = load_repository(ROOT).protocols
    pairs = [
        ("two-sharpeners-rope", "1.0.0", "1.1.0", "minor", "/work/checkpoints/6"),
        ("two-sharpeners-rope", "1.1.0", "2.0.0", "major", "/work/edge_stretch_mm"),
        ("steels-exchanged-rope", "1.0.0", "2.0.0", "minor", "/reading/description"),
    ]
    for name, older, newer, level, place in pairs:
        found = bump_needed(protocols[name, older], protocols[name, newer])
        assert (found.level, found.pointer) == (level, place)
