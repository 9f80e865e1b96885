"""What a row says of its run beside steel and people, for probes."""

import json
import math

import pytest

from edgehold.endpoints import endpoint_rows
from edgehold.endpoints.moderators import moderators_of
from edgehold.records.model.submission import Submission
from tests.endpoints.repositories import make_protocol, make_repository, make_run

LEVELS = [{"kind": "level", "at": 0, "primary": True}, {"kind": "level", "at": 20}]
FULL = {0: (2.0, 2.0, 2.0), 5: (2.4, 2.4, 2.5), 10: (2.8, 2.8, 2.8), 20: (3.2, 3.3, 3.2)}


def rows_of(readings, endpoints=LEVELS, **facts):
    protocol = make_protocol(endpoints)
    return endpoint_rows(make_repository(protocol, [make_run(protocol, readings, **facts)]))


def of(run=None, blade=None, preparation=None, **facts):
    """The facts of one run whose record is changed."""
    protocol = make_protocol(LEVELS)
    made = make_run(protocol, FULL, **facts)
    (submission,) = make_repository(protocol, [made]).submissions
    data = submission.record.model_dump(mode="json")
    for part, change in ((data["runs"][0], run), (data["blades"][0], blade), (data["preparations"][0], preparation)):
        part.update(change or {})
    record = Submission.model_validate_json(json.dumps(data))
    return moderators_of(submission.__class__(record, "x.json", "0" * 64, (made,)), made)


def test_what_nobody_noted_is_none():
    assert set(of().values()) == {None}


@pytest.mark.parametrize(("blinding", "blinded"), [("none", False), ("helper coded", True), ("sealed", True), (None, None)])
def test_a_tester_is_blinded_by_a_code_or_a_seal(blinding, blinded):
    assert of(blinding=blinding)["blinded"] is blinded


def test_the_place_in_a_coil_counts_only_where_the_coil_stayed_the_same():
    assert of(coil_position_m=12.0)["coil_position_m"] == 12.0
    assert of({"lot_changes": [{"at_work": 7, "lot": "wren.coil"}]}, coil_position_m=12.0)["coil_position_m"] is None


@pytest.mark.parametrize(
    ("stated", "expected"),
    [
        ([{"person": "wren", "interest": "owner"}], True),
        ([{"person": "wren", "interest": "none"}], False),
        ([{"person": "tern", "interest": "maker"}], False),
        ([], False),
    ],
)
def test_an_interest_is_the_testers_own(stated, expected):
    assert of(blade={"interest": stated})["interest"] is expected


def test_the_finish_is_the_last_abrasive_as_written_and_else_as_its_designation_stands_for():
    coarse = {"as_printed": "P400", "grit_system": "FEPA P", "grit": "P400"}
    assert of(preparation={"stages": [coarse, {"as_printed": "fine", "micrometres": 4.0}]})["finish_um"] == 4.0
    # ISO 6344-3: the median size of P400 is 35.0 micrometres.
    assert of(preparation={"stages": [{"as_printed": "fine", "micrometres": 4.0}, coarse]})["finish_um"] == 35.0
    assert of(preparation={"stages": [coarse, {"as_printed": "fine"}]})["finish_um"] is None
    assert of(preparation={"stages": []})["finish_um"] is None


def test_hardness_and_guesses_stand_as_written():
    found = of({"tester_guess": {"sharpener": "tern", "blade": "wren.galley"}}, {"hardness": {"hrc": 61.5}})
    assert (found["hrc"], found["guessed_sharpener"], found["guessed_blade"]) == (61.5, "tern", "wren.galley")


def test_the_start_stands_beside_every_endpoint_but_itself():
    at_0, later = rows_of(FULL)
    assert (at_0.start, math.isnan(at_0.start_se)) == (None, True)
    assert later.start == pytest.approx(-math.log(2.0))
    assert later.start_se > 0


@pytest.mark.parametrize(
    "readings",
    [
        {5: (2.4, 2.4, 2.5), 20: (3.2, 3.3, 3.2)},
        {0: (60.0, 60.0, 60.0), 5: (2.4, 2.4, 2.5), 20: (3.2, 3.3, 3.2)},
        FULL | {0: (4.0, 4.0, 4.0)},
    ],
    ids=["not read", "over the end of the scale", "a burr, as the next reading shows"],
)
def test_there_is_no_start_where_it_was_not_read(readings):
    assert rows_of(readings)[1].start is None


LIFE = [{"kind": "life", "threshold": {"value": 4.0, "relative": False}, "fit_from": "zero", "primary": True}]


def straight(start_n, slope=0.4):
    """Readings of an edge whose ln force rises straight with ln(w + 5)."""
    return {w: (start_n * math.exp(slope * math.log((w + 5) / 5)),) * 3 for w in (0, 5, 10, 20, 40, 80, 160)}


def test_a_relative_life_asks_for_the_loss_that_takes_the_usual_start_to_the_threshold():
    # Two edges on one straight slope start at 1 N and 2 N: the usual start is √2 N, the loss wanted ln(4/√2) for both. Each has lost it
    # where 0.4 ln((w + 5)/5) is that; the absolute lives differ.
    protocol = make_protocol(LIFE)
    runs = [make_run(protocol, straight(force), n) for n, force in enumerate((1.0, 2.0), start=1)]
    keen, blunt = endpoint_rows(make_repository(protocol, runs))
    work = 5 * math.expm1(math.log(4 / math.sqrt(2)) / 0.4)
    assert keen.relative_life == pytest.approx(math.log(work), abs=1e-6)
    assert blunt.relative_life == pytest.approx(math.log(work), abs=1e-6)
    assert blunt.low == pytest.approx(math.log(5 * math.expm1(math.log(4 / 2) / 0.4)), abs=1e-6)


def test_there_is_no_relative_life_without_a_start_beside_a_relative_threshold_or_at_a_level():
    without = {w: force for w, force in straight(2.0).items() if w > 0}
    assert rows_of(without, LIFE)[0].relative_life is None
    relative = [LIFE[0] | {"threshold": {"value": 0.5, "relative": True}}]
    assert rows_of(straight(2.0), relative)[0].relative_life is None
    assert rows_of(FULL)[1].relative_life is None
