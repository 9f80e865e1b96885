"""The downloads open in the programs people would use, and say what their descriptions say."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pandas
import pytest

from edgehold.results.model.results import RESULTS_FORMAT

from .kinds import example

SCHEMA = Path(__file__).parents[2] / "schemas" / f"{RESULTS_FORMAT}.json"
NOTHING_YET = ("changes.csv", "removed.csv", "steel_limits.csv")  # nothing was corrected or taken out, and invented steels have no limits
KINDS = {"string": object, "number": np.floating, "integer": np.integer, "boolean": np.bool_}


@pytest.fixture
def package(site) -> dict:
    return json.loads((site / "data" / "datapackage.json").read_text(encoding="utf-8"))


def test_the_results_are_valid_against_their_published_schema(site):
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    results = json.loads((site / "data" / "results.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    assert [error.json_path for error in jsonschema.Draft202012Validator(schema).iter_errors(results)] == []
    assert len(results["submissions"]) >= 60


def test_every_table_opens_in_pandas_with_the_columns_that_are_described(site, package):
    assert len(package["resources"]) >= 5
    for resource in package["resources"]:
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


def test_every_row_that_comes_from_the_demonstration_says_simulated(site, package):
    for resource in package["resources"]:
        if resource["path"] not in NOTHING_YET:
            table = pandas.read_csv(site / "data" / resource["path"])
            invented = table["simulated"] if "simulated" in table else table["origin"] == "simulated"
            assert invented.all(), resource["path"]


def test_the_data_page_offers_every_file_and_a_click_saves_it(open_page, facts, site):
    page = open_page(example("data", list(facts)))
    links = page.locator("article a[download]")
    offered = {link.get_attribute("href") for link in links.all()}
    assert {path.name for path in (site / "data").iterdir() if path.suffix in (".csv", ".json")} <= offered
    with page.expect_download() as saved:
        page.locator("article a[download][href='comparisons.csv']").click()
    assert Path(saved.value.path()).read_bytes() == (site / "data" / "comparisons.csv").read_bytes()
