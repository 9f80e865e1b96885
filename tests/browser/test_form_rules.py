"""The form's scripts in a real browser against the program: the same findings at the same places, record by record."""

from __future__ import annotations

import json
import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
import yaml

from edgehold.forms.answer import answer_rules
from edgehold.forms.layout import worked_example
from edgehold.forms.submission import LONGEST_LINK
from edgehold.records.model.protocol import Protocol
from edgehold.records.registers import load_steels
from tests.answers.cases import nothing_published
from tests.forms.corpus import FRONTS, REFUSED, cases, program_findings, rules_of
from tests.records.builder import REMOVED, TODAY, changed
from tests.words.says import says

ROOT = Path(__file__).parents[2]
TEXTS = {"control-character", "direction-override", "lone-surrogate"}
"""The program finds these in the file's text, whose place is a line; the form in a value."""

OF_REVIEWS = {"since", "matches", "one kind"}
"""Kinds of rules that objections alone have: test_review_forms.py."""

CHECK = """async ({ corpus, rules, today }) => {
  const { check } = await import("/assets/form/rules.js");
  return corpus.map(([protocol, record]) => check(record, rules[protocol], today).map(finding => [finding.pointer, finding.code]));
}"""


@pytest.fixture(scope="module")
def page(browser, form_base):
    opened = browser.new_page()
    opened.goto(f"{form_base}/methods/")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def judged(page, tmp_path_factory):
    """Every case with what the program and what the browser found."""
    corpus = cases()
    by_program = program_findings(tmp_path_factory.mktemp("corpus") / "repository", corpus)
    rules = {name: rules_of(name) for name in FRONTS}
    by_form = page.evaluate(
        CHECK,
        {
            "corpus": [[case.protocol, case.record] for case in corpus],
            "rules": rules,
            "today": {"year": TODAY.year, "month": TODAY.month},
        },
    )
    return list(zip(corpus, by_program, [{tuple(f) for f in found} for found in by_form], strict=True))


def without_places(found):
    return {("", code) if code in TEXTS else (place, code) for place, code in found}


def test_the_form_accepts_and_refuses_what_the_program_does(judged):
    assert [case.why for case, program, form in judged if bool(program) != bool(form)] == []


def test_the_form_finds_the_same_codes_at_the_same_places(judged):
    def refused(found):
        return {code for _, code in found} & REFUSED

    differ = [
        (case.why, program - form, form - program)
        for case, program, form in ((c, without_places(p), without_places(f)) for c, p, f in judged)
        if program != form and not refused(program)
    ]
    assert differ == []
    assert sum(bool(refused(program)) for _, program, _ in judged) <= 4


def test_the_corpus_reaches_every_kind_of_rule(judged, page):
    kinds = set(page.evaluate("async () => Object.keys((await import('/assets/form/rules.js')).KINDS)"))
    used = {entry["rule"] for name in FRONTS for entry in rules_of(name)["table"]}
    assert kinds == used | OF_REVIEWS
    found = {code for _, _, form in judged for _, code in form}
    assert {entry["code"] for name in FRONTS for entry in rules_of(name)["table"]} - found == set()


def test_the_interpreter_knows_every_keyword_of_every_schema(page):
    known = set(page.evaluate("async () => [...(await import('/assets/form/schema.js')).KEYWORDS]"))
    for path in sorted(ROOT.glob("schemas/*/*.json")):
        assert keywords(json.loads(path.read_text(encoding="utf-8"))) - known == set(), path


def test_a_unit_that_is_no_text_is_told_and_ends_nothing(page):
    """A list of one unit reads like the unit; where it is of another kind it has to be named all the same."""
    told = page.evaluate(
        """async rules => {
          const { canonicalValue } = await import("/assets/form/units.js");
          try { return canonicalValue(1, ["N"], "cm", rules); } catch (error) { return [error.constructor.name, error.problem]; }
        }""",
        rules_of(next(iter(FRONTS))),
    )
    assert told == ["WrittenError", "'N' is a unit of force, 'cm' one of length"]


def test_every_pattern_of_the_rules_is_one_that_a_browser_reads(page):
    schemas = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(ROOT.glob("schemas/*/*.json"))]
    patterns = set().union(*map(patterns_of, schemas))
    assert len(patterns) >= 8
    unread = "all => all.filter(text => { try { new RegExp(text, 'u'); return false; } catch { return true; } })"
    assert page.evaluate(unread, sorted(patterns)) == []


def test_the_schema_interpreter_agrees_on_every_other_kind_of_file_too(page):
    """Plans, protocols, events and objections: later forms are the same machinery."""
    good = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted((ROOT / "tests/cases/pass").glob("*.json"))}
    names = ("plan", "protocol", "event", "objection")
    kinds = {name: json.loads((ROOT / f"schemas/{name}/1.0.0.json").read_text(encoding="utf-8")) for name in names}
    corpus, expected = [], []
    for kind in kinds:
        for case in json.loads((ROOT / f"tests/cases/fail/{kind}.json").read_text(encoding="utf-8")):
            value = REMOVED if case.get("remove") else case["value"]
            corpus.append([kind, changed(good[case["base"]], {case["at"]: value})])
            expected.append((case["why"], sorted(case["codes"])))
        corpus += [[kind, record] for name, record in good.items() if name.startswith(f"{kind}-")]
        expected += [(name, []) for name in good if name.startswith(f"{kind}-")]
    found = page.evaluate(
        """async ({ corpus, kinds }) => {
          const { schemaFindings } = await import("/assets/form/schema.js");
          return corpus.map(([kind, record]) => schemaFindings(kinds[kind], record).map(finding => finding.code).sort());
        }""",
        {"corpus": corpus, "kinds": kinds},
    )
    assert [(why, codes) for (why, _), codes in zip(expected, found, strict=True)] == expected
    assert len(corpus) >= 40


def keywords(schema: object) -> set[str]:
    """Keywords used in a schema, not the names of its properties and definitions."""
    if isinstance(schema, list):
        return set().union(*map(keywords, schema), set())
    if not isinstance(schema, dict):
        return set()
    found = set(schema)
    for name, inside in schema.items():
        if name in ("properties", "$defs", "patternProperties"):
            found |= set().union(*map(keywords, inside.values()), set())
        elif name not in ("enum", "const", "required", "default"):
            found |= keywords(inside)
    return found


def patterns_of(schema: object) -> set[str]:
    if isinstance(schema, list):
        return set().union(*map(patterns_of, schema), set())
    if not isinstance(schema, dict):
        return set()
    own = {schema["pattern"]} if isinstance(schema.get("pattern"), str) else set()
    return own | set(schema.get("patternProperties", {})) | set().union(*map(patterns_of, schema.values()), set())


@pytest.mark.parametrize(
    ("text", "widths", "rows"),
    [
        ("1\t2\n3\t4", [2], [["1", "2"], ["3", "4"]]),
        ("1;2,5\n3;4", [2], [["1", "2,5"], ["3", "4"]]),
        ("1,2\n3,4", [1, 2], None),
        ("1,2\n3,4", [2], [["1", "2"], ["3", "4"]]),
        ("1,2\n3,4", [1], [["1,2"], ["3,4"]]),
        ("1,2 3 1/8\n3,4 25 (5)", [2], [["1,2", "3 1/8"], ["3,4", "25 (5)"]]),
        ('"1";"2"\n\n3;4', [2], [["1", "2"], ["3", "4"]]),
        ("3-Jan 4", [2], [["3-Jan", "4"]]),
        ("½ 1½", [2], [["½", "1½"]]),
        ("a, b\n1.5, 2.5", [2], [["a", "b"], ["1.5", "2.5"]]),
        ("<5 >49", [2], [["<5", ">49"]]),
    ],
)
def test_a_pasted_block_is_read_or_asked_about(page, text, widths, rows):
    found = page.evaluate("async ([text, widths]) => (await import('/assets/form/paste.js')).block(text, widths)", [text, widths])
    assert (None if found["question"] else found["rows"]) == rows
    assert bool(found["question"]) == (rows is None)


def test_a_question_about_commas_can_be_answered_either_way(page):
    ask = "async how => (await import('/assets/form/paste.js')).block('1,2\\n3,4', [1, 2], how).rows"
    assert page.evaluate(ask, "separator") == [["1", "2"], ["3", "4"]]
    assert page.evaluate(ask, "decimal") == [["1,2"], ["3,4"]]


STEPS = """async ({ record, rules }) => {
  const { steps } = await import("/assets/form/next.js");
  const shown = await steps(record, rules);
  return { text: shown.textContent, links: [...shown.querySelectorAll("a:not(details a)")].map(link => link.href) };
}"""


def all_rules() -> dict:
    """The rules of a form with those of its answer and card, as its page has them."""
    rules = rules_of("small-rope")
    record = Protocol.model_validate_json(json.dumps(FRONTS["small-rope"]))
    return rules | answer_rules(record, nothing_published(), load_steels()) | {"ask": ""}


@pytest.fixture
def sent(page):
    """What the form says of sending a record, and where its links lead, with somewhere to send it to."""
    rules = all_rules() | {"repository_url": "https://code.example/edgehold"}
    return lambda record: page.evaluate(STEPS, {"record": record, "rules": rules})


def test_without_somewhere_to_go_no_link_is_offered_and_the_block_is(page):
    rules = all_rules()
    nowhere = page.evaluate(STEPS, {"record": rules["example"], "rules": rules})
    assert nowhere["links"] == [] and "Nothing has left your browser" in nowhere["text"] and says(nowhere["text"], "sending.block_kept")


PUBLISHED = sorted((ROOT / "protocols").glob("*/[0-9]*.md"))


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_least_record_of_every_protocol_fits_into_a_link_that_holds_it_without_indentation(sent, path):
    head = yaml.safe_load(path.read_text(encoding="utf-8").split("---\n")[1])
    record = worked_example(Protocol.model_validate_json(json.dumps(head)), "2026-01")
    assert len(record["runs"]) >= 4
    shown = sent(record)
    (link,) = shown["links"]
    place = f"submissions%2Fsimulated%2F{record['protocol']['id']}%2F{record['id']}.json"
    assert link.startswith(f"https://code.example/edgehold/new/HEAD?filename={place}&value=") and len(link) < LONGEST_LINK
    (value,) = parse_qs(urlsplit(link).query)["value"]
    assert json.loads(value) == record and not re.search(r"\s", value.replace("last checkpoint", "").removesuffix("\n"))
    assert says(shown["text"], "sending.block") and not says(shown["text"], "sending.too_long")


def test_what_a_record_says_stands_in_the_link_to_the_letter(sent):
    """Every sign that means something in an address, and some that no address can hold."""
    record = rules_of("small-rope")["example"] | {"note": "a+b & c=d; 100 % #1 \u00fc 刃 🔪 \"x\" <y> 'z' \\ / ? : @ , $ ~"}
    (link,) = sent(record)["links"]
    (value,) = parse_qs(urlsplit(link).query)["value"]
    assert json.loads(value) == record


def test_a_record_too_long_for_a_link_is_to_be_pasted_and_the_sentence_says_how_long_it_is(sent):
    example = rules_of("small-rope")["example"]
    shown = sent(example | {"note": "x" * 5_000})
    assert shown["links"] == [
        "https://code.example/edgehold/new/HEAD?filename=submissions%2Fsimulated%2Fsmall-rope%2Fexample-small-rope.json"
    ]
    assert says(shown["text"], "sending.too_long", most=LONGEST_LINK) and "Copy the text" in shown["text"]
    length = int(re.search(r"would have (\d+) characters", shown["text"])[1])
    assert length >= LONGEST_LINK
    just_fits = sent(example | {"note": "x" * (5_000 - length + LONGEST_LINK - 1)})
    assert len(just_fits["links"][0]) == LONGEST_LINK - 1
    assert says(sent(example | {"note": "x" * (5_000 - length + LONGEST_LINK)})["text"], "sending.too_long")
