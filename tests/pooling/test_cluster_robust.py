"""Cluster-robust standard errors: against two general-purpose libraries (tests/reference/*.json), a slow dense second
implementation, and designs in which they say nothing."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag, sqrtm

from edgehold.errors import InputError
from edgehold.pooling.pairwise.cluster_robust import cluster_robust
from edgehold.words import arguments_of, code_of

REFERENCE = Path(__file__).parents[1] / "reference"
DATA_SETS = ("bcg", "raudenbush1985", "hackshaw1998", "konstantopoulos2011_robust", "assink2016_robust")
LEVELS = {"deltype": ("general", "overt")}  # the library's treatment contrasts, reference level "covert"


def load(name):
    return json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def as_called(data, entry, **more):
    rows = data["rows"]
    y, v = (np.array([row[key] for row in rows]) for key in ("yi", "vi"))
    cluster = [row[entry["cluster"]] for row in rows]
    X = np.ones((len(rows), 1))
    if entry["moderator"] in LEVELS:
        X = np.column_stack([X, *([row[entry["moderator"]] == level for row in rows] for level in LEVELS[entry["moderator"]])])
    elif entry["moderator"]:
        X = np.column_stack([X, [row[entry["moderator"]] - entry["moderator_minus"] for row in rows]])
    labels = np.unique(cluster, return_inverse=True)[1]
    V = np.diag(v) + entry.get("within_cluster", 0.0) * (labels[:, None] == labels)
    return cluster_robust(y, V, cluster, X=X, tau2=entry["tau2"], **more)


ENTRIES = [(name, i) for name in DATA_SETS for i in range(len(load(name)["cluster_robust"]))]
TOLD = [(name, i) for name, i in ENTRIES if (name, i) != ("assink2016_robust", 1)]


@pytest.mark.parametrize(("name", "i"), TOLD)
def test_standard_errors_and_degrees_of_freedom_agree_with_the_libraries(name, i):
    data = load(name)
    entry, tolerance = data["cluster_robust"][i], data["tolerances"]["cluster_robust"]["relative"]
    for kind in ("cr0", "cr1", "cr2"):
        result = as_called(data, entry, kind=kind)
        assert result.coefficients == pytest.approx(entry["coefficients"], rel=tolerance)
        assert result.standard_errors == pytest.approx(entry[f"{kind}_standard_errors"], rel=tolerance)
    assert result.df == pytest.approx(entry["cr2_df"], rel=tolerance)
    np.testing.assert_allclose(result.covariance, entry["cr2_covariance"], rtol=tolerance)


@pytest.mark.parametrize("name", ["konstantopoulos2011_robust", "assink2016_robust"])
def test_multilevel_fits_at_independently_polished_variances_agree(name):
    data = load(name)
    wanted, tolerance = data["published_fit"], data["tolerances"]["published_fit"]["relative"]
    outer, inner = wanted["variances"]
    entry = {**data["cluster_robust"][0], "within_cluster": outer, "tau2": inner}
    cr0, cr1 = (as_called(data, entry, kind=kind) for kind in ("cr0", "cr1"))
    assert cr1.coefficients == pytest.approx(wanted["coefficients"], rel=tolerance)
    assert cr1.standard_errors == pytest.approx(wanted["cr1_standard_errors"], rel=tolerance)
    assert cr0.standard_errors == pytest.approx(wanted["cr0_standard_errors"], rel=tolerance)
    assert cr1.df == (wanted["df"],)
    assert [cr1.intervals[0].low, cr1.intervals[0].high] == pytest.approx(wanted["limits"], rel=1e-6)


def test_the_grid_of_checks_has_not_shrunk():
    assert len(ENTRIES) >= 10 and len(TOLD) >= 9


def test_where_one_cluster_alone_settles_a_coefficient_the_library_gives_a_number_and_we_a_reason():
    """All nine covert effects of this set come from one study: the library's robust standard error of their mean is
    half the model's, and its expectation under that very model is a third of the true variance. We show the reason."""
    data = load("assink2016_robust")
    entry = data["cluster_robust"][1]
    result = as_called(data, entry)
    assert np.sqrt(np.diag(result.covariance)) == pytest.approx(entry["cr2_standard_errors"], rel=1e-10)
    assert result.standard_errors == result.df == result.intervals == (None, None, None)
    assert set(result.reasons) == {
        "17 clusters: one alone settles much of this coefficient, so that their scatter cannot tell its variance"
    }


def _inverse_root(matrix):
    values, vectors = np.linalg.eigh(matrix)
    kept = values > 1e-9 * values.max()
    return vectors[:, kept] @ np.diag(values[kept] ** -0.5) @ vectors[:, kept].T


def slow_cr2(y, sigma, labels, X):
    """Pustejovsky & Tipton 2018 in full k × k matrices, with a symmetric root where the program takes a Cholesky factor."""
    W = np.linalg.inv(sigma)
    M = np.linalg.inv(X.T @ W @ X)
    H = np.eye(len(y)) - X @ M @ X.T @ W
    S = H @ sigma @ H.T
    blocks = []
    for label in np.unique(labels):
        own = np.flatnonzero(labels == label)
        root = np.real(sqrtm(sigma[np.ix_(own, own)]))
        blocks.append((own, root @ _inverse_root(root @ S[np.ix_(own, own)] @ root) @ root))
    r = H @ y
    scores = np.array([X[own].T @ W[np.ix_(own, own)] @ A @ r[own] for own, A in blocks])
    df = []
    for j in range(X.shape[1]):
        p = np.array([H[own].T @ A.T @ W[np.ix_(own, own)] @ X[own] @ M[:, j] for own, A in blocks])
        omega = p @ sigma @ p.T
        df.append(np.trace(omega) ** 2 / np.trace(omega @ omega))
    return M @ scores.T @ scores @ M, np.array(df)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6), clusters=st.integers(4, 9), moderated=st.booleans())
def test_a_slow_dense_second_implementation_agrees(seed, clusters, moderated):
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 5, clusters)
    labels = rng.permutation(np.repeat(np.arange(clusters), sizes))
    k = len(labels)
    V = np.diag(rng.uniform(0.01, 0.3, k)) + 0.05 * (labels[:, None] == labels)
    X = np.column_stack([np.ones(k), rng.normal(size=k)]) if moderated else np.ones((k, 1))
    y = rng.normal(size=k)
    result = cluster_robust(y, V, labels.tolist(), X=X, tau2=0.02)
    covariance, df = slow_cr2(y, V + 0.02 * np.eye(k), labels, X)
    np.testing.assert_allclose(result.covariance, covariance, rtol=1e-8)
    np.testing.assert_allclose(result.df, df, rtol=1e-8)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_under_the_working_model_cr2_has_the_models_variance_on_average(seed):
    """Bell & McCaffrey 2002, theorem 1, here without sampling: E[rrᵀ] = Σ − XMXᵀ is put in the place of rrᵀ, one root at a
    time; CR0 in the same place falls short."""
    rng = np.random.default_rng(seed)
    labels = np.repeat(np.arange(6), 2)
    V = block_diag(*[[[a, 0.05], [0.05, b]] for a, b in rng.uniform(0.1, 0.5, (6, 2))])
    X = np.column_stack([np.ones(12), rng.normal(size=12)])
    M = np.linalg.inv(X.T @ np.linalg.solve(V, X))
    values, vectors = np.linalg.eigh(V - X @ M @ X.T)
    roots = (vectors * np.sqrt(np.maximum(values, 0))).T
    for kind, share in (("cr2", 1.0), ("cr0", None)):
        mean = sum(cluster_robust(root, V, labels.tolist(), X=X, tau2=0.0, kind=kind).covariance for root in roots)
        if share:
            np.testing.assert_allclose(mean, M, rtol=1e-8, atol=1e-10)
        else:
            assert (np.diag(mean) < np.diag(M)).all()


def test_reduces_to_the_variance_of_a_sample_mean():
    y = np.array([0.2, 0.5, -0.1, 0.4, 0.9, 0.3, 0.0, 0.6, 0.1, 0.2])
    result = cluster_robust(y, np.full(10, 0.04), range(10), tau2=0.1)
    assert result.standard_errors[0] == pytest.approx(np.std(y, ddof=1) / np.sqrt(10), rel=1e-12)
    assert result.df[0] == pytest.approx(9, rel=1e-12)


def test_neither_the_order_of_rows_nor_an_offset_matters():
    rng = np.random.default_rng(5)
    y, v, labels = rng.normal(size=30), rng.uniform(0.1, 1, 30), np.arange(30) % 11
    order = rng.permutation(30)
    near = cluster_robust(y, v, labels.tolist(), tau2=0.1)
    far = cluster_robust(y[order] + 1e6, v[order], labels[order].tolist(), tau2=0.1)
    assert far.standard_errors == pytest.approx(near.standard_errors, rel=1e-8)
    assert far.df == pytest.approx(near.df, rel=1e-12)


def test_below_ten_clusters_there_is_no_interval_unless_told():
    y, v, labels = np.linspace(0, 1, 18), np.full(18, 0.1), np.repeat(np.arange(9), 2).tolist()
    held_back = cluster_robust(y, v, labels, tau2=0.0)
    assert held_back.reasons == ("9 clusters: no cluster-robust interval below 10",)
    assert held_back.intervals == (None,)
    assert held_back.standard_errors[0] > 0
    assert cluster_robust(y, v, labels, tau2=0.0, least_clusters=2).intervals[0].low < 0.5


@pytest.mark.parametrize("kind", ["cr0", "cr1", "cr2"])
def test_a_single_cluster_has_no_standard_error(kind):
    result = cluster_robust([0.1, 0.2, 0.4], [0.1, 0.1, 0.1], ["a"] * 3, tau2=0.0, kind=kind, least_clusters=1)
    assert (result.standard_errors, result.df, result.intervals) == ((None,), (None,), (None,))
    assert (code_of(result.reasons[0]), arguments_of(result.reasons[0])) == ("pairwise.cluster_alone", {"clusters": 1})


def test_a_coefficient_that_lives_in_one_cluster_is_refused_and_the_others_stand():
    labels = [c for c in "abcdefghijkl" for _ in range(2)]
    X = np.column_stack([np.array(labels) != "a", np.array(labels) == "a"]).astype(float)
    result = cluster_robust(np.sin(np.arange(24)), np.full(24, 0.1), labels, X=X, tau2=0.0)
    assert result.reasons[0] == "" and code_of(result.reasons[1]) == "pairwise.cluster_alone"
    assert result.standard_errors[0] > 0 and result.standard_errors[1] is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"cluster": ["a", "b"]}, "y, v and cluster must agree in length"),
        ({"v": np.array([[1, 0.5, 0], [0.5, 1, 0], [0, 0, 1.0]])}, r"got a covariance between clusters at \[0, 1\]"),
        ({"v": np.array([[1, 0.5, 0], [0.4, 1, 0], [0, 0, 1.0]]), "cluster": ["a"] * 3}, "v must be symmetric"),
        ({"v": np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1.0]]), "cluster": ["a", "a", "b"]}, r"singular block for rows \[0, 1\]"),
        ({"v": [1.0, 0.0, 1.0]}, "v must be positive variances"),
        ({"tau2": -0.1}, "tau2 must be a finite number, not negative; got -0.1"),
        ({"kind": "cr3"}, "kind must be one of cr0, cr1, cr2; got 'cr3'"),
        ({"level": 95}, "level must lie strictly between 0 and 1; got 95"),
    ],
)
def test_the_callers_mistakes(change, message):
    asked = {"y": [0.1, 0.2, 0.3], "v": [1.0, 1.0, 1.0], "cluster": ["a", "b", "c"], "tau2": 0.0, **change}
    with pytest.raises(InputError, match=message):
        cluster_robust(**asked)
