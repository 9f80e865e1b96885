"""Eleven traps: where general-purpose libraries differ from one another, or from exact arithmetic, and which way this engine went.

One test a trap, in one place. Each says what differs, with the library and its version as the source of the figures, and why the
choice here is what it is. The figures of other programs were measured on the published data sets of tests/reference; they stand
here as numbers *not* to be met, or to be met under the other choice.
"""

import json
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2, norm
from scipy.stats import f as f_distribution
from scipy.stats import t as student_t

from edgehold.numerics.weighted_regression import prepare, weigh
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.network.design import comparisons
from edgehold.pooling.network.network import network
from edgehold.pooling.pairwise.random_effects import random_effects

REFERENCE = Path(__file__).parents[1] / "reference"


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def studies(name):
    rows = load(name)["rows"]
    return np.array([row["yi"] for row in rows]), np.array([row["vi"] for row in rows])


def generalised_q(y, v, tau2):
    """Σ(y − b)²/(v + τ²) about its own weighted mean, by definition."""
    w = 1 / (v + tau2)
    return float(w @ (y - w @ y / w.sum()) ** 2)


def senn():
    data = load("senn2013_network")
    V = np.diag([row["vi"] for row in data["contrasts"]])
    for i, j, value in data["covariances"]:
        V[i, j] = V[j, i] = value
    return data, (
        [row["yi"] for row in data["contrasts"]],
        V,
        *([row[key] for row in data["contrasts"]] for key in ("first", "second", "study")),
    )


def penicillin(name="penicillin"):
    columns = load(name)["columns"]
    return columns, {"plate": columns["plate"], "sample": columns["sample"]}


# ---- 1 ----------------------------------------------------------------------------------------------------------------------------


def test_1_a_root_is_searched_to_the_end():
    """Paule–Mandel on the BCG trials: metafor 3.8.1 stops at its default root tolerance with .3180937; with tol=1e-13 it, statsmodels
    0.15.0 and pimeta 1.1.0 say .3180685. Here the estimating equation Q(τ²) = k − 1 holds to rounding."""
    y, v = studies("bcg")
    tau2 = random_effects(y, v, tau2_method="pm").tau2
    assert tau2 == pytest.approx(0.3180685, abs=5e-8)
    assert abs(tau2 - 0.3180937) > 2e-5
    assert generalised_q(y, v, tau2) == pytest.approx(12, rel=1e-12)


# ---- 2 ----------------------------------------------------------------------------------------------------------------------------


def test_2_memory_is_linear_in_the_number_of_studies():
    """metafor 3.8.1 (rma.uni) and pimeta 1.1.0 build k × k matrices: at 100,000 studies they ask for 74.5 GB, at 10,000 metafor took
    170 s and more. Here no array is larger than a few columns of k numbers: with the interval of τ² about 0.15 s."""
    rng = np.random.default_rng(2)
    v = 0.02 + rng.gamma(1.5, 0.04, 100_000)
    y = 0.3 + rng.normal(0, 0.25, len(v)) + rng.normal(0, np.sqrt(v))
    tracemalloc.start()
    fit = random_effects(y, v)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 100 * 8 * len(v)  # a hundred columns; one k × k matrix would be a thousand times this
    assert fit.tau2_interval.low < 0.0625 < fit.tau2_interval.high


def test_2_nor_do_degrees_of_freedom_of_a_crossed_fit_cost_a_matrix_of_rows():
    rng = np.random.default_rng(5)
    n = 6_000
    tester, blade = rng.integers(0, 60, n), rng.integers(0, 200, n)
    y = 0.3 * rng.normal(size=60)[tester] + 0.2 * rng.normal(size=200)[blade] + 0.3 * rng.normal(size=n)
    tracemalloc.start()
    fit = crossed(y, np.ones((n, 1)), {"tester": tester, "blade": blade}, profile=False)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < n * n * 8 / 4
    assert 30 < fit.df[0] < 260


# ---- 3 ----------------------------------------------------------------------------------------------------------------------------


def test_3_a_thousand_runs_with_five_variances_do_not_take_minutes():
    """metafor 3.8.1, rma.mv(sparse=TRUE): 138 to 175 s for 1,000 runs and five variances, and a faster BLAS did not help. The time goes
    into evaluations; here the search has an exact gradient and needs few: a tenth of a second. The bound is for a busy machine."""
    rng = np.random.default_rng(6)
    n = 1_000
    groups = {name: rng.integers(0, q, n) for name, q in {"tester": 60, "sharpener": 40, "blade": 200}.items()}
    steel = rng.integers(0, 6, n)
    groups["steel x tester"] = steel * 60 + groups["tester"]
    y = 0.3 * rng.normal(size=n)
    for name, sd in {"tester": 0.25, "sharpener": 0.2, "blade": 0.12, "steel x tester": 0.1}.items():
        y += sd * rng.normal(size=groups[name].max() + 1)[groups[name]]
    begin = time.perf_counter()
    fit = crossed(y, np.eye(6)[steel], groups, profile=False)
    assert time.perf_counter() - begin < 10
    assert fit.convergence.converged and fit.convergence.evaluations < 40 and len(fit.variances) == 5


# ---- 4 ----------------------------------------------------------------------------------------------------------------------------


def test_4_degrees_of_freedom_are_those_of_kenward_and_roger():
    """An unbalanced table with a fixed operator. lmerTest 3.1.3 (Satterthwaite, observed Hessian) 6.94, 20.57, 20.16, 58.15; pbkrtest
    0.5.2 (Kenward–Roger, expected information) 6.95, 20.74, 20.33, 58.45; interlace-lme 0.3.2 calls 6.95, 20.58, 20.17, 58.14
    "Kenward–Roger" and 7.60, 27.6, 26.9, 206 "Satterthwaite". Here: expected information, known at the optimum without second
    differences, and for one contrast equal to Kenward & Roger's. Their adjusted covariance stands beside Φ, never in its place."""
    data = load("penicillin_unbalanced")
    columns, groups = penicillin("penicillin_unbalanced")
    entry = data["fits"][0]
    X = np.column_stack([np.ones(len(columns["diameter"]))] + [_indicator(columns, spec) for spec in entry["X"][1:]])
    fit = crossed(columns[entry["response"]], X, groups, profile=False)
    assert fit.df == pytest.approx([6.95, 20.74, 20.33, 58.45], abs=5.1e-3)
    assert (np.abs(fit.df[1:] - [20.57, 20.16, 58.15]) > 0.1).all()
    assert fit.standard_errors == pytest.approx(np.sqrt(np.diag(fit.covariance)), rel=1e-12)
    assert fit.adjusted_covariance == pytest.approx(np.array(entry["values"]["adjusted_covariance"]), rel=1e-5, abs=1e-8)
    assert (np.diag(fit.adjusted_covariance) > np.diag(fit.covariance)).all()


def _indicator(columns, spec):
    values = columns[spec["column"]]
    return np.array([value == spec["equals"] for value in values] if "equals" in spec else values, dtype=float)


# ---- 5 ----------------------------------------------------------------------------------------------------------------------------


def test_5_which_standard_error_is_said_with_the_interval():
    """The BCG mean's standard error is .1798 in metafor 3.8.1 and .1808 in PyMARE 0.0.13, which takes Knapp–Hartung with t unasked.
    Here it is guarded Knapp–Hartung unasked (a lucky agreement of few studies must not look like knowledge), and named."""
    y, v = studies("bcg")
    errors = {method: random_effects(y, v, interval=method).standard_errors[0] for method in ("wald", "knapp-hartung")}
    assert errors == pytest.approx({"wald": 0.1798, "knapp-hartung": 0.1808}, abs=5e-5)
    fit = random_effects(y, v)
    assert fit.interval_method == fit.intervals[0].method == "guarded-knapp-hartung"
    assert fit.standard_errors[0] == errors["knapp-hartung"]  # q > 1: the guard does nothing here
    lucky = {
        m: random_effects([0.10, 0.11, 0.105], [0.01] * 3, interval=m).standard_errors[0]
        for m in ("wald", "knapp-hartung", fit.interval_method)
    }
    assert lucky["knapp-hartung"] < lucky["wald"] / 10 and lucky["guarded-knapp-hartung"] == lucky["wald"]


# ---- 6 ----------------------------------------------------------------------------------------------------------------------------


def restricted_criterion(data, tau2):
    """By definition, in full matrices."""
    X, sigma = data.design_matrix, data.V + tau2 * data.H
    inverse = np.linalg.inv(sigma)
    information = X.T @ inverse @ X
    r = data.y - X @ np.linalg.solve(information, X.T @ inverse @ data.y)
    return -0.5 * (np.linalg.slogdet(sigma)[1] + np.linalg.slogdet(information)[1] + r @ inverse @ r)


def test_6_another_programs_variance_is_not_the_maximum_of_this_likelihood():
    """Senn et al. 2013: network REML of pimeta 1.1.0 gives τ² .10105, rma.mv of metafor 3.8.1 (correlation ½) .09991; all Q agree.
    Which likelihood: restricted, correlation ½ within a study. A second implementation from full matrices peaks where ours does."""
    reference, rows = senn()
    (other,) = (entry for entry in reference["disagreements"] if entry["quantity"] == "tau2")
    data, fit = comparisons(*rows), network(*rows)
    assert fit.tau2 == pytest.approx(0.09991, abs=5e-6) and other["other"] == 0.10105 and other["why"]
    here = restricted_criterion(data, fit.tau2)
    assert here > max(restricted_criterion(data, fit.tau2 * factor) for factor in (0.999, 1.001))
    assert here > restricted_criterion(data, other["other"])
    found = fit.inconsistency
    assert [found.total.q, found.within_designs.q, found.between_designs.q] == pytest.approx([96.98, 74.45, 22.53], abs=6e-3)


# ---- 7 ----------------------------------------------------------------------------------------------------------------------------


def test_7_the_prediction_says_its_degrees_of_freedom():
    """Three schools on the BCG trials: metafor 3.8.1 takes 1.96·√(se² + τ²) beside a Wald interval and t(k − 1) beside
    Knapp–Hartung; Riley, Higgins & Deeks 2011 (BMJ 342:d549) t(k − 2). Here the plug-in goes with the mean's own interval
    (normal or t(k − p)), its degrees of freedom are k − p, and the headline is the confidence-distribution interval (Nagashima, Noma &
    Furukawa 2019), because every plug-in is too narrow with few studies."""
    y, v = studies("bcg")
    wald, kh = random_effects(y, v, interval="wald"), random_effects(y, v, interval="knapp-hartung")
    assert [wald.prediction.plug_in.low, wald.prediction.plug_in.high] == pytest.approx([-1.8666922, 0.4376275], abs=5e-7)
    assert [kh.prediction.plug_in.low, kh.prediction.plug_in.high] == pytest.approx([-1.9960168, 0.5669521], abs=5e-7)
    spread = np.hypot(wald.standard_errors[0], np.sqrt(wald.tau2))
    riley = student_t.ppf(0.975, 11) * spread
    assert wald.prediction.plug_in.high - wald.coefficients[0] == pytest.approx(norm.ppf(0.975) * spread, rel=1e-12)
    assert kh.prediction.df == 12 and riley != pytest.approx(kh.prediction.plug_in.high - kh.coefficients[0], rel=1e-3)
    few = random_effects(y[:5], v[:5])
    assert few.prediction.high - few.prediction.low > few.prediction.plug_in.high - few.prediction.plug_in.low


# ---- 8 ----------------------------------------------------------------------------------------------------------------------------


def test_8_a_profile_is_that_of_the_criterion_that_was_fitted():
    """lme4 1.1.31 profiles the ML deviance even for a REML fit: its limits for six samples of penicillin are met by criterion="ml"
    only. Here a REML fit has REML limits, wider with few levels, and says so. A lower limit of 0 is an ordinary limit."""
    columns, groups = penicillin()
    library = load("penicillin")["fits"][1]["values"]["profile_limits"]["sample"]
    ml, reml = (
        crossed(columns["diameter"], np.ones((144, 1)), groups, criterion=one).variance_intervals["sample"] for one in ("ml", "reml")
    )
    assert (ml.method, reml.method) == ("profile-ml", "profile-reml")
    assert np.sqrt([ml.low, ml.high]) == pytest.approx(library, rel=1e-4)
    assert np.sqrt(reml.high) > 1.05 * library[1]
    y, v = studies("raudenbush1985")
    at_zero = crossed(y, np.ones((19, 1)), {"study": np.arange(19)}, V=v).variance_intervals["study"]
    assert at_zero.low == 0 < at_zero.high


def test_8_the_networks_profile_too():
    reference, rows = senn()
    data, fit = comparisons(*rows), network(*rows)
    X = data.design_matrix

    def ordinary(tau2):
        inverse = np.linalg.inv(data.V + tau2 * data.H)
        return restricted_criterion(data, tau2) + 0.5 * np.linalg.slogdet(X.T @ inverse @ X)[1]

    peak = ordinary(reference["ml_tau2"])
    assert peak > max(ordinary(reference["ml_tau2"] * factor) for factor in (0.999, 1.001))
    drops = [restricted_criterion(data, fit.tau2) - restricted_criterion(data, t) for t in (fit.tau2_interval.low, fit.tau2_interval.high)]
    assert drops == pytest.approx([chi2.ppf(0.95, 1) / 2] * 2, rel=1e-8)
    assert peak - ordinary(fit.tau2_interval.high) > 1.5 * drops[1]


# ---- 9 ----------------------------------------------------------------------------------------------------------------------------


def test_9_heterogeneity_hides_inconsistency_so_both_tests_are_reported():
    """Senn et al. 2013, by metafor 3.8.1: the design-by-treatment test is Q 22.53, p = .002 with a common effect, and 2.27, p = .94 with
    heterogeneity, on 7 degrees of freedom. Neither is left out."""
    found = network(*senn()[1]).inconsistency
    assert [found.between_designs.q, found.random_effects.q] == pytest.approx([22.53, 2.27], abs=6e-3)
    assert found.between_designs.p < 0.01 and found.random_effects.p > 0.9
    assert found.between_designs.df == found.random_effects.df == 7
    assert found.random_effects_p_f == pytest.approx(f_distribution.sf(found.random_effects.q / 7, 7, 11), rel=1e-12)
    assert found.total.q == pytest.approx(found.within_designs.q + found.between_designs.q, rel=1e-12)


# ---- 10 ---------------------------------------------------------------------------------------------------------------------------


def test_10_limits_of_heterogeneity_are_exact_roots():
    """BCG: the lower Q-profile limit is .119695 in pimeta 1.1.0, which stops after four digits, and .119718 exactly. Here both limits
    solve Q(τ²) = χ² quantile to rounding."""
    y, v = studies("bcg")
    interval = random_effects(y, v).tau2_interval
    assert interval.low == pytest.approx(0.119718, abs=5e-7) and abs(interval.low - 0.119695) > 2e-5
    roots = [generalised_q(y, v, limit) for limit in (interval.low, interval.high)]
    assert roots == pytest.approx(chi2.ppf([0.975, 0.025], 12), rel=1e-9)
    rows = prepare(y, v, np.ones((13, 1)))
    assert weigh(rows, interval.low).q == pytest.approx(roots[0], rel=1e-12)


# ---- 11 ---------------------------------------------------------------------------------------------------------------------------


def test_11_a_limit_is_a_number_or_has_a_reason_and_no_warning_stands_in_for_it(monkeypatch):
    """metafor 3.8.1, confint of rma.mv, only warns ("Cannot obtain ...") when its optimiser's tolerances are tight. Warnings are errors in
    these tests: the school calendar's variances all have limits, and a search cut short gives None with its reason beside it."""
    data = load("konstantopoulos2011")
    columns, wanted = data["columns"], data["fits"][0]["values"]["profile_limits"]
    school = [f"{d}/{s}" for d, s in zip(columns["district"], columns["school"], strict=True)]
    arguments = columns["yi"], np.ones((len(school), 1)), {"district": columns["district"], "school": school}
    fit = crossed(*arguments, V=columns["vi"])
    for name, interval in fit.variance_intervals.items():
        assert [interval.low, interval.high] == pytest.approx(np.power(wanted[name], 2.0 if wanted["scale"] == "sd" else 1.0), rel=1e-4)
    monkeypatch.setattr("edgehold.numerics.variance_profile.MOST_STEPS", 1)
    cut = crossed(*arguments, V=columns["vi"])
    for name in ("district", "school"):
        assert cut.variance_intervals[name] is None and "did not reach its limit" in cut.reasons[f"variance_intervals.{name}"]
        assert cut.variances[name] > 0
    assert cut.convergence.converged


def test_every_trap_has_its_test():
    numbers = {int(name.split("_")[1]) for name in globals() if name.startswith("test_") and name.split("_")[1].isdigit()}
    assert numbers == set(range(1, 12))
