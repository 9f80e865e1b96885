"""The form's rules as data: everything a browser needs, nothing that is not in the schema, the protocol or the constants."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import pytest

from edgehold.endpoints import endpoint_rows
from edgehold.estimates import repeatability_table
from edgehold.forms.submission import LONGEST_LINK, example_json, form_rules, forms
from edgehold.pages.tonight_pages import inert_json
from edgehold.records import load_repository
from edgehold.records.codes import CODES
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.registers import load_steels
from edgehold.records.rules.interpret import KINDS
from edgehold.records.rules.reference_kinds import REFERENCE_KINDS
from edgehold.records.rules.sense_kinds import SENSE_KINDS
from edgehold.records.rules.steel_kinds import STEEL_KINDS
from edgehold.records.rules.submissions import fit_problems
from edgehold.records.rules.table import submission_table
from edgehold.records.schemas import repository_url
from edgehold.results.publish.repeatability import publish
from tests.forms.corpus import FRONTS, cases, program_findings, rule_cases, rules_of
from tests.published import copy_protocols
from tests.records.builder import adopt, event, make_repository, protocol, submission, write_event, write_protocol

ROOT = Path(__file__).parents[2]
LOUD = (
    "innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "Function(", "http:", "https:", "fetch(", "XMLHttpRequest",
)  # fmt: skip
"""What makes markup or code of text, or asks another host for something."""


def forms_of(root: Path) -> dict:
    repository = load_repository(root)
    return forms(repository, publish(repeatability_table(endpoint_rows(repository), repository.protocols), repository))


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    """The forms of the protocols of this repository."""
    root = tmp_path_factory.mktemp("protocols")
    copy_protocols(root)
    (root / "submissions").mkdir()
    return forms_of(root)


def test_every_adopted_version_has_a_form_and_no_retired_one(published):
    assert list(published) == [
        ("finish-in-halves-rope", "1.0.0"),
        ("first-evening-paper", "1.0.0"),
        ("life-on-card", "2.0.0"),
        ("life-on-card", "1.0.0"),
        ("steels-exchanged-rope", "3.0.0"),
        ("steels-exchanged-rope", "2.0.0"),
        ("strop-or-not-paper", "1.0.0"),
        ("two-sharpeners-rope", "2.0.0"),
        ("two-sharpeners-rope", "1.1.0"),
        ("two-sharpeners-rope", "1.0.0"),
    ]


def test_a_version_in_review_has_a_form_that_says_pilot_and_a_draft_has_none(tmp_path):
    make_repository(tmp_path, [], [protocol(), protocol({"/version": "1.1.0"})], adopted=False)
    folder = tmp_path / "protocols" / "small-rope"
    sha256 = hashlib.sha256((folder / "1.0.0.md").read_bytes()).hexdigest()
    write_event(folder, 1, event("released", "1.0.0", sha256=sha256))
    write_event(folder, 2, event("opened for review", "1.0.0"))
    ((key, rules),) = forms_of(tmp_path).items()
    assert key == ("small-rope", "1.0.0") and rules["status"] == "in review"
    assert {entry["code"] for entry in rules["table"]} - {entry["code"] for entry in rules_of("small-rope")["table"]} == {"pilot"}


def test_the_newest_version_comes_first_by_number(tmp_path):
    for version in ("1.2.0", "1.10.0", "1.9.0"):
        write_protocol(tmp_path, protocol({"/version": version}))
    adopt(tmp_path / "protocols" / "small-rope")
    (tmp_path / "submissions").mkdir()
    assert [version for _, version in forms_of(tmp_path)] == ["1.10.0", "1.9.0", "1.2.0"]


def test_the_worked_examples_pass_the_check_without_a_warning(published, tmp_path):
    copy_protocols(tmp_path)
    for (name, version), rules in published.items():
        folder = tmp_path / "submissions" / "simulated" / name
        folder.mkdir(parents=True, exist_ok=True)
        record = rules["example"] | {"id": f"{name}-{version.replace('.', '-')}"}
        (folder / f"{record['id']}.json").write_text(json.dumps(record), encoding="utf-8")
    repository = load_repository(tmp_path)
    assert {f.code for f in repository.findings} == {"no-measured-pilot"}  # of the protocols' adoptions, not of the examples
    assert len(repository.submissions) == len(published)


def test_a_worked_example_holds_what_the_schema_asks_for_and_no_more(published):
    for rules in published.values():
        record = Submission.model_validate_json(example_json(rules))
        unset = record.model_dump(mode="json", exclude_unset=True)
        assert unset == rules["example"]
        for name in unset:
            assert Submission.model_fields[name].is_required(), name


def test_few_fields_are_left_to_fill(published):
    """The figures on the page; tests/browser/test_form.py types them and counts."""
    assert {key: rules["to_fill"] for key, rules in published.items()} == {
        ("finish-in-halves-rope", "1.0.0"): {"fields": 25, "readings": 48},
        ("first-evening-paper", "1.0.0"): {"fields": 14, "readings": 72},
        ("life-on-card", "2.0.0"): {"fields": 18, "readings": 48},
        ("life-on-card", "1.0.0"): {"fields": 17, "readings": 108},
        ("steels-exchanged-rope", "3.0.0"): {"fields": 18, "readings": 48},
        ("steels-exchanged-rope", "2.0.0"): {"fields": 18, "readings": 84},
        ("strop-or-not-paper", "1.0.0"): {"fields": 20, "readings": 72},
        ("two-sharpeners-rope", "2.0.0"): {"fields": 15, "readings": 48},
        ("two-sharpeners-rope", "1.1.0"): {"fields": 15, "readings": 84},
        ("two-sharpeners-rope", "1.0.0"): {"fields": 15, "readings": 72},
    }


def test_every_code_that_the_form_can_find_has_the_words_of_the_check(published):
    for rules in published.values():
        for code, text in rules["messages"].items():
            assert text == {"severity": CODES[code].severity, "meaning": CODES[code].meaning, "cure": CODES[code].cure}
        assert {entry["code"] for entry in rules["table"]} <= set(rules["messages"])


def test_every_place_of_the_table_and_of_the_layout_is_one_of_the_schema(published):
    for rules in published.values():
        places = set(_patterns(rules["schema"], rules["schema"]))
        layout = rules["layout"]
        named = [entry["at"] for entry in rules["table"]]
        named += [entry[part] for entry in rules["table"] for part in ("among", "by", "written", "system", "grit") if part in entry]
        named += [entry["unit"] for entry in rules["table"] if isinstance(entry.get("unit"), str)]
        named += [scope for entry in rules["table"] for scope in entry.get("unless", {})]
        named += [*layout["fixed"], *layout["hidden"], *layout["absent"], *layout["choices"], *layout["like"], layout["grid"]["at"]]
        named += [entry["at"] for entry in layout["filled"]] + [place for section in layout["sections"] for place in section["at"]]
        assert set(named) - places == set()


def _patterns(root: dict, node: dict, at: str = "", depth: int = 0):
    """Every place of a schema, ``*`` for the entries of a list."""
    while "$ref" in node:
        node = root["$defs"][node["$ref"].rsplit("/", 1)[1]]
    if depth > 12:
        return
    yield at
    for option in node.get("anyOf", []):
        yield from _patterns(root, option, at, depth + 1)
    for name, inside in node.get("properties", {}).items():
        yield from _patterns(root, inside, f"{at}/{name}", depth + 1)
    if "items" in node:
        yield from _patterns(root, node["items"], f"{at}/*", depth + 1)


def test_no_rule_is_typed_a_second_time(published):
    """What the check knows as a number or a word stands in the rules because it stands there."""
    rules = published[("two-sharpeners-rope", "1.1.0")]
    scripts = "".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "site/pages/assets/form").glob("*.js")))
    for word in ("three-strand", "apex flattened", "last checkpoint", "0.00980665", "FEPA", "helper coded", "[a-z0-9-]{0,29}"):
        assert word not in scripts, word
        assert word in json.dumps(rules), word


def test_the_scripts_make_no_markup_run_no_text_and_ask_nobody():
    for path in sorted((ROOT / "site/pages/assets/form").glob("*.js")):
        script = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert [way for way in LOUD if way in script] == [], path.name
        assert all(name.startswith("./") for name in re.findall(r'from "([^"]+)"', script)), path.name


def test_without_an_address_of_the_repository_nothing_can_be_sent(tmp_path):
    assert repository_url(tmp_path) is None
    (tmp_path / "mkdocs.yml").write_text("extra:\n  repository_url: https://code.example/edgehold/edgehold/\n", encoding="utf-8")
    assert repository_url(tmp_path) == "https://code.example/edgehold/edgehold"
    (tmp_path / "mkdocs.yml").write_text("extra:\n  # repository_url: https://code.example/edgehold\n", encoding="utf-8")
    assert repository_url(tmp_path) is None
    assert LONGEST_LINK == 6_000


def test_nothing_in_a_protocol_leads_out_of_the_block_of_data():
    hostile = {"</script><script>alert(1)</script>": "<!-- & \u2028 ]]> 😀", "quote": "\"'`"}
    text = inert_json(hostile)
    assert not re.search(r"[<>&\u2028\u2029]", text) and text.isascii()
    assert json.loads(text) == hostile


@pytest.mark.parametrize("name", FRONTS)
def test_the_rules_are_plain_json(name):
    rules = rules_of(name)
    assert json.loads(json.dumps(rules)) == rules


def test_the_check_reads_the_same_table_but_for_what_it_finds_while_it_converts():
    tables = [submission_table(Protocol.model_validate_json(json.dumps(front)), "adopted") for front in FRONTS.values()]
    read = [entry for table in tables for entry in table if "says" in entry or entry["rule"] in SENSE_KINDS | REFERENCE_KINDS | STEEL_KINDS]
    assert {entry["rule"] for entry in read} == set(KINDS)
    assert {entry["code"] for table in tables for entry in table} - {entry["code"] for entry in read} == {
        "reserved-id", "wrong-unit", "wrong-reading", "not-a-number", "negative-value", "canonical-disagrees",
    }  # fmt: skip
    assert not any("says" in entry for name in FRONTS for entry in rules_of(name)["table"])


def test_a_word_of_the_table_may_begin_like_a_place():
    front = protocol({"/medium/name": "/rope {0}"})
    record = Submission.model_validate_json(json.dumps(submission({"/lots/0/medium": "other"})))
    (found,) = fit_problems(record, Protocol.model_validate_json(json.dumps(front)))
    assert (found.pointer, found.code) == ("/lots/0/medium", "wrong-medium")
    assert found.message.endswith("is 'other'; the protocol cuts '/rope {0}'")


def test_a_rule_of_the_form_does_not_know_the_day(monkeypatch):
    """The same protocol gives the same rules; the month is asked for where the form is used."""
    record = Protocol.model_validate_json(json.dumps(FRONTS["small-rope"]))
    one, other = (form_rules(record, "adopted", "2026-01", load_steels(), base_url="https://edgehold.example/") for _ in range(2))
    assert one == other and "2026-11" not in json.dumps(one["table"])


def test_the_corpus_of_rules_holds_what_it_says_and_reaches_every_code(tmp_path):
    everything = cases()
    found = program_findings(tmp_path / "repository", everything)
    by_why = {case.why: sorted(code for _, code in codes) for case, codes in zip(everything, found, strict=True)}
    for case in rule_cases():
        assert by_why[case["why"]] == case["codes"], case["why"]
    reached = {code for codes in found for _, code in codes}
    able = {entry["code"] for name in FRONTS for entry in rules_of(name)["table"]} | set(rules_of("small-rope")["messages"])
    assert able - reached == {"lone-surrogate"}  # JSON text as these files are written cannot hold one unescaped
    assert len(everything) > 800 and sum(not codes for codes in found) > 35
