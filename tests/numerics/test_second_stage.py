"""Effects as members of groups, against another program and against adaptive quadrature of the plain formula."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from edgehold.numerics.half_t import HalfT, log_density
from edgehold.numerics.second_stage import second_stage

CRINS = json.loads((Path(__file__).parents[1] / "reference" / "crins2014_groups.json").read_text(encoding="utf-8"))
ENDS = {"low": 0.025, "median": 0.5, "high": 0.975}


@pytest.mark.parametrize("told", CRINS["posteriors"], ids=lambda told: str(told["prior"]["df"]))
def test_two_groups_of_trials_agree_with_bayesmeta(told):
    """R package bayesmeta 3.4, function bmr, on the example of Röver & Friede (2023), section 3.1; its own error is about 1e-3."""
    y, v = np.array(CRINS["columns"]["log_odds_ratio"]), np.array(CRINS["columns"]["v"])
    groups = np.array([one == "basiliximab" for one in CRINS["columns"]["group"]], dtype=int)
    stage = second_stage(np.ones(1), y[None], np.diag(v)[None], groups, HalfT(float(told["prior"]["df"]), told["prior"]["scale"]), 2001)
    difference, _ = stage.contrast(0, 1)
    for end, p in ENDS.items():
        assert difference.quantile(p) == pytest.approx(told["difference"][end], abs=3e-3)
        tau = np.interp(p, np.cumsum(stage.joint[0]) - stage.joint[0] / 2, stage.values)
        assert tau == pytest.approx(told["tau"][end], abs=3e-3)
    for at, p in told["below"].items():
        assert difference.below(float(at)) == pytest.approx(p, abs=1e-3)


def correlated(seed=1, a=5, points=3):
    """A first stage of a few points with full covariance matrices."""
    draw = np.random.default_rng(seed)
    roots = draw.normal(0, 0.08, (points, a, a))
    covariances = roots @ np.swapaxes(roots, 1, 2) + 0.003 * np.eye(a)
    return np.array([0.5, 0.3, 0.2])[:points], draw.normal(0, 0.3, (points, a)), covariances, np.array([0, 0, 0, 1, 1])


def by_quadrature(weights, means, covariances, groups, prior, x, another):
    """P(difference ≤ x) from generalised least squares at every τ, integrated by scipy's adaptive rule."""
    F = (groups[:, None] == np.unique(groups)).astype(float)
    h = np.array([1.0, -1.0])

    def at(tau, m, V):
        W = np.linalg.inv(V + tau**2 * np.eye(len(m)))
        information = F.T @ W @ F
        b = np.linalg.solve(information, F.T @ W @ m)
        r = m - F @ b
        log_l = 0.5 * (np.linalg.slogdet(W)[1] - np.linalg.slogdet(information)[1] - r @ W @ r)
        sd = math.sqrt(h @ np.linalg.solve(information, h) + 2 * another * tau**2)
        return math.exp(log_l + float(log_density(prior, np.array([tau]))[0])), norm.cdf(x, h @ b, sd)

    def over(f):
        parts = zip(weights, means, covariances, strict=True)
        return sum(w * quad(lambda tau, m=m, V=V: f(*at(tau, m, V)), 0, np.inf, limit=400)[0] for w, m, V in parts)

    return over(lambda density, below: density * below) / over(lambda density, below: density)


@pytest.mark.parametrize("prior", [HalfT(2, 0.3), HalfT(4, 0.1)], ids=str)
@pytest.mark.parametrize("another", [False, True])
def test_a_first_stage_of_several_points_agrees_with_quadrature(prior, another):
    told = correlated()
    stage = second_stage(*told, prior, 41)
    for x in (-0.4, 0.0, 0.3):
        found = stage.contrast(0, 1)[another]
        wanted = by_quadrature(*told, prior, x, another)
        assert found.below(x) == pytest.approx(wanted, abs=1e-4)
        assert found.merged().below(x) == pytest.approx(wanted, abs=3e-4)


def test_effects_known_up_to_a_constant_are_enough():
    weights, means, covariances, groups = correlated()
    of_first = means - means[:, :1]
    T = np.eye(5) - np.eye(5)[0]  # differences to the first
    one = second_stage(weights, means, covariances, groups, HalfT(4, 0.3)).contrast(0, 1)[0]
    other = second_stage(weights, of_first, T @ covariances @ T.T, groups, HalfT(4, 0.3)).contrast(0, 1)[0]
    assert [other.quantile(p) for p in ENDS.values()] == pytest.approx([one.quantile(p) for p in ENDS.values()], abs=1e-9)


def test_a_group_of_one_rests_on_the_spread_within_the_others():
    groups = np.array([0, 0, 0, 0, 1])
    near, far = (np.array([[0.0, x, -x, 0.5 * x, 0.2]]) for x in (0.02, 0.6))
    widths = [second_stage(np.ones(1), m, 1e-4 * np.eye(5)[None], groups, HalfT(2, 0.3)).contrast(0, 1)[0].sd for m in (near, far)]
    assert widths[1] > 5 * widths[0]
