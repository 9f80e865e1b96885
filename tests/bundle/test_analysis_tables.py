"""The tables of the analyses hold what the bundle holds, row by row, and say where it comes from."""

import csv
import io
import json
import sys
from pathlib import Path

import pytest

from aggregator.bundle import analysis_tables
from aggregator.bundle.csv_cells import csv_bytes
from aggregator.bundle.model import Results

sys.path.insert(0, str(Path(__file__).parents[1] / "pages"))
from sample import results

TABLES = ["spreads", "crossed_contrasts", "network", "curve_comparisons", "probes"]


def read(name: str, of: Results) -> list[dict[str, str]]:
    columns, rows = getattr(analysis_tables, name)(of)
    return list(csv.DictReader(io.StringIO(csv_bytes(columns, rows).decode())))


@pytest.fixture(scope="module")
def both() -> Results:
    return results(measured=4, simulated=4)


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_every_column_and_says_whether_it_was_measured(name, both):
    columns, rows = getattr(analysis_tables, name)(both)
    assert rows
    assert {len(row) for row in rows} == {len(columns)}
    assert {row["origin"] for row in read(name, both)} == {"measured", "simulated"}
    assert {row["origin"] for row in read(name, results(measured=0, simulated=4))} == {"simulated"}


@pytest.mark.parametrize("name", TABLES)
def test_no_submission_gives_a_table_with_a_head_only(name):
    columns, rows = getattr(analysis_tables, name)(results(0, 0))
    assert columns and rows == []


def test_a_spread_without_a_number_leaves_its_figures_empty_and_one_with_only_a_limit_keeps_the_limit(both):
    rows = {(r["endpoint"], r["what"], r["state"]): r for r in read("spreads", both) if r["protocol"] == "steels-rope"}
    nothing, limit = rows["late", "batch", "no number"], rows["late", "tester", "upper limit only"]
    assert [nothing[k] for k in ("ln_sd", "ln_sd_high", "typical_ratio", "typical_high", "most_ratio")] == [""] * 5
    assert nothing["reason"] == "Only one batch is known."
    assert limit["typical_ratio"] == "" and float(limit["typical_high"]) > 1
    zero = rows["late", "steel × sharpener", "given"]
    assert zero["ln_sd"] == "0" and zero["typical_ratio"] == "1"


def test_a_contrast_that_cannot_be_told_has_a_reason_and_no_number(both):
    told = {r["told"]: r for r in read("crossed_contrasts", both) if r["endpoint"] == "late"}
    assert told["no"]["ratio"] == told["no"]["new_hands_high"] == told["no"]["within_ratio"] == "" and told["no"]["reason"]
    model = both.pools[0].endpoints[1].crossed
    first, row = model.contrasts[0], read("crossed_contrasts", results(0, 4))[0]
    assert (row["first"], row["second"]) == (first.first, first.second)
    assert float(row["ratio"]) == pytest.approx(first.result.ratio, rel=1e-9)
    assert float(row["simultaneous_high"]) == pytest.approx(first.simultaneous.high, rel=1e-9)
    assert float(row["new_hands_low"]) == pytest.approx(first.new_hands.low, rel=1e-9)
    assert float(row["new_hands_measured_low"]) == pytest.approx(first.new_hands_measured.low, rel=1e-9)
    assert float(row["within_high"]) == pytest.approx(first.within.high, rel=1e-9)


def test_a_pair_that_never_met_names_the_steels_that_link_it(both):
    rows = [r for r in read("network", both) if r["endpoint"] == "late" and r["origin"] == "measured"]
    (linked,) = (r for r in rows if r["evidence"] == "indirect")
    assert linked["path"] == "demo-plain-carbon > demo-fine-stainless > demo-powder-stainless" and linked["direct_studies"] == "0"
    assert all(r["ratio"] == "" and r["reason"] for r in rows if r["evidence"] == "not linked")


def test_an_unbounded_limit_of_a_curve_is_empty(both):
    rows = [r for r in read("curve_comparisons", both) if r["view"] == "same sharpness"]
    assert {r["high"] == "" for r in rows} == {True, False}
    assert all(r["low"] != "" for r in rows)


def test_text_that_could_start_a_formula_stays_text(both):
    probe = both.pools[0].endpoints[0].probes[0].model_copy(update={"question": '=HYPERLINK("x")'})
    endpoint = both.pools[0].endpoints[0].model_copy(update={"probes": (probe,)})
    pool = both.pools[0].model_copy(update={"endpoints": (endpoint,)})
    (row,) = read("probes", both.model_copy(update={"pools": (pool,)}))
    assert row["question"] == '\'=HYPERLINK("x")'


def test_the_package_describes_every_column_of_every_table():
    from aggregator.bundle.tables import datapackage

    made = {name: getattr(analysis_tables, name)(results(0, 0)) for name in TABLES}
    package = json.loads(datapackage(made))
    for resource in package["resources"]:
        fields = resource["schema"]["fields"]
        assert [f["name"] for f in fields] == list(made[resource["name"]][0])
        assert {f["type"] for f in fields} <= {"string", "number", "integer", "boolean"} and all(f["description"] for f in fields)
