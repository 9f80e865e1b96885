"""Comparisons that nothing but reference edges links hold the truth about as often as they say: a small part of the study at every run."""

from dataclasses import replace

import numpy as np
import pytest
from reference_coverage import DESIGNS, HIGH, SDS, STEELS, draw, line, shift, shift_summary, summary

BY_NAME = {design.name: design for design in DESIGNS}


@pytest.mark.parametrize(("pools", "least"), [(8, 5), pytest.param(16, 12, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", ["two lone tables", "eight lone tables, two lots go round"])
def test_intervals_through_references_hold_the_truth_about_as_often_as_they_say(name, pools, least):
    """95 % of 8 is 7.6, of 16 15.2; fewer than the least happens once in 1,000 such tests of a true 95 %, or more seldom."""
    told = [line(BY_NAME[name], seed) for seed in range(1, pools + 1)]
    assert all(one["evidence"] == "reference" and one["read off"] for one in told)
    assert sum(one["shown held"] for one in told) >= least
    assert {one["about"] for one in told} == {"blades" if name.startswith("two lone") else "steels"}


@pytest.mark.parametrize("pools", [3, pytest.param(6, marks=pytest.mark.long)])
def test_a_rig_that_reads_high_is_wholly_in_the_ratio_without_references_and_hardly_with_them(pools):
    """Between two lone tables. With references about a tenth of ln 1.3 is left, .03, with a standard deviation of .03 a pool."""
    moved = np.array([shift(BY_NAME["two lone tables"], seed) for seed in range(1, pools + 1)])
    assert moved[:, 0] == pytest.approx(-HIGH, abs=0.02)
    assert abs(moved[:, 1].mean()) < 0.25 * HIGH


def test_lone_tables_with_references_are_narrower_than_the_same_tables_without():
    told = [line(BY_NAME["eight lone tables, rigs far apart"], seed) for seed in range(1, 5)]
    assert np.mean([one["steels half"] / one["without half"] for one in told]) < 0.85


def test_the_generator_draws_what_it_says():
    design = replace(BY_NAME["eight lone tables"], tables=400, sds={"lot": 0.3})
    drawn = draw(design, 3)
    assert {row.steel for row in drawn.rows} == set(STEELS) and len({row.tester for row in drawn.rows}) == 400
    assert all(len({row.steel for row in drawn.rows if row.submission == f"file-{t}"}) == 1 for t in range(20))
    edges = {(e.submission, e.when, e.work): e.low for e in drawn.beside.edges}
    fresh = np.array([edges[f"file-{t}", "start", 0.0] for t in range(400)])
    losses = np.array([edges[f"file-{t}", "start", 1.0] - edges[f"file-{t}", "start", 0.0] for t in range(400)])
    wanted = np.sqrt(SDS["rig"] ** 2 + SDS["segment"] ** 2 + SDS["pack"] ** 2 + 0.08**2)
    assert fresh.std() == pytest.approx(wanted, rel=0.12)
    share = np.log1p(1) / np.log1p(16)
    assert losses.std() == pytest.approx(np.sqrt((0.3 * share) ** 2 + 2 * 0.08**2), rel=0.12)
    assert losses.mean() == pytest.approx(-0.25, abs=0.02)
    high = draw(replace(design, reads_high=HIGH), 3)
    moved = np.array([after.keenness - before.keenness for before, after in zip(drawn.points, high.points, strict=True)])
    first = np.array([p.submission == "file-0" for p in drawn.points])
    assert moved[first] == pytest.approx(-HIGH) and np.abs(moved[~first]).max() == 0


def test_a_row_of_either_table_says_what_was_found():
    right = {f"{name} {what}": value for name in ("shown", "steels", "without") for what, value in (("held", True), ("half", 0.5))}
    told = [right, right, right | {"shown held": False}, {"reason": "not linked"}]
    assert summary(BY_NAME["two lone tables"], told) == ("| two lone tables (3 of 4) | 0.667 | 0.50 | 1.000 | 0.50 | 1.000 | 0.50 |")
    assert shift_summary(BY_NAME["four lone tables"], [(-0.1, 0.0), None, (-0.2, 0.0)]) == (
        "| four lone tables (2 of 3) | -0.131 | -0.150 | +0.000 | ×0.86 | ×1.00 |"
    )
