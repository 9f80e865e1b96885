"""Mean curves from runs that end early: against regressions in sequence, a second likelihood, and whole data."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal

from aggregator.errors import InputError
from aggregator.numerics.estimability import prepare
from aggregator.pooling.curve_contrast import mean_curves_of_runs, run_design
from aggregator.pooling.incomplete_runs import mean_curves_of_incomplete_runs

C = 4
S = 0.04 * (0.4 + 0.6 * np.eye(C))
MEANS = np.array([[0.0, -0.5, -1.0, -1.5], [0.2, -0.5, -1.3, -2.2]])


def made(rng, per=6, blocks=("s", "t", "u")):
    arm = np.tile(np.repeat(["a", "b"], per), len(blocks))
    block = np.repeat(blocks, 2 * per)
    shift = dict(zip(blocks, rng.normal(0, 0.3, len(blocks)), strict=True))
    y = np.array([MEANS["ab".index(x)] + shift[b] for x, b in zip(arm, block, strict=True)]) + rng.multivariate_normal(
        np.zeros(C), S, len(arm)
    )
    return y, arm, block


def curves(y, arm, block):
    return mean_curves_of_incomplete_runs(y, arm, block, first="a", second="b")


def full_design(arm, block):
    return run_design(arm, np.unique(block, return_inverse=True)[1], "a", "b")


def test_whole_runs_give_the_plain_means():
    y, arm, block = made(np.random.default_rng(1))
    plain, found = mean_curves_of_runs(y, arm, first="a", second="b", block=block), curves(y, arm, block)
    assert found.first == pytest.approx(plain.first)
    assert found.covariance == pytest.approx(plain.covariance)


def test_one_missing_reading_changes_little_and_the_others_keep_their_values():
    y, arm, block = made(np.random.default_rng(2))
    plain = curves(y, arm, block)
    y[3, -1] = np.nan
    found = curves(y, arm, block)
    assert found.first[:-1] == pytest.approx(plain.first[:-1], abs=1e-9), "readings that all runs have tell their means alone"
    assert found.first[-1] != pytest.approx(plain.first[-1], abs=1e-6)


def test_runs_that_end_early_agree_with_regressions_in_sequence():
    # Anderson 1957, J. Am. Stat. Assoc. 52:200–203: with missing ends the likelihood factors into regressions of each reading on those
    # before it, over the runs that have it.
    rng = np.random.default_rng(3)
    y, arm, block = made(rng)
    for i in rng.choice(len(y), 8, replace=False):
        y[i, rng.integers(2, C) :] = np.nan
    x, means = full_design(arm, block)
    basis = prepare(x).basis
    theta = np.zeros((basis.shape[1], C))
    for j in range(C):
        there = ~np.isnan(y[:, j])
        fitted = np.linalg.lstsq(np.column_stack([basis[there], y[there, :j]]), y[there, j], rcond=None)[0]
        theta[:, j] = fitted[: basis.shape[1]] + theta[:, :j] @ fitted[basis.shape[1] :]
    wanted = means @ np.linalg.pinv(x) @ basis @ theta
    found = curves(y, arm, block)
    assert found.first == pytest.approx(wanted[0], abs=1e-7)
    assert found.second == pytest.approx(wanted[1], abs=1e-7)


def test_readings_missing_anywhere_agree_with_a_general_search_of_the_likelihood():
    # A second implementation: runs one by one by a general library's density, all means and the root of S searched together.
    rng = np.random.default_rng(4)
    y, arm, block = made(rng, per=10, blocks=("s",))
    y = y[:, [0, 3]]
    y[[0, 1, 11, 12, 13], [0, 1, 1, 0, 1]] = np.nan

    def deviance(free):
        root = np.array([[free[4], 0.0], [free[5], free[6]]])
        means, total = free[:4].reshape(2, 2), 0.0
        for values, who in zip(y, arm, strict=True):
            there = ~np.isnan(values)
            total -= 2 * multivariate_normal.logpdf(values[there], means["ab".index(who)][there], (root @ root.T)[np.ix_(there, there)])
        return total

    start = np.array([*np.nanmean(y[arm == "a"], axis=0), *np.nanmean(y[arm == "b"], axis=0), 0.2, 0.1, 0.2])
    best = minimize(deviance, start, method="BFGS", options={"gtol": 1e-6}).x
    found = curves(y, arm, block)
    assert np.concatenate([found.first, found.second]) == pytest.approx(best[:4], abs=1e-5)


def test_where_dull_runs_stop_the_mean_is_not_flattered():
    # Runs stop for good once a reading is below −1.2: what is left at the last checkpoint are the better ones.
    errors, naive = [], []
    for seed in range(120):
        y, arm, block = made(np.random.default_rng(seed), per=15, blocks=("s", "t"))
        stop = np.cumsum(y[:, :-1] < -1.45, axis=1) > 0
        y[:, 1:][stop] = np.nan
        found = curves(y, arm, block)
        if isinstance(found, str):
            continue
        errors.append(found.first[-1] - found.second[-1] - (MEANS[0, -1] - MEANS[1, -1]))
        left = [np.nanmean(y[arm == who, -1]) for who in "ab"]
        naive.append(left[0] - left[1] - (MEANS[0, -1] - MEANS[1, -1]))
    assert len(errors) > 60
    assert abs(np.mean(errors)) < 3 * np.std(errors) / np.sqrt(len(errors))
    assert abs(np.mean(naive)) > 5 * np.std(naive) / np.sqrt(len(naive)), "the runs that are left tell another story"


def test_errors_cover_the_scatter_of_the_means():
    found, errors = [], []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        y, arm, block = made(rng)
        y[rng.choice(len(y), 5, replace=False), -1] = np.nan
        one = curves(y, arm, block)
        found.append(one.first[-1] - one.second[-1])
        c = np.zeros(2 * C)
        c[C - 1], c[-1] = 1, -1
        errors.append(c @ one.covariance @ c)
    assert np.var(found) == pytest.approx(np.mean(errors), rel=0.3), "150 draws know a variance to 12 %"


def test_too_few_whole_runs_are_a_reason():
    y, arm, block = made(np.random.default_rng(6), per=2, blocks=("s",))
    y[0, -1] = np.nan
    assert curves(y, arm, block) == "3 whole runs are too few for 2 means at 4 checkpoints"


def test_a_side_without_a_run_at_some_checkpoint_is_a_reason():
    y, arm, block = made(np.random.default_rng(7))
    y[(block == "s") & (arm == "a"), -1] = np.nan
    y[(block == "s") & (arm == "b"), -1] = np.nan
    assert curves(y, arm, block) == "at some checkpoint no run is left of one side or of one tester"


def test_another_arm_among_the_runs_is_refused():
    y, _, block = made(np.random.default_rng(8))
    with pytest.raises(InputError, match=r"with arms a, b and a block a run; got .*\['c'\]"):
        mean_curves_of_incomplete_runs(y, ["c"] * len(y), block, first="a", second="b")


def test_copies_of_runs_are_a_reason_and_no_crash():
    # Four evenings, each typed in five times: more whole runs than checkpoints, but no more ways in which they differ.
    y, arm, block = made(np.random.default_rng(9), per=1, blocks=("s", "t"))
    y, arm = np.tile(y, (5, 1)), np.tile(arm, 5)
    block = np.array([f"{b} {i // 4}" for i, b in enumerate(np.tile(block, 5))])
    y[-1, -1] = np.nan
    assert curves(y, arm, block) == (
        "the 19 whole runs differ in fewer ways than there are checkpoints, as copies of one run do: "
        "how readings go together is not estimable"
    )


def test_runs_without_any_spread_have_no_curves():
    _, arm, block = made(np.random.default_rng(10), per=2, blocks=("s",))
    y = np.where((arm == "a")[:, None], MEANS[0], MEANS[1])
    assert curves(y, arm, block) == "the runs of a and of b do not differ among themselves: nothing tells how sure their curves are"
