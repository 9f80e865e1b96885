"""The parts of the study of the probes, and a few seeds of it; the study itself is in probe_coverage.md."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import fields, replace
from unittest import mock

import numpy as np
import probe_runs
import pytest
from probe_coverage import ALL_PROBES, CORE, NOT_DRAWN, ROWS, alarms, covered, line, lines, run, summary
from probe_runs import NOTHING, PLANTED, STEELS, Design, Effects, draw

from edgehold.records.probe_names import PROBE_NAMES

NAMES = PROBE_NAMES - NOT_DRAWN
SMALL = Design(8, PLANTED)


def without_luck(effects: Effects):
    """Rows in which nothing is drawn but the design."""
    nil = {name: dict.fromkeys(getattr(probe_runs, name), 0.0) for name in ("SDS", "START_SDS", "GAP_SDS")}
    with mock.patch.multiple(probe_runs, START_READ=0.0, **nil):
        return draw(Design(20, effects), 1)


def test_the_same_seed_draws_the_same_rows_and_another_draws_others():
    assert draw(SMALL, 1).rows == draw(SMALL, 1).rows
    assert draw(SMALL, 1).rows[0].low != draw(SMALL, 2).rows[0].low


def test_every_probe_has_a_truth_and_with_nothing_planted_it_is_that_nothing_is_found():
    assert set(draw(SMALL, 1).truth) == NAMES
    truth = draw(Design(8, NOTHING), 1).truth
    assert all(value == (NOTHING.first if name.startswith("steels") else 0.0) for name, value in truth.items())
    nil = ("first", "first_starts", "first_wider", "first_harder", "first_coarse")
    assert all(getattr(NOTHING, field.name) == 0 for field in fields(NOTHING) if field.name not in nil)
    assert all(getattr(PLANTED, field.name) for field in fields(PLANTED))


@pytest.mark.parametrize(
    ("effect", "probe", "columns"),
    [
        ("coil_10m", "coil-position", lambda row: row.coil_position_m / 10),
        ("humidity_10", "humidity", lambda row: (row.humidity_percent - 60) / 10),
        ("order", "run-order", lambda row: ((row.order - 1) % 4) / 4),
        ("expectation", "blinding", lambda row: float(row.own_sharpening and not row.blinded)),
        ("own", "own-sharpening", lambda row: float(row.own_sharpening)),
        ("right_guess", "tester-guess", lambda row: float(row.guessed_sharpener == row.sharpener)),
        ("interest", "interest", lambda row: float(row.interest)),
        ("angle_deg", "edge-angle", lambda row: row.angle_deg / 5),
        ("finish_ln", "finish", lambda row: math.log(row.finish_um) / math.log(2)),
        ("hrc", "hardness", lambda row: row.hrc),
        ("start", "start-keenness", lambda row: row.start / math.log(1.1)),
    ],
)
def test_without_luck_a_run_reads_its_steel_and_what_is_planted_alone(effect, probe, columns):
    effects = replace(NOTHING, **{effect: 0.1})
    drawn = without_luck(effects)
    for row in drawn.rows:
        assert row.low == pytest.approx(columns(row) * drawn.truth[probe] + NOTHING.first * (row.steel == STEELS[0]), abs=1e-9)


def test_the_life_relative_to_the_start_favours_the_first_steel_by_what_is_planted():
    drawn = without_luck(replace(NOTHING, relative_life=-0.2))
    assert {round(row.relative_life - row.low, 9) for row in drawn.rows if row.steel == STEELS[0]} == {-0.2}
    assert {round(row.relative_life - row.low, 9) for row in drawn.rows if row.steel == STEELS[1]} == {0.0}


def test_lots_and_starts_vary_as_stated():
    lots, starts = [], []
    for seed in range(40):
        drawn = draw(Design(20, PLANTED), seed)
        starts += [row.start for row in drawn.rows if row.steel == STEELS[1]]
        lots.append(Counter(row.lot for row in drawn.rows))
    assert all(4 <= len(one) <= 6 for one in lots)
    wanted = sum(sd**2 for sd in probe_runs.START_SDS.values()) + probe_runs.START_READ**2 / 3
    assert np.var(starts) == pytest.approx(wanted, rel=0.1)


def test_one_start_of_the_search_finds_what_four_find():
    for seed in (1, 2):
        once, whole = line(SMALL, seed), line(SMALL, seed, whole=True)
        for probe, figure in once["probes"].items():
            assert figure.get("off") == pytest.approx(whole["probes"][probe].get("off"), abs=1e-5), probe


def test_later_seeds_are_asked_the_core():
    assert set(line(SMALL, ALL_PROBES)["probes"]) == NAMES
    assert set(line(SMALL, ALL_PROBES + 1)["probes"]) == set(CORE) < NAMES


def test_a_run_goes_on_where_it_stopped(tmp_path):
    run(["nothing 8"], tmp_path, 1, 2, math.inf)
    before = (tmp_path / "nothing 8.jsonl").read_bytes()
    run(["nothing 8"], tmp_path, 1, 2, math.inf)
    assert (tmp_path / "nothing 8.jsonl").read_bytes() == before
    run(["nothing 8"], tmp_path, 1, 3, 0.0)
    assert [one["seed"] for one in lines(tmp_path / "nothing 8.jsonl")] == [1, 2]


def made(n: int, held: float, rung: float) -> list[dict]:
    """Lines of one probe with stated shares."""
    figure = [{"off": 0.1, "half": 0.2, "held": i < held * n, "p": 0.01 if i < rung * n else 0.5} for i in range(n)]
    return [{"seed": i, "probes": dict.fromkeys(NAMES, one)} for i, one in enumerate(figure)]


def test_bounds_are_wilsons_and_a_bound_is_kept_missed_or_not_claimed():
    # Wilson's limits by hand for 1900 of 2000 with z = 2.3263: (.95 + z²/4000 ∓ z √(.95·.05/2000 + z²/(4·2000²)))/(1 + z²/2000)
    z = 2.3263478740408408
    low = (0.95 + z**2 / 4000 - z * math.sqrt(0.95 * 0.05 / 2000 + z**2 / (4 * 2000**2))) / (1 + z**2 / 2000)
    assert covered(made(2000, 0.95, 0.05), "lot") == pytest.approx((0.95, low, 2000))
    assert alarms(made(2000, 0.95, 0.05), "lot") == pytest.approx((0.05, 1 - low, 2000))
    kept = summary({"planted 8": made(2000, 0.95, 0.05), "nothing 8": made(2000, 0.95, 0.05)})
    assert "missed" not in kept
    assert "not claimed" not in kept
    missed = summary({"planted 8": made(2000, 0.92, 0.05), "nothing 8": made(2000, 0.95, 0.08)})
    assert missed.count("**missed**") == 19 + 15, "of the probes at an equal value with nothing planted only the coverage is judged"
    assert summary({"planted 8": made(60, 1.0, 0.0)}).count("not claimed") == 19


def test_the_rows_are_those_asked_for():
    assert {design.submissions for design in ROWS.values()} == {8, 20, 40}
    assert {design.effects for design in ROWS.values()} == {PLANTED, NOTHING}
