"""What would settle it, guesses, what cannot be told, what it costs in time, and how it sits among others."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t

from edgehold.estimates.repeatability import ASSUMED, Repeatability
from edgehold.planning.remedies import Outlook
from edgehold.report.among import among
from edgehold.report.answer import own_estimates
from edgehold.report.assemble import report_on
from edgehold.report.settle import expected_half_width
from edgehold.results.model.results import Comparison, Results, StudyLine
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason, arguments_of, code_of, listed
from tests.words.says import says

from .reports import CASES, changed_report, opened, report, table

BCG = json.loads((Path(__file__).parents[1] / "reference" / "bcg.json").read_text())


def nothing_known(ln_sd: float) -> Outlook:
    """Runs judged by their own variance alone, drawn with a spread that is known."""
    return Outlook(Repeatability(math.nan, 0.0, 1e-9, ln_sd**2, ASSUMED, 0), (ln_sd, math.inf), 1)


@pytest.mark.parametrize(("runs", "ratio"), [(4, 3.6), (8, 1.7), (16, 1.4)])
def test_the_width_to_expect_is_students_for_two_groups(runs, ratio):
    """Student's two-sample interval: t(n − 2)·σ·√(2/(n/2)); with σ = 0.30 that is ×3.6, ×1.7 and ×1.4 for 4, 8 and 16 runs."""
    closed = t.ppf(0.975, runs - 2) * 0.30 * math.sqrt(4 / runs)
    half = expected_half_width(nothing_known(0.30), 4 / runs, runs - 2)
    assert half == pytest.approx(closed, rel=0.03)  # √(mean of s²) of 4,000 draws
    assert math.exp(half) == pytest.approx(ratio, abs=0.1)


def test_more_runs_are_as_many_as_the_interval_needs():
    """Pooled spread known well (s² = 0.05 on 40 df): n runs, two sides, half = t(40)·√(0.05·4/n) ≤ ln 1.25 first at n = 18."""
    settle = report("pooled-runs").settle
    closed = next(n for n in range(2, 200, 2) if t.ppf(0.975, 40) * math.sqrt(0.05 * 4 / n) <= math.log(1.25))
    assert closed == 18
    assert settle.width_runs == closed
    assert settle.half_width == pytest.approx(math.exp(t.ppf(0.975, 40) * math.sqrt(0.05 / 2)))
    assert settle.verdict_runs > settle.width_runs
    assert any(says(sentence, "report.settle_more", more=closed - 8, total=closed) for sentence in settle.sentences)


def test_what_is_settled_is_said_to_be():
    found = {name: report(name).settle.sentences[0].code for name in ("better", "blade-each", "never-dull")}
    assert found == {"better": "report.settled", "blade-each": "report.settle_together", "never-dull": "report.settle_bound"}


def test_the_owners_sentence_is_the_ratio_of_lives():
    life = next(r for r in CASES["clear-lives"]["expected"]["results"] if r["endpoint"] == "life" and r["factor"] == "sharpener")
    sentence = report("clear-lives").lead.owner_sentence
    ratio, low, high = (
        Reason(f"report.share_{'more' if life[end] > 1 else 'less'}", figure=round(100 * abs(life[end] - 1)))
        for end in ("ratio", "low", "high")
    )
    names = {side: Reason("own_answer.named_sharpener", name=name) for side, name in (("first", "tern"), ("second", "wren"))}
    figures = {"medium": "rope", "ratio": ratio, "low": low, "high": high}
    assert sentence == Reason("report.owner", verdict=Reason("own_answer.verdict_undecided"), **names, **figures)
    bound = report("never-dull").lead.owner_sentence
    assert (bound.code, bound.arguments["side"]) == ("report.owner_bound", "at least")


def guessing(right: int, runs: int = 8) -> dict[str, object]:
    """Coded runs of two sharpeners, the first ones guessed right."""
    prepared = {p["id"]: p["sharpener"] for p in CASES["pooled-runs"]["submission"]["preparations"]}
    changes: dict[str, object] = {}
    for i, run in enumerate(CASES["pooled-runs"]["submission"]["runs"][:runs]):
        truth = prepared[run["preparation"]]
        said = truth if i < right else {"wren": "tern", "tern": "wren"}[truth]
        changes |= {f"/runs/{i}/blinding": "helper coded", f"/runs/{i}/tester_guess": {"sharpener": said, "confidence_percent": 60}}
    return changes


@pytest.mark.parametrize(("right", "chance"), [(8, 1 / 256), (7, 9 / 256), (6, 37 / 256), (4, 163 / 256)])
def test_right_guesses_are_held_against_luck(right, chance):
    """Binomial with p = ½, n = 8, by hand: C(8,8) = 1, C(8,7) = 8, C(8,6) = 28, and so on, of 256."""
    found = changed_report("pooled-runs", guessing(right)).guessed
    assert (found.guessed, found.right) == (8, right)
    assert found.chance == pytest.approx(chance)
    assert (Reason("report.seen_through") in found.sentences) is (chance < 0.05)


def test_the_runs_guessed_wrong_are_compared_by_themselves():
    found = changed_report("pooled-runs", guessing(4))
    own = own_estimates(found.record, found.protocol, CASES["pooled-runs"]["repeatability"], {})
    late = {row.run: row.low for row in own.rows if row.endpoint == "late"}
    sharpener = {row.run: row.sharpener for row in own.rows}
    wrong = [run.id for run in found.record.runs[4:]]
    ratio = math.exp(
        np.mean([late[r] for r in wrong if sharpener[r] == "tern"]) - np.mean([late[r] for r in wrong if sharpener[r] == "wren"])
    )
    (sentence,) = [s for s in found.guessed.sentences if says(s, "report.guessed_wrong", runs=4)]
    assert Reason(f"own_answer.other_{'more' if ratio > 1 else 'less'}", figure=round(100 * abs(ratio - 1))) in sentence


def test_a_few_guesses_say_nothing_and_none_is_said_so():
    assert Reason("report.few_guesses") in changed_report("pooled-runs", guessing(3, 3)).guessed.sentences
    assert report("pooled-runs").guessed.sentences == (Reason("report.not_hidden"),)
    coded = {f"/runs/{i}/blinding": "helper coded" for i in range(8)}
    assert changed_report("pooled-runs", coded).guessed.sentences == (Reason("report.not_guessed"),)


def test_what_cannot_be_told_is_named():
    texts = [limit.text for limit in report("blade-each").limits]
    blade, sharpener = Reason("factors.blade"), Reason("factors.sharpener")
    together = Reason("moves_together.together", factor=sharpener, others=blade)
    assert Reason("report.limit_together", pairs=listed(["tern", "wren"]), reason=together) in texts
    pooled = {code_of(limit.text): (limit.threat, arguments_of(limit.text)) for limit in report("pooled-runs").limits}
    assert pooled["report.limit_later"] == ("order", {"first": "wren", "last": "tern", "runs": 1})
    assert {pooled[code][0] for code in ("report.limit_turns", "report.limit_start") if code in pooled} == {"carry-over"}
    assert pooled["report.limit_one_blade"][1] == {"name": "wren.galley"} and pooled["report.limit_one_tester"][1] == {"name": "fid"}
    assert {"report.limit_hiding_unstated_all", "report.limit_lot_unstated", "report.limit_no_plan"} <= pooled.keys()
    made_well = changed_report(
        "pooled-runs",
        {f"/runs/{i}/{name}": value for i in range(8) for name, value in (("blinding", "helper coded"), ("lot", f"wren.coil-{i // 4}"))}
        | {f"/preparations/{i}/start_state": "apex flattened" for i in range(8)}
        | {"/lots": [{"key": "wren.coil-0"}, {"key": "wren.coil-1"}]},
    )
    less = {code_of(limit.text) for limit in made_well.limits}
    assert less.isdisjoint({"report.limit_start", "report.limit_one_lot", "report.limit_lot_unstated"})
    assert not any("hid" in code for code in less)


def test_two_blades_in_turn_leave_no_order_to_tell_and_a_hand_that_feels_which_it_holds():
    found = {code_of(limit.text) for limit in report("two-blades-in-turn").limits}
    assert "report.limit_hand_feels" in found and found.isdisjoint({"report.limit_later", "report.limit_turns", "report.limit_first"})
    assert "report.limit_hand_feels" not in {code_of(limit.text) for limit in report("two-blades").limits}


def test_both_sides_in_an_even_order_leave_no_order_to_tell():
    """ABBA: the mean places are equal."""
    own = CASES["pooled-runs"]["submission"]
    names = ["wren", "tern", "tern", "wren", "wren", "tern", "tern", "wren"]
    assert [p["sharpener"] for p in own["preparations"]] == ["wren", "tern"] * 4
    changes = {f"/preparations/{i}/sharpener": name for i, name in enumerate(names)}
    assert all(limit.threat != "order" for limit in changed_report("pooled-runs", changes).limits)


def test_minutes_and_cuts_a_week_are_plain_arithmetic():
    case = CASES["clear-lives"]["submission"]
    changes = {f"/preparations/{i}/minutes": {"wren": 10, "tern": 25}[p["sharpener"]] for i, p in enumerate(case["preparations"])}
    found = changed_report("clear-lives", changes, weekly=300).worth
    lives = {row["run"]: row["low"] for row in CASES["clear-lives"]["expected"]["rows"] if row["endpoint"] == "life"}
    for side in found.sides:
        own = [lives[run["id"]] for run, p in zip(case["runs"], case["preparations"], strict=True) if p["sharpener"] == side.arm]
        assert side.life == pytest.approx(math.exp(np.mean(own)))
        assert side.weekly_minutes == pytest.approx(300 / math.exp(np.mean(own)) * {"wren": 10, "tern": 25}[side.arm])
    assert "report.worth_less" in map(code_of, found.sentences)


@pytest.mark.parametrize(("novice", "told"), [("tern", "report.worth_learning"), ("wren", "report.worth_no_learning")])
def test_learning_pays_only_where_the_practised_hand_takes_less_time(novice, told):
    """clear-lives: edges of wren last longer; with the same minutes they take less time a week."""
    people = CASES["clear-lives"]["submission"]["people"]
    changes: dict[str, object] = {f"/preparations/{i}/minutes": 12 for i in range(len(CASES["clear-lives"]["submission"]["preparations"]))}
    changes |= {f"/people/{i}/sharpening": "novice" if p["handle"] == novice else "practised" for i, p in enumerate(people)}
    assert told in map(code_of, changed_report("clear-lives", changes, weekly=300).worth.sentences)


def test_minutes_that_are_not_stated_for_all_are_no_answer():
    assert report("clear-lives").worth is None
    told = changed_report("clear-lives", {"/preparations/0/minutes": 12}, weekly=300).worth
    assert told.sides == () and told.sentences == (Reason("report.worth_unstated"),)


def test_start_keenness_is_beside_and_changes_nothing():
    start = report("pooled-runs").start
    readings = {p["sharpener"]: [] for p in CASES["pooled-runs"]["submission"]["preparations"]}
    for run, p in zip(CASES["pooled-runs"]["submission"]["runs"], CASES["pooled-runs"]["submission"]["preparations"], strict=True):
        readings[p["sharpener"]].append(np.mean([math.log(v["written"]) for v in run["readings"][0]["values"]]))
    assert start.ratio == pytest.approx(math.exp(np.mean(readings["wren"]) - np.mean(readings["tern"])))
    blunter = {f"/runs/{i}/readings/0/values": [{"written": 2.5}] * 3 for i in range(8)}
    changed = changed_report("pooled-runs", blunter)
    assert changed.start.ratio == pytest.approx(1)
    assert [f.ratio for f in changed.lead.figures if f.kind == "level"] == [
        f.ratio for f in report("pooled-runs").lead.figures if f.kind == "level"
    ]


def test_the_pooled_ratio_is_the_one_without_this_file():
    """R metafor 3.8.1, leave1out(rma(yi, vi)), BCG trials (Colditz 1994): kept in tests/reference/bcg.json."""
    own = opened("two-steels")
    estimates = own_estimates(own.record, own.protocol.record, CASES["two-steels"]["repeatability"], own.repository.steels).estimates
    for left_out in (0, 6):
        lines = tuple(
            StudyLine.model_construct(
                submission=own.record.id if i == left_out else f"trial-{i}", cluster=i, ln_estimate=row["yi"], ln_variance=row["vi"]
            )
            for i, row in enumerate(BCG["rows"])
        )
        (found,) = among(own.record, own.protocol.record, estimates, pooled(lines, own))
        reference = BCG["leave_one_out"]["studies"][left_out]
        assert found.studies == 12
        assert math.log(found.ratio) == pytest.approx(reference["estimate"], rel=1e-7)
        assert says(found.sentence, "report.others", studies=12)


def pooled(lines: tuple[StudyLine, ...], own) -> Results:
    """Results of one pool in which the two steels of the case meet."""
    protocol = own.protocol.record
    rule = next(rule for rule in protocol.endpoints if rule.primary)
    comparison = Comparison.model_construct(factor="steel", first="aisi-1095", second="aisi-d2", lines=lines)
    endpoint = type("E", (), {"id": rule.id, "pairwise": (comparison,)})()
    pool = type("P", (), {"protocol": protocol.id, "major": int(protocol.version[0]), "origin": "measured", "endpoints": (endpoint,)})()
    return Results.model_construct(pools=(pool,))


def test_too_few_others_are_listed_and_not_pooled():
    own = opened("two-steels")
    estimates = own_estimates(own.record, own.protocol.record, CASES["two-steels"]["repeatability"], own.repository.steels).estimates
    lines = tuple(StudyLine.model_construct(submission=f"other-{i}", cluster=1, ln_estimate=0.1, ln_variance=0.02) for i in range(5))
    (found,) = among(own.record, own.protocol.record, estimates, pooled(lines, own))
    assert (found.studies, found.ratio) == (1, None) and says(found.sentence, "report.others_one", first="aisi-1095", second="aisi-d2")


def test_a_plan_with_a_ratio_of_its_own_is_held_against_that_as_well():
    plan = {
        "format": "plan/1.0.0", "id": "wren-plan", "protocol": CASES["pooled-runs"]["submission"]["protocol"], "month": "2026-05",
        "worthwhile_ratio": 3.0, "seed": 1, "blinding": "none",
        "runs": [{"order": 1, "block": 1, "blade": "wren.galley", "sharpener": "wren", "tester": "fid"}],
    }  # fmt: skip
    found = report_on(opened("pooled-runs", {"/plan": {"id": "wren-plan", "opened": plan}}), table("pooled-runs"))
    (told,) = found.planned
    assert told.startswith(Reason("report.planned_unsealed"))
    assert says(told, "report.held_other", ratio=ratio_text(3), kind="no difference worth having")
    assert found.lead.primary.verdict != "no difference worth having"
    assert code_of(found.settle.sentences[0]) == "report.settled" != code_of(report("pooled-runs").settle.sentences[0])
    assert report("pooled-runs").planned == ()
