"""What a method's text says of its settings: tables made from them, and sentences that contradict them."""

import re
from pathlib import Path

import pytest

from edgehold.records.model.protocol import Protocol
from edgehold.records.read.form import read_record
from edgehold.records.read.loading import load_repository
from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.records.rules.settings_tables import TABLES, asking_for_tables, marker, table_problems, with_tables
from edgehold.records.rules.settings_text import text_problems
from tests.records.builder import BODY, make_repository, protocol

ROOT = Path(__file__).parents[2] / "protocols"
VERSIONS = sorted(ROOT.glob("*/*.md"))
CARD = ROOT / "life-on-card" / "1.0.0.md"
NOTHING_INSTEAD = "nothing: without it, no test"


def read(path):
    """Settings and text of one version."""
    head, body = split_front_matter(path.read_text(encoding="utf-8"))
    record, _ = read_record(Protocol, parse_yaml(head, 2).tree)
    return record, body


def problems(record, body, before=0):
    return [*table_problems(record, body, before), *text_problems(record, body, before)]


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_no_text_that_stands_is_called_false(path):
    assert problems(*read(path)) == []


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("two-sharpeners-rope/1.1.0", "4 N", "9 N"),
        ("two-sharpeners-rope/1.1.0", "80 cuts", "20 cuts"),
        ("two-sharpeners-rope/1.1.0", "×1.25", "×2"),
        ("two-sharpeners-rope/2.0.0", "after 40 cuts (late)", "after 20 cuts (late)"),
        ("two-sharpeners-rope/2.0.0", "**Two successive readings", "**Three successive readings"),
        ("steels-exchanged-rope/2.0.0", "Read after **5, 10, 20, 40, 80 and 160 cuts", "Read after **5, 10, 20, 40 and 80 cuts"),
        ("steels-exchanged-rope/2.0.0", "5 N (510 gf)", "5 N (410 gf)"),
        ("steels-exchanged-rope/2.0.0", "the practice run 270 minutes", "the practice run 170 minutes"),
        ("life-on-card/1.0.0", "The last checkpoint, 128 m", "The last checkpoint, 64 m"),
        ("life-on-card/1.0.0", "force limit of 50 N", "force limit of 70 N"),
        ("life-on-card/1.0.0", "**40 mm stretch of edge**", "**60 mm stretch of edge**"),
    ],
)
def test_a_planted_contradiction_is_found_at_its_line(name, right, wrong):
    record, body = read(ROOT / f"{name}.md")
    assert right in body
    found = problems(record, body.replace(right, wrong), before=100)
    lines = body.replace(right, wrong).split("\n")
    assert found
    for problem in found:
        number = re.search(r"\d+(?:\.\d+)?|Three", wrong)[0]
        near = " ".join(lines[problem.line - 101 : problem.line - 99])
        assert number in near or wrong in near, problem
        assert problem.cure


def test_a_finding_says_what_stands_there_what_is_set_and_what_to_write(tmp_path):
    body = BODY.rstrip("\n") + "\n\nRead after **5, 10 and 80 cuts in all**.\n"
    make_repository(tmp_path, [], [protocol()], body=body)
    (finding,) = load_repository(tmp_path).findings
    assert finding.code == "text-contradicts"
    assert finding.line == (tmp_path / finding.file).read_text(encoding="utf-8").count("\n")
    assert "Read after **5, 10 and 80 cuts" in finding.message
    assert "/work/checkpoints says " in finding.message
    assert finding.cure.startswith("write ")


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_next_version_asks_for_its_tables_and_reads_the_same(path):
    record, body = read(path)
    asking = asking_for_tables(record, body)
    assert {name for name in TABLES if marker(name) in asking} >= {"needs", "endpoints", "threats"}
    assert with_tables(record, asking) == with_tables(record, body)
    assert problems(record, asking) == []


def test_tables_follow_their_settings(tmp_path):
    record, _ = read(ROOT / "two-sharpeners-rope" / "2.0.0.md")
    made = with_tables(record, "\n".join(marker(name) for name in TABLES))
    assert marker("needs") not in made
    assert f"| Cut-resistant glove, eye protection, first-aid kit | cheap | {NOTHING_INSTEAD} |" in made
    assert "| 2 readings in a row past the threshold | 5 N |" in made
    assert "| The last checkpoint | 80 cuts |" in made
    assert "| Sharpening for one run | 8 min |" in made
    changed = record.model_copy(update={"stopping": record.stopping.model_copy(update={"readings_below": 1})})
    assert "| 1 reading past the threshold | 5 N |" in with_tables(changed, marker("stopping"))


def test_a_bar_in_a_setting_stays_in_its_cell():
    record, _ = read(CARD)
    need = record.needs[0].model_copy(update={"item": "a | b"})
    changed = record.model_copy(update={"needs": (need,)})
    made = with_tables(changed, marker("needs"))
    assert r"| a \| b |" in made
    assert list(table_problems(changed, made, 0)) == []


def test_a_table_that_no_setting_makes_is_named_and_stays():
    record, _ = read(CARD)
    (problem,) = table_problems(record, "Text.\n\n{table: prices}\n", 10)
    assert (problem.code, problem.line) == ("unknown-table", 13)
    assert "needs" in problem.cure
    assert with_tables(record, "{table: prices}\n") == "{table: prices}\n"


def test_a_table_by_hand_with_a_row_less_is_found():
    record, body = read(CARD)
    row = next(line for line in body.split("\n") if line.startswith("| Tape measure"))
    found = list(table_problems(record, body.replace(f"{row}\n", ""), 0))
    assert {problem.code for problem in found} == {"table-contradicts"}
    assert "{table: needs}" in found[0].cure


BEHIND = r"\*{0,2} (?:cuts|N\b|minutes|m in all|degrees of freedom|readings ×|mm stretch)"
FIGURE = re.compile(rf"(?<![\w.×])(\d+(?:\.\d+)?)(?={BEHIND})|(?<=×)\d\.\d+")


def settings_of(record):
    """Every figure that the settings hold and that a text may state; none of the rule under test."""
    parts = record.minutes.parts
    yield from (point for point in record.work.checkpoints if point)
    yield from (record.work.force_limit_n, record.work.edge_stretch_mm, record.minutes.one_run, record.minutes.whole)
    yield from (float(len(record.work.checkpoints)), record.reading.scale_end)
    yield from () if parts is None else (parts.once, parts.sharpening)
    for rule in record.endpoints:
        yield from (rule.worthwhile_ratio, rule.assumed_repeatability.prior_df)
        yield rule.threshold.value if rule.threshold else None


def exchanged(path):
    """A text with one figure exchanged at a time, for every figure that states a setting."""
    record, body = read(path)
    stated = {figure for figure in settings_of(record) if figure is not None}
    for found in FIGURE.finditer(body):
        if float(found[0]) in stated:
            wrong = f"{float(found[0]) * 1.7:g}"
            yield record, body[: found.start()] + wrong + body[found.end() :]


def test_most_exchanged_figures_are_found():
    tried = [bool(problems(*pair)) for path in VERSIONS for pair in exchanged(path)]
    assert len(tried) > 100
    assert sum(tried) / len(tried) > 0.9, f"{sum(tried)} of {len(tried)}"
