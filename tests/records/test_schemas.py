"""The published schemas: what is committed, and that a stranger's validator agrees with the models on every case."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from edgehold.errors import InputError
from edgehold.records.model.carried import Carried, Confirmation
from edgehold.records.model.changes import Correction, PersonFile, Retraction, Tombstone
from edgehold.records.model.plan import Plan
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.review import Event, Objection, Outcome, Response
from edgehold.records.model.roles import Roles
from edgehold.records.model.submission import Submission
from edgehold.records.read.form import read_record
from edgehold.records.schemas import generated_schemas, site_url

from .builder import REMOVED, changed

ROOT = Path(__file__).parents[2]
CASES = ROOT / "tests" / "cases"
MODELS = {
    "submission": Submission, "protocol": Protocol, "event": Event, "plan": Plan, "tombstone": Tombstone, "person": PersonFile,
    "roles": Roles,
}  # fmt: skip
ENTRIES = {
    "objection": {"objection": Objection, "response": Response, "outcome": Outcome},
    "change": {"correction": Correction, "retraction": Retraction},
    "carried": {"carried": Carried, "confirmed": Confirmation},
}
PASS = {path.stem: json.loads(path.read_text()) for path in sorted(CASES.glob("pass/*.json"))}
FAIL = [case for path in sorted(CASES.glob("fail/*.json")) for case in json.loads(path.read_text())]
VALIDATORS = {  # of the newest version of each format, which sorts last
    path.parent.name: Draft202012Validator(json.loads(path.read_text()), format_checker=Draft202012Validator.FORMAT_CHECKER)
    for path in sorted(ROOT.glob("schemas/*/1.*.json"))
    if path.parent.name in MODELS.keys() | ENTRIES.keys()
}
NEWEST = {"submission": "1.6.0", "plan": "1.4.0", "protocol": "1.4.0", "person": "1.2.0"}


def problems_of(kind, record):
    model = ENTRIES[kind][record["kind"]] if kind in ENTRIES else MODELS[kind]
    return read_record(model, record)[1]


def broken(case):
    return changed(PASS[case["base"]], {case["at"]: REMOVED if case.get("remove") else case["value"]})


def test_the_committed_schemas_are_the_generated_ones():
    for name, content in generated_schemas(site_url(ROOT)).items():
        assert (ROOT / "schemas" / name).read_bytes() == content, f"{name} is stale: run 'make schemas'"


@pytest.mark.parametrize("kind", [*MODELS, *ENTRIES])
def test_every_schema_is_one_and_says_what_it_is(kind):
    schema = VALIDATORS[kind].schema
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] == f"{site_url(ROOT)}schemas/{kind}/{NEWEST.get(kind, '1.0.0')}.json"


def test_every_field_of_every_schema_is_described():
    for kind, validator in VALIDATORS.items():
        definitions = validator.schema.get("$defs", {})
        for name, definition in [("", validator.schema), *definitions.items()]:
            for field, described in definition.get("properties", {}).items():
                named = definitions.get(described.get("$ref", "").rpartition("/")[2], {})  # where the two texts are the same
                assert described.get("description") or named.get("description"), f"{kind} {name}.{field} has no text"


@pytest.mark.parametrize("name", PASS)
def test_good_records_are_accepted_by_model_and_schema(name):
    kind = name.split("-")[0]
    assert problems_of(kind, PASS[name]) == []
    assert list(VALIDATORS[kind].iter_errors(PASS[name])) == []


@pytest.mark.parametrize("case", FAIL, ids=lambda case: f"{case['base']} {case['why']}")
def test_bad_records_are_refused_by_model_and_schema(case):
    kind, record = case["base"].split("-")[0], broken(case)
    problems = problems_of(kind, record)
    assert [p.code for p in problems] == case["codes"]
    assert not VALIDATORS[kind].is_valid(record)


@pytest.mark.parametrize("case", FAIL, ids=lambda case: f"{case['base']} {case['why']}")
def test_a_bad_record_is_told_in_one_place_and_plain_words(case):
    (problem,) = problems_of(case["base"].split("-")[0], broken(case))
    assert problem.pointer.startswith(case["at"].removesuffix("/0"))
    for jargon in ("Input should", "union", "literal", "str_", "constrained", "tuple", "dict", "[type="):
        assert jargon not in problem.message + problem.cure


def test_the_corpus_has_not_shrunk():
    assert len(PASS) >= 12 and len(FAIL) >= 105


@pytest.mark.parametrize(
    ("at", "value", "message", "cure"),
    [
        ("/runs/0/ended", "dul", "the text 'dul' is not allowed here", "did you mean 'dull'?"),
        ("/runs/0/humdity_percent", 40, "there is no field 'humdity_percent'", "did you mean 'humidity_percent'?"),
        ("/submitted_by", "Wren", "'Wren' has capitals", "write 'wren'"),
        ("/runs/0/order", "1", "got the text '1', wanted a whole number", "write a whole number"),
        ("/runs/0/readings/0/work", True, "got true, wanted a number, or a number as text", 'such as "3 1/8"'),
        ("/runs/0/humidity_percent", 140, "140 is not at most 100", "give a number at most 100"),
        ("/format", "submission/9", "format 'submission/9' is not known", "write 'submission/1.6.0'"),
        ("/blades/0/key", "galley", "does not have the form wanted", "<owner>.<name>"),
    ],
)
def test_messages_name_what_was_found_and_what_would_be_right(at, value, message, cure):
    (problem,) = problems_of("submission", changed(PASS["submission-full"], {at: value}))
    assert problem.pointer == at
    assert message in problem.message and cure in problem.cure


SCALARS = (
    st.none() | st.booleans() | st.integers(-(10**25), 10**25) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=6) | st.sampled_from([3.0, -0.0, "", "wren\n", "2026-05", "1.0.0", "pass", [], {}])
)  # fmt: skip


def _places(value, place=""):
    yield place
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inside in items:
        yield from _places(inside, f"{place}/{key}")


PLACES = [(name, place) for name, record in PASS.items() for place in _places(record) if place and place != "/kind"]


@settings(max_examples=400, deadline=None)
@given(where=st.sampled_from(PLACES), value=SCALARS)
def test_model_and_schema_agree_on_any_value_in_any_place(where, value):
    name, place = where
    kind, record = name.split("-")[0], changed(PASS[name], {place: value})
    assert (problems_of(kind, record) == []) == VALIDATORS[kind].is_valid(record)


def test_the_address_of_the_site_comes_from_its_one_setting(tmp_path):
    assert site_url(tmp_path) == "https://edgehold.example/"
    (tmp_path / "mkdocs.yml").write_text("site_name: x\nsite_url: https://harbour.example/edges\n")
    assert site_url(tmp_path) == "https://harbour.example/edges/"
    assert b"https://harbour.example/edges/schemas/plan/1.4.0.json" in generated_schemas(site_url(tmp_path))["plan/1.4.0.json"]
    with pytest.raises(InputError, match="ends with a slash"):
        generated_schemas("https://harbour.example")
