"""The downloads open in the programs people would use, and say what their descriptions say."""

import json
import shutil
import zipfile
from pathlib import Path

import jsonschema
import numpy as np
import pandas
import pytest
from frictionless import Package

from edgehold.results.model.results import RESULTS_FORMAT

from .kinds import example

SCHEMA = Path(__file__).parents[2] / "schemas" / f"{RESULTS_FORMAT}.json"
NOTHING_YET = ("changes.csv", "removed.csv", "steel_limits.csv")  # nothing was corrected or taken out, and invented steels have no limits
KINDS = {"string": object, "number": np.floating, "integer": np.integer, "boolean": np.bool_}


@pytest.fixture
def package(site) -> dict:
    return json.loads((site / "data" / "datapackage.json").read_text(encoding="utf-8"))


@pytest.fixture
def tables(package) -> list[dict]:
    """The tables as CSV."""
    return [resource for resource in package["resources"] if resource["format"] == "csv"]


def test_the_results_are_valid_against_their_published_schema(site):
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    results = json.loads((site / "data" / "results.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert [error.json_path for error in jsonschema.Draft202012Validator(schema).iter_errors(results)] == []
    assert len(results["submissions"]) >= 60


def test_every_table_opens_in_pandas_with_the_columns_that_are_described(site, tables):
    assert len(tables) >= 5
    for resource in tables:
        fields = {field["name"]: field["type"] for field in resource["schema"]["fields"]}
        table = pandas.read_csv(site / "data" / resource["path"])
        assert list(table.columns) == list(fields), resource["path"]
        assert (len(table) == 0) == (resource["path"] in NOTHING_YET), resource["path"]
        for name, kind in fields.items():
            values = table[name].dropna()
            if kind in ("integer", "number") and len(values):
                assert np.issubdtype(values.dtype, np.number), f"{resource['path']}: {name} is {values.dtype}"
            if kind == "integer":
                assert (values == values.round()).all()
            if kind == "boolean":
                assert set(values.astype(str).str.lower()) <= {"true", "false"}


def test_every_row_that_comes_from_the_demonstration_says_simulated(site, tables):
    for resource in tables:
        if resource["path"] not in NOTHING_YET:
            table = pandas.read_csv(site / "data" / resource["path"])
            invented = table["simulated"] if "simulated" in table else table["origin"] == "simulated"
            assert invented.all(), resource["path"]


def test_the_package_and_all_its_tables_are_valid(site):
    """Frictionless: types, keys, references between tables, constraints, bytes and hashes (Data Package, an open standard)."""
    report = Package(str(site / "data" / "datapackage.json")).validate()
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "type", "message"])[:10]
    assert report.stats["tasks"] == len([*(site / "data").glob("*.csv"), *(site / "data").glob("*.parquet")]) >= 30


def test_what_is_there_as_parquet_is_the_csv_file_with_types(site, package, tables):
    """As pandas reads both; text that a spreadsheet could take for a formula has an apostrophe in the CSV file alone."""
    fields = {resource["name"]: resource["schema"]["fields"] for resource in tables}
    others = [resource for resource in package["resources"] if resource["format"] == "parquet"]
    assert (
        {Path(one["path"]).stem for one in others} == {path.stem for path in (site / "data").glob("*.parquet")} >= {"runs", "contributions"}
    )
    for resource in others:
        name = Path(resource["path"]).stem
        assert resource["schema"]["fields"] == fields[name]
        found, wanted = pandas.read_parquet(site / "data" / resource["path"]), pandas.read_csv(site / "data" / f"{name}.csv")
        assert list(found.columns) == list(wanted.columns) and len(found) == len(wanted), name
        for column in wanted.select_dtypes("number"):
            np.testing.assert_array_equal(found[column].astype(float), wanted[column].astype(float), err_msg=f"{name}: {column}")


def test_a_changed_cell_is_no_longer_the_published_table(site, tmp_path):
    shutil.copytree(site / "data", tmp_path / "data")
    table = tmp_path / "data" / "runs.csv"
    table.write_text(table.read_text(encoding="utf-8").replace(",exact,", ",certain,", 1), encoding="utf-8")
    found = {kind for (kind,) in Package(str(tmp_path / "data" / "datapackage.json")).validate().flatten(["type"])}
    assert {"constraint-error", "hash-count"} <= found


def test_every_run_that_a_model_goes_without_says_why(site):
    left_out = pandas.read_csv(site / "data" / "left_out.csv")
    runs = pandas.read_csv(site / "data" / "runs.csv")
    fits = pandas.read_csv(site / "data" / "crossed_fits.csv")
    assert left_out["reason"].notna().all()
    named = left_out.query("model == 'all runs'").groupby(["origin", "protocol", "major", "endpoint"]).size()
    told = fits.set_index(["origin", "protocol", "major", "endpoint"])["left_out"]
    assert named.reindex(told.index, fill_value=0).equals(told.astype("int64").rename(None))
    assert (runs["status"] == "missing").sum() + runs.query("status != 'missing'")["split_tester"].sum() == named.sum()


def test_the_zip_holds_the_same_files_without_parquet_and_describes_those(site):
    with zipfile.ZipFile(site / "data" / "edgehold-data.zip") as kit:
        held = {Path(name).name: kit.read(name) for name in kit.namelist()}
        assert {one.date_time[0] for one in kit.infolist()} == {1980}
    tables = {path.name for path in (site / "data").glob("*.csv")}
    assert held.keys() == tables | {"answers.ipynb", "answers.Rmd", "datapackage.json"}
    described = json.loads(held.pop("datapackage.json"))
    assert {one["path"] for one in described["resources"]} == tables
    beside = json.loads((site / "data" / "datapackage.json").read_bytes())
    assert described == beside | {"resources": [one for one in beside["resources"] if one["format"] == "csv"]}
    assert all(content == (site / "data" / name).read_bytes() for name, content in held.items())


def test_the_data_page_offers_every_file_and_a_click_saves_it(open_page, addresses, site):
    page = open_page(example("data", addresses))
    links = page.locator("article a[download]")
    offered = {link.get_attribute("href") for link in links.all()}
    assert {path.name for path in (site / "data").iterdir() if path.suffix in (".csv", ".json", ".parquet")} <= offered
    with page.expect_download() as saved:
        page.locator("article a[download][href='comparisons.csv']").click()
    assert Path(saved.value.path()).read_bytes() == (site / "data" / "comparisons.csv").read_bytes()
