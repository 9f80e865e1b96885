"""The committed schemas are what the models say, and the results' own is a valid schema that means it."""

import json
from pathlib import Path

import jsonschema
import pytest

from aggregator.bundle.schemas import all_schemas
from aggregator.records.schemas import site_url

ROOT = Path(__file__).parents[2]
SCHEMAS = all_schemas(site_url(ROOT))


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
    assert committed == set(SCHEMAS)


def test_every_field_of_a_published_result_is_described():
    schema = json.loads(SCHEMAS["results/0.1.0.json"])
    for definition in [schema, *schema["$defs"].values()]:
        for name, field in definition.get("properties", {}).items():
            assert field.get("description"), f"{definition['title']}.{name} says nothing of itself"
