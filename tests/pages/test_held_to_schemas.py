"""What is about to be published is held against its schema part by part, and as strictly as whole."""

import json

import jsonschema
import pytest
from sample import results as sample

from edgehold.records.schemas import site_url
from edgehold.results.model.results import RESULTS_FORMAT
from edgehold.results.publish.schemas import all_schemas, hold_to_schemas


def faults():
    """What a published file may not be: where it stands, and what makes it so of a whole one."""
    whole = json.loads(sample(measured=2, simulated=2).model_dump_json())
    yield "of the whole", lambda it: it.update(strange=1)
    yield "no list", lambda it: it.update(pools={})
    yield "what has to be there", lambda it: it.pop("provenance")
    for name, items in whole.items():
        if isinstance(items, list) and items:
            yield f"of the last of {name}", lambda it, name=name: it[name][-1].update(strange=1)
    yield "deep within a pool", lambda it: it["pools"][0]["endpoints"][0].update(worthwhile_ratio="much")


@pytest.mark.parametrize(("where", "fault"), [pytest.param(*one, id=one[0]) for one in faults()])
def test_a_file_that_does_not_fit_its_schema_is_not_published(where, fault, tmp_path):
    """Part by part as a whole: the same validator on the whole file refuses and takes the same."""
    found = json.loads(sample(measured=2, simulated=2).model_dump_json())
    schema = json.loads(all_schemas(site_url(tmp_path))[f"{RESULTS_FORMAT}.json"])
    table = json.dumps({"nothing": 1}).encode()
    jsonschema.Draft202012Validator(schema).validate(found)
    files = {"results.json": json.dumps(found).encode(), "repeatability.json": table}
    with pytest.raises(jsonschema.ValidationError, match="nothing"):  # the results are taken, the other file is not
        hold_to_schemas(tmp_path, files)
    fault(found)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(found)
    with pytest.raises(jsonschema.ValidationError) as refused:
        hold_to_schemas(tmp_path, {"results.json": json.dumps(found).encode(), "repeatability.json": table})
    assert "nothing" not in refused.value.message, where
