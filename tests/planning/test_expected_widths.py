"""Widths and chances against closed forms: t tests and their power from statsmodels, and the figures of the statistics page."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm
from scipy.stats import t as t_distribution
from statsmodels.stats.power import TTestIndPower, TTestPower
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW, ttost_ind

from edgehold.errors import InputError
from edgehold.estimates.repeatability import ASSUMED, Repeatability
from edgehold.planning.chances import _contrasts, _drawn, expected, seen, setting
from edgehold.planning.remedies import Outlook, rank

from .boatyard_plans import drawn, own_spread_only, pooled, protocol, roomy, sharpeners, steels

KNOWN = math.inf
EVENINGS = 400


def made(asked, ln_sd, entry=None, df=KNOWN, seed=3):
    return setting(drawn(asked, seed), asked.protocol, entry or own_spread_only(ln_sd), truth=(ln_sd, df))


def near(value, target, error, times=4.0):
    return abs(value - target) <= times * error


@pytest.mark.parametrize(("runs", "published"), [(4, 3.6), (8, 1.7), (16, 1.4)])
def test_with_a_spread_of_point_3_half_widths_are_3_6_1_7_and_1_4_for_4_8_and_16_runs(runs, published):
    # The statistics page; by hand t(.975, n − 2) · .30 · √(4/n): e^1.291 = 3.64, e^.519 = 1.68, e^.322 = 1.38.
    exact = t_distribution.ppf(0.975, runs - 2) * 0.30 * math.sqrt(4 / runs)
    assert round(math.exp(exact), 1) == published
    found = expected(made(sharpeners(roomy(runs)), 0.30), EVENINGS)
    assert near(found.half_width, exact, found.half_width_error)
    assert found.half_width_error < 0.04 * found.half_width
    assert found.narrow < found.half_width < found.wide


def evenings_of(setting_, effect):
    """Values and contrasts of drawn evenings."""
    answers = _contrasts(setting_, 60, "tern", effect, lambda *_: None)
    return _drawn(setting_, 60, "tern", effect), [found[("tern", "wren")] for found in answers]


def arms(setting_):
    return np.array([run.sharpener == "tern" for run in setting_.plan.runs])


def test_an_evening_has_the_interval_of_a_two_sample_t_test():
    one = made(sharpeners(roomy(8)), 0.2)
    for y, contrast in zip(*evenings_of(one, 0.1), strict=True):
        compared = CompareMeans(DescrStatsW(y[arms(one)]), DescrStatsW(y[~arms(one)]))
        assert (contrast.interval.low, contrast.interval.high) == pytest.approx(compared.tconfint_diff(0.05, usevar="pooled"), abs=1e-7)


def test_evenings_as_blocks_have_the_interval_of_a_paired_t_test():
    one = made(sharpeners(roomy(8, 4)), 0.2)
    first = arms(one)
    assert [run.evening for run in one.plan.runs] == [1, 1, 2, 2, 3, 3, 4, 4]
    for y, contrast in zip(*evenings_of(one, 0.1), strict=True):
        differences = DescrStatsW(y[first] - y[~first])  # one run of each an evening, evenings in order in both arms
        assert (contrast.interval.low, contrast.interval.high) == pytest.approx(differences.tconfint_mean(0.05), abs=1e-7)


def test_no_difference_worth_having_is_two_one_sided_tests_at_5_percent():
    one = made(sharpeners(roomy(16)), 0.17)
    limit, said = math.log(1.25), 0
    for y, contrast in zip(*evenings_of(one, 0.0), strict=True):
        p = ttost_ind(y[arms(one)], y[~arms(one)], -limit, limit, usevar="pooled")[0]
        if contrast.verdict.kind in ("better", "worse"):
            continue
        assert (contrast.verdict.kind == "no difference worth having") is bool(p < 0.05)
        said += p < 0.05
    assert 5 < said < 55  # both kinds were met


def share(chance, *kinds):
    return sum(chance.share[kind] for kind in kinds), math.sqrt(sum(chance.standard_error[kind] ** 2 for kind in kinds))


@pytest.mark.parametrize(("runs", "ln_sd"), [(4, 0.1), (8, 0.2)])
def test_chances_of_a_difference_are_the_power_of_the_two_sample_t_test(runs, ln_sd):
    found = expected(made(sharpeners(roomy(runs)), ln_sd), EVENINGS)
    m = math.log(1.25)
    for power, chance in enumerate(found.chances):
        detected = TTestIndPower().power(power * m / ln_sd, runs / 2, 0.05)
        beyond = TTestIndPower().power((power - 1) * m / ln_sd, runs / 2, 0.025, alternative="larger")
        # No verdict of no difference takes any of these away where intervals are wide.
        assert near(*share(chance, "better", "worse", "different, size undecided")[:1], detected, 0.025, 2.5)
        assert near(chance.share["better"], beyond, chance.standard_error["better"])


def test_chances_of_a_paired_plan_are_the_power_of_the_paired_t_test():
    ln_sd, pairs, m = 0.15, 6, math.log(1.25)
    found = expected(made(sharpeners(roomy(2 * pairs, pairs)), ln_sd), EVENINGS)
    beyond = TTestPower().power(m / (ln_sd * math.sqrt(2)), pairs, 0.025, alternative="larger")
    assert near(found.chances[2].share["better"], beyond, found.chances[2].standard_error["better"])
    exact = t_distribution.ppf(0.975, pairs - 1) * ln_sd * math.sqrt(2 / pairs)
    assert near(found.half_width, exact, found.half_width_error)


def two_one_sided(limit, se, df):
    """Chance that both one-sided tests reject where there is no difference (Schuirmann 1987), by integrating over the sample variance."""

    def given(s2):
        room = limit / se - t_distribution.ppf(0.95, df) * math.sqrt(s2)
        return max(0.0, 2 * norm.cdf(room) - 1)

    return quad(lambda x: given(x / df) * chi2.pdf(x, df), 0, df * 40, limit=400)[0]


@pytest.mark.parametrize(("runs", "ln_sd"), [(8, 0.1), (16, 0.17)])
def test_the_chance_to_rule_a_difference_out_is_that_of_two_one_sided_tests(runs, ln_sd):
    found = expected(made(sharpeners(roomy(runs)), ln_sd), EVENINGS)
    exact = two_one_sided(math.log(1.25), ln_sd * math.sqrt(4 / runs), runs - 2)
    assert 0.2 < exact < 0.9
    chance = found.chances[0]
    assert near(chance.share["no difference worth having"], exact, chance.standard_error["no difference worth having"])


def test_a_spread_known_to_be_alike_everywhere_gives_the_width_of_its_degrees_of_freedom():
    found = expected(made(sharpeners(roomy(4)), 0.2, pooled(0.2, 30)), 50)
    assert found.half_width == pytest.approx(t_distribution.ppf(0.975, 30) * 0.2, rel=1e-9)
    assert (found.source, found.submissions, found.ln_sd) == ("pooled", 9, 0.2)


def test_an_assumption_promises_less_than_the_same_spread_known():
    asked = sharpeners(roomy(4))
    entry = Repeatability(math.nan, 0.0, 4.0, 0.2**2, ASSUMED, 0)
    guessed = expected(setting(drawn(asked), asked.protocol, entry), EVENINGS)
    # Mean of s̃² with σ² = s₀²·4/χ²₄: (4 + 2·E[σ²/s₀²])/6 with E = 2, so 4/3 s₀²; t has 6 degrees of freedom.
    exact = t_distribution.ppf(0.975, 6) * 0.2 * math.sqrt(4 / 3)
    assert near(guessed.half_width, exact, guessed.half_width_error)
    known = expected(made(asked, 0.2, entry), EVENINGS)
    assert known.half_width < guessed.half_width
    assert (guessed.source, guessed.spread_df) == ("assumed", 4.0)


def test_the_same_plan_is_promised_the_same_again():
    one = made(sharpeners(roomy(4), coder="moss"), 0.25)
    assert expected(one, 30) == expected(one, 30)


def test_the_widest_of_several_pairs_is_the_one_told():
    asked = steels(roomy(9), blades=("wren.a", "wren.b", "wren.c"))
    found = expected(made(asked, 0.2), 60)
    assert found.factor == "blade"
    assert found.unscaled == pytest.approx(2 / 3)  # three runs of each


def test_two_blades_of_each_steel_are_asked_as_steels():
    asked = steels(roomy(8), blades=("wren.a", "wren.b", "wren.c", "wren.d"))
    plan = drawn(asked)
    by_blade = {"wren.a": "demo-1", "wren.b": "demo-1", "wren.c": "demo-2", "wren.d": "demo-2"}
    found = expected(setting(plan, asked.protocol, pooled(0.2, 20), by_blade), 20)
    assert (found.factor, found.first, found.second) == ("steel", "demo-1", "demo-2")
    assert found.unscaled == pytest.approx(1 / 2)


def test_lives_are_seen_between_checkpoints_and_end_open_beyond_them():
    card = protocol("life-on-card", "1.0.0")
    one = setting(drawn(steels(roomy(4))).model_copy(update={"endpoint": "life"}), card, pooled(0.5, 20))
    assert seen(one, math.log(0.5)) == (-math.inf, 0.0, "left")
    assert seen(one, math.log(20)) == (math.log(16), math.log(32), "interval")
    assert seen(one, math.log(200)) == (math.log(128), math.inf, "right")


def test_forces_give_lives_that_are_read_exactly_inside_the_checkpoints():
    rope = protocol()
    life = next(rule for rule in rope.endpoints if rule.kind == "life").model_copy(update={"primary": True})
    alone = rope.model_copy(update={"endpoints": (life,)})
    plan = drawn(sharpeners(roomy(4), last_checkpoint=160)).model_copy(update={"endpoint": "life"})
    one = setting(plan, alone, pooled(0.5, 20))
    assert seen(one, math.log(33)) == (math.log(33), math.log(33), "exact")
    assert seen(one, math.log(161)) == (math.log(160), math.inf, "right")


def test_the_rank_that_further_plans_start_from_is_the_estimators_own():
    for asked in (sharpeners(roomy(8)), sharpeners(roomy(8, 4)), steels(roomy(12, 3), testers=["fennel", "moss"]), steels(roomy(4, 2))):
        one = made(asked, 0.2)
        contrasts = next(iter(_contrasts(one, 1, None, 0.0, lambda *_: None)))
        df = next(iter(contrasts.values())).df  # the prior weighs nothing: these are the evening's own
        assert rank(one.plan) == len(one.plan.runs) - round(df)


@pytest.mark.parametrize(("runs", "ln_sd"), [(8, 0.1), (16, 0.2)])
def test_the_quick_look_at_further_plans_agrees_with_the_estimator(runs, ln_sd):
    one = made(sharpeners(roomy(runs)), ln_sd)
    found = expected(one, EVENINGS)
    quick = Outlook(one.entry, one.truth, 5).right(found.unscaled, runs - rank(one.plan), 1.25)
    for value, chance, kind in (
        (quick.no_difference, found.chances[0], "no difference worth having"),
        (quick.difference, found.chances[2], "better"),
    ):
        assert near(value, chance.share[kind], math.hypot(chance.standard_error[kind], 0.008))


def test_a_plan_for_an_endpoint_that_the_protocol_does_not_have_is_refused():
    with pytest.raises(InputError, match="got a plan for the endpoint 'late', wanted one of life"):
        setting(drawn(steels(roomy(4))), protocol("life-on-card", "1.0.0"), pooled(0.5, 20))
