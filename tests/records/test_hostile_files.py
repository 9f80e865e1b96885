"""Files that no honest editor writes: each is a finding with a place, in bounded time and memory."""

import json
import random
import time
import tracemalloc

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from edgehold.records import load_repository
from edgehold.records.codes import CODES
from edgehold.records.read.opening import LARGEST_BYTES

from .builder import TODAY, make_repository, markdown, pilot, protocol, submission, write

GOOD = json.dumps(submission(), indent=1)
PATH = "submissions/measured/small-rope/wren-1.json"


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A repository with an adopted protocol and no submission but its pilot."""
    return make_repository(tmp_path_factory.mktemp("repository"), [pilot()])


def found(root, content, path=PATH):
    """Findings after writing one file; the file is taken out again."""
    target = write(root / path, content)
    try:
        return load_repository(root, today=TODAY).findings
    finally:
        target.unlink()


def one(root, content, path=PATH):
    (finding,) = found(root, content, path)
    assert finding.file == path
    return finding


ENCODINGS = {
    "utf-8-sig": "byte-order-mark",
    "utf-16": "not-utf8",
    "utf-16-le": "not-utf8",
    "utf-16-be": "not-utf8",
    "utf-32": "not-utf8",
    "utf-32-be": "not-utf8",
}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_anything_but_plain_utf8_says_save_as_utf8(encoding, empty):
    finding = one(empty, GOOD.encode(encoding))
    assert finding.code == ENCODINGS[encoding]
    assert "UTF-8" in finding.cure


def test_a_byte_that_is_not_utf8_has_its_line(empty):
    finding = one(empty, GOOD.encode().replace(b'"wren-1"', b'"wr\xe9n-1"', 1))
    assert (finding.code, finding.line) == ("not-utf8", 3)


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "pointer"),
    [
        ('"month": "2026-05"', '"month": "2026-05\\u0000"', "control-character", 11, "/month"),
        ('"month": "2026-05"', '"month": "2026-05\\u202e"', "direction-override", 11, "/month"),
        ('"month": "2026-05"', '"month": "2026-05\u202e"', "direction-override", 11, ""),
        ('"month": "2026-05"', '"month": "2026-05\\ud800"', "lone-surrogate", 11, "/month"),
        ('"month": "2026-05"', '"month": NaN', "not-finite", 11, "/month"),
        ('"month": "2026-05"', '"month": -Infinity', "not-finite", 11, "/month"),
        ('"month": "2026-05"', '"month": 1e999', "number-too-large", 11, "/month"),
        ('"month": "2026-05"', '"month": 9007199254740993', "number-too-large", 11, "/month"),
        ('"month": "2026-05"', '"month": -' + "9" * 5000, "number-too-large", 11, "/month"),
        ('"month": "2026-05"', '"month": "2026-04", "month": "2026-05"', "duplicate-key", 11, "/month"),
        ('"handle": "wren"', '"handle": "auk", "handl\\u0065": "wren"', "duplicate-key", 14, "/people/0/handle"),
        ('"month": "2026-05"', '"month": "2026-05",', "not-json", 11, ""),
        ('"month": "2026-05"', "'month': '2026-05'", "not-json", 11, ""),
        ('"month": "2026-05"', '"month": "2026-05\n"', "not-json", 11, ""),
        (GOOD, "", "not-json", 1, ""),
        (GOOD, " \n", "not-json", 1, ""),
        (GOOD, GOOD + "{}", "not-json", GOOD.count("\n") + 1, ""),
        (GOOD, "[]", "wrong-type", 1, ""),
        (GOOD, '"x"', "wrong-type", 1, ""),
        (GOOD, "null", "wrong-type", 1, ""),
    ],
)
def test_what_json_leaves_open_is_a_finding_with_its_place(old, new, code, line, pointer, empty):
    assert old in GOOD
    finding = one(empty, GOOD.replace(old, new, 1))
    assert (finding.code, finding.line, finding.pointer) == (code, line, pointer)


def test_a_note_may_hold_any_honest_character(empty):
    text = json.dumps(submission({"/runs/0/note": "⅝ in, Grüße, 刃, 🔪, a\\u202e in words, two\nlines"}))
    assert found(empty, text) == ()


@pytest.mark.parametrize("size", [LARGEST_BYTES["submission"] + 1, 10_000_000])
def test_a_file_over_the_limit_is_not_read(size, empty):
    content = GOOD.encode() + b" " * (size - len(GOOD))
    tracemalloc.start()
    finding = one(empty, content)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert finding.code == "file-too-large" and str(size) in finding.message
    assert peak < 5_000_000


MANY = 100_000
EVERY_KIND = {
    "nested lists": "[" * MANY,
    "nested lists, closed": "[" * MANY + "]" * MANY,
    "nested objects": '{"a":' * MANY,
    "closing brackets": "]" * MANY,
    "many empty objects": '{"runs": [' + "{}," * MANY + "{}]}",
    "many lists": "[" + "[]," * MANY + "[]]",
    "quotes": '"' * MANY,
    "escaped quotes": '\\"' * MANY,
    "one string that never ends": '"' + "a" * MANY,
    "one string of backslashes": '"' + "\\" * MANY,
    "colons": ":" * MANY,
    "a number of many digits": "1" * MANY,
    "many names": "{" + ",".join(f'"f{n}": 1' for n in range(MANY // 2)) + "}",
    "one name many times": "{" + ",".join('"format": 1' for _ in range(MANY // 2)) + "}",
    "spaces": " " * MANY,
    "lines": "\n" * MANY,
}


@pytest.mark.parametrize("kind", EVERY_KIND)
def test_hostile_json_costs_little_time_and_memory(kind, empty):
    tracemalloc.start()
    start = time.process_time()
    findings = found(empty, EVERY_KIND[kind])
    spent = time.process_time() - start
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert findings and all(f.line >= 1 and f.file == PATH for f in findings)
    assert len(findings) <= 101
    assert spent < 30 and peak < 200_000_000  # seconds while memory is traced; about 2 without, on one idle core


def test_a_hundred_thousand_brackets_are_one_finding_with_its_line(empty):
    finding = one(empty, "\n\n" + "[" * MANY)
    assert (finding.code, finding.line) == ("nested-too-deep", 3)


def test_more_objects_than_any_record_needs_are_refused_before_they_are_built(empty):
    finding = one(empty, '{"runs": [\n' + "{}," * 20_000 + "\n{}]}")
    assert (finding.code, finding.line) == ("too-many-values", 2)


def test_a_file_full_of_mistakes_lists_a_hundred_and_counts_the_rest(empty):
    record = submission()
    record["runs"] = [{} for _ in range(1000)]
    findings = found(empty, json.dumps(record))
    more = next(f for f in findings if f.code == "too-many-findings")
    assert len(findings) == 101 and int(more.message.split()[0]) > 6000


# --- YAML and front matter ---

EVENTS = "protocols/small-rope/events/004-retired.yaml"
EVENT = "format: event/1.0.0\nkind: retired\nversion: 1.0.0\nby: board\nmonth: 2026-06\n"


def test_months_and_versions_need_no_quotes_in_yaml(empty):
    assert found(empty, EVENT, EVENTS) == ()


@pytest.mark.parametrize(
    ("old", "new", "code", "line"),
    [
        ("board", "&a board", "yaml-feature", 4),
        ("board", "*a", "yaml-feature", 4),
        ("board", "!!python/object/apply:os.system [id]", "yaml-feature", 4),
        ("board", "!x board", "yaml-feature", 4),
        ("board", "board\nby: wren", "duplicate-key", 5),
        ("board", "[board", "not-yaml", 5),
        ("board", '"bo\\u202eard"', "direction-override", 4),
        ("board", "? [a]\n: b", "not-yaml", 4),
        ("by: board", "? [a]\n: b", "yaml-feature", 4),
        ("board", "true", "wrong-type", 4),
        ("board", "123", "wrong-type", 4),
        ("board", "99999999999999999999", "number-too-large", 4),
        ("board", "", "wrong-type", 4),
        ("board", "yes", None, 0),  # YAML 1.1 would make it true
        ("2026-06", "2026-06-15", "wrong-form", 5),  # YAML 1.1 would make it a date
        ("month: 2026-06\n", "", "missing-field", 1),
        ("retired", "retierd", "unknown-word", 2),
        (EVENT, "--- a\n--- b\n", "yaml-feature", 2),
        (EVENT, "", "not-yaml", 1),
        (EVENT, "# nothing\n", "missing-field", 1),
        (EVENT, "[" * 15_000, "nested-too-deep", 1),
        (EVENT, "- a\n" * 4_000, "wrong-type", 1),
        (EVENT, "a: " * 5_000, "not-yaml", 1),
        (EVENT, "- " * 9_000, "nested-too-deep", 1),
    ],
)
def test_yaml_beyond_plain_values_is_a_finding(old, new, code, line, empty):
    assert old in EVENT
    start = time.process_time()
    findings = found(empty, EVENT.replace(old, new, 1), EVENTS)
    assert time.process_time() - start < 5
    if code is None:
        assert findings == ()
    else:
        assert (findings[0].code, findings[0].line) == (code, line)
        assert {f.file for f in findings} == {EVENTS}


DRAFT = "protocols/small-rope/2.0.0.md"
NEXT = {"/version": "2.0.0", "/estimand": "same stone"}


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("", "no-front-matter", 1),
        ("# A method\n", "no-front-matter", 1),
        ("---\nformat: x\n", "no-front-matter", 1),
        (markdown(protocol(NEXT | {"/threats/0/steps": []}), ""), "empty-body", None),
        (markdown(protocol(NEXT)).replace("---\n", "----\n", 1), "no-front-matter", 1),
        (markdown({"a": "b" * 70_000}), "file-too-large", 2),
    ],
)
def test_a_protocol_without_its_parts(text, code, line, empty):
    finding = one(empty, text, DRAFT)
    assert finding.code == code and line in (None, finding.line)


def test_lines_of_front_matter_count_from_the_top_of_the_file(empty):
    text = markdown(protocol(NEXT | {"/early_checkpoint": 12}))
    finding = one(empty, text, DRAFT)
    assert text.splitlines()[finding.line - 1] == "early_checkpoint: 12"


def test_windows_line_ends_are_fine(empty):
    text = markdown(protocol(NEXT))
    assert found(empty, text.replace("\n", "\r\n"), DRAFT) == ()
    assert found(empty, GOOD.replace("\n", "\r\n")) == ()


# --- anything at all ---

BASES = {
    PATH: GOOD.encode(),
    DRAFT: markdown(protocol(NEXT)).encode(),
    EVENTS: EVENT.encode(),
    "protocols/small-rope/objections/001-x/00-objection.md": markdown(
        {
            "format": "objection/1.0.0",
            "kind": "objection",
            "against": {"protocol": "small-rope", "version": "1.0.0"},
            "title": "t",
            "threat": "order",
            "severity": "minor",
            "interest": "none",
            "by": "auk",
            "month": "2026-06",
        }
    ).encode(),
}


def _sound(findings, path):
    assert all(f.file == path and f.line >= 1 and f.code in CODES and f.message and f.cure for f in findings)


@pytest.mark.parametrize("path", BASES)
def test_the_bases_of_the_mutations_are_good(path, empty):
    assert found(empty, BASES[path], path) == ()


@pytest.mark.parametrize("path", BASES)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(content=st.binary(max_size=300))
@example(content=b"---\n---\n")
@example(content=b"---\n\n---\nx")
@example(content=b"\x00")
def test_random_bytes_are_findings(path, content, empty):
    findings = found(empty, content, path)
    assert findings
    _sound(findings, path)


@pytest.mark.parametrize("path", BASES)
@pytest.mark.parametrize("seed", range(5))
def test_good_files_with_random_damage_never_raise(path, seed, empty):
    rng = random.Random(seed)
    for _ in range(20):
        data = bytearray(BASES[path])
        for _ in range(rng.randint(1, 6)):
            _damage(data, rng)
        _sound(found(empty, bytes(data), path), path)


PIECES = [b"{", b"}", b"[", b"]", b'"', b"null", b"-1", b"1e400", b"\xff", b"\x00", b"true", b": ", b"\n", b"- ", b"&a ", b"!!x "]


def _damage(data, rng):
    start = rng.randrange(len(data))
    action = rng.randrange(4)
    if action == 0:
        del data[start : start + rng.randint(1, 40)]
    elif action == 1:
        data[start:start] = rng.choice(PIECES)
    elif action == 2:
        data[start] = rng.randrange(256)
    else:
        other = rng.randrange(len(data))
        data[start:start] = data[other : other + rng.randint(1, 80)]
    if not data:
        data.extend(b"x")


def _json_values():
    scalars = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8)
    return st.recursive(scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(value=_json_values(), data=st.data())
def test_any_value_in_any_place_never_raises(value, data, empty):
    record = submission()
    inside, place = record, ""
    while isinstance(inside, dict | list) and inside:
        keys = list(inside) if isinstance(inside, dict) else range(len(inside))
        key = data.draw(st.sampled_from(list(keys)))
        place += f"/{key}"
        if not isinstance(inside[key], dict | list) or not inside[key] or data.draw(st.booleans()):
            inside[key] = value
            break
        inside = inside[key]
    _sound(found(empty, json.dumps(record)), PATH)


def test_findings_come_in_the_same_order_every_time(empty):
    record = submission({"/runs/0/tester": "auk", "/month": "2099-01", "/blades/0/edge": "serrated"})
    first, again = found(empty, json.dumps(record)), found(empty, json.dumps(record))
    assert first == again == tuple(sorted(first))
