"""`edgehold plan`: what is said, in which order, and what is written."""

import argparse
import json
import re
import shutil
from pathlib import Path

import pytest

from edgehold.cli import main
from edgehold.planning.options import add_arguments
from edgehold.records.model.plan import Plan, PlanSeal
from edgehold.records.sealing import plan_sha256
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.publish.repeatability_file import content_sha256
from edgehold.words.cautions import CAUTIONS
from tests.published import copy_demonstrated
from tests.records.builder import markdown, write
from tests.records.test_objections import OBJECTION

ROOT = Path(__file__).parents[2]
TWO = [
    "plan", "two-sharpeners-rope", "--root", str(ROOT), "--blade", "wren.galley", "--sharpener", "wren", "--sharpener", "tern",
    "--tester", "fennel", "--coder", "moss", "--seed", "5", "--drawn", "40", "--id", "boatyard-1", "--month", "2026-05",
    "--protocol-version", "1.1.0",
]  # fmt: skip


def said(capsys, *words):
    assert main([*TWO, *words]) == 0
    return capsys.readouterr()


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    """Files go to a folder of the test's own, and no earlier build's table is used."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("edgehold.planning.house.TABLE", "build/none.json")


def test_what_cannot_be_answered_is_said_before_anything_else(capsys):
    text = said(capsys, "--dry").out
    question, answer = text.split("\n\n")[:2]
    assert question.startswith("Does it matter which of two people sharpened")
    assert answer.startswith("These runs alone will hardly answer the question. If one really is 1.5 times as good")
    for kind in ("About", "A worthwhile ratio of", "Finer readings", "As many runs again", "The same plan by a friend"):
        assert kind in answer


def test_an_evening_that_can_answer_says_so_first(capsys, tmp_path):
    text = said(capsys, "--dry", "--worthwhile", "9").out
    assert text.split("\n\n")[1].startswith("These runs can answer the question")


def test_cautions_stand_before_the_order(capsys):
    text = " ".join(said(capsys, "--dry").out.split())
    for caution in CAUTIONS:
        assert text.index(" ".join(caution.split())) < text.index("ORDER (plan")


def test_the_cautions_are_those_of_the_site():
    template = (ROOT / "aggregator" / "edgehold" / "pages" / "templates" / "_cautions.html").read_text(encoding="utf-8")
    plain = re.sub(r"<[^>]+>", "", template).lower()
    for sentence in re.split(r"(?<=[.;:]) ", " ".join(CAUTIONS).lower()):
        assert sentence.strip(".;: ") in plain, sentence


def test_the_basis_and_its_trust_are_said(capsys):
    text = " ".join(said(capsys, "--dry").out.split())
    assert "the protocol's assumption, worth 4 degrees of freedom: a guess" in text
    assert "between 0.18 and 0.48" in text  # 0.25·√(4/χ²): χ²₄ at .9 and .1 are 7.779 and 1.064


def test_the_apex_rule_the_medium_and_the_open_threats_are_printed(capsys):
    text = " ".join(said(capsys, "--dry").out.split())
    assert "Three strokes square on the stone under the blade's own weight" in text
    assert "3.6 m of rope, natural fibre" in text
    assert "generality: One tester" in text


def test_halves_of_one_edge_are_planned_in_pairs_and_say_which_half(capsys):
    text = said(capsys, "--dry", "--protocol-version", "2.0.0", "--minutes", "180").out
    order = text[text.index("ORDER (plan") :].split("\n\n")[0]
    head, *runs = [line.split() for line in order.splitlines() if re.match(r"run |\d", line)]
    assert head[-5:] == ["blade", "half", "in", "turn", "with"]
    assert [(run[-2], run[-1]) for run in runs] in (
        [("heel", "2"), ("tip", "1"), ("heel", "4"), ("tip", "3"), ("heel", "6"), ("tip", "5")],
        [("tip", "2"), ("heel", "1"), ("tip", "4"), ("heel", "3"), ("tip", "6"), ("heel", "5")],
    )
    assert "With an odd number of pairs the halves are not shared out evenly" in " ".join(text.split())


def test_coded_orders_are_for_the_coder_only(capsys):
    assert "For moss only, who keeps the codes: fennel must not see it." in " ".join(said(capsys, "--dry").out.split())


def test_the_plan_is_written_once_and_never_over(capsys, tmp_path):
    said(capsys)
    plan = Plan.model_validate_json((tmp_path / "boatyard-1.json").read_bytes())
    assert (plan.id, plan.blinding, plan.coder, len(plan.runs)) == ("boatyard-1", "helper coded", "moss", 4)
    before = (tmp_path / "boatyard-1.json").read_bytes()
    assert main(TWO) == 2
    assert "nothing is written over" in capsys.readouterr().err
    assert (tmp_path / "boatyard-1.json").read_bytes() == before


def test_a_sealed_plan_puts_its_seal_where_seals_are_published(capsys, tmp_path):
    repository = tmp_path / "repository"
    (repository / "submissions").mkdir(parents=True)
    copy_demonstrated(repository)
    assert main([*TWO, "--root", str(repository), "--sealed"]) == 0
    plan = Plan.model_validate_json((tmp_path / "boatyard-1.json").read_bytes())
    seal = PlanSeal.model_validate_json((repository / "submissions" / "plans" / "boatyard-1.json").read_bytes())
    assert seal.sha256 == plan.sha256 == plan_sha256(plan)
    assert seal.by == "moss"
    assert "wren" not in (repository / "submissions" / "plans" / "boatyard-1.json").read_text()
    capsys.readouterr()
    assert main(["check", "--root", str(repository)]) == 0


def test_json_holds_the_same_plan_and_plain_numbers(capsys):
    told = json.loads(said(capsys, "--json", "--dry").out)
    assert Plan.model_validate_json(json.dumps(told["plan"])).seed == 5
    assert told["answers"] is False and told["runs"] == 4
    assert told["expected"]["half_width"] > 0.3
    shares = told["expected"]["chances"][0]["share"]
    assert sum(shares.values()) == pytest.approx(1)


def test_the_same_words_say_the_same_again(capsys):
    assert said(capsys, "--dry").out == said(capsys, "--dry").out


def published(tmp_path, sha256=None):
    plain = {
        "format": "repeatability/1.0.0",
        "pools": [
            {
                "protocol": "two-sharpeners-rope", "major": 1, "origin": "measured", "reading_variance": 0.01,
                "endpoints": [
                    {
                        "endpoint": "late", "source": "pooled", "submissions": 12, "s2_pooled": 0.04, "df_pooled": 30.0, "prior_s2": 0.04,
                        "prior_df": None, "assumed_ln_sd": 0.25, "assumed_df": 4.0, "contributions": [],
                    }
                ],
            }
        ],
    }  # fmt: skip
    right = content_sha256(PublishedRepeatability.model_validate_json(json.dumps(plain | {"sha256": "0" * 64})))
    file = tmp_path / "table.json"
    file.write_text(json.dumps(plain | {"sha256": sha256 or right}))
    return file, right


def test_a_published_table_replaces_the_assumption_and_its_hash_is_printed(capsys, tmp_path):
    file, sha256 = published(tmp_path)
    text = " ".join(said(capsys, "--dry", "--table", str(file)).out.split())
    assert "ln SD of 0.2, known from 12 submissions (30 degrees of freedom" in text
    assert sha256 in text
    assert "8 % of the variance between runs comes from reading" in text  # .01/3 of .04


def test_a_table_that_was_changed_is_refused(capsys, tmp_path):
    file, _ = published(tmp_path, "1" * 64)
    assert main([*TWO, "--table", str(file)]) == 2
    assert "whose hash is not that of its content" in capsys.readouterr().err


def test_what_is_no_table_is_refused(capsys, tmp_path):
    (tmp_path / "x.json").write_text("{}")
    assert main([*TWO, "--table", "x.json"]) == 2
    assert "wanted a repeatability table as 'edgehold pool' writes it" in capsys.readouterr().err


def test_an_unknown_protocol_is_answered_with_those_there_are(capsys):
    assert main(["plan", "cutting-butter", "--root", str(ROOT)]) == 2
    wanted = "finish-in-halves-rope, first-evening-paper, life-on-card, steels-exchanged-rope, strop-or-not-paper, two-sharpeners-rope"
    assert f"wanted one of {wanted}" in capsys.readouterr().err


def test_progress_goes_to_the_error_stream(capsys, monkeypatch):
    monkeypatch.setattr("edgehold.planning.command.SAID_EVERY", 0.0)
    told = said(capsys, "--dry")
    assert "40 of 40 evenings at a true ratio of 1 …" in told.err
    assert "evenings at a true ratio" not in told.out


def test_every_word_is_explained():
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    assert all(action.help for action in parser._actions)


def test_no_test_is_planned_by_a_version_whose_form_is_closed(capsys, tmp_path):
    root = tmp_path / "clone"
    copied = shutil.copytree(ROOT / "protocols" / TWO[1], root / "protocols" / TWO[1])
    (root / "submissions").mkdir()
    shutil.rmtree(copied / "objections")
    words = [str(root) if word == str(ROOT) else word for word in TWO]
    assert main([*words, "--dry"]) == 0
    objection = OBJECTION | {
        "against": {"protocol": TWO[1], "version": "1.1.0", "step": "s2-reading-rig", "endpoint": None},
        "threat": "safety", "severity": "blocking", "month": "2026-11",
    }  # fmt: skip
    write(copied / "objections" / "001-the-thread-whips" / "00-objection.md", markdown(objection, "The parting thread whips back."))
    capsys.readouterr()
    assert main([*words, "--dry"]) == 2
    assert "objection 1, about safety, stands against two-sharpeners-rope 1.1.0: no test is planned by it" in capsys.readouterr().err


TWO_BLADES = ["plan", "two-sharpeners-rope", "--root", str(ROOT), "--drawn", "40", "--blade", "wren.galley", "--blade", "wren.deck"]


def test_of_one_person_before_and_now_the_halves_change_from_blade_to_blade(capsys, tmp_path):
    words = [
        "plan",
        "two-sharpeners-rope",
        "--root",
        str(ROOT),
        "--drawn",
        "40",
        "--blade",
        "wren.galley",
        "--blade",
        "wren.deck",
        "--id",
        "wren-1",
    ]
    assert main([*words, "--alone", "wren", "--sharpener", "wren (before the course)", "--seed", "5"]) == 0
    out = capsys.readouterr().out
    assert "The edge by wren (before the course) is cut as it was left" in out
    runs = Plan.model_validate_json((tmp_path / "wren-1.json").read_bytes()).runs
    assert {(run.condition, run.edge_part) for run in runs} == {
        (who, half) for who in ("before the course", None) for half in ("heel", "tip")
    }
    assert {run.tester for run in runs} == {"wren"}


def test_the_factory_edge_is_named_as_such(capsys):
    assert main([*TWO_BLADES, "--dry", "--alone", "wren", "--sharpener", "factory"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "The edge by the factory is cut as it was left" in out and "for which another such edge is needed" in out
    assert "factory would have to sharpen" not in out


def test_two_ways_of_one_person_are_told_apart_and_a_bracket_that_is_none_is_refused(capsys):
    ways = ["--sharpener", "wren (freehand)", "--sharpener", "wren (with a guide)"]
    words = [
        "plan",
        "two-sharpeners-rope",
        "--root",
        str(ROOT),
        "--drawn",
        "40",
        "--blade",
        "wren.galley",
        "--tester",
        "fennel",
        "--coder",
        "moss",
    ]
    assert main([*words, *ways, "--json", "--dry"]) == 0
    runs = json.loads(capsys.readouterr().out)["plan"]["runs"]
    assert {(run["sharpener"], run["condition"]) for run in runs} == {("wren", "freehand"), ("wren", "with a guide")}
    assert main([*words, "--sharpener", "wren (freehand", "--sharpener", "tern", "--dry"]) == 2
    assert "got 'wren (freehand' as sharpener, wanted a handle" in capsys.readouterr().err
