"""Networks, curves against each other and probes in plain English, and as published numbers."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable
from edgehold.estimates.results import ContrastEstimated, SubmissionEstimate
from edgehold.estimates.verdict import verdict_of
from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.curves.contrast import DrawnCurves, curve_contrast
from edgehold.pooling.curves.pairs import CurvePair
from edgehold.pooling.network.steel_network import steel_networks
from edgehold.pooling.probes.effects import Answered, Unanswered
from edgehold.pooling.probes.probes import ProbeAnswer
from edgehold.pooling.probes.register import PROBES
from edgehold.records.canonical import PoolKey
from edgehold.results.publish.curve_pairs import course_sentence, curve_comparison
from edgehold.results.publish.network import network_result
from edgehold.results.publish.probes import probe_result, probes_sentence
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason, together
from tests.words.says import says

POOL = PoolKey("made-up", 1, "simulated")
KEY = (POOL, "late")
WORK = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0)


def table():
    entry = Repeatability(s2_pooled=0.04, df_pooled=50, prior_df=np.inf, prior_s2=0.04, source="pooled", submissions=9)
    return RepeatabilityTable(entries={KEY: entry}, contributions={KEY: ()}, assumed={KEY: (0.2, 4.0)})


def estimate(n, first, second, value):
    limits, verdict = Interval(value - 1, value + 1, 0.95, "t"), verdict_of(value, 0.1, 9.0, 1.25)
    told = ContrastEstimated("steel", first, second, None, 2, 2, 1, 1, value, 0.1, 9.0, limits, 0.5, verdict)
    variance = np.array([[0.02]])
    return SubmissionEstimate(
        POOL, f"s{n}", "1.0.0", "2026-05", "late", "late", 4, 4, 0, 0, (f"t{n}",), (), (), (told,), variance, 0.04, 9.0, 0.04, 9.0, "ls",
    )  # fmt: skip


def network(*pairs):
    return steel_networks([estimate(n, a, b, 0.3 + 0.001 * n) for n, (a, b) in enumerate(pairs)], table()).get(KEY)


def test_two_steels_are_no_network_to_publish():
    assert network_result(network(("a", "b")), "level") is None


def test_an_indirect_pair_is_told_with_its_way_round():
    found = network_result(network(*[("a", "b"), ("b", "c")] * 3), "level")
    line = next(one for one in found.lines if (one.first, one.second) == ("a", "c"))
    assert (line.evidence, line.path, line.direct_studies) == ("indirect", ("a", "b", "c"), 0)
    assert line.result.ratio == pytest.approx(np.exp(0.6), rel=0.01)
    told = {"first": "a", "second": "c", "through": "b", "compared": Reason("own_answer.other_more", figure=83), "ratio": ratio_text(1.83)}
    assert says(found.sentence, "network.indirect", **told)
    assert found.agreement == "", "nothing is reached in two ways"
    assert (found.q_df, found.p_common) == (None, None)


def test_a_longer_way_round_names_every_steel_on_it():
    found = network_result(network(*[("a", "b"), ("b", "c"), ("c", "d")] * 3), "life")
    line = next(one for one in found.lines if (one.first, one.second) == ("a", "d"))
    assert line.path == ("a", "b", "c", "d")
    assert says(found.sentence, "network.more_indirect", pairs=3)


def test_a_network_in_two_parts_gives_no_ratio_across():
    found = network_result(network(*[("a", "b"), ("c", "d")] * 3), "level")
    across = [line for line in found.lines if line.evidence == "not linked"]
    assert [(line.result, line.path) for line in across] == [(None, ())] * 4
    assert found.sentence == Reason("network.not_joined", pairs=4)
    assert found.reason == Reason("network.apart", number=2, groups="a, b; c, d")


def test_a_closed_loop_says_whether_it_agrees():
    agreeing = [("a", "b")] * 3 + [("b", "c")] * 3
    even = [estimate(n, a, b, 0.3) for n, (a, b) in enumerate(agreeing)] + [estimate(n, "a", "c", 0.6) for n in (7, 8, 9)]
    odd = [*even[:6], *(estimate(n, "a", "c", -2.0) for n in (7, 8, 9))]
    one, other = (network_result(steel_networks(group, table())[KEY], "level") for group in (even, odd))
    assert says(one.agreement, "network.agree") or says(one.agreement, "network.agree_random")
    assert one.sentence == Reason("network.all_side_by_side", steels=3)
    assert says(other.agreement, "network.disagree") or says(other.agreement, "network.disagree_random")
    assert other.p_common < 0.001 < one.p_common


def curve_pair(first, second, sd=0.05, reference=0.0, **facts):
    means = np.array([first, second])
    curves = DrawnCurves(*means, means + sd * np.random.default_rng(1).standard_normal((1000, *means.shape)))
    known = {"submissions": 3, "runs_first": 9, "runs_second": 9, "blades_first": 3, "blades_second": 3, "read_at": (), "left_out": ()}
    contrast = curve_contrast(WORK, facts.pop("reason", curves))
    return CurvePair(POOL, "steel", "keen", "lasting", reference=reference, contrast=contrast, **(known | facts))


CROSSING = ([0.6, 0.2, -0.2, -0.7, -1.2, -1.8], [0.0, -0.1, -0.25, -0.4, -0.6, -0.8])


def test_curves_that_cross_are_told_as_what_these_runs_read_and_nobody_overtakes():
    found = curve_comparison(curve_pair(*CROSSING), "cut")
    told = r"lasting overtakes keen: it is duller from 0 to [\d.]+ and sharper from [\d.]+ to 80 cuts\."
    assert re.fullmatch(told, found.sentence)
    assert found.state == "compared"
    start, end = found.same_work[0], found.same_work[-1]
    assert (start.at, end.at) == (0.0, 80.0)
    assert start.ratio == pytest.approx(np.exp(0.6))
    assert start.band_low > 1 > end.band_high
    assert start.band_low <= start.low <= start.ratio <= start.high <= start.band_high


def test_curves_that_nothing_tells_apart_are_said_to_be_so():
    found = curve_comparison(curve_pair(CROSSING[0], CROSSING[0], sd=0.3), "cut")
    assert found.sentence == "Nowhere between 0 and 80 cuts can keen and lasting be told apart."


def test_one_side_sharper_throughout_is_no_crossing():
    higher = [value + 0.6 for value in CROSSING[1]]
    found = curve_pair(CROSSING[1], higher)
    told = course_sentence("keen", "lasting", found.contrast, "cuts")
    assert told == "lasting is sharper than keen from 0 to 80 cuts."


def test_sharpness_is_published_relative_to_the_pool_and_no_bound_is_null():
    early = curve_comparison(curve_pair(*CROSSING, reference=-0.5), "cut")
    late = curve_comparison(curve_pair(*CROSSING, reference=0.0), "cut")
    assert early.same_sharpness[0].at == pytest.approx(late.same_sharpness[0].at * np.exp(0.5))
    assert all(point.ratio is not None for point in early.same_sharpness)
    assert early.same_sharpness[-1].band_low is None or early.same_sharpness[-1].band_low > 0
    assert None in {point.band_low for point in early.same_sharpness} | {point.band_high for point in early.same_sharpness}


def test_one_blade_and_checkpoints_left_out_are_said():
    found = curve_comparison(curve_pair(*CROSSING, blades_first=1, left_out=(160.0,)), "cut")
    assert "Too few readings are left at 160 cuts to compare them there." in found.sentence
    assert found.sentence.startswith("Only one blade of keen was tested. How blades of one steel differ is then mostly assumed")
    assert "overtakes" not in found.sentence and "sharper" not in found.sentence


def test_what_cannot_be_compared_has_its_reason_and_no_points():
    found = curve_comparison(curve_pair(*CROSSING, reason="they never met"), "cut")
    assert (found.state, found.reason, found.same_work, found.same_sharpness) == ("not compared", "they never met", (), ())
    assert found.sentence == "keen and lasting cannot be compared along the course of work: they never met."


def answer(probe, state="answered", estimate=0.2, half=0.1, p=0.001, pair=None, reason=""):
    told = Difference(estimate, half / 2, 30.0, Interval(estimate - half, estimate + half, 0.95, "t"))
    found = Answered(pair, told, p, 40, 5) if state == "answered" else Unanswered(state, reason, 40, 5)
    return ProbeAnswer(POOL, "late", probe, found)


def probe_named(name):
    return next(probe for probe in PROBES if probe.id == name)


def test_a_probe_says_what_it_finds_and_whether_chance_would():
    order = probe_named("run-order")
    found, nothing = answer(order), answer(order, half=0.3, p=0.2)
    names = {"first": order.subject, "second": order.other, "ratio": ratio_text(1.22)}
    sharper, longer = (Reason(f"own_answer.{topic}_more", figure=22) for topic in ("other", "life"))
    assert says(probe_result(found, "level").sentence, "probes.told_effect", **names, compared=sharper, low="1.11", high="1.35")
    assert says(probe_result(nothing, "life").sentence, "probes.told_effect_by_chance", **names, compared=longer)
    assert probe_result(found, "level").does_not_show == order.does_not_show


def test_a_spread_has_no_direction_and_chance_is_judged_by_its_p():
    lots = answer(probe_named("lot"), estimate=0.2, half=0.2, p=0.03)
    figures = {"ratio": ratio_text(1.22), "level": "95", "low": "1", "high": "1.49"}
    assert says(probe_result(lots, "level").sentence, "probes.told_spread", subject=lots.probe.subject, **figures)


def test_two_lives_are_held_against_each_other_by_the_ratio_of_their_ratios():
    lives = answer(probe_named("relative-life"), estimate=-0.2, half=0.3, p=0.2, pair=("a", "b"))
    names = {"subject": lives.probe.subject, "first": "a", "second": "b"}
    figures = {"ratio": ratio_text(0.819), "level": "95", "low": "0.607", "high": "1.11"}
    assert says(probe_result(lives, "life").sentence, "probes.told_agreement_by_chance", **names, **figures)


def test_what_needs_no_model_is_added_whether_or_not_there_is_an_answer():
    guesses = replace(answer(probe_named("tester-guess"), "too little", reason="why"), remark="3 of 4 guesses were right")
    assert probe_result(guesses, "level").sentence == together(Reason("probes.told_too_little", reason="why"), "3 of 4 guesses were right.")


def test_an_adjusted_probe_names_its_steels_and_what_is_held_equal():
    adjusted = probe_named("steels-at-equal-angle")
    sentence = probe_result(answer(adjusted, p=None, pair=("a", "b")), "level").sentence
    names = {"subject": adjusted.subject, "first": "a", "second": "b", "compared": Reason("own_answer.other_more", figure=22)}
    figures = {"ratio": ratio_text(1.22), "level": "95", "low": "1.11", "high": "1.35"}
    assert sentence == Reason("probes.told_equal", **names, **figures)


@pytest.mark.parametrize(("state", "code"), [("too little", "probes.told_too_little"), ("not told apart", "probes.told_not")])
def test_a_probe_without_an_answer_gives_its_reason(state, code):
    found = probe_result(answer(PROBES[0], state, reason="why"), "level")
    assert (found.sentence, found.result, found.p) == (Reason(code, reason="why"), None, None)


def test_the_probes_are_counted_against_chance():
    told = [answer(PROBES[0]), answer(PROBES[1], p=0.4), answer(PROBES[2], "too little")]
    assert probes_sentence(told) == Reason("probes.found_one", found=1, probes=2, level="5", by_chance="0.1")
    assert probes_sentence([told[2]]) == Reason("probes.none_answered")
    assert probes_sentence([]) == ""


def test_a_band_that_touches_both_sides_but_never_together_tells_nothing_apart():
    band = SimpleNamespace(at=np.array([0.0, 5.0]), low=np.array([-0.1, -0.2]), high=np.array([0.2, 0.1]))
    found = SimpleNamespace(same_work=band, overtakes="")
    assert course_sentence("a", "b", found, "cuts") == "Nowhere between 0 and 5 cuts can a and b be told apart."


def test_every_stretch_of_a_band_is_named_and_a_single_place_as_one():
    low, high = np.array([0.1, 0.1, -0.1, 0.1, -0.4]), np.array([0.3, 0.3, 0.3, 0.3, -0.1])
    found = SimpleNamespace(same_work=SimpleNamespace(at=np.array([0.0, 5.0, 10.0, 20.0, 40.0]), low=low, high=high), overtakes="second")
    told = "b overtakes a: it is duller from 0 to 5 and at 20 and sharper at 40 cuts."
    assert course_sentence("a", "b", found, "cuts") == told
