"""The benchmark's data are what their description says, and a fit to them takes few evaluations."""

import numpy as np
import pandas as pd
import pytest

from tests.benchmarks import lent_runs
from tests.benchmarks.fit_crossed import fit
from tests.benchmarks.shared_runs import STEELS, simulate


@pytest.fixture(scope="module")
def runs():
    return pd.DataFrame(simulate(6000, seed=2))


def test_runs_are_shared_as_described(runs):
    assert len(runs) == 6000 and runs["steel"].nunique() <= STEELS
    assert (runs.groupby("cell")[["steel", "tester"]].nunique() == 1).all(axis=None)
    assert (runs.groupby("blade")["steel"].nunique() == 1).all()
    assert runs.groupby("tester")["steel"].nunique().between(1, 4).all()
    assert runs.groupby("tester")["sharpener"].nunique().max() <= 3
    assert runs.groupby(["cell"])["blade"].nunique().max() <= 2


def test_about_three_quarters_are_self_sharpened_and_some_blades_travel(runs):
    assert 0.68 < (runs["tester"] == runs["sharpener"]).mean() < 0.85
    assert 0.05 < (runs.groupby("blade")["tester"].nunique() > 1).mean() < 0.3


def test_the_fit_finds_the_deviations_that_were_put_in_within_a_few_evaluations(runs):
    result = fit(runs)
    assert result.convergence.converged and result.convergence.evaluations <= 12
    for name, wanted in {"tester": 0.25, "sharpener": 0.20, "blade": 0.12, "residual": 0.30}.items():
        assert np.sqrt(result.variances[name]) == pytest.approx(wanted, abs=0.04)


def test_lent_blades_stay_with_their_steel_and_few_are_lent():
    runs = pd.DataFrame(lent_runs.simulate(6000, seed=2))
    assert len(runs) == 6000 and (runs.groupby("cell")[["steel", "tester"]].nunique() == 1).all(axis=None)
    assert (runs.groupby("blade")["steel"].nunique() == 1).all()
    assert 0.03 < (runs.groupby("blade")["tester"].nunique() > 1).mean() < 0.2
    assert 0.68 < (runs["tester"] == runs["sharpener"]).mean() < 0.85


def test_the_same_seed_gives_the_same_runs():
    assert all((a == b).all() for a, b in zip(simulate(500, 3).values(), simulate(500, 3).values(), strict=True))
