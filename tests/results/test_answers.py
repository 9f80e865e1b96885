"""The one answer as it is published: what it speaks of, how it depends on the method, what matters more."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from estimates.rows import POOL, make_protocols, make_row

from edgehold.numerics.interval import Interval
from edgehold.pooling.curves.contrast import WorkTo
from edgehold.pooling.gather.all_answers import Asked, all_answers
from edgehold.pooling.spread_priors import priors_for
from edgehold.pooling.what_matters import WhatMatters
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.answers import MethodLine
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.publish.answers import answers, model_result
from edgehold.results.words.answers import agreement_sentence, matters_sentence, matters_words
from edgehold.results.words.sentences import amount, headline, lead_answer, quoted_answer, ratio_text, when
from edgehold.words import Reason, capital, code_of, listed, together
from tests.words.says import says

PROTOCOL = next(iter(make_protocols().values())).record
RULE: EndpointRule = next(one for one in PROTOCOL.endpoints if one.kind == "level")
OPENING = when(RULE, "cut")
METHODS = (
    "hierarchical model",
    "hierarchical model, prior scales halved",
    "hierarchical model, prior scales doubled",
    "random effects over studies",
    "network of steels",
    "crossed model, restricted likelihood",
    "within submissions alone",
)


def rows_of(blades: dict[str, int], people: int = 6, seed: int = 1, own: bool = False):
    """Everybody tests every blade twice, on an edge of each of the next two people, or on their own; every other person is practised."""
    chance, found = np.random.default_rng(seed), []
    skill = {f"who-{n}": "practised" if n % 2 == 0 else "novice" for n in range(people)}
    for n in range(people):
        for number, (steel, count) in enumerate(blades.items()):
            for blade in range(count):
                for turn in range(2):
                    sharpener = f"who-{n if own else (n + 1 + turn) % people}"
                    value = 0.5 + 0.4 * number + 0.2 * (skill[sharpener] == "practised") + chance.normal(0, 0.1)
                    facts = {"steel": steel, "blade": f"{steel}.{blade}", "tester": f"who-{n}", "sharpener": sharpener}
                    facts |= {"submission": f"sent-{n}", "sharpening": skill[sharpener], "own_sharpening": own}
                    found.append(make_row(value, len(found) + 1, RULE.id, **facts))
    return found


def test_a_life_stands_beside_what_the_mean_curves_show_of_it():
    key, curves = (POOL, RULE.id), {("steel", "s1", "s2"): WorkTo(-0.4, Interval(-0.9, math.inf, 0.95, "posterior"))}
    found = all_answers(rows_of({"s1": 2, "s2": 2, "s3": 2}), (), {key: Asked(RULE, priors_for(0.2, "made up for a test"))}, {}).answers[
        key
    ]
    told = answers(found, RULE, "cut", {}, None, None, curves=curves)
    line = {
        (one.first, one.second): next(m for m in one.methods if m.method == "curves of all readings")
        for one in told
        if one.factor == "steel"
    }
    shown = line["s1", "s2"].result
    assert (shown.ratio, shown.low, shown.high) == (pytest.approx(math.exp(-0.4)), pytest.approx(math.exp(-0.9)), None)
    assert line["s1", "s3"].result is None and line["s1", "s3"].reason_code == "published.none_holds_both"
    assert all(m.method != "curves of all readings" for one in told if one.factor == "practice" for m in one.methods)


def published(rows):
    """Answers on steels, on practice, and the model, of invented runs."""
    key = (POOL, RULE.id)
    found = all_answers(rows, (), {key: Asked(RULE, priors_for(0.2, "made up for a test"))}, {}).answers[key]
    told = answers(found, RULE, "cut", {}, None, None)
    steels = tuple(one for one in told if one.factor == "steel")
    practice = next((one for one in told if one.factor == "practice"), None)
    return steels, practice, model_result(found, RULE, "cut")


@pytest.fixture(scope="module")
def steels_met():
    return published(rows_of({"s1": 2, "s2": 2, "s3": 2}))


@pytest.fixture(scope="module")
def blades_met():
    return published(rows_of({"s1": 1, "s2": 3}, own=True))


def test_an_answer_on_steels_has_a_verdict_its_probabilities_and_what_somebody_new_would_meet(steels_met):
    steels, _, _ = steels_met
    assert [(one.first, one.second) for one in steels] == [("s1", "s2"), ("s1", "s3"), ("s2", "s3")]
    far = steels[1]
    assert (far.state, far.about, far.reason, far.general) == ("estimated", "steels", "", None)
    assert far.result.low < math.exp(-0.8) < far.result.high and far.result.level == 0.95
    assert far.probability_better + far.probability_within + far.probability_worse == pytest.approx(1, abs=1e-6)
    assert far.verdict and far.probability_above_one < 0.05 and far.ruled_out_beyond > 1
    widths = [math.log(one.high / one.low) for one in (far.result, far.new_hands, far.new_hands_measured)]
    assert widths == sorted(widths) and far.new_hands_runs == 2
    assert (far.units_first, far.units_second, far.direct_submissions, far.testers) == (2, 2, 6, 6)
    assert far.evidence in ("direct", "both") and 0 < far.direct_percent <= 100
    assert says(far.sentence, "model_answer.answer", first="s1", second="s3", level="95") and not far.sentence.endswith(" ")


def test_a_single_blade_gives_a_sentence_on_blades_and_no_verdict(blades_met):
    ((one,), _, _) = blades_met
    assert (one.about, one.verdict, one.units_first, one.units_second) == ("blades", "", 1, 3)
    assert (one.probability_better, one.probability_within, one.probability_worse, one.ruled_out_beyond) == (None,) * 4
    assert one.general.low < one.result.low < one.result.high < one.general.high
    sides = {
        "first": Reason("model_answer.steel_side", name="s1", units=1),
        "second": Reason("model_answer.steel_side", name="s2", units=3),
    }
    general = {"least": amount(one.general.low), "most": amount(one.general.high)}
    assert says(one.sentence, "model_answer.steel_units", **sides, **general)
    assert lead_answer([one]) == one


def test_two_single_blades_are_called_so():
    ((one,), _, _) = published(rows_of({"s1": 1, "s2": 1}))
    first, second = (Reason("model_answer.steel_side", name=name, units=1) for name in ("s1", "s2"))
    assert says(one.sentence, "model_answer.steel_two", first=first, second=second)


def test_practice_speaks_of_classes_or_of_single_sharpeners(steels_met):
    _, practice, _ = steels_met
    assert (practice.factor, practice.first, practice.second, practice.about) == ("practice", "practised", "novice", "classes")
    assert Reason("own_answer.named_practice", name="practised") in practice.sentence
    _, two, _ = published(rows_of({"s1": 2, "s2": 2}, people=2))
    assert (two.about, two.verdict) == ("sharpeners", "")
    if two.state == "estimated":
        first = Reason("model_answer.practice_side", name="practised", units=1)
        assert says(two.sentence, "model_answer.practice_two", first=first)


def test_every_method_stands_beside_the_headline_and_one_without_a_ratio_says_why(steels_met):
    steels, practice, _ = steels_met
    for one in steels:
        assert tuple(line.method for line in one.methods) == METHODS and one.methods[0].result == one.result
        assert all((line.result is None) == (line.reason != "") for line in one.methods)
        halved, doubled = one.methods[1].result, one.methods[2].result
        assert halved is not None and doubled is not None and halved != doubled
        assert one.methods_sentence
    assert tuple(line.method for line in practice.methods) == METHODS[:4]


def line(method: str, ratio: float | None) -> MethodLine:
    told = None if ratio is None else RatioInterval(ratio=ratio, low=ratio / 2, high=ratio * 2, level=0.95, method="made up")
    return MethodLine(method=method, result=told, reason="" if told else "none")


HEADLINE = RatioInterval(ratio=1.2, low=1.0, high=1.5, level=0.95, method="posterior")


@pytest.mark.parametrize(
    ("ratios", "code", "methods", "outside"),
    [
        ((None, None, None), "no_other_method", None, []),
        ((1.1, None, None), "methods_agree", 1, []),
        ((1.1, 1.3, 1.4), "methods_agree", 3, []),
        ((1.1, 1.8, 1.4), "methods_outside", 1, [("network of steels", 1.8)]),
        ((0.9, 1.8, 1.4), "methods_outside", 2, [("random effects over studies", 0.9), ("network of steels", 1.8)]),
    ],
    ids=["none", "one agrees", "all agree", "one outside", "two outside"],
)
def test_the_sentence_on_methods_says_which_lies_outside(ratios, code, methods, outside):
    told = agreement_sentence(HEADLINE, [line(name, ratio) for name, ratio in zip(METHODS[3:], ratios, strict=False)])
    assert (told.code, told.arguments.get("methods")) == (f"model_answer.{code}", methods)
    names = [Reason("model_answer.method", method=method, ratio=ratio_text(ratio)) for method, ratio in outside]
    assert told.arguments.get("names", "").split(" and ") == (names or [""])


def test_how_much_is_a_typical_ratio_with_its_interval_and_how_much_of_it_is_the_prior(steels_met):
    _, _, model = steels_met
    rows = {row.what: row for row in model.matters}
    assert list(rows)[:2] == ["steel", "practice"] and "run-to-run" in rows
    for row in model.matters:
        if row.state == "withheld":
            continue
        assert 1 <= row.typical_low < row.typical_ratio < row.typical_high and row.levels > 0 and not row.reason
        differs = "pair_differs" if row.what == "practice" else "shifts" if row.what.startswith("steel ×") else "differ"
        assert says(row.sentence, f"model_answer.{differs}", typical=ratio_text(row.typical_ratio), low=amount(row.typical_low))
        assert (row.most_ratio is None) == (row.from_prior_percent is None) == (row.ln_sd is None) == (row.what == "practice")
        assert row.ln_sd is None or row.most_ratio == pytest.approx(math.exp(2.77 * row.ln_sd), rel=1e-9)
    noise = rows["run-to-run"]
    assert math.log(noise.typical_ratio) == pytest.approx(0.954 * 0.1, rel=0.35)
    assert math.log(noise.most_ratio) / math.log(noise.typical_ratio) == pytest.approx(2.77 / 0.954, rel=1e-6)
    assert noise.from_prior_percent < 60 and Reason("model_answer.mostly_prior") not in noise.sentence
    steel = f"{Reason('model_answer.short_steel')} {ratio_text(rows['steel'].typical_ratio)}"
    assert says(model.matters_sentence, "model_answer.matters_typical") and steel in model.matters_sentence


def test_withheld_spreads_have_no_number_and_the_reason():
    """Where everybody tests their own edges, but for a single one."""
    first, *others = rows_of({"s1": 1, "s2": 3}, own=True)
    _, _, model = published([replace(first, sharpener="who-1", own_sharpening=False), *others])
    withheld = [row for row in model.matters if row.state == "withheld"]
    assert [row.what.split(" or ")[0] for row in withheld] == ["sharpener", "tester"]
    for row in withheld:
        assert says(row.sentence, "model_answer.withheld", reason=row.reason)
        assert (row.typical_ratio, row.typical_low, row.typical_high, row.most_ratio, row.from_prior_percent) == (None,) * 5
        assert row.reason and "×" not in row.sentence
    assert all(Reason(f"model_answer.short_{who}") not in model.matters_sentence for who in ("sharpener", "tester"))


def test_what_these_runs_cannot_tell_apart_is_named_together(blades_met):
    """Where everybody tests their own edges."""
    _, _, model = blades_met
    (people,) = (row for row in model.matters if row.what.startswith("sharpener or tester"))
    named = Reason("model_answer.called_together", names=people.what.replace(" or ", ", "))
    assert capital(named) in people.sentence and people.what.replace(" or ", ", ").startswith("sharpener, tester")


def test_the_model_says_what_stands_in_it_its_priors_and_how_it_was_computed(steels_met):
    _, _, model = steels_met
    assert (model.state, model.reason, model.runs, model.one_sided, model.submissions, model.left_out) == ("fitted", "", 72, 0, 6, 0)
    assert {Reason("all_runs.fixed_steel"), Reason("all_runs.fixed_practice")} <= set(model.fixed)
    priors = {prior.what: prior for prior in model.priors}
    assert "run-to-run" in priors and "residual" not in priors
    assert all(prior.df > 0 and prior.scale > 0 and prior.source for prior in model.priors)
    assert 0 < model.effective_points <= model.points and model.pareto_k < 0.7 and 0 <= model.error_percent < 100
    assert all(": " in one for one in model.not_held) and model.own_sharpening is None


def test_without_a_fit_every_pair_has_the_reason_and_nothing_has_a_number():
    ((one,), _, model) = published(rows_of({"s1": 1, "s2": 1}, people=1)[::2])
    assert (one.state, one.result, one.methods, one.methods_sentence) == ("not fitted", None, (), "")
    assert one.reason and one.sentence == Reason("model_answer.no_ratio", opening=OPENING, first="s1", second="s2", reason=one.reason)
    assert (model.state, model.matters, model.pareto_k, model.effective_points, model.error_percent) == ("not fitted", (), None, None, None)
    assert model.matters_sentence == Reason("model_answer.matters_unknown", reason=model.reason)


def test_without_a_run_with_a_value_there_is_neither():
    assert answers(None, RULE, "cut", {}, None, None) == () and model_result(None, RULE, "cut") is None


def test_what_matters_more_is_said_only_where_it_is_sure(steels_met):
    _, _, model = steels_met
    rows = [row for row in model.matters if row.what in ("steel", "blade")]
    short = {what: Reason(f"model_answer.short_{what}") for what in ("steel", "blade", "tester", "sharpener")}
    ratios = ", ".join(f"{short[row.what]} {ratio_text(row.typical_ratio)}" for row in rows)
    typical = Reason("model_answer.matters_typical", ratios=ratios)

    def told(more, asked):
        return matters_sentence(rows, WhatMatters((), more, asked), OPENING, "")

    def surely(*less):
        pair = Reason("model_answer.matters_pair", more=short["steel"], less=listed([short[one] for one in less]))
        return Reason("model_answer.matters_more", opening=OPENING, pairs=pair)

    assert told((), 1) == together(Reason("model_answer.matters_open", opening=OPENING), typical)
    blade, tester, sharpener = ("steel", "blade", 0.97), ("steel", "tester", 0.96), ("steel", "sharpener", 0.99)
    assert told((blade,), 1) == together(surely("blade"), typical)
    assert told((blade,), 3) == together(surely("blade"), Reason("model_answer.matters_rest"), typical)
    assert told((blade, tester, sharpener), 3) == together(surely("blade", "tester", "sharpener"), typical)


def test_what_is_mostly_the_prior_is_called_so(steels_met):
    _, _, model = steels_met
    blade = next(row for row in model.matters if row.what == "blade")
    mostly = Reason("model_answer.mostly_prior")
    assert matters_words(blade.model_copy(update={"from_prior_percent": 80.0})).endswith(mostly)
    assert mostly not in matters_words(blade.model_copy(update={"from_prior_percent": 79.0}))


def test_a_pool_is_headed_by_the_answer_and_how_few_submissions_it_rests_on(steels_met):
    steels, practice, _ = steels_met
    endpoint = type("E", (), {"primary": True, "steels": steels, "practice": practice, "levels": ()})()
    lead = lead_answer(steels)
    assert lead == steels[2], "the last by name of equals"
    assert quoted_answer("steel", endpoint) == lead
    assert quoted_answer("sharpener", endpoint) == practice
    assert headline(6, lead) == lead.sentence
    assert headline(1, lead) == together(Reason("studies_answer.one_so_far"), lead.sentence)
    assert headline(2, lead) == together(Reason("studies_answer.two_so_far"), lead.sentence)
    assert code_of(headline(0, None)) == "studies_answer.nobody"
    bare = type("E", (), {"primary": True, "steels": (), "practice": None, "levels": ()})()
    assert quoted_answer("steel", bare) is None and code_of(headline(3, None)) == "studies_answer.nothing"
    lost = steels[0].model_copy(update={"state": "not estimable", "sentence": "No ratio."})
    assert quoted_answer("steel", type("E", (), {"primary": True, "steels": (lost,), "practice": None, "levels": ()})()) == lost


def test_nobody_stands_in_an_answer_and_every_number_is_one_that_json_can_hold(steels_met, blades_met):
    for steels, practice, model in (steels_met, blades_met):
        for one in (*steels, practice, model):
            text = json.dumps(one.model_dump(mode="json"), allow_nan=False)
            assert "who-" not in text and type(one).model_validate_json(text) == one
