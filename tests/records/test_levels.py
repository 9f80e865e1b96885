"""Which level of a protocol a run is of: told by a recorded fact, written in the file, mislabelled, unlabelled, of two levels."""

import json

import pytest

from edgehold.records import load_repository
from edgehold.records.canonical import LoadedProtocol
from edgehold.records.facts import EdgeOfRun
from edgehold.records.levels import judged
from edgehold.records.model.protocol import Level, Protocol
from edgehold.records.model.submission import Preparation
from edgehold.records.rules.bumps import bump_needed

from .builder import SMALL_FACTS, SMALL_LEVELS, TODAY, level, make_repository, of_levels, protocol, submission

COARSE = {"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400"}  # 35 micrometres in FEPA 43-1
FINE = {"as_printed": "fine", "micrometres": 3}


def of_two_edges(name: str, **changes: object) -> dict:
    """A submission with a coarse edge and a fine one, before the changes."""
    told = {"/protocol/id": name, "/format": "submission/1.5.0", "/preparations/0/stages": [COARSE], "/preparations/1/stages": [FINE]}
    return submission(told | {f"/{place}": value for place, value in changes.items()})


FACTS = {
    "preparations/0/edge_angle": {"basis": "per side", "left_deg": 12, "right_deg": 17},
    "preparations/1/edge_angle": {"basis": "both together", "left_deg": 30},
}
# Situation -> protocol, changes, codes of the check.
LEVELS = {
    "a coarse and a fine edge": ("small-levels", {}, []),
    "the level that the fact shows is written too": ("small-levels", {"runs/0/level": "coarse"}, []),
    "written as fine, last abrasive 35 micrometres": ("small-levels", {"runs/0/level": "fine"}, ["level-disagrees"]),
    "a level that the protocol does not have": ("small-levels", {"runs/0/level": "polished"}, ["unknown-level"]),
    "between the two": ("small-levels", {"preparations/1/stages": [FINE | {"micrometres": 12}]}, ["no-level"]),
    "between the two, and left as it came": (
        "small-levels", {"preparations/1/stages": [FINE | {"micrometres": 12}], "runs/1/level": "as it came"}, [],
    ),
    "a stone of which nothing is known": ("small-levels", {"preparations/1/stages": None}, ["no-level"]),
    "a stone of which nothing is known, called fine": (
        "small-levels", {"preparations/1/stages": [{"as_printed": "fine side"}], "runs/1/level": "fine"}, ["level-not-shown"],
    ),
    "coarse, and as it came": ("small-levels", {"runs/0/level": "as it came"}, ["two-levels"]),
    "a level where the protocol compares none": ("small-rope", {"runs/0/level": "coarse"}, ["level-not-asked"]),
    "no fact known": ("small-facts", {}, ["no-level", "no-level"]),
    "an angle of one and of both sides": ("small-facts", FACTS, ["no-level"]),
    "a last stage at a larger angle": (
        "small-facts",
        FACTS | {"preparations/1/stages": [FINE | {"angle_deg": 18}]},
        [],
    ),
    "thick, and hard": (
        "small-facts",
        {"blades/0/thickness_behind_edge": {"written": "1/32", "unit": "in"}, "blades/0/hardness": {"hrc": 62}},
        ["two-levels", "two-levels"],
    ),
    "stropped, and not": ("small-facts", {"preparations/0/strop": "Leather, none too clean", "preparations/1/strop": "hemp"}, ["no-level"]),
    "a word in a word": ("small-facts", {"preparations/0/deburring": "leatherette", "preparations/1/deburring": "LEATHER."}, ["no-level"]),
    "new, and in a condition": (
        "small-facts",
        {"preparations/0/sharpener": "factory", "preparations/0/start_state": "factory", "preparations/1/condition": "before the course"},
        [],
    ),
}  # fmt: skip
FRONTS = {"small-levels": protocol(SMALL_LEVELS), "small-facts": protocol(SMALL_FACTS), "small-rope": protocol()}


def codes(root):
    return [found.code for found in load_repository(root, today=TODAY).findings]


@pytest.mark.parametrize("why", LEVELS)
def test_what_a_run_is_of(why, tmp_path):
    name, changes, expected = LEVELS[why]
    make_repository(tmp_path, [of_two_edges(name, **changes)], [FRONTS[name]])
    assert codes(tmp_path) == expected


def levels_of(tmp_path, name, **changes):
    make_repository(tmp_path, [of_two_edges(name, **changes)], [FRONTS[name]])
    (one,) = load_repository(tmp_path).submissions
    return [run.level for run in one.runs]


def test_a_run_has_the_one_level_that_it_fits_and_else_none(tmp_path):
    assert levels_of(tmp_path / "a", "small-levels") == ["coarse", "fine"]
    assert levels_of(tmp_path / "b", "small-levels", **{"runs/0/level": "as it came"}) == [None, "fine"]
    assert levels_of(tmp_path / "c", "small-levels", **{"preparations/0/stages": None, "runs/0/level": "coarse"}) == ["coarse", "fine"]
    assert levels_of(tmp_path / "d", "small-levels", **{"preparations/0/stages": None}) == [None, "fine"]
    assert levels_of(tmp_path / "e", "small-rope") == [None, None]


def test_a_message_names_the_run_the_levels_and_what_is_recorded(tmp_path):
    make_repository(
        tmp_path, [of_two_edges("small-levels", **{"preparations/1/stages": [FINE | {"micrometres": 12}]})], [FRONTS["small-levels"]]
    )
    (found,) = load_repository(tmp_path).findings
    assert found.pointer == "/runs/1"
    assert found.message == "run 'run-2' is of no level (coarse or fine or as it came): last abrasive 12 µm"


def test_one_persons_edges_in_two_compared_conditions_are_one_sharpeners(tmp_path):
    conditions = {"preparations/0/condition": "before", "preparations/1/condition": "after", "preparations/1/sharpener": "wren"}
    told = of_levels(
        "small-facts", "course", level("before", fact="condition", words=["before"]), level("after", fact="condition", words=["after"])
    )
    for name, front in (("course", protocol(told)), ("other", FRONTS["small-facts"])):
        make_repository(tmp_path / name, [of_two_edges("small-facts", **conditions)], [front])
    by = {name: [run.sharpener for run in load_repository(tmp_path / name).submissions[0].runs] for name in ("course", "other")}
    assert by["course"] == ["wren", "wren"]
    assert by["other"] == ["wren", "wren"]  # there, too, a level is told by the condition


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"/question/levels": []}, "/question/levels"),
        ({"/question/factor": "steel"}, "/question/levels"),
        ({"/question/treatment": None}, "/question/treatment"),
        ({"/question/levels/1/word": "Coarse"}, "/question/levels/1/word"),
        ({"/question/levels/1/word": "fine (stropped)"}, "/question/levels/1/word"),
        ({"/question/levels/1/rule/below": 30}, "/question/levels/1/rule"),
        ({"/question/levels/0/rule/at_least": 80}, "/question/levels/0/rule/below"),
        ({"/question/levels/0/rule": {"fact": "last abrasive"}}, "/question/levels/0/rule"),
        ({"/question/levels/0/rule/words": ["P400"]}, "/question/levels/0/rule"),
        ({"/question/levels/0/rule": {"fact": "strop", "below": 3}}, "/question/levels/0/rule"),
        ({"/estimand": "same stone"}, "/estimand"),
    ],
)
def test_levels_that_do_not_fit_are_found_at_their_place(changes, place, tmp_path):
    make_repository(tmp_path, [], [protocol(SMALL_LEVELS | changes)])
    assert place in [found.pointer for found in load_repository(tmp_path).findings if found.code in ("levels-form", "duplicate-id")]


def test_the_levels_of_the_corpus_fit(tmp_path):
    make_repository(tmp_path, [], list(FRONTS.values()))
    assert [found.code for found in load_repository(tmp_path).findings if found.code == "levels-form"] == []


def test_a_number_stands_in_a_band_from_its_lower_limit_on():
    band = [Level.model_validate(level("a", fact="last abrasive", at_least=6, below=20), strict=False)]
    sizes = {size: judged(band, None, EdgeOfRun(_with_last(size), None)).fits for size in (5.999, 6, 19.999, 20)}
    assert sizes == {5.999: (), 6: ("a",), 19.999: ("a",), 20: ()}


def _with_last(micrometres):
    told = {"id": "edge-1", "blade": "wren.galley", "sharpener": "wren", "stages": [{"as_printed": "x", "micrometres": micrometres}]}
    return Preparation.model_validate(told, strict=False)


@pytest.mark.parametrize(
    ("changes", "asked"),
    [
        ({"/question/levels/0/text": "Said otherwise."}, "patch"),
        ({"/question/treatment": "the last stone"}, "patch"),
        ({"/question/levels/0/rule/below": 70}, "major"),
        ({"/question/levels/2": level("left alone")}, "major"),
    ],
)
def test_other_levels_are_another_question_and_other_words_for_them_are_not(changes, asked):
    older, newer = (
        Protocol.model_validate_json(json.dumps(protocol(SMALL_LEVELS | more))) for more in ({}, changes | {"/version": "1.0.1"})
    )
    assert bump_needed(*(LoadedProtocol(record, "", "", "") for record in (older, newer))).level == asked
