"""The tables of the analyses hold what the bundle holds, row by row, and say where it comes from."""

import csv
import hashlib
import io
import json
import sys
from pathlib import Path

import pytest

from edgehold.results.model.results import Results
from edgehold.results.tables import analyses as analysis_tables
from edgehold.results.tables.cells import csv_bytes
from edgehold.results.tables.package import datapackage, resources
from edgehold.results.tables.typed import csv_of

sys.path.insert(0, str(Path(__file__).parents[1] / "pages"))
from sample import results
from sample_analyses import PAIRS

TABLES = [
    "answers", "answer_methods", "how_much", "spreads", "crossed_fits", "crossed_contrasts", "network", "curve_comparisons", "probes",
]  # fmt: skip


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


def test_an_answer_has_all_its_columns_and_of_single_blades_the_interval_of_the_steels_too(both):
    rows = {(r["first"], r["second"]): r for r in read("answers", both) if (r["endpoint"], r["origin"]) == ("late", "measured")}
    assert " ".join(rows[PAIRS[0]]) == (
        "origin protocol major endpoint factor first second state about sentence verdict reason reason_code reason_arguments "
        "weak weak_code weak_arguments ratio low high level method probability_better "
        "probability_within probability_worse probability_above_one ruled_out_beyond general_ratio general_low general_high "
        "new_hands_ratio new_hands_low new_hands_high new_hands_measured_ratio new_hands_measured_low new_hands_measured_high "
        "new_hands_runs evidence direct_percent units_first units_second direct_submissions testers methods_sentence "
        "files linked_files senders linked_senders counted_percent alone_ratio alone_low alone_high everything_ratio everything_low "
        "everything_high evidence_sentence senders_met without_sender_low without_sender_high senders_needed months_met "
        "without_month_low without_month_high months_needed heavy_tails_ratio heavy_tails_low heavy_tails_high heavy_tails_senders "
        "invented_to_reverse hanging_sentence"
    )
    for n, one in enumerate(both.pools[-1].endpoints[1].steels):
        row = rows[PAIRS[n]]
        for name in ("factor", "state", "about", "verdict", "evidence", "weak", "reason", "sentence"):
            assert row[name] == getattr(one, name)
        for name in ("probability_better", "probability_within", "probability_worse", "probability_above_one", "ruled_out_beyond",
                     "direct_percent", "units_first", "units_second", "direct_submissions", "testers"):  # fmt: skip
            wanted = getattr(one, name)
            assert (row[name] == "") if wanted is None else float(row[name]) == wanted
        for name in ("general", "new_hands", "new_hands_measured"):
            wanted = getattr(one, name)
            ends = [row[f"{name}_low"], row[f"{name}_high"]]
            assert ends == ["", ""] if wanted is None else [float(x) for x in ends] == pytest.approx([wanted.low, wanted.high], rel=1e-9)
        assert row["ratio"] == "" if one.result is None else float(row["ratio"]) == pytest.approx(one.result.ratio, rel=1e-9)
    blades = rows[PAIRS[3]]
    assert (blades["about"], blades["verdict"], blades["probability_better"]) == ("blades", "", "")
    assert float(blades["general_low"]) < float(blades["low"]) < float(blades["high"]) < float(blades["general_high"])
    assert (rows["practised", "novice"]["factor"], rows["practised", "novice"]["about"]) == ("practice", "classes")


def test_every_method_has_a_line_with_its_ratio_or_why_it_has_none(both):
    rows = [r for r in read("answer_methods", both) if (r["endpoint"], r["origin"]) == ("late", "measured")]
    assert (
        " ".join(rows[0])
        == "origin protocol major endpoint factor first second by ratio low high level method reason reason_code reason_arguments"
    )
    assert all((r["ratio"] == "") == (r["reason"] != "") for r in rows)
    told = [r for r in rows if (r["first"], r["second"]) == PAIRS[0]]
    (first,) = (one for one in both.pools[-1].endpoints[1].steels if (one.first, one.second) == PAIRS[0])
    assert [r["by"] for r in told] == [line.method for line in first.methods] and told[0]["by"] == "hierarchical model"
    assert float(told[0]["high"]) == pytest.approx(first.result.high, rel=1e-9)
    assert {(r["first"], r["second"]) for r in rows if r["factor"] == "practice"} == {("practised", "novice")}


def test_how_much_of_what_would_be_the_prior_alone_is_withheld_and_has_no_number(both):
    rows = {(r["endpoint"], r["what"]): r for r in read("how_much", both) if r["origin"] == "measured"}
    figures = ("typical_ratio", "typical_low", "typical_high", "most_ratio", "from_prior_percent")
    reasons = ("reason", "reason_code", "reason_arguments")
    assert list(rows["late", "steel"])[4:] == ["what", "state", *reasons, *figures[:-1], "ln_sd", figures[-1], "levels", "sentence"]
    withheld, given = rows["early", "tester"], rows["late", "tester"]
    assert withheld["state"] == "withheld" and [withheld[k] for k in figures] == [""] * 5 and withheld["reason"]
    assert given["state"] == "given" and all(float(given[k]) > 1 for k in figures) and (given["reason"], given["levels"]) == ("", "9")
    assert rows["late", "practice"]["most_ratio"] == rows["late", "practice"]["from_prior_percent"] == ""
    assert ("life", "steel") not in rows, "without a fit there are none"


def test_a_spread_without_a_number_leaves_its_figures_empty_and_an_estimate_has_no_limits(both):
    rows = {(r["endpoint"], r["what"], r["state"]): r for r in read("spreads", both) if r["protocol"] == "steels-rope"}
    for what, reason in (("batch", "Only one batch is known."), ("tester", "Only four runs cross: the size cannot be told.")):
        nothing = rows["late", what, "no number"]
        assert [nothing[k] for k in ("ln_sd", "ln_sd_high", "typical_ratio", "typical_high", "most_ratio")] == [""] * 5
        assert nothing["reason"] == reason
    zero = rows["late", "steel × sharpener", "given"]
    assert zero["ln_sd"] == "0" and zero["typical_ratio"] == "1" and zero["typical_high"] == ""


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
    published = results(0, 0)
    made = {name: getattr(analysis_tables, name)(published) for name in TABLES}
    files = {f"{name}.csv": csv_of(table) for name, table in made.items()}
    described, _ = resources({name: columns for name, (columns, _) in made.items()}, files)
    package = json.loads(datapackage(described, published.provenance, published.format))
    assert package["version"].startswith(published.format.rpartition("/")[2])
    for resource in package["resources"]:
        fields = resource["schema"]["fields"]
        assert [f["name"] for f in fields] == list(made[resource["name"]][0])
        assert resource["title"] and resource["bytes"] == len(files[resource["path"]])
        assert resource["hash"] == "sha256:" + hashlib.sha256(files[resource["path"]]).hexdigest()
        assert set(resource["schema"].get("primaryKey", [])) <= {f["name"] for f in fields}
        assert {f["type"] for f in fields} <= {"string", "number", "integer", "boolean"} and all(f["description"] for f in fields)
