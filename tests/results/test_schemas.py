"""The committed schemas are what the models say, and the results' own is a valid schema that means it."""

import json
from pathlib import Path

import jsonschema
import pytest

from edgehold.errors import InputError
from edgehold.records.schemas import site_url
from edgehold.results.model.results import RESULTS_FORMAT
from edgehold.results.publish.schemas import all_schemas, published_schemas, release, released, schema_hash, write

ROOT = Path(__file__).parents[2]
SCHEMAS = all_schemas(site_url(ROOT))
RELEASED = released(ROOT)


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_the_committed_schema_is_the_generated_one(name):
    committed = (ROOT / "schemas" / name).read_bytes()
    assert committed == SCHEMAS[name], f"schemas/{name} is not what the models say; run 'make schemas'"


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_every_schema_is_valid_draft_2020_12_and_closed(name):
    schema = json.loads(SCHEMAS[name])
    jsonschema.Draft202012Validator.check_schema(schema)
    objects = [schema, *schema.get("$defs", {}).values()]
    assert all(o["additionalProperties"] is False for o in objects if "properties" in o)


def test_no_schema_lies_about_that_is_not_generated():
    committed = {path.relative_to(ROOT / "schemas").as_posix() for path in (ROOT / "schemas").rglob("*.json")}
    assert committed - {"released.json"} == set(SCHEMAS) | set(RELEASED)


@pytest.mark.parametrize("name", sorted(RELEASED))
def test_a_released_schema_is_what_it_was(name):
    assert schema_hash((ROOT / "schemas" / name).read_bytes()) == RELEASED[name]


def test_every_format_is_stable():
    assert {name for name in SCHEMAS if name not in RELEASED} == set()
    assert all(int(Path(name).stem.split(".")[0]) >= 1 for name in SCHEMAS)


def test_the_hash_looks_at_what_a_schema_says_and_not_at_where_the_site_lies():
    there, moved = (all_schemas(address)["plan/1.4.0.json"] for address in ("https://harbour.example/", "https://quay.example/"))
    assert there != moved and schema_hash(there) == schema_hash(moved)
    assert schema_hash(there.replace(b"The drawn order", b"Another order")) != schema_hash(there)


def test_a_released_schema_cannot_be_written_otherwise(tmp_path):
    (tmp_path / "schemas").mkdir()
    (tmp_path / "schemas" / "released.json").write_text(json.dumps({"plan/1.4.0.json": "0" * 64}))
    with pytest.raises(InputError, match=r"plan/1\.4\.0\.json is released and never changes"):
        write(tmp_path)
    assert not (tmp_path / "schemas" / "plan").exists()


def test_older_versions_are_offered_beside_the_present_ones():
    offered = published_schemas(ROOT)
    assert (
        {"submission/0.1.0.json", "submission/1.0.0.json", "results/1.0.0.json", "results/2.0.0.json"}
        <= set(offered)
        == set(SCHEMAS) | set(RELEASED)
    )
    assert offered["submission/0.1.0.json"] == (ROOT / "schemas/submission/0.1.0.json").read_bytes()


def test_releasing_adds_and_changes_nothing(tmp_path):
    (tmp_path / "schemas").mkdir()
    write(tmp_path)
    first = released(tmp_path)
    assert first == {}
    release(tmp_path)
    assert set(released(tmp_path)) == set(SCHEMAS)
    release(tmp_path)
    assert released(tmp_path) == {name: schema_hash(content) for name, content in all_schemas(site_url(tmp_path)).items()}


def test_every_field_of_a_published_result_is_described():
    schema = json.loads(SCHEMAS[f"{RESULTS_FORMAT}.json"])
    for definition in [schema, *schema["$defs"].values()]:
        for name, field in definition.get("properties", {}).items():
            assert field.get("description"), f"{definition['title']}.{name} says nothing of itself"
