"""What is asked beside the model of all runs: within submissions, practice by steel, a person's two roles."""

import numpy as np
import pytest
from pooling.designs import TRUTH, labels_of_exchange, values_of

from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.practice_by_steel import practice_by_steel
from edgehold.pooling.crossed.runs_design import checked_runs, fixed_part
from edgehold.pooling.crossed.runs_model import model_of
from edgehold.pooling.crossed.two_roles import two_roles
from edgehold.pooling.crossed.within_submissions import within_submissions


def fitted(y, labels):
    runs = checked_runs(y, y, labels)
    return runs, model_of(runs, profile=False)


def lopsided(people=16):
    """Every submission has both steels, half of them mostly one and half mostly the other; one person each, all linked."""
    labels = {name: [] for name in ("steel", "blade", "sharpener", "tester", "submission")}
    for i in range(people):
        for steel, times in (("s1", 5 if i % 2 else 1), ("s2", 1 if i % 2 else 5)):
            for k in range(times):
                row = (steel, f"{steel}.{(i + k) % 6}", f"p{(i + k) % people}", f"p{i}", f"u{i}")
                for name, value in zip(labels, row, strict=True):
                    labels[name].append(value)
    return labels


def test_without_a_confounder_within_submissions_agrees_in_all_but_few_draws():
    labels, disagree = lopsided(), 0
    for seed in range(20):
        runs, model = fitted(values_of(labels, seed), labels)
        (one,) = within_submissions(runs, model)
        disagree += one.disagrees
    assert disagree <= 4  # a test at 2 standard errors: 5 % each


def test_what_makes_submissions_with_one_steel_read_sharper_is_found_and_within_is_the_headline():
    """Planted: submissions that are mostly of s1 read higher by 0.8, whatever the steel."""
    labels = lopsided()
    bias = np.array([0.8 * (int(who[1:]) % 2) for who in labels["tester"]])
    runs, model = fitted(values_of(labels, 1) + bias, labels)
    (one,) = within_submissions(runs, model)
    assert one.disagrees
    assert abs(one.departure) > 2 * one.departure_error > 0
    truth = -0.3
    assert abs(one.result.estimate - truth) < abs(model.steels[0].result.estimate - truth)
    assert one.result.interval.low < truth < one.result.interval.high


def test_the_variance_of_the_departure_is_that_of_hausman_at_the_same_variances():
    labels = lopsided(8)
    runs, model = fitted(values_of(labels, 3), labels)
    (one,) = within_submissions(runs, model)
    v, X, groups = model.fit.variances, fixed_part(runs).X, runs.groups()

    def variance(X, names):
        Z = {name: (groups[name][:, None] == np.unique(groups[name])).astype(float) for name in names}
        S = v["residual"] * np.eye(len(X)) + sum(v[name] * z @ z.T for name, z in Z.items())
        return np.linalg.inv(X.T @ np.linalg.inv(S) @ X)[1, 1]

    inside = np.column_stack([X, (runs.submission[:, None] == np.unique(runs.submission)[1:]).astype(float)])
    wanted = variance(inside, [n for n in model.terms if n != "submission"]) - variance(X, model.terms)
    assert one.departure_error**2 == pytest.approx(wanted, rel=1e-6)


def test_a_departure_that_chance_could_make_is_none_however_large():
    labels = lopsided()
    runs, model = fitted(values_of(labels, 2), labels)
    (one,) = within_submissions(runs, model)
    assert one.departure != 0 and abs(one.departure) <= 2 * one.departure_error
    assert not one.disagrees


def test_steels_never_together_in_a_submission_have_no_result_within():
    labels = labels_of_exchange(12, 4, 4, ("s1", "s2"))
    labels["submission"] = [f"{steel}-u" for steel in labels["steel"]]
    runs, model = fitted(values_of(labels, 2), labels)
    (one,) = within_submissions(runs, model)
    assert one.result is None and "holds both" in one.reason and not one.disagrees


def test_one_submission_has_nothing_to_be_compared_with():
    labels = labels_of_exchange(8)
    labels["submission"] = ["u"] * len(labels["steel"])
    runs, model = fitted(values_of(labels, 2), labels)
    assert within_submissions(runs, model) == ()


def test_an_advantage_that_only_practised_hands_bring_out_is_found():
    """Planted: s1 gains 0.6 in practised hands."""
    labels = labels_of_exchange(24, 4, 8)
    gain = [0.6 * (s == "s1" and who == "practised") for s, who in zip(labels["steel"], labels["sharpening"], strict=True)]
    runs, model = fitted(values_of(labels, 2) + np.array(gain), labels)
    one = next(one for one in practice_by_steel(runs, model) if (one.first, one.second) == ("s1", "s2"))
    assert one.interaction.interval.low < 0.6 < one.interaction.interval.high
    assert one.interaction.interval.low > 0
    assert one.practised.estimate - one.novice.estimate == pytest.approx(one.interaction.estimate, abs=1e-9)


def test_practice_by_steel_is_the_fit_with_practice_and_its_product():
    labels = labels_of_exchange(12, 3, 4, ("s1", "s2"))
    y = values_of(labels, 5)
    runs, model = fitted(y, labels)
    (one,) = practice_by_steel(runs, model)
    practised, second = np.array(runs.practised, dtype=float), (runs.steel == "s2").astype(float)
    own = runs.own.astype(float)
    X = np.column_stack([np.ones(len(y)), second, own, practised, practised * second])
    fit = crossed(y, X, {name: runs.groups()[name] for name in model.terms}, profile=False)
    assert one.novice.estimate == pytest.approx(-fit.coefficients[1], abs=1e-9)
    assert one.interaction.estimate == pytest.approx(-fit.coefficients[4], abs=1e-9)


def test_one_sharpener_of_a_kind_and_unknown_practice_have_a_reason_or_no_row():
    labels = labels_of_exchange(12, 3, 4, ("s1", "s2"))
    one = [("novice" if who == "p1" else "practised") for who in labels["sharpener"]]
    runs, model = fitted(values_of(labels, 5), labels | {"sharpening": one})
    (told,) = practice_by_steel(runs, model)
    assert told.interaction is None and told.reason.startswith("only 1 sharpener")
    runs, model = fitted(values_of(labels, 5), labels | {"sharpening": [None] * len(one)})
    assert practice_by_steel(runs, model) == ()


@pytest.mark.parametrize(("sign", "seed"), [(1.0, 0), (-1.0, 3)])
def test_two_effects_of_a_person_that_go_together_or_apart_are_found(sign, seed):
    """Planted: effects of ±0.3 in both roles, correlated by ±0.9, 40 people."""
    labels = labels_of_exchange(40, 4, 20, ("s1", "s2"))
    draw = np.random.default_rng(seed)
    shared, alone = draw.standard_normal(40), draw.standard_normal((2, 40))
    effect = 0.3 * np.array([shared, sign * shared]) * np.sqrt(0.9) + 0.3 * np.sqrt(0.1) * alone
    s, t = ([int(who[1:]) for who in labels[role]] for role in ("sharpener", "tester"))
    y = values_of(labels, seed, {"residual": TRUTH["residual"]}) + effect[0][s] + effect[1][t]
    found = two_roles(*fitted(y, labels))
    assert found.people == 40
    assert np.sign(found.covariance) == sign
    assert found.p < 0.01
    assert found.covariance == pytest.approx(sign * 0.081, abs=0.05)
    assert abs(found.correlation) <= 1


def test_two_effects_that_have_nothing_to_do_with_each_other_are_not_said_to():
    labels, small = labels_of_exchange(20, 4, 10, ("s1", "s2")), 0
    for seed in range(12):
        small += two_roles(*fitted(values_of(labels, seed), labels)).p < 0.05
    assert small <= 3


def test_too_few_in_both_roles_or_no_split_is_a_reason():
    labels = labels_of_exchange(6, 3)
    assert two_roles(*fitted(values_of(labels, 0), labels)).reason == "6 people were met in both roles; 8 are needed"
    labels = labels_of_exchange(10, 1)
    assert "cannot be told apart" in two_roles(*fitted(values_of(labels, 0), labels)).reason
