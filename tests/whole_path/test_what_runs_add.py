"""What runs add to a pool: its published answers without them and with them, counted once whatever their file is called."""

import json
import pickle
import shutil
from pathlib import Path

import numpy as np
import pytest

from edgehold.builds import pool
from edgehold.cli import FINE, main
from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.gather import all_answers as gather
from edgehold.pooling.gather.all_answers import AllAnswers, all_answers
from edgehold.report import adds as module
from edgehold.report.adds import OWN, Adds, adds
from edgehold.report.command import report_at
from edgehold.report.opening import open_submission
from edgehold.report.plain import report_text
from edgehold.words import arguments_of, code_of
from tests.published import copy_demonstrated
from tests.records.builder import changed
from tests.shared import once

ROOT = Path(__file__).parents[2]
PROTOCOL, MAJOR, MANY = "steels-exchanged-rope", 2, 8
TOLERANCE = 1e-9
FITTED: dict[str, AllAnswers] = {}


def files_of(root: Path) -> list[Path]:
    """Files of the pool, by name."""
    files = sorted((root / "submissions" / "simulated" / PROTOCOL).glob("*.json"))
    return [f for f in files if json.loads(f.read_text(encoding="utf-8"))["protocol"]["version"].startswith(f"{MAJOR}.")]


def published(root: Path) -> dict:
    """Ratios and intervals by factor and names, as `edgehold pool` publishes them at the primary endpoint."""
    results = json.loads((pool(root) / "results.json").read_text(encoding="utf-8"))
    (one,) = [p for p in results["pools"] if (p["protocol"], p["major"], p["origin"]) == (PROTOCOL, MAJOR, "simulated")]
    endpoint = next(e for e in one["endpoints"] if e["primary"])
    found = {(a["factor"], a["first"], a["second"]): a["result"] for a in (*endpoint["steels"], endpoint["practice"])}
    return found | {(OWN,): endpoint["model"]["own_sharpening"]}


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory):
    """A part of the demonstration, the same without one file, and that file."""
    folder = tmp_path_factory.mktemp("pool")
    root, rest = folder / "repository", folder / "rest"
    copy_demonstrated(root, only=PROTOCOL)
    for file in files_of(ROOT)[:MANY]:
        shutil.copy(file, root / file.relative_to(ROOT))
    chosen = root / files_of(ROOT)[MANY - 1].relative_to(ROOT)
    shutil.copytree(root, rest)
    (rest / chosen.relative_to(root)).unlink()
    return root, rest, chosen


@pytest.fixture(scope="module")
def built(laid_out, common):
    """The same with what is published of both."""
    root, rest, chosen = laid_out

    def write(file: Path) -> None:
        file.write_bytes(pickle.dumps((published(root), published(rest))))

    return root, rest, chosen, *pickle.loads(once(common, "what-runs-add", write).read_bytes())


@pytest.fixture
def fitted_once(monkeypatch):
    """What the same rows and points gave before is not fitted again: the answers are a function of nothing else."""

    def call(*given, **named):
        key = repr((given, named))
        if key not in FITTED:
            FITTED[key] = all_answers(*given, **named)
        return FITTED[key]

    monkeypatch.setattr(module, "all_answers", call)


def held(found: Adds, joined: dict, without: dict) -> set[str]:
    """Hold every comparison to what the normal path publishes; the codes met."""
    for one in found.additions:
        key = (OWN,) if one.factor == OWN else (one.factor, one.first, one.second)
        for got, wanted in ((one.without, without.get(key)), (one.joined, joined[key])):
            assert (got is None) == (wanted is None)
            for end in ("ratio", "low", "high") if got else ():
                assert getattr(got, end) == pytest.approx(wanted[end], rel=TOLERANCE, abs=0)
    return {code_of(one.sentence) for one in found.additions}


def test_both_figures_are_those_that_the_normal_path_publishes(built, fitted_once):
    root, rest, file, joined, without = built
    inside, outside = adds(root, open_submission(root, file.stem)), adds(rest, open_submission(rest, str(file)))
    for found in (inside, outside):
        assert "report.adds_both" in held(found, joined, without)
        assert found.others == len(files_of(rest)) == len(files_of(root)) - 1
        assert {one.factor for one in found.additions} == {"steel", "practice", OWN}
        assert all(one.without != one.joined for one in found.additions)
    assert (inside.counted, outside.counted) == (file.stem, "")
    assert [one.sentence for one in inside.additions] == [one.sentence for one in outside.additions]
    assert [code_of(s) for s in inside.sentences] == ["report.adds_others", "report.adds_counted"]
    assert [code_of(s) for s in outside.sentences] == ["report.adds_others", "report.adds_new"]


def test_runs_under_another_id_or_from_a_changed_file_are_counted_once(built, fitted_once, tmp_path):
    root, _, file, joined, without = built
    record = json.loads(file.read_text(encoding="utf-8"))
    twin, other = tmp_path / "twin.json", tmp_path / "changed.json"
    twin.write_text(json.dumps(record | {"id": "somebody-elses-copy"}), encoding="utf-8")
    other.write_text(json.dumps(changed(record, {"/month": "2026-06"})), encoding="utf-8")
    copied, replaced = (adds(root, open_submission(root, str(one))) for one in (twin, other))
    assert copied.counted == replaced.counted == file.stem and held(copied, joined, without)
    assert replaced.others == copied.others == len(files_of(root)) - 1
    assert [one.without for one in replaced.additions] == [one.without for one in copied.additions]


def test_the_report_tells_it_in_text_page_and_json(laid_out, fitted_once, capsys, tmp_path):
    root, _, file = laid_out
    page = tmp_path / "report.html"
    assert main(["report", file.stem, "--root", str(root), "--pool", str(root), "--html", str(page), "--json"]) == FINE
    told = json.loads(capsys.readouterr().out)["adds"]
    found = report_at(root, open_submission(root, file.stem), None, None, root)
    text, html = " ".join(report_text(found).split()), page.read_text(encoding="utf-8")
    assert told["counted"] == file.stem and len(told["comparisons"]) == len(found.adds.additions) > 2
    for one, plain in zip(found.adds.additions, told["comparisons"], strict=True):
        assert plain["sentence"] == one.sentence and plain["with"]["low"] == one.joined.low and plain["without"]["high"] == one.without.high
        assert one.sentence in text and one.sentence.replace("'", "&#39;") in html
    assert text.index(found.headline) < text.index(found.adds.additions[0].sentence) < text.index(found.lead.primary.verdict_sentence)
    drawn = [f for f in found.lead.figures if f.ratio or f.low or f.high]
    assert html.count('class="answer-bar"') == len(drawn) + 2 * len(found.adds.additions)


def test_without_the_option_nothing_is_pooled(laid_out, capsys, monkeypatch):
    root, _, file = laid_out
    monkeypatch.setattr(module, "all_answers", None)
    assert main(["report", file.stem, "--root", str(root), "--json"]) == FINE
    assert json.loads(capsys.readouterr().out)["adds"] is None


def test_a_pool_that_cannot_be_fitted_says_its_reason(laid_out, monkeypatch):
    root, _, file = laid_out
    reading = gather.read_pool

    def failing(*_, **__):
        raise np.linalg.LinAlgError("planted")

    monkeypatch.setattr(gather, "read_pool", failing)
    monkeypatch.setattr(gather, "headline_of", failing_headline)
    found = adds(root, open_submission(root, file.stem))
    assert {code_of(one.sentence) for one in found.additions} == {"report.adds_neither"}
    assert {arguments_of(one.sentence)["reason"] for one in found.additions} == {NotFitted("numerics.singular")}

    def failing_with_them(points, *given, **more):
        return (failing if file.stem in {point.submission for point in points} else reading)(points, *given, **more)

    monkeypatch.setattr(gather, "read_pool", failing_with_them)
    found = adds(root, open_submission(root, file.stem))
    lost = [one for one in found.additions if one.without is not None]
    assert {one.factor for one in lost} == {"steel", "practice", OWN} and all(one.joined is None for one in found.additions)
    assert {code_of(one.sentence) for one in lost} == {"report.adds_only_without"}
    assert {arguments_of(one.sentence)["reason"] for one in lost} == {NotFitted("numerics.singular")}


def failing_headline(*_, **__):
    raise np.linalg.LinAlgError("planted")
