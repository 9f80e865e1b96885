"""Networks: a slow dense second implementation, identities, multi-arm studies, and networks that fall apart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from edgehold.errors import InputError
from edgehold.pooling.network.inconsistency import NoSplit
from edgehold.pooling.network.network import network
from edgehold.pooling.pairwise.random_effects import random_effects
from edgehold.words import code_of


def arms_to_contrasts(studies, pairs):
    """Contrasts of arm means with independent errors: the covariance of a study is what its arms' variances make it.

    ``studies``: per study a mapping treatment -> (mean, variance); ``pairs(treatments)``: which contrasts to give.
    """
    y, first, second, study, rows, arms = [], [], [], [], [], []
    for label, means in studies.items():
        base = len(arms)
        names = list(means)
        arms += [means[name][1] for name in names]
        for a, b in pairs(names):
            y.append(means[a][0] - means[b][0])
            rows.append({base + names.index(a): 1.0, base + names.index(b): -1.0})
            first, second, study = [*first, a], [*second, b], [*study, label]
    C = np.array([[row.get(i, 0.0) for i in range(len(arms))] for row in rows])
    return np.array(y), C @ np.diag(arms) @ C.T, first, second, study


def against_first(names):
    return [(name, names[0]) for name in names[1:]]


def against_last(names):
    return [(name, names[-1]) for name in names[:-1]]


def every_pair(names):
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def simulated(seed, treatments="abcde", count=12, tau=0.3, noise=0.2):
    """Studies of two to four arms; every neighbouring pair occurs, so that the network holds together."""
    rng = np.random.default_rng(seed)
    effect = dict(zip(treatments, rng.normal(size=len(treatments)), strict=True))
    studies = {}
    for i in range(count):
        names = sorted({*rng.choice(list(treatments), rng.integers(2, 5), replace=False), *treatments[i % 4 : i % 4 + 2]})
        variances = rng.uniform(0.3, 1.5, len(names)) * noise**2
        studies[f"s{i}"] = {
            name: (effect[name] + rng.normal(0, tau / np.sqrt(2)) + rng.normal(0, np.sqrt(v)), v)
            for name, v in zip(names, variances, strict=True)
        }
    return studies


def slow_fit(y, V, first, second, study, base):
    """The definition in full matrices and a general-purpose minimiser; H by arms, X by names."""
    names = sorted({*first, *second})
    C = np.array([[(name == a) * 1.0 - (name == b) * 1.0 for name in names] for a, b in zip(first, second, strict=True)])
    same = np.array([[one == other for other in study] for one in study])
    H, X = 0.5 * (C @ C.T) * same, np.delete(C, names.index(base), axis=1)

    def parts(tau2):
        inverse = np.linalg.inv(V + tau2 * H)
        M = np.linalg.inv(X.T @ inverse @ X)
        b = M @ X.T @ inverse @ y
        return inverse, M, b, (y - X @ b) @ inverse @ (y - X @ b)

    def criterion(log_tau2):
        inverse, M, _, q = parts(np.exp(log_tau2))
        return 0.5 * (-np.linalg.slogdet(inverse)[1] - np.linalg.slogdet(M)[1] + q)

    best = minimize_scalar(criterion, bounds=(-12, 4), method="bounded", options={"xatol": 1e-10})
    tau2 = np.exp(best.x)
    return tau2, *parts(tau2)[1:]


@settings(max_examples=15, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_a_slow_dense_second_implementation_agrees(seed):
    data = arms_to_contrasts(simulated(seed), against_first)
    tau2, M, b, _ = slow_fit(*data, base="a")
    fit = network(*data, interval="wald", split=False)
    assert fit.tau2 == pytest.approx(tau2, rel=1e-4, abs=2e-5)
    ours = [fit.contrast(name, "a") for name in "bcde"]
    assert [one.estimate for one in ours] == pytest.approx(b, rel=1e-4, abs=1e-5)
    assert [one.standard_error for one in ours] == pytest.approx(np.sqrt(np.diag(M)), rel=1e-3)
    assert abs(fit.convergence.slope) < 1e-8 or fit.convergence.at_boundary


@settings(max_examples=5, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_it_does_not_matter_against_which_arm_a_study_gives_its_contrasts(seed):
    studies = simulated(seed)
    fits = [network(*arms_to_contrasts(studies, pairs), split=True) for pairs in (against_first, against_last, every_pair)]
    for other in fits[1:]:
        assert other.tau2 == pytest.approx(fits[0].tau2, rel=1e-7, abs=1e-10)
        np.testing.assert_allclose(other.effects, fits[0].effects, rtol=1e-7, atol=1e-9)
        np.testing.assert_allclose(other.covariance, fits[0].covariance, rtol=1e-7, atol=1e-10)
        assert other.log_likelihood == pytest.approx(fits[0].log_likelihood, abs=1e-7)
        assert other.inconsistency.between_designs.q == pytest.approx(fits[0].inconsistency.between_designs.q, rel=1e-6)
        for one, two in zip(other.splits, fits[0].splits, strict=True):
            assert one.studies == two.studies
            if isinstance(one, NoSplit):
                assert one == two
            else:
                assert one.difference == pytest.approx(two.difference, rel=1e-5, abs=1e-7)


def test_surplus_contrasts_are_set_aside_and_named():
    studies = {"s": {"a": (0.0, 0.1), "b": (1.0, 0.2), "c": (2.0, 0.1)}, "t": {"a": (0.1, 0.1), "b": (0.8, 0.1)}}
    fit = network(*arms_to_contrasts(studies, every_pair))
    assert fit.surplus == (2,)
    assert fit.contrasts == 3


def test_reduces_to_random_effects_for_two_treatments():
    rng = np.random.default_rng(4)
    y, v = rng.normal(0.3, 0.5, 12), rng.uniform(0.02, 0.2, 12)
    fit, plain = network(y, np.diag(v), ["b"] * 12, ["a"] * 12, range(12)), random_effects(y, v)
    contrast = fit.contrast("b", "a")
    assert fit.tau2 == pytest.approx(plain.tau2, rel=1e-10)
    assert contrast.estimate == pytest.approx(plain.coefficients[0], rel=1e-12)
    assert contrast.standard_error == pytest.approx(plain.standard_errors[0], rel=1e-10)
    assert [contrast.interval.low, contrast.interval.high] == pytest.approx([plain.intervals[0].low, plain.intervals[0].high], rel=1e-10)
    assert contrast.interval.method == "guarded-knapp-hartung"
    assert (contrast.df, contrast.direct_studies) == (11, 12)
    assert fit.inconsistency.total.q == pytest.approx(plain.q, rel=1e-10)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)


def test_contrasts_add_up_and_turn_round():
    fit = network(*arms_to_contrasts(simulated(2), against_first))
    ab, bc, ac = (fit.contrast(*pair) for pair in (("a", "b"), ("b", "c"), ("a", "c")))
    assert ab.estimate + bc.estimate == pytest.approx(ac.estimate, rel=1e-12)
    back = fit.contrast("b", "a")
    assert (back.estimate, back.standard_error) == pytest.approx((-ab.estimate, ab.standard_error), rel=1e-12)
    assert back.interval.low == pytest.approx(-ab.interval.high, rel=1e-12)


def test_turning_contrasts_round_changes_nothing():
    y, V, first, second, study = arms_to_contrasts(simulated(3), against_first)
    sign = np.where(np.arange(len(y)) % 2, 1.0, -1.0)
    turned_first = [a if s > 0 else b for a, b, s in zip(first, second, sign, strict=True)]
    turned_second = [b if s > 0 else a for a, b, s in zip(first, second, sign, strict=True)]
    fit, turned = network(y, V, first, second, study), network(sign * y, V * np.outer(sign, sign), turned_first, turned_second, study)
    assert turned.tau2 == pytest.approx(fit.tau2, rel=1e-8)
    np.testing.assert_allclose(turned.effects, fit.effects, rtol=1e-8, atol=1e-12)


def test_in_a_triangle_the_indirect_answer_is_the_difference_of_the_other_two():
    """Bucher et al. 1997, J. Clin. Epidemiol. 50:683–691: a against c by way of b; variances add."""
    y, v = [0.5, 0.3, 1.4], [0.04, 0.09, 0.05]
    fit = network(y, np.diag(v), ["a", "b", "a"], ["b", "c", "c"], [1, 2, 3], tau2_method="common", interval="wald", split=True)
    assert [one.reason for one in fit.splits] == ["contrasts: 3; coefficients: 3; too few are left to judge a difference by"] * 3
    doubled = network(
        [*y, *y], np.diag([2 * one for one in v] * 2), ["a", "b", "a"] * 2, ["b", "c", "c"] * 2, range(6),
        tau2_method="common", interval="wald", split=True,
    )  # fmt: skip
    split = next(one for one in doubled.splits if (one.first, one.second) == ("a", "c"))
    assert (split.direct, split.direct_standard_error) == pytest.approx((1.4, np.sqrt(0.05)), rel=1e-12)
    assert (split.indirect, split.indirect_standard_error) == pytest.approx((0.8, np.sqrt(0.13)), rel=1e-12)
    assert split.difference == pytest.approx(0.6, rel=1e-12)
    assert doubled.inconsistency.between_designs.q == pytest.approx(0.6**2 / 0.18, rel=1e-10)
    assert doubled.inconsistency.between_designs.df == 1


def test_a_planted_inconsistency_is_found_and_a_consistent_network_passes():
    y, v = np.array([1.0, 1.0, 2.0] * 4), np.full(12, 0.01)
    study = range(12)
    first, second = ["a", "b", "a"] * 4, ["b", "c", "c"] * 4
    wobble = 0.05 * np.sin(np.arange(12))
    fine = network(y + wobble, np.diag(v), first, second, study)
    bent = network(y + wobble + np.array([0, 0, 1.5] * 4), np.diag(v), first, second, study)
    assert fine.inconsistency.random_effects.p > 0.1
    assert bent.inconsistency.between_designs.p < 1e-6
    assert bent.inconsistency.random_effects.p < 1e-6
    assert bent.tau2 > 0.1 > fine.tau2
    assert bent.splits[0].p < 0.01 < fine.splits[0].p


def test_a_network_that_falls_apart_is_a_result_with_its_groups():
    fit = network(
        [0.2, 0.4, 0.1, -0.3, -0.2], np.diag([0.01, 0.02, 0.03, 0.02, 0.01]),
        ["a", "a", "a", "d", "d"], ["b", "b", "c", "e", "e"], range(5),
    )  # fmt: skip
    assert fit.components == (("a", "b", "c"), ("d", "e"))
    assert fit.reason == "the comparisons fall into 2 groups that no comparison joins: a, b, c; d, e"
    across = fit.contrast("a", "d")
    assert across.reason == "no chain of comparisons joins a and d"
    assert (across.estimate, across.standard_error, across.interval) == (None, None, None)
    within = fit.contrast("b", "c")
    assert within.interval.low < within.estimate < within.interval.high
    assert within.direct_studies == 0


def test_a_split_that_would_take_the_network_apart_has_a_reason():
    fit = network(np.linspace(0, 1, 6), np.diag([0.1] * 6), ["a"] * 3 + ["b"] * 3, ["b"] * 3 + ["c"] * 3, range(6), split=True)
    assert {one.reason for one in fit.splits} == {"there is no other way round: all that is known comes from studies that hold both"}
    assert [(one.first, one.second, one.studies) for one in fit.splits] == [("a", "b", 3), ("b", "c", 3)]
    assert fit.inconsistency.random_effects is None and fit.inconsistency.random_effects_p_f is None
    assert fit.inconsistency.between_designs.p is None
    assert fit.inconsistency.reason == "no comparison is reached by two different designs: nothing could disagree"


def test_repeated_three_arm_studies_alone_have_no_indirect_evidence():
    studies = {i: {"a": (0.1 * i, 0.1), "b": (0.3, 0.1), "c": (0.2 - 0.1 * i, 0.1)} for i in range(4)}
    fit = network(*arms_to_contrasts(studies, against_first), split=True)
    assert all(code_of(one.reason) == "network.no_other_way" for one in fit.splits)
    assert fit.inconsistency.designs == 1


def test_below_ten_studies_direct_against_indirect_is_shown_only_when_asked():
    studies = simulated(1, count=9)
    quiet, asked = (network(*arms_to_contrasts(studies, against_first), split=split) for split in (None, True))
    assert quiet.splits == ()
    assert quiet.splits_reason == "9 studies: direct against indirect is shown from 10"
    assert asked.splits and asked.splits_reason == ""
    assert network(*arms_to_contrasts(simulated(1, count=10), against_first)).splits
    assert (
        network(*arms_to_contrasts(simulated(1), against_first), split=False).splits_reason == "direct against indirect was not asked for"
    )


def test_without_repeats_heterogeneity_cannot_be_told():
    data = ([0.5, 0.3], np.diag([0.04, 0.09]), ["a", "b"], ["b", "c"], [1, 2])
    fit = network(*data)
    assert (fit.tau2, fit.tau2_interval, fit.log_likelihood, fit.convergence) == (None, None, None, None)
    assert fit.interval_reason == "2 contrasts, 2 coefficients: none is left over to tell how studies differ"
    contrast = fit.contrast("a", "c")
    assert contrast.estimate == pytest.approx(0.8, rel=1e-12)
    assert contrast.standard_error == pytest.approx(np.sqrt(0.13), rel=1e-12)
    assert contrast.interval is None and contrast.reason == fit.interval_reason
    assert network(*data, split=True).splits_reason == "no contrast is left over: nothing is known in two ways"


def test_one_contrast_to_spare_is_listed_without_a_guarded_interval():
    data = ([0.5, 0.3, 0.4], np.diag([0.04, 0.09, 0.04]), ["a", "b", "a"], ["b", "c", "b"], [1, 2, 3])
    fit = network(*data)
    assert code_of(fit.interval_reason) == "network.without_interval"
    assert fit.tau2 is not None
    assert network(*data, interval="wald").contrast("a", "b").interval is not None


def test_designs_that_never_repeat_give_the_common_effect_test_only():
    fit = network([0.5, 0.3, 1.4], np.diag([0.04, 0.09, 0.05]), ["a", "b", "a"], ["b", "c", "c"], [1, 2, 3])
    assert fit.inconsistency.between_designs.df == 1
    assert fit.inconsistency.between_designs.p == pytest.approx(0.157, abs=0.001)
    assert fit.inconsistency.random_effects is None
    assert fit.inconsistency.reason == "no design was repeated: heterogeneity cannot be told from inconsistency"


def test_no_heterogeneity_is_zero_with_its_upper_limit():
    fit = network(
        [0.5, 0.5, 0.3, 0.3, 0.8, 0.8], np.diag([0.1] * 6), ["a", "a", "b", "b", "a", "a"], ["b", "b", "c", "c", "c", "c"], range(6)
    )
    assert fit.tau2 == 0.0
    assert fit.convergence.at_boundary
    assert fit.tau2_interval.low == 0.0 < fit.tau2_interval.high < np.inf


def test_a_study_of_two_unjoined_pairs_counts_as_its_own_design():
    """a–b and c–d on one evening: their heterogeneity is not correlated, their sampling may be."""
    V = np.diag([0.1] * 8)
    V[0, 1] = V[1, 0] = 0.02
    first, second = ["a", "c", "a", "b", "c", "a", "b", "c"], ["b", "d", "b", "c", "d", "b", "c", "d"]
    fit = network(np.sin(np.arange(8)), V, first, second, ["s", "s", *range(6)], split=True)
    assert fit.inconsistency.designs == 4
    assert fit.contrast("a", "c").direct_studies == 0
    assert fit.contrast("a", "b").direct_studies == 3


@pytest.mark.parametrize("scale", [1e-12, 1e12])
def test_the_unit_of_the_contrasts_does_not_matter(scale):
    y, V, first, second, study = arms_to_contrasts(simulated(6), against_first)
    fit, scaled = network(y, V, first, second, study), network(y * np.sqrt(scale), V * scale, first, second, study)
    assert scaled.tau2 / scale == pytest.approx(fit.tau2, rel=1e-7)
    np.testing.assert_allclose(scaled.effects / np.sqrt(scale), fit.effects, rtol=1e-7, atol=1e-9)


def test_one_contrast_of_tiny_variance_and_one_far_off_give_finite_answers():
    studies = simulated(7) | {"tiny": {"a": (1e5, 1e-12), "b": (0.0, 1e-12)}}
    y, V, first, second, study = arms_to_contrasts(studies, against_first)
    fit = network(y, V, first, second, study, split=True)
    assert np.isfinite(fit.effects).all() and np.isfinite(fit.covariance).all() and np.isfinite(fit.tau2)
    assert all(isinstance(one, NoSplit) or np.isfinite(one.difference_standard_error) for one in fit.splits)


@pytest.mark.parametrize("spoil", ["estimates", "covariance"])
def test_a_loop_within_a_study_that_does_not_add_up_is_refused_in_plain_words(spoil):
    """Rounded or independent-looking contrasts of a three-arm study: no negative variance is made of them."""
    y, V, first, second, study = arms_to_contrasts({"s7": {"a": (0.0, 0.1), "b": (1.0, 0.2), "c": (2.0, 0.3)}}, every_pair)
    if spoil == "estimates":
        y[2] += 0.01
        message = "study 's7': .* in a loop, and their estimates do not add up; give each arm against one common arm only"
    else:
        V = np.diag(np.diag(V))
        message = "study 's7': .* in a loop, and V does not say that they add up; give each arm against one common arm only"
    with pytest.raises(InputError, match=message):
        network(y, V, first, second, study)


def test_the_same_pair_twice_in_a_study_with_different_values_is_refused():
    with pytest.raises(InputError, match="more than once or in a loop, and their estimates do not add up"):
        network([0.1, 0.3], [[0.1, 0.1], [0.1, 0.1]], ["a", "a"], ["b", "b"], ["s", "s"])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"y": []}, r"must agree in length, at least 1; got \(0,\)"),
        ({"V": np.eye(3)}, r"must agree in length, at least 1; got \(2,\), \(3, 3\), 2, 2 and 2"),
        ({"y": [0.1, np.nan]}, r"y must be numbers no larger than 1e\+70; got nan at \[1\]"),
        ({"V": [[1, np.inf], [np.inf, 1]]}, r"V must be finite numbers; got inf at \[0, 1\]"),
        ({"V": [[1, 0], [0, 0]]}, r"the diagonal of V must be positive variances, .* got 0.0 at \[1\]"),
        ({"V": [[1, 0.5], [0.4, 1]]}, "V must be symmetric"),
        ({"V": [[1, 1], [1, 1]], "study": ["s", "s"]}, "V must be positive definite; got one that is not over study 's'"),
        ({"V": [[1, 2], [2, 1]]}, "got covariances between studies that are larger"),
        ({"second": ["b", "b"]}, r"a contrast needs two different treatments; got 'b' against itself at \[1\]"),
        ({"tau2_method": "dl"}, "tau2_method must be one of reml, common; got 'dl'"),
        ({"interval": "t"}, "interval must be one of wald, knapp-hartung, guarded-knapp-hartung; got 't'"),
        ({"level": 1}, "level must lie strictly between 0 and 1; got 1"),
    ],
)
def test_the_callers_mistakes(change, message):
    asked = {"y": [0.1, 0.2], "V": np.eye(2), "first": ["a", "b"], "second": ["b", "c"], "study": [1, 2], **change}
    with pytest.raises(InputError, match=message):
        network(**asked)


def test_a_contrast_with_a_stranger_or_with_itself_is_the_callers_mistake():
    fit = network([0.1, 0.2], np.eye(2), ["a", "b"], ["b", "c"], [1, 2])
    with pytest.raises(InputError, match="a treatment must be one of a, b, c; got 'x'"):
        fit.contrast("a", "x")
    with pytest.raises(InputError, match="a contrast needs two different treatments; got 'a' twice"):
        fit.contrast("a", "a")
