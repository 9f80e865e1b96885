"""Cards: a method, a plan and a report in at most 1,000 characters."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from edgehold.cards.fitting import HASH, LONGEST, SHORTEST, Line, fitted
from edgehold.cards.method import method_card
from edgehold.cli import main
from edgehold.records.model.protocol import Protocol
from edgehold.words import Reason
from tests.records.builder import changed, protocol

ROOT = Path(__file__).parents[2]
VERSIONS = sorted(ROOT.glob("protocols/*/*.md"))
HERE, ASK = "https://boatyard.example/protocols/x/1.0.0/", "https://boatyard.example/objections/new/?protocol=x&version=1.0.0"
LINES = st.lists(st.builds(Line, st.text(st.characters(codec="utf-8"), max_size=400), st.integers(0, 9), st.booleans()), max_size=30)


def settings(path: Path) -> Protocol:
    return Protocol.model_validate_json(json.dumps(yaml.safe_load(path.read_text(encoding="utf-8").split("---\n", 2)[1])))


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: f"{path.parent.name}-{path.stem}")
@pytest.mark.parametrize("address", [("", ""), (HERE, ASK)], ids=["no site", "a site"])
def test_the_card_of_every_method_holds_what_a_critic_needs(path, address):
    p = settings(path)
    card = method_card(p, "adopted", "ab" * 32, *address)
    primary = next(rule for rule in p.endpoints if rule.primary)
    assert len(card) <= LONGEST
    needed = [p.title, p.id, p.version, "adopted", p.question.text, p.medium.name, f"{p.work.checkpoints[-1]:g}", primary.title[1:]]
    needed += [f"×{primary.worthwhile_ratio:g}", f"{p.design.least_runs} runs", f"{p.minutes.whole} minutes", ("ab" * 32)[:HASH], *address]
    needed += sorted({threat.threat for threat in p.threats})
    needed += [level.word for level in p.question.levels]
    needed += [f"{limit:g}" for level in p.question.levels if level.rule for limit in (level.rule.at_least, level.rule.below) if limit]
    assert [text for text in needed if text not in card] == []
    begun = [p.reading.description, p.design.order, p.design.blinding]
    assert [text for text in begun if text[: SHORTEST // 3] not in card] == [], "described, if only in its first words"


def test_a_method_whose_every_text_is_as_long_as_may_be_still_fits():
    longest = {"/title": "t" * 200, "/question/text": "q" * 200, "/reading/description": "r" * 200, "/stopping/text": "s" * 200}
    longest |= {"/design/order": "o " * 100, "/design/blinding": "b " * 100, "/medium/name": "m" * 60}
    card = method_card(Protocol.model_validate_json(json.dumps(changed(protocol(), longest))), "in review", "0" * 64, HERE, ASK)
    assert len(card) <= LONGEST and card.endswith(ASK) and HERE in card


@given(LINES, st.integers(1, LONGEST))
def test_whatever_the_lines_the_text_fits(lines, longest):
    assert len(fitted(lines, longest)) <= longest


@given(LINES)
def test_nothing_is_touched_where_there_is_room(lines):
    whole = "\n".join(line.text for line in lines if line.text)
    assert fitted(lines, max(1, len(whole))) == whole


def test_descriptions_are_cut_before_a_line_goes_and_what_must_stay_stays():
    lines = [Line("must stay " * 5), Line("a long description of the reading " * 5, 1, True), Line("nice to have", 2)]
    told = fitted(lines, 140)
    assert told.splitlines()[0] == "must stay " * 5 and "…" in told.splitlines()[1] and told.endswith("nice to have")
    assert "nice to have" not in fitted(lines, 115) and fitted(lines, 115).startswith("must stay")


def test_the_command_prints_the_card_of_the_newest_adopted_version_and_refuses_what_is_not_there(capsys):
    assert main(["draft", "protocol", "two-sharpeners-rope", "--root", str(ROOT), "--card"]) == 0
    assert "(method two-sharpeners-rope 2.0.0, adopted)" in capsys.readouterr().out
    assert main(["draft", "protocol", "two-sharpeners-rope", "--root", str(ROOT), "--version", "9.9.9", "--card"]) == 2
    assert capsys.readouterr().err == "edgehold: got 'two-sharpeners-rope 9.9.9', wanted one of 1.0.0, 1.1.0, 2.0.0\n"


def test_a_plan_in_a_post_says_what_will_be_done_and_gives_no_order_and_no_name_away(capsys):
    words = ["plan", "two-sharpeners-rope", "--root", str(ROOT), "--blade", "wren.galley", "--sharpener", "wren", "--sharpener", "tern"]
    assert (
        main([*words, "--tester", "fennel", "--coder", "moss", "--minutes", "180", "--metres", "20", "--dry", "--drawn", "40", "--card"])
        == 0
    )
    card = capsys.readouterr().out.rstrip("\n")
    assert len(card) <= LONGEST and "6 runs to 40 cuts" in card and Reason("card.plan_coded") in card
    assert not any(name in card for name in ("wren", "tern", "fennel", "moss"))


def test_a_report_in_a_post_begins_with_its_verdict_and_says_that_it_is_simulated(capsys):
    assert main(["report", "dunlin-2026-10-p47", "--root", str(ROOT), "--card"]) == 0
    first, second, *rest = card = capsys.readouterr().out.rstrip("\n").splitlines()
    assert first == Reason("card.simulated") and second.startswith("Cannot tell yet: after 40 cuts") and second.endswith(".")
    assert len("\n".join(card)) <= LONGEST and rest[-1] == Reason("card.wrong_here")
