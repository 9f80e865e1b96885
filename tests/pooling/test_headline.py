"""The one published answer: what it speaks of, what it keeps back, and that names and order change nothing."""

import itertools
import math

import numpy as np
import pytest
from pooling.designs import STEELS, labels_of_exchange, values_of
from scipy.stats import norm

from edgehold.numerics.half_t import HalfT
from edgehold.pooling.answer import Estimated, NotEstimable
from edgehold.pooling.headline import HeadlineFitted, HeadlineNotFitted, headline, why_none
from edgehold.pooling.hierarchical import hierarchical
from edgehold.pooling.posterior_verdict import BETTER, BEYOND, DIFFER, DIFFERENT, SAME, UNDECIDED, WITHIN, WORSE, verdict_of
from edgehold.pooling.spread_priors import DEFAULT_PRIORS, MEDIAN, USUAL, priors_for
from edgehold.pooling.what_matters import MOST, TYPICAL, HowMuch, Withheld, what_matters

WORTH = 1.25
TRUTH = {"sharpener": 0.15, "tester": 0.15, "blade": 0.1, "residual": 0.15}


def asked(labels, seed=0, truth=TRUTH, steels=STEELS, **more):
    y = values_of(labels, seed, truth, steels)
    return headline(y, y, labels, worthwhile=WORTH, **more)


def own_blades(people=6, steels=("s1", "s2"), each=2, **columns):
    """Everybody sharpens and tests only their own, with blades of their own."""
    rows = [(steel, f"{steel}.{who}", f"p{who}") for who in range(people) for steel in steels for _ in range(each)]
    labels = {"steel": [r[0] for r in rows], "blade": [r[1] for r in rows]}
    labels |= {name: [r[2] for r in rows] for name in ("sharpener", "tester", "submission")}
    return labels | {name: [value(r) for r in rows] for name, value in columns.items()}


def with_label(labels, **changes):
    return labels | {name: [change(value) for value in labels[name]] for name, change in changes.items()}


def limits(answer):
    return np.array([answer.interval.low, answer.estimate, answer.interval.high])


# ---- steels and blades -------------------------------------------------------------------------------------------------------


def test_one_blade_a_steel_speaks_of_blades_without_a_verdict_and_the_steels_are_less_certain():
    found = asked(labels_of_exchange(people=8, blades=1))
    for one in found.pairs:
        assert (one.about, one.units_first, one.units_second, one.verdict) == ("blades", 1, 1, None)
        wide, narrow = one.general.interval, one.interval
        assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)
    assert found.apart.contrasts["steel"].verdict == "no"


def test_one_blade_on_one_side_is_enough_to_speak_of_blades():
    labels = labels_of_exchange(people=8, blades=3)
    found = asked(with_label(labels, blade=lambda blade: "s1.0" if blade.startswith("s1") else blade))
    assert {(one.first, one.second): (one.about, one.verdict is None) for one in found.pairs} == {
        ("s1", "s2"): ("blades", True),
        ("s1", "s3"): ("blades", True),
        ("s2", "s3"): ("steels", False),
    }


def test_two_blades_a_steel_speak_of_steels_and_have_a_verdict():
    found = asked(labels_of_exchange(people=8, blades=2))
    assert isinstance(found, HeadlineFitted) and len(found.pairs) == 3
    for one in found.pairs:
        assert (one.about, one.units_first, one.units_second) == ("steels", 2, 2)
        assert one.verdict is not None and one.general is one.posterior


def test_the_mean_difference_of_the_blades_is_that_of_a_dense_solution_at_every_point():
    """Steel and blade together, by generalised least squares with the terms' effects as unknowns: Henderson's equations whole."""
    labels = labels_of_exchange(people=6, blades=1, steels=("s1", "s2"))
    y = values_of(labels, 4, TRUTH)
    found = headline(y, y, labels, worthwhile=WORTH)
    groups = {name: np.unique(term.labels, return_inverse=True)[1] for name, term in found.terms.items()}
    Z = [(codes[:, None] == np.arange(codes.max() + 1)).astype(float) for codes in groups.values()]
    steel = np.array(labels["steel"]) == "s2"
    own = np.array(labels["sharpener"]) == np.array(labels["tester"])
    X = np.column_stack([np.ones(len(y)), steel, *([own] if "own sharpening" in found.fixed else [])]).astype(float)
    if "practice" in found.fixed:
        X = np.column_stack([X[:, :2], np.array(labels["sharpening"]) == "practised", X[:, 2:]])
    W, means = np.hstack([*Z, X]), []
    residual = found.fit.sds[:, found.fit.names.index("residual")]
    T = np.zeros(W.shape[1])
    T[sum(z.shape[1] for z in Z) + 1] = -1.0
    if (blade := next((name for name, term in found.terms.items() if "blade" in term.parts), None)) is not None:
        at = sum(z.shape[1] for name, z in zip(groups, Z, strict=True) if list(groups).index(name) < list(groups).index(blade))
        for sign, name in ((1.0, "s1.0"), (-1.0, "s2.0")):
            T[at + groups[blade][labels["blade"].index(name)]] += sign
    for s in range(len(residual)):
        precision = [np.full(z.shape[1], found.fit.sds[s, k] ** -2) for k, z in enumerate(Z)]
        C = W.T @ W / residual[s] ** 2 + np.diag(np.concatenate([*precision, np.zeros(X.shape[1])]))
        means.append(T @ np.linalg.solve(C, W.T @ y / residual[s] ** 2))
    assert found.pairs[0].posterior.mean == pytest.approx(found.fit.weights @ np.array(means), abs=1e-7)


def test_a_steel_known_to_one_side_only_is_left_out_with_its_reason_and_the_others_are_answered():
    labels = labels_of_exchange(people=8, blades=3)
    y, third = values_of(labels, 1, TRUTH), np.array(labels["steel"]) == "s3"
    found = headline(y, np.where(third, np.inf, y), labels, worthwhile=WORTH)
    assert dict(found.left_out) == {"s3": int(third.sum())} and found.runs == int((~third).sum())
    assert isinstance(found.pair("s1", "s2"), Estimated)
    for first in ("s1", "s2"):
        lost = found.pair(first, "s3")
        assert isinstance(lost, NotEstimable) and lost.reason == "every run of s3 is known to one side only"
    keep = ~third
    alone = headline(y[keep], y[keep], {name: np.array(v, dtype=object)[keep].tolist() for name, v in labels.items()}, worthwhile=WORTH)
    assert limits(alone.pair("s1", "s2")) == pytest.approx(limits(found.pair("s1", "s2")), abs=1e-9)


def test_where_no_run_has_both_sides_nothing_is_fitted_and_every_pair_says_why():
    labels = own_blades()
    y = values_of(labels, 1, {"residual": 0.1})
    found = headline(y, np.full(len(y), np.inf), labels, worthwhile=WORTH)
    assert isinstance(found, HeadlineNotFitted) and why_none(found) == found.pairs[0].reason
    assert [one.reason for one in found.pairs] == ["there are no runs with a value on both sides"]


def test_steels_that_nobody_had_both_of_cannot_be_told():
    labels = own_blades(people=4, steels=("s1",))
    other = own_blades(people=4, steels=("s2",))
    both = {name: labels[name] + [f"o{v}" if name != "steel" else v for v in other[name]] for name in labels}
    one = asked(both).pair("s1", "s2")
    assert isinstance(one, NotEstimable) and one.reason.startswith("no run links the two")


@pytest.mark.parametrize("people", [1, 2])
def test_two_files_or_one_give_a_wide_answer(people):
    found = asked(own_blades(people=people, each=3), sensitivity=True)
    one = found.pair("s1", "s2")
    assert why_none(found) == "" and isinstance(one, Estimated)
    assert (one.about, one.verdict is None) == (("blades", True) if people == 1 else ("steels", False))
    assert one.general.interval.high - one.general.interval.low > 0.4
    assert one.halved is not None and one.doubled is not None
    if people == 2:
        assert one.doubled.high - one.doubled.low > one.interval.high - one.interval.low > one.halved.high - one.halved.low
        assert one.verdict.kind not in (BETTER, WORSE, SAME) and one.weak


def test_new_hands_are_less_certain_and_what_they_would_measure_less_still():
    found = asked(labels_of_exchange(people=8, blades=3))
    for one in found.pairs:
        three = [one.interval, one.new_hands.interval, one.new_hands_measured.interval]
        assert [x.high - x.low for x in three] == sorted(x.high - x.low for x in three)
        anew = sum(2 * found.fit.weights @ found.fit.variance(name) for name, term in found.terms.items() if "blade" in term.parts)
        assert one.new_hands.sd**2 >= one.posterior.sd**2 + anew - 1e-12


# ---- terms ---------------------------------------------------------------------------------------------------------------------


def test_identical_partitions_are_merged_and_named_together_with_their_priors_together():
    found = asked(own_blades(people=6))
    merged = found.terms["sharpener or tester or submission"]
    assert merged.parts == ("sharpener", "tester", "submission") and merged.levels == 6
    wanted = math.sqrt(sum(DEFAULT_PRIORS[name].scale ** 2 for name in merged.parts))
    assert merged.prior.scale == pytest.approx(wanted, rel=1e-12)
    assert found.terms["blade or steel × sharpener or steel × tester"].levels == 12
    assert set(found.fit.names) == {*found.terms, "residual"}


def test_the_order_of_runs_does_not_hide_that_partitions_are_the_same():
    labels = own_blades(people=6)
    renamed = with_label(labels, tester=lambda who: {"p0": "z", "p1": "a"}.get(who, who))
    assert "sharpener or tester or submission" in asked(renamed).terms


def test_a_term_with_one_level_is_left_out_and_named():
    found = asked(with_label(labels_of_exchange(people=8, blades=3), sharpener=lambda who: "one"))
    assert "sharpener" in found.single and not any("sharpener" in term.parts and len(term.parts) == 1 for term in found.terms.values())


def test_a_term_with_a_level_for_every_run_is_part_of_the_residual():
    labels = own_blades(people=6, each=1)
    found = asked(labels)
    assert "blade" in found.in_residual and not any("blade" in term.parts for term in found.terms.values())
    priors = [DEFAULT_PRIORS[name] for name in (*found.in_residual, "residual")]
    assert found.fit.priors["residual"].scale == pytest.approx(math.sqrt(sum(p.scale**2 for p in priors)), rel=1e-12)


def test_lots_and_evenings_stand_in_the_model_where_they_are_given():
    labels = labels_of_exchange(people=8, blades=3)
    n = len(labels["steel"])
    found = asked(labels | {"lot": [f"l{i % 5}" for i in range(n)], "evening": [str(i % 3) for i in range(n)]})
    assert "lot" in found.terms and found.terms["lot"].levels == 5
    assert found.terms["evening"].levels == 3 * len(set(labels["submission"]))  # an evening is one of its submission


def test_an_evening_or_lot_that_is_not_known_is_its_submissions_own():
    labels = labels_of_exchange(people=8, blades=3)
    unknown = [None] * len(labels["steel"])
    found = asked(labels | {"lot": unknown, "evening": unknown})
    assert "submission or evening" in found.terms or any({"lot", "evening", "submission"} <= set(t.parts) for t in found.terms.values())


# ---- practice ------------------------------------------------------------------------------------------------------------------


def crossed_practice(novices, masters, testers=4):
    rows = [
        (steel, f"{steel}.{who}.{b}", who, f"t{t}", "novice" if who.startswith("n") else "practised")
        for who in [f"n{i}" for i in range(novices)] + [f"m{i}" for i in range(masters)]
        for steel in ("s1", "s2")
        for b in range(2)
        for t in range(testers)
    ]
    names = ("steel", "blade", "sharpener", "tester", "sharpening")
    labels = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    return labels | {"submission": labels["tester"]}


def test_one_sharpener_a_class_speaks_of_sharpeners_without_a_verdict():
    found = asked(crossed_practice(1, 1))
    one = found.practice
    assert (one.about, one.units_first, one.units_second, one.verdict) == ("sharpeners", 1, 1, None)
    assert one.general.interval.high - one.general.interval.low > 1.2 * (one.interval.high - one.interval.low)
    assert "practice" not in {row.name for row in what_matters(found).rows}


def test_two_sharpeners_a_class_speak_of_classes():
    one = asked(crossed_practice(3, 2)).practice
    assert (one.first, one.second, one.about, one.units_first, one.units_second) == ("practised", "novice", "classes", 2, 3)
    assert one.verdict is not None


def test_practice_beside_testers_who_met_one_class_each_is_not_estimable():
    labels = crossed_practice(3, 3)
    keep = [(s == "novice") == (t in ("t0", "t1")) for s, t in zip(labels["sharpening"], labels["tester"], strict=True)]
    one = asked({name: list(itertools.compress(column, keep)) for name, column in labels.items()}).practice
    assert isinstance(one, NotEstimable) and "no tester" in one.reason


def test_with_one_class_there_is_no_practice_to_compare():
    assert asked(own_blades()).practice is None


# ---- where the evidence comes from -----------------------------------------------------------------------------------------------


def chain():
    """s1 and s2 in two files, s2 and s3 in two others: s1 and s3 meet in none."""
    parts = [own_blades(people=2, steels=pair) for pair in (("s1", "s2"), ("s2", "s3"))]
    return {name: parts[0][name] + [v if name in ("steel", "blade") else f"o{v}" for v in parts[1][name]] for name in parts[0]}


def test_a_pair_that_meets_in_no_file_is_linked_with_a_share_of_nothing():
    one = asked(chain()).pair("s1", "s3")
    assert isinstance(one, Estimated) and (one.evidence, one.direct_share) == ("linked", 0.0)


def test_the_only_pair_there_is_is_direct_with_the_whole_share():
    one = asked(own_blades()).pair("s1", "s2")
    assert (one.evidence, one.direct_share) == ("direct", pytest.approx(1.0, abs=1e-9))


def test_a_triangle_with_one_direct_file_of_three_is_both():
    labels, extra = chain(), own_blades(people=1, steels=("s1", "s3"))
    both = {name: labels[name] + [v if name in ("steel", "blade") else f"e{v}" for v in extra[name]] for name in labels}
    one = asked(both).pair("s1", "s3")
    assert one.evidence == "both" and 0.2 < one.direct_share < 0.95


# ---- names and order -------------------------------------------------------------------------------------------------------------


def everything(found, pairs, names=lambda one: one):
    values = []
    for first, second in pairs:
        one = found.pair(names(first), names(second))
        values += [*limits(one), one.direct_share, one.new_hands.sd, one.verdict.better if one.verdict else -1.0]
    return np.array(values)


PAIRS = list(itertools.combinations(sorted(STEELS), 2))


def test_other_names_for_people_and_blades_and_another_order_of_runs_change_nothing():
    labels = labels_of_exchange(people=6, blades=3)
    y = values_of(labels, 5, TRUTH)
    wanted = everything(headline(y, y, labels, worthwhile=WORTH), PAIRS)
    turned = {f"p{i}": f"q{(7 * i + 3) % 11:02d}" for i in range(6)}
    renamed = with_label(
        labels, sharpener=turned.get, tester=turned.get, blade=lambda b: f"x{b[::-1]}", submission=lambda u: f"z{9 - int(u[1:])}"
    )
    assert everything(headline(y, y, renamed, worthwhile=WORTH), PAIRS) == pytest.approx(wanted, abs=1e-9)
    order = np.random.default_rng(3).permutation(len(y))
    shuffled = {name: [column[i] for i in order] for name, column in labels.items()}
    assert everything(headline(y[order], y[order], shuffled, worthwhile=WORTH), PAIRS) == pytest.approx(wanted, abs=1e-9)


def test_the_other_steel_first_turns_the_answer_round():
    labels = labels_of_exchange(people=6, blades=3, steels=("s1", "s2"))
    y = values_of(labels, 5, TRUTH)
    one = headline(y, y, labels, worthwhile=WORTH).pair("s1", "s2")
    turned = with_label(labels, steel=lambda steel: {"s1": "s9"}.get(steel, steel))
    other = headline(y, y, turned, worthwhile=WORTH).pair("s2", "s9")
    assert limits(other) == pytest.approx(-limits(one)[::-1], abs=1e-8)
    assert (other.verdict.better, other.verdict.worse) == pytest.approx((one.verdict.worse, one.verdict.better), abs=1e-8)


# ---- verdicts --------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("better", "within", "worse", "above_one", "kind"),
    [
        (BEYOND, 1 - BEYOND, 0.0, 0.9999, BETTER),
        (BEYOND - 1e-6, 1 - BEYOND + 1e-6, 0.0, 0.9999, DIFFER),
        (0.0, 1 - BEYOND, BEYOND, 0.0001, WORSE),
        (0.0, 1 - BEYOND + 1e-6, BEYOND - 1e-6, 0.0001, DIFFER),
        ((1 - WITHIN) / 2, WITHIN, (1 - WITHIN) / 2, 0.5, SAME),
        ((1 - WITHIN) / 2 + 1e-6, WITHIN - 1e-6, (1 - WITHIN) / 2, 0.5, UNDECIDED),
        (0.0, 1.0, 0.0, 1.0, SAME),  # surely different, and surely not worth having
        (0.5, 0.5, 0.0, DIFFERENT, DIFFER),
        (0.5, 0.5, 0.0, DIFFERENT - 1e-6, UNDECIDED),
        (0.0, 0.5, 0.5, 1 - DIFFERENT - 1e-9, DIFFER),
        (0.0, 0.5, 0.5, 1 - DIFFERENT + 1e-6, UNDECIDED),
        (0.3, 0.4, 0.3, 0.5, UNDECIDED),
    ],
)
def test_the_thresholds_of_every_verdict(better, within, worse, above_one, kind):
    assert verdict_of(better, within, worse, above_one) == kind


def test_probabilities_of_a_verdict_are_those_of_the_mixture_in_scipy_and_sum_to_one():
    found = asked(labels_of_exchange(people=8, blades=3))
    for one in found.pairs:
        m, root, w, step = one.posterior.mixture.means, np.sqrt(one.posterior.mixture.variances), found.fit.weights, math.log(WORTH)
        assert one.verdict.better == pytest.approx(w @ norm.sf(step, m, root), abs=1e-10)
        assert one.verdict.worse == pytest.approx(w @ norm.cdf(-step, m, root), abs=1e-10)
        assert one.verdict.better + one.verdict.within + one.verdict.worse == pytest.approx(1, abs=1e-12)
        assert one.verdict.excludes == pytest.approx(math.exp(max(-one.interval.low, one.interval.high)), rel=1e-12)


@pytest.mark.parametrize(("true", "kind"), [(math.log(2.5), WORSE), (-math.log(2.5), BETTER), (0.0, SAME)])
def test_a_large_clear_pool_gets_the_right_verdict(true, kind):
    labels = own_blades(people=40, each=2)
    assert asked(labels, 3, steels={"s1": 0.0, "s2": true}).pair("s1", "s2").verdict.kind == kind


# ---- what matters more -----------------------------------------------------------------------------------------------------------


def test_a_split_that_the_labels_cannot_hold_is_withheld_with_its_reason():
    labels = labels_of_exchange(people=6, partners=2, blades=4)
    labels["tester"] = [f"t{int(who[1:]) % 3}" for who in labels["tester"]]
    labels["sharpener"] = [f"h{int(who[1:])}" for who in labels["sharpener"]]
    labels["submission"] = labels["tester"]
    found = asked(labels)
    assert found.apart.split.verdict in ("no", "weak", "yes")
    rows = {row.name: row for row in what_matters(found).rows}
    for name in ("sharpener", "tester"):
        if name in rows and found.apart.split.verdict == "no":
            assert rows[name] == Withheld(name, found.apart.split.reason, rows[name].levels)


def test_two_people_who_swap_have_no_figure_for_either_role():
    rows = [(steel, f"{steel}.{b}", s, t) for steel in ("s1", "s2") for b in range(3) for s in ("a", "b") for t in ("a", "b")]
    labels = {name: [row[i] for row in rows] for i, name in enumerate(("steel", "blade", "sharpener", "tester"))}
    labels["submission"] = ["u"] * len(rows)
    found = asked(labels)
    matters = what_matters(found)
    assert found.apart.split.verdict == "no" and {"sharpener", "tester"} <= set(found.terms)
    withheld = {row.name: row for row in matters.rows if isinstance(row, Withheld)}
    assert set(withheld) == {"sharpener", "tester"}
    assert all(row.reason == found.apart.split.reason for row in withheld.values())
    assert not {"sharpener", "tester"} & {name for pair in matters.more for name in pair[:2]}


def test_the_planted_order_is_found_and_said_only_where_it_is_sure():
    """Steels far apart, sharpeners less, testers and blades little: 12 steels, 40 people, thousands of comparisons of one with another."""
    steels = {f"s{k:02d}": float(0.6 * z) for k, z in enumerate(norm.ppf((np.arange(8) + 0.5) / 8))}
    labels = labels_of_exchange(people=24, partners=3, blades=3, steels=tuple(steels))
    labels.pop("sharpening")
    found = asked(labels, 2, {"sharpener": 0.35, "tester": 0.08, "blade": 0.03, "residual": 0.1}, steels)
    matters = what_matters(found)
    rows = {row.name: row for row in matters.rows}
    assert all(isinstance(rows[name], HowMuch) for name in ("steel", "sharpener", "tester", "blade"))
    more = {(a, b) for a, b, _ in matters.more}
    assert {("steel", "tester"), ("steel", "blade"), ("sharpener", "tester"), ("sharpener", "blade")} <= more
    assert not {(b, a) for a, b in more} & more and all(p >= 0.95 for *_, p in matters.more)
    for name, sd in {"sharpener": 0.35, "tester": 0.08, "residual": 0.1}.items():
        assert rows[name].interval.low < TYPICAL * sd < rows[name].interval.high


def test_typical_and_most_are_those_of_two_draws_from_a_normal():
    draws = np.abs(np.diff(np.random.default_rng(1).normal(size=(2, 400_000)), axis=0))
    assert np.median(draws) == pytest.approx(TYPICAL, rel=0.005)
    assert np.quantile(draws, 0.95) == pytest.approx(MOST, rel=0.005)


def test_practice_is_shown_as_the_size_of_its_difference_in_scipys_folded_mixture():
    found = asked(crossed_practice(4, 4, testers=3), 1)
    row = next(row for row in what_matters(found).rows if row.name == "practice")
    mixture = found.practice.posterior.mixture
    for limit, p in ((row.interval.low, 0.025), (row.typical, 0.5), (row.interval.high, 0.975)):
        share = mixture.weights @ (
            norm.cdf(limit, mixture.means, np.sqrt(mixture.variances)) - norm.cdf(-limit, mixture.means, np.sqrt(mixture.variances))
        )
        assert share == pytest.approx(p, abs=1e-8)


def test_the_steels_spread_is_that_of_a_fit_in_which_the_steels_are_one_more_random_term():
    steels = {f"s{k}": 0.25 * (k - 2) for k in range(5)}
    labels = labels_of_exchange(people=6, partners=2, blades=3, steels=tuple(steels))
    labels.pop("sharpening")
    y = values_of(labels, 7, TRUTH, steels)
    found = headline(y, y, labels, worthwhile=WORTH)
    X = np.ones((len(y), 1))
    if "own sharpening" in found.fixed:
        X = np.column_stack([X, np.array(labels["sharpener"]) == np.array(labels["tester"])])
    groups = {name: term.labels for name, term in found.terms.items()} | {"steel": np.array(labels["steel"])}
    priors = {name: term.prior for name, term in found.terms.items()} | {"steel": DEFAULT_PRIORS["steel"]}
    theirs = hierarchical(y, X, groups, priors | {"residual": found.fit.priors["residual"]}, error=0.01, spread_error=0.05)
    weights, spread = found.steels.joint.sum(axis=0), theirs.spread("steel")
    share = np.cumsum(weights) - weights / 2
    ours = np.exp(np.interp([0.025, 0.25, 0.5, 0.75, 0.975], share, np.log(found.steels.values)))
    wanted = np.array([spread.quantile(p) for p in (0.025, 0.25, 0.5, 0.75, 0.975)])
    assert ours == pytest.approx(wanted, abs=0.05 * (wanted[-1] - wanted[0]) / 2)
    assert found.steels.joint.sum() == pytest.approx(1, abs=1e-12)


# ---- priors ------------------------------------------------------------------------------------------------------------------


def test_a_protocols_repeatability_is_the_median_of_the_residuals_prior_and_scales_the_others():
    priors = priors_for(0.6, "a round robin")
    assert priors["residual"].median == pytest.approx(0.6, rel=1e-3) and priors["residual"].source == "a round robin"
    assert HalfT(4, 1.0).median == pytest.approx(MEDIAN, abs=5e-4)
    for name in set(DEFAULT_PRIORS) - {"residual"}:
        assert priors[name].scale == pytest.approx(0.6 / USUAL * DEFAULT_PRIORS[name].scale, rel=1e-12)
        assert priors[name].source
