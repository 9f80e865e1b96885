"""A protocol of levels that nobody wrote code for, made at random: check, plan, sheet, intake, report, pool and site."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from edgehold import builds
from edgehold.cli import main
from edgehold.records import load_repository
from tests.records.builder import MEDIUM, level, make_repository, of_levels, protocol
from tests.sheets.filling import Rows, csv_text

WORK = (0, 5, 10, 20, 40)
WORDS = ("rough", "polished", "as bought", "ground twice", "with a toothy edge", "B & C <2>")
PEOPLE = ("auk", "fid", "rook", "tern", "wren", "gull")
TABLES = 6


@dataclass(frozen=True)
class Made:
    """A random protocol of levels: its front matter, words, and by word what a preparation says of such an edge and the true ln force."""

    front: dict
    words: tuple[str, ...]
    facts: dict[str, dict]
    truth: dict[str, float]


def made(seed: int) -> Made:
    """Two to four levels, told by a number, by words, or by the file alone."""
    rng = np.random.default_rng(seed)
    words = tuple(str(word) for word in rng.permutation(WORDS)[: rng.integers(2, 5)])
    kind = rng.choice(["last abrasive", "edge angle", "strop", "nothing"])
    levels, facts = [], {}
    for n, word in enumerate(words):
        if kind == "last abrasive":
            levels.append(level(word, fact="last abrasive", at_least=10.0 * (n + 1), below=10.0 * (n + 1) + 5))
            facts[word] = {"stages": [{"as_printed": "stone", "micrometres": 10.0 * (n + 1) + 2}]}
        elif kind == "edge angle":
            levels.append(level(word, fact="edge angle", at_least=10 + 4 * n, below=14 + 4 * n))
            facts[word] = {"edge_angle": {"basis": "both together", "left_deg": 2 * (11 + 4 * n)}}
        elif kind == "strop":
            levels.append(level(word, fact="strop", words=[f"kind {n}"]))
            facts[word] = {"strop": f"Kind {n}, new"}
        else:
            levels.append(level(word))
            facts[word] = {}
    front = protocol(of_levels("small-made", "make", *levels) | {"/design/varies": ["make"], "/minutes/whole": 240})
    return Made(front, words, facts, {word: 0.5 * n for n, word in enumerate(words)})


def evening(one: Made, number: int, rng: np.random.Generator, **changes: object) -> dict:
    """One person's table: every level twice on one blade."""
    who, order = PEOPLE[number], [*one.words, *one.words[::-1]]
    own, hand = rng.normal(0, 0.1), rng.normal(0, 0.1)
    preparations, runs = [], []
    for n, word in enumerate(order, 1):
        force = np.exp(0.3 + own + hand + one.truth[word] + rng.normal(0, 0.1) + np.log(1 + np.arange(len(WORK)) / 2))
        readings = [
            {"work": w, "values": [{"written": round(float(f), 2)}, {"written": round(float(f) * 1.03, 2)}]}
            for w, f in zip(WORK, force, strict=True)
        ]
        preparations.append({"id": f"edge-{n}", "blade": f"{who}.knife", "sharpener": who, **one.facts[word]})
        runs.append(
            {"id": f"run-{n}", "order": n, "preparation": f"edge-{n}", "tester": who, "lot": f"{who}.coil", "work_unit": "cut",
             "reading_unit": "N", "ended": "last checkpoint", "readings": readings} | ({} if one.facts[word] else {"level": word})
        )  # fmt: skip
    return {
        "format": "submission/1.5.0", "id": f"evening-{number}", "protocol": {"id": "small-made", "version": "1.0.0"}, "origin": "measured",
        "licence": "CC0-1.0", "submitted_by": who, "month": f"2026-{number + 1:02d}", "people": [{"handle": who, "agreed": "yes"}],
        "blades": [{"key": f"{who}.knife", "steel": {"designation": ("AISI 1095", "D2")[number % 2]}, "edge": "plain"}],
        "lots": [{"key": f"{who}.coil", "medium": MEDIUM}], "preparations": preparations, "runs": runs,
    } | changes  # fmt: skip


def repository(root: Path, one: Made, rng: np.random.Generator) -> Path:
    return make_repository(root, [evening(one, number, rng) for number in range(TABLES)], [one.front])


def results_of(root: Path) -> dict:
    builds.pool(root)
    return json.loads((root / "build/results/results.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("seed", [3, 8, *(pytest.param(seed, marks=pytest.mark.long) for seed in (1, 11))])
def test_from_the_protocol_to_the_pooled_page(seed, tmp_path, capsys):
    one, rng = made(seed), np.random.default_rng(100 + seed)
    root = repository(tmp_path / "repository", one, rng)
    assert main(["check", "--root", str(root)]) == 0
    assert not any(f.code.endswith("level") or "level" in f.code for f in load_repository(root).findings)
    sheet = plan_of(root, one, tmp_path, capsys)
    told = intake_of(root, one, sheet, tmp_path, capsys)
    assert [run["level"] for run in told["runs"]] == [run["level"] for run in json.loads((tmp_path / "plan.json").read_text())["runs"]]
    capsys.readouterr()
    assert main(["report", "--root", str(root), "evening-0"]) == 0
    assert f"“{sorted(one.words)[0]}”" in " ".join(capsys.readouterr().out.split())
    builds.site(root)
    held_to_truth(json.loads((root / "build/results/results.json").read_text(encoding="utf-8")), one)
    page = (root / "build/site/results/small-made-v1-measured/levels/index.html").read_text(encoding="utf-8")
    shown = html.unescape(" ".join(re.sub(r"<[^<>]*>", " ", page).split()))
    assert all(word in shown for word in one.words) and "<2>" not in page.replace("&lt;2&gt;", "")


def plan_of(root: Path, one: Made, folder: Path, capsys) -> Rows:
    """The plan of a table, whose rounds hold every level once, and its sheet."""
    asked = ["plan", "--root", str(root), "small-made", "--blade", "wren.knife", "--sharpener", "wren", "--tester", "tern", "--drawn", "20",
             "--seed", "4", "--hand", "20", "--minutes", "600", "--month", "2026-08",
             "--output", str(folder / "plan.json"), "--sheets", str(folder / "sheets")]  # fmt: skip
    assert main(asked) == 0, capsys.readouterr()
    runs = json.loads((folder / "plan.json").read_text(encoding="utf-8"))["runs"]
    rounds = [[run["level"] for run in runs[n : n + len(one.words)]] for n in range(0, len(runs), len(one.words))]
    assert len(rounds) >= 2 and all(sorted(words) == sorted(one.words) for words in rounds)
    assert {run["sharpener"] for run in runs} == {"wren"} and rounds[1] == rounds[0][::-1]
    return Rows(list(row) for row in csv.reader(io.StringIO((folder / "sheets" / "sheet.csv").read_text(encoding="utf-8"))))


def intake_of(root: Path, one: Made, rows: Rows, folder: Path, capsys) -> dict:
    """The sheet filled in and read."""
    rows.write("Month", "2026-08")
    rows.write("Sent in by", "wren")
    for number in range(rows.find("People") + 2, rows.find("People") + 4):
        rows[number][2:] = ["yes"]
    for run in range(1, sum(row[:1] != [] and row[0].startswith("Run ") for row in rows) + 1):
        rows.write("Reading unit", "N", run=run)
        rows.write("Ended", "last checkpoint", run=run)
        for place, work in enumerate(WORK):
            rows.write(str(work), f"{1 + 0.4 * place + 0.01 * run:.2f}", f"{1.1 + 0.4 * place + 0.02 * run:.2f}", run=run)
    (folder / "filled.csv").write_text(csv_text(rows), encoding="utf-8")
    asked = ["intake", "--root", str(root), str(folder / "filled.csv"), "--output", str(folder / "told.json")]
    assert main(asked) == 0, capsys.readouterr()
    return json.loads((folder / "told.json").read_text(encoding="utf-8"))


def held_to_truth(results: dict, one: Made) -> None:
    """Every pair is answered, and lies within the spread that went in: .1 a run, 2 runs a level at 6 tables, 2 steels."""
    (pool,) = results["pools"]
    (endpoint,) = pool["endpoints"]
    assert pool["treatment"] == "make" and {told["what"] for told in pool["told_apart"]} >= {"level"}
    pairs = {(a["first"], a["second"]): a for a in endpoint["levels"]}
    declared = list(combinations(one.words, 2))
    assert list(pairs) == declared
    assert {(c["first"], c["second"]) for c in (*endpoint["pairwise"], *pool["curve_comparisons"]) if c["factor"] == "level"} == set(
        declared
    )
    for (first, second), answer in pairs.items():
        assert answer["about"] == "levels" and (answer["units_first"], answer["units_second"]) == (TABLES, TABLES)
        assert np.log(answer["result"]["ratio"]) == pytest.approx(one.truth[second] - one.truth[first], abs=0.15)
    assert {curve["steel"] for curve in pool["curves"]} == set(one.words) and {curve["factor"] for curve in pool["curves"]} == {"level"}
    assert (pool["quoted"]["factor"], results["moves"][0]["courses"][0]["factor"]) == ("level", "level")


def test_other_words_and_another_order_of_levels_move_nothing(tmp_path):
    one = made(1)
    first = results_of(repository(tmp_path / "one", one, np.random.default_rng(7)))
    names = dict(zip(one.words, [f"{n}-level" for n in range(len(one.words))], strict=True))
    text = json.dumps(one.front)
    for word, name in names.items():
        text = text.replace(json.dumps(word), json.dumps(name))
    front = json.loads(text)
    front["question"]["levels"].reverse()
    facts, truth = ({names[word]: value for word, value in told.items()} for told in (one.facts, one.truth))
    other = Made(front, tuple(names[word] for word in one.words), facts, truth)
    second = results_of(repository(tmp_path / "other", other, np.random.default_rng(7)))

    def ratios(results: dict, called: dict[str, str]) -> dict[tuple[str, str], float]:
        found = {}
        for answer in results["pools"][0]["endpoints"][0]["levels"]:
            pair, ratio = (called[answer["first"]], called[answer["second"]]), answer["result"]["ratio"]
            found[tuple(sorted(pair))] = ratio if pair == tuple(sorted(pair)) else 1 / ratio
        return found

    mine, theirs = ratios(first, names), ratios(second, dict.fromkeys(names.values()) | {n: n for n in names.values()})
    assert mine.keys() == theirs.keys()
    for pair, ratio in mine.items():
        assert theirs[pair] == pytest.approx(ratio, rel=5e-3)  # limits of a sampled posterior move with the order of its columns


def test_a_mislabelled_and_an_unlabelled_run_are_found_and_left_out(tmp_path):
    one, rng = made(1), np.random.default_rng(3)
    records = [evening(one, number, rng) for number in range(2)]
    records[0]["runs"][0]["level"] = "velvet"
    first, second = records[1]["preparations"][:2]
    first.pop(next(name for name in one.facts[one.words[0]]))
    second.update(one.facts[one.words[0]])
    records[1]["runs"][1]["level"] = one.words[1]
    root = make_repository(tmp_path, records, [one.front])
    codes = sorted((f.file[-6], f.pointer, f.code) for f in load_repository(root).findings if "level" in f.code)
    assert codes == [("0", "/runs/0/level", "unknown-level"), ("1", "/runs/0", "no-level"), ("1", "/runs/1/level", "level-disagrees")]
