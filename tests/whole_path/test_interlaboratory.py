"""The main job against the outside: a published interlaboratory study goes through the whole path.

Glucose in serum, 8 laboratories x 5 materials x 3 replicates: the worked example of ASTM E691, data as distributed with the R
package ILS. Laboratory = tester, material = circulating blade, replicate = run. For materials A, D and E the results agree with
the published table (rounded there, from memory); for B and C some cells of the data differ from it, so that these values are
computed from the data, not published.
"""

import json
from pathlib import Path

import pytest

from edgehold.everything import find_everything
from edgehold.pipeline import read
from edgehold.results.publish.assemble import assemble

from .repositories import changed_reading, level_endpoint, protocol_text, run, submission, write_repository

REFERENCE = json.loads((Path(__file__).parents[1] / "reference" / "e691_glucose.json").read_text(encoding="utf-8"))

# Published in the standard's table, as printed: mean, s_x, s_r, s_R (from memory).
PUBLISHED = {
    "A": (41.5183, 0.6061, 1.0632, 1.0632),
    "D": (194.7170, 2.5950, 2.6251, 3.3657),
    "E": (294.4920, 2.6931, 3.9350, 4.1923),
}


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Interlaboratory tables of the pool, by material."""
    root = write_repository(
        tmp_path_factory.mktemp("glucose"),
        protocol_text(reading=changed_reading(repeats=1, scale_end=1000, plausible_high=500), endpoints=[level_endpoint(0)]),
        [laboratory(name) for name in sorted({lab for lab, _, _ in REFERENCE["rows"]})],
    )
    (pool,) = assemble(find_everything(read(root))).pools
    (endpoint,) = pool.endpoints
    return {table.item.removeprefix("round-robin."): table for table in endpoint.interlaboratory}


def laboratory(name: str) -> dict:
    rows = [(material, value) for lab, material, value in REFERENCE["rows"] if lab == name]
    runs = [
        run(number, f"round-robin.{material.lower()}", name.lower(), [(0, [value])])
        for number, (material, value) in enumerate(rows, start=1)
    ]
    blades = [{"key": f"round-robin.{letter}", "edge": "plain"} for letter in "abcde"]
    return submission(f"glucose-{name.lower()}", [name.lower()], blades, runs)


@pytest.mark.parametrize("material", "ADE")
def test_published_repeatability_and_reproducibility_come_out_of_the_whole_path(tables, material):
    table = tables[material.lower()]
    mean, _, s_r, s_big_r = PUBLISHED[material]
    assert (table.scale, table.unit, table.testers, table.runs) == ("reading unit", "N", 8, 24)
    assert (table.mean, table.s_r, table.s_R) == pytest.approx((mean, s_r, s_big_r), abs=1.01e-4)


@pytest.mark.parametrize("material", "ABCDE")
def test_every_computed_value_agrees_to_nine_digits(tables, material):
    table, expected = tables[material.lower()], REFERENCE["results"][material]
    assert table.s_r == pytest.approx(expected["s_r"], rel=1e-9)
    assert table.s_R == pytest.approx(expected["s_R"], rel=1e-9)
    assert [cell.h for cell in table.cells] == pytest.approx(expected["h"], rel=1e-8)
    assert [cell.k for cell in table.cells] == pytest.approx(expected["k"], rel=1e-8)
    assert table.h_critical == pytest.approx(expected["h_critical"]["0.005"], rel=1e-6)
    assert table.k_critical == pytest.approx(expected["k_critical"]["0.005"], rel=1e-6)


def test_the_two_known_outlying_cells_are_flagged_and_none_is_dropped(tables):
    flagged = {
        (name, cell.code)
        for name, table in tables.items()
        for cell in table.cells
        if any(flag.startswith("k ") and flag.endswith("(0.5 %)") for flag in cell.flags)
    }
    assert flagged == {("c", 4), ("e", 2)}, "k(4, C) = 2.41 and k(2, E) = 2.33 exceed 2.06 (ASTM E691)"
    assert all(len(table.cells) == 8 for table in tables.values())
