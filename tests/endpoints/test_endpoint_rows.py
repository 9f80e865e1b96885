"""From runs to rows: the endpoints of a protocol, and the awkward runs that real practice brings."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.endpoints import curve_points, endpoint_rows
from edgehold.records.facts import per_side
from edgehold.records.model.submission import EdgeAngle

from .repositories import make_protocol, make_repository, make_run

LEVEL = {"kind": "level", "at": 20, "id": "level", "primary": True}
LATE = {"kind": "level", "at": 80, "id": "late"}
WINDOW = {"kind": "window", "start": 10, "end": 80, "id": "window"}
LOSS = {"kind": "loss", "start": 0, "end": 80, "id": "loss"}
LIFE = {"kind": "life", "threshold": {"value": 5.0}, "id": "life"}
RELATIVE = {"kind": "life", "threshold": {"value": 0.45, "relative": True}, "id": "relative"}
ALL = [LEVEL, LATE, WINDOW, LOSS, LIFE, RELATIVE]
FORCES = {0: 1.0, 5: 1.5, 10: 2.0, 20: 2.6, 40: 4.0, 80: 6.0, 160: 9.0}


def readings(until=160, skip=(), replace=None, spread=0.02):
    """Three repeats at every checkpoint up to ``until``."""
    forces = {w: f for w, f in (FORCES | (replace or {})).items() if w <= until and w not in skip}
    return {w: (f * (1 - spread), f, f * (1 + spread)) for w, f in sorted(forces.items())}


def rows_of(read, endpoints=ALL, changed=(), angle=None, **facts):
    protocol = make_protocol(endpoints)
    run = make_run(protocol, read, **facts)
    rows = endpoint_rows(make_repository(protocol, [run], changed, angle))
    return {row.endpoint: row for row in rows}


def test_every_endpoint_of_a_whole_run_is_exact():
    rows = rows_of(readings())
    assert {row.status for row in rows.values()} == {"exact"}
    assert rows["level"].low == pytest.approx(-np.mean(np.log([2.6 * 0.98, 2.6, 2.6 * 1.02])))
    assert rows["level"].raw == pytest.approx(2.6)
    assert rows["loss"].low == pytest.approx(math.log(1 / 6), abs=1e-6)
    assert 40 < math.exp(rows["life"].low) < 80
    assert math.isnan(rows["life"].raw) and math.isnan(rows["window"].raw)


# situations: "no reading at 0"
def test_without_a_reading_at_0_levels_and_absolute_life_stand_and_the_rest_says_why():
    rows = rows_of(readings(skip=(0,)))
    assert {rows[name].status for name in ("level", "late", "window", "life")} == {"exact"}
    for name in ("loss", "relative"):
        assert rows[name].status == "missing"
        assert rows[name].reason == "not computed: no reading at 0"
        assert math.isnan(rows[name].low) and math.isnan(rows[name].high)


# situations: "read at 22 instead of 20"
def test_a_reading_at_22_instead_of_20_is_kept_and_interpolated():
    rows = rows_of(readings(skip=(20,), replace={22: 2.8}))
    u = np.log(np.array([10, 22, 20]) + 5)
    k10, k22 = -np.log(2.0), -np.log(2.8)
    expected = k10 + (u[2] - u[0]) / (u[1] - u[0]) * (k22 - k10)
    assert rows["level"].low == pytest.approx(expected, abs=1e-3)
    assert math.isnan(rows["level"].raw)
    assert rows["window"].status == "exact"
    assert "read off a checkpoint" in rows["level"].flags


def test_a_window_with_a_checkpoint_left_out_is_not_computed():
    assert rows_of(readings(skip=(20,)))["window"].reason == "not computed: no reading near 20 cuts"


@pytest.mark.parametrize("ended", ["medium ran out", "tester stopped", "edge damaged", "edge touched up"])
def test_levels_after_an_early_end_are_missing_and_say_so(ended):
    rows = rows_of(readings(until=40), ended=ended)
    assert rows["level"].status == "exact"
    assert rows["late"].reason == f"not computed: the run ended before 80 cuts ({ended})"
    assert rows["life"].status == "right"
    assert rows["life"].low == pytest.approx(math.log(40))


def test_levels_after_a_dull_end_are_at_most_the_last_reading():
    rows = rows_of(readings(until=40), ended="dull")
    assert (rows["late"].status, rows["late"].low) == ("left", -math.inf)
    assert rows["late"].high == pytest.approx(-math.log(4.0), abs=1e-3)
    assert rows["window"].status == "left" and rows["loss"].status == "left"
    assert rows["late"].reason


# situations: "chip at 40 cuts"
def test_a_damaged_edge_keeps_its_readings_and_censors_and_marks_its_life():
    rows = rows_of(readings(until=40), ended="edge damaged")
    assert rows["life"].damaged and rows["life"].status == "right"
    assert "edge damaged" in rows["life"].flags
    protocol = make_protocol(ALL)
    assert len(curve_points(make_repository(protocol, [make_run(protocol, readings(until=40))]))) == 5


# situations: "stropped in the middle of a run"
def test_a_touched_up_edge_ends_its_run_there():
    row = rows_of(readings(until=20), ended="edge touched up")["life"]
    assert (row.status, row.damaged, row.flags) == ("right", False, ("edge touched up",))


# situations: "coil or lot changed during a run"
def test_a_change_of_lot_is_flagged():
    assert "lot changed during the run" in rows_of(readings(), changed=("r1",))["level"].flags


# situations: "sharper at 5 cuts than at 0"
def test_a_run_sharper_at_5_than_at_0_asks_about_a_burr_and_keeps_raw_and_smoothed():
    read = readings(replace={0: 2.2, 5: 1.4})
    assert "burr at the start?" in rows_of(read)["level"].flags
    protocol = make_protocol(ALL)
    points = curve_points(make_repository(protocol, [make_run(protocol, read)]))
    assert points[1].keenness > points[0].keenness
    assert points[1].smoothed == points[0].smoothed == pytest.approx(-(math.log(2.2) + math.log(1.4)) / 2, abs=1e-3)


# situations: "reading 0, or over the scale's end"
def test_a_reading_of_0_bounds_the_level_and_is_never_ln_0():
    read = readings() | {20: (0.0, 0.0, 0.0)}
    row = rows_of(read)["level"]
    assert (row.status, row.high) == ("right", math.inf)
    assert math.isfinite(row.low)
    assert math.isnan(row.raw) and math.isnan(row.reading_se)


def test_an_interpolated_level_next_to_a_reading_off_the_scale_is_a_bound():
    row = rows_of({0: (1.0,), 10: (2.0,), 40: (60.0,)}, [LEVEL])["level"]
    assert row.status == "left"


# situations: "two testers in one run"
def test_a_run_with_two_testers_is_kept_and_marked():
    row = rows_of(readings(), split_tester=True)["level"]
    assert row.split_tester and row.status == "exact" and "two testers in one run" in row.flags


# situations: "three identical repeats"
def test_identical_repeats_have_a_reading_error():
    assert rows_of(readings(spread=0.0))["level"].reading_se > 0


def test_a_run_without_readings_is_a_row_with_a_reason():
    assert {row.reason for row in rows_of({}).values()} == {"not computed: no readings"}


def test_a_relative_life_ends_at_a_share_of_the_sharpness_whichever_way_the_reading_runs():
    lower = rows_of(readings())["relative"]
    protocol = make_protocol([RELATIVE], {"keener": "higher", "scale_end": None, "resolution": None})
    inverse = {w: tuple(1 / x for x in values) for w, values in readings().items()}
    higher = endpoint_rows(make_repository(protocol, [make_run(protocol, inverse)]))[0]
    share = math.log(1 / 0.45 / 2.0) / math.log(2.6 / 2.0)  # between 2.0 N at 10 and 2.6 N at 20
    assert math.exp(lower.low) == pytest.approx(15 * (25 / 15) ** share - 5, rel=1e-3)
    assert higher.low == pytest.approx(lower.low, abs=1e-9)


# situations: "pass, fail, pass"
def test_pass_fail_pass_is_an_interval_and_flagged():
    protocol = make_protocol([{"kind": "life", "id": "life", "primary": True}], name="life-on-card")
    read = {0: [True] * 3, 1: [True] * 3, 2: [False] * 3, 4: [True] * 3, 8: [False] * 3, 16: [False] * 3}
    row = endpoint_rows(make_repository(protocol, [make_run(protocol, read)]))[0]
    assert (row.status, math.exp(row.low), math.exp(row.high)) == ("interval", 1.0, pytest.approx(8.0))
    assert "passed again after a fail" in row.flags
    assert curve_points(make_repository(protocol, [make_run(protocol, read)])) == ()


@pytest.mark.parametrize(
    ("basis", "left", "right", "expected"),
    [("per side", 15, None, 15), ("per side", 14, 18, 16), ("both together", 30, None, 15)],
)
def test_an_angle_is_per_side_only_as_its_basis_says(basis, left, right, expected):
    assert per_side(EdgeAngle(basis=basis, left_deg=float(left), right_deg=right and float(right))) == expected


def test_the_draws_of_a_run_depend_on_its_names_alone():
    noisy = readings(replace={40: 4.9}, spread=0.4)
    protocol = make_protocol([LIFE])
    alone = endpoint_rows(make_repository(protocol, [make_run(protocol, noisy)]))[0]
    second = [make_run(protocol, noisy, 2), make_run(protocol, noisy, 1)]
    both = endpoint_rows(make_repository(protocol, second))
    assert (alone.low, alone.high) == (both[1].low, both[1].high)
    assert (both[0].low, both[0].high) != (both[1].low, both[1].high)


FORCE = st.floats(0.3, 40)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(FORCE, FORCE), min_size=14, max_size=14), st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_changing_the_units_of_work_and_reading_changes_no_difference_between_runs(values, per_work, per_reading):
    works, change = list(FORCES), {"work": per_work, "reading": per_reading}
    one, other = (_rows_in_units(values, works, change if changed else None) for changed in (False, True))
    for a, b in zip(one, other, strict=True):
        assert a.status == b.status
    by_endpoint = {a.endpoint for a in one}
    for name in by_endpoint:
        first, second = ([row for row in found if row.endpoint == name] for found in (one, other))
        for side in ("low", "high"):
            differences = [
                getattr(pair[0], side) - getattr(pair[1], side)
                for pair in (first, second)
                if np.isfinite([getattr(r, side) for r in pair]).all()
            ]
            if len(differences) == 2:
                assert differences[0] == pytest.approx(differences[1], abs=1e-7)


def _rows_in_units(values, works, change):
    """Rows of two runs, in the protocol's units or all in others."""
    w, r = (change["work"], change["reading"]) if change else (1.0, 1.0)
    scaled = [rule | {k: rule[k] * w for k in ("at", "start", "end") if k in rule} for rule in (LEVEL, LATE, WINDOW, LOSS)]
    lives = [LIFE | {"threshold": {"value": 5.0 * r}}, RELATIVE]
    reading = {"resolution": 0.01 * r, "scale_end": 49 * r, "plausible_low": None, "plausible_high": None}
    protocol = make_protocol([*scaled, *lives], reading, checkpoints=[x * w for x in works])
    n = len(works)
    runs = [
        make_run(protocol, {x * w: tuple(v * r for v in pair) for x, pair in zip(works, part, strict=True)}, i + 1)
        for i, part in enumerate((values[:n], values[n:]))
    ]
    return endpoint_rows(make_repository(protocol, runs))
