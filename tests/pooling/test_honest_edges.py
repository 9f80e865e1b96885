"""Honest edges: whatever comes in, a number that comes out is a number, what is missing has its reason, and a mistake is named.

Inputs are drawn from the corners: no row, one row, one level, a level for every row, two names for one grouping, constant responses,
an offset of 1e8, variances of 1e-12 beside variances of 1, columns that repeat each other. Warnings are errors in these tests.
"""

import ast
import dataclasses
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import edgehold.pooling
from edgehold.errors import InputError
from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.censored import crossed_censored
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import CrossedFitted, NothingFitted
from edgehold.pooling.curves.contrast import Band, DrawnCurves, curve_contrast
from edgehold.pooling.exchanges import ExchangePlan, FurtherRun, best_exchanges
from edgehold.pooling.network.inconsistency import ChiSquare, NodeSplit
from edgehold.pooling.network.network import NetworkFit, network
from edgehold.pooling.pairwise.heterogeneity import Convergence
from edgehold.pooling.pairwise.influence import influence, leave_one_out
from edgehold.pooling.pairwise.random_effects import StudiesListed, StudiesPooled, random_effects
from edgehold.pooling.pairwise.small_study import SmallStudyTest, small_study_test
from edgehold.pooling.random_terms import terms_held
from edgehold.pooling.separability import ContrastVerdict, separability

SEEDS = st.integers(0, 2**32 - 1)

# Where infinity is an answer: normal quantiles have infinitely many degrees of freedom, a drawn curve may set no bound, and the
# coefficient of variation of a variance that nothing at all tells is as large as can be.
INFINITE = {"df", "cv", "low", "high", "pointwise_low", "pointwise_high"}
# Where None is an answer by itself, as the class says beside the field.
NONE_BY_ITSELF = {
    FurtherRun: {"rank", "gain"},
    ExchangePlan: {"rank"},
    Band: {"critical"},
    StudiesListed: {"tau2_standard_error", "tau2_interval"},
    StudiesPooled: {"tau2_standard_error", "tau2_interval"},
    NetworkFit: {"convergence", "log_likelihood", "tau2", "tau2_interval"},
    Convergence: {"slope", "local_maxima"},
    ChiSquare: {"p"},
    NodeSplit: {"p"},
    SmallStudyTest: {"tau2"},
    ContrastVerdict: {"units"},
}


def check(result):
    """No NaN anywhere; no infinity but where it is an answer; no None without a reason in the same record."""
    _check(result, type(result).__name__)


def _check(value, place):
    if dataclasses.is_dataclass(value):
        _check_record(value, place)
    elif isinstance(value, Mapping):
        for key, part in value.items():
            if part is not None:
                _check(part, f"{place}[{key!r}]")
    elif isinstance(value, tuple):
        for i, part in enumerate(value):
            _check(part, f"{place}[{i}]")
    elif isinstance(value, float | np.floating | np.ndarray) and np.asarray(value).dtype.kind == "f":
        assert not np.isnan(value).any(), place
        assert np.isfinite(value).all() or place.rsplit(".")[-1].partition("[")[0] in INFINITE, place


def _check_record(record, place):
    fields = {field.name: getattr(record, field.name) for field in dataclasses.fields(record)}
    reasons = [text for name, text in fields.items() if "reason" in name and text]
    for name, part in fields.items():
        if part is None or (isinstance(part, Mapping) and None in part.values()):
            assert reasons or name in NONE_BY_ITSELF.get(type(record), ()), f"{place}.{name} is None without a reason"
        else:
            _check(part, f"{place}.{name}")
    if isinstance(record, Interval):
        assert record.low <= record.high, place


# ---- inputs from the corners -----------------------------------------------------------------------------------------------------


def values(rng, n):
    """Responses: constant, nearly so, ordinary, of any size, or far from zero."""
    kind = rng.integers(5)
    y = [
        np.zeros(n),
        np.full(n, 0.3),
        0.3 * rng.normal(size=n),
        10.0 ** rng.uniform(-12, 12) * rng.normal(size=n),
        rng.integers(0, 2, n) * 1.0,
    ]
    return y[kind] + rng.choice([0.0, 0.0, 1.0, 1e8])


def variances(rng, n):
    """Sampling variances: equal, ordinary, tiny, or some tiny among ordinary ones."""
    kind = rng.integers(4)
    ordinary = np.exp(rng.normal(size=n)) * 0.05
    return [np.full(n, 0.04), ordinary, np.full(n, 1e-12), np.where(rng.random(n) < 0.3, 1e-12, ordinary)][kind]


def labels(rng, n):
    """A grouping: one level, one a row, or a few."""
    return [np.zeros(n, int), np.arange(n), rng.integers(0, 3, n), rng.integers(0, max(n, 1), n)][rng.integers(4)]


def design(rng, n):
    """A constant, with moderators that may be constant, repeated or tiny."""
    column = rng.normal(size=n)
    return [np.ones((n, 1)), np.column_stack([np.ones(n), column]), np.column_stack([np.ones(n), column, 2 * column]), np.ones((n, 2))][
        rng.integers(4)
    ]


def or_named_mistake(call, *arguments, **more):
    """The checked result, or None where the caller was told what was got."""
    try:
        result = call(*arguments, **more)
    except InputError as error:
        assert "got" in str(error), error
        return None
    for one in result if isinstance(result, tuple) else (result,):
        check(one)
    return result


# ---- the functions --------------------------------------------------------------------------------------------------------------


@settings(max_examples=75, deadline=None)
@given(SEEDS)
def test_random_effects(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 9))
    method = rng.choice(["reml", "ml", "dl", "pm", "he", "sj", "hs", "common"])
    X = None if rng.integers(2) else design(rng, n)
    or_named_mistake(random_effects, values(rng, n), variances(rng, n), X=X, tau2_method=method, rng=1)


@settings(max_examples=50, deadline=None)
@given(SEEDS)
def test_influence_and_leave_one_out(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 9))
    y, v, X = values(rng, n), variances(rng, n), None if rng.integers(2) else design(rng, n)
    or_named_mistake(influence, y, v, X=X)
    or_named_mistake(leave_one_out, y, v, X=X)


@settings(max_examples=75, deadline=None)
@given(SEEDS)
def test_small_study_test(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 15))
    model = rng.choice(["mixed-effects", "weighted-regression"])
    X = None if rng.integers(2) else design(rng, n)
    or_named_mistake(small_study_test, values(rng, n), variances(rng, n), X=X, model=model, least_studies=int(rng.integers(1, 11)))


@settings(max_examples=75, deadline=None)
@given(SEEDS)
def test_crossed(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 15))
    groups = {f"g{k}": labels(rng, n) for k in range(rng.integers(0, 4))}
    if groups and rng.integers(3) == 0:
        groups["the same again"] = groups["g0"]
    V = variances(rng, n) if rng.integers(2) else None
    fit = or_named_mistake(crossed, values(rng, n), design(rng, n), groups, V=V, criterion=rng.choice(["reml", "ml"]))
    if fit is None or isinstance(fit, NothingFitted):
        assert fit is None or fit.reason
        return
    for name, variance in fit.variances.items():
        assert variance is not None or fit.reasons.get(f"variances.{name}"), name
        if fit.variance_intervals[name] is None:
            assert any(fit.reasons.get(key) for key in (f"variance_intervals.{name}", f"variances.{name}")), name
        if variance is not None:
            assert variance >= 0
    if isinstance(fit, CrossedFitted):
        check(fit.contrast(np.ones(len(fit.coefficients))))


@settings(max_examples=60, deadline=None)
@given(SEEDS)
@example(239)
@example(266)
def test_crossed_censored(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 13))
    life = values(rng, n)
    low, high = life.copy(), life.copy()
    kind = rng.integers(0, 8, n)
    low[kind == 1] -= rng.choice([1e-12, 0.5])
    high[kind == 2], low[kind == 3] = np.inf, -np.inf
    groups = {f"g{k}": labels(rng, n) for k in range(rng.integers(0, 3))}
    found = or_named_mistake(crossed_censored, low, high, design(rng, n), groups, profile=bool(rng.integers(2)), most_one_sided=0.5)
    if found:
        assert found.exact + found.intervals + found.one_sided == found.lives == n
        if isinstance(found.fit, NothingFitted):
            assert found.fit.reason
            return
        for name, variance in found.fit.variances.items():
            assert variance is not None or found.fit.reasons.get(f"variances.{name}"), name


@settings(max_examples=75, deadline=None)
@given(SEEDS)
def test_network(seed):
    rng = np.random.default_rng(seed)
    n, steels = int(rng.integers(0, 9)), int(rng.integers(2, 6))
    first = rng.integers(0, steels, n)
    second = (first + rng.integers(1, steels, n)) % steels
    study = np.arange(n) if rng.integers(3) else labels(rng, n)
    method, interval = rng.choice(["reml", "common"]), rng.choice(["wald", "knapp-hartung", "guarded-knapp-hartung"])
    arguments = values(rng, n), np.diag(variances(rng, n)), first.tolist(), second.tolist(), study.tolist()
    fit = or_named_mistake(network, *arguments, tau2_method=str(method), interval=str(interval), split=[None, True][rng.integers(2)])
    for a in fit.treatments if fit else ():
        for b in fit.treatments:
            if a != b:
                check(fit.contrast(a, b))


@settings(max_examples=75, deadline=None)
@given(SEEDS)
def test_separability_and_terms_held(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 13))
    who = {"sharpener": labels(rng, n), "tester": labels(rng, n)}
    if rng.integers(3) == 0:
        who["tester"] = who["sharpener"]
    more = {name: labels(rng, n) for name in ("steel", "blade", "submission", "steel × tester", "lot") if rng.integers(2)}
    assumed = {"blade": 1e-12, "tester": 1e-12} if rng.integers(4) == 0 else None
    found = or_named_mistake(separability, who | more, variances=assumed)
    if found:
        assert found.sentence and (found.split.verdict == "yes") == (found.split.reason == "")
    random = {name: column for name, column in (who | more).items() if name not in ("steel", "lot")}
    held = or_named_mistake(terms_held, random, X=design(rng, n) if rng.integers(2) else None, variances=assumed)
    if held:
        assert set(held.held) | {one.name for one in held.dropped} == set(random) and all(one.reason for one in held.dropped)


@settings(max_examples=100, deadline=None)
@given(SEEDS)
def test_best_exchanges(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(0, 9))
    blade = labels(rng, n)
    known = {"blade": blade, "sharpener": labels(rng, n), "tester": labels(rng, n)}
    if rng.integers(2):
        known["steel"] = blade % 2
    factor = rng.choice(list(known))
    target = ("split",) if rng.integers(2) else (str(factor), "0", "1")
    assumed = [None, {"residual": 1e-12}, {"tester": 0.0, "sharpener": 1e-12}, {"residual": 1e8}][rng.integers(4)]
    plan = or_named_mistake(best_exchanges, known, target, assumed, int(rng.integers(1, 4)))
    if plan:
        assert plan.runs or plan.reason


@settings(max_examples=100, deadline=None)
@given(SEEDS)
@example(12121)
def test_curve_contrast(seed):
    rng = np.random.default_rng(seed)
    c = int(rng.integers(1, 5))
    means = np.array([values(rng, c) for _ in range(2)]).reshape(2, c)
    if rng.integers(2):
        means = -np.sort(-means, axis=1)
    drawn = means + np.array([values(rng, 2 * c) for _ in range(200)]).reshape(200, 2, c)
    work = np.cumsum(10.0 ** rng.uniform(-12, 8, c)) - (0 if rng.integers(2) else 1e-12)
    or_named_mistake(curve_contrast, work, DrawnCurves(*means, drawn), between=int(rng.integers(0, 3)))


@pytest.mark.parametrize("sd", [0.0, 1e-12, 1e12])
@pytest.mark.parametrize("offset", [0.0, 1e8])
def test_curves_known_without_error_or_hardly_at_all(sd, offset):
    means = offset + np.array([[1.0, 0.5, 0.2], [0.9, 0.6, 0.1]])
    check(curve_contrast([0, 10, 20], DrawnCurves(*means, means + sd * np.random.default_rng(1).standard_normal((200, 2, 3)))))


# ---- every mistake says what was got ---------------------------------------------------------------------------------------------


def texts(node):
    return " ".join(part.value for part in ast.walk(node) if isinstance(part, ast.Constant) and isinstance(part.value, str))


@pytest.mark.parametrize("path", sorted(Path(edgehold.pooling.__file__).parent.glob("*.py")), ids=lambda path: path.stem)
def test_every_refusal_of_this_stage_says_what_was_got(path):
    raised = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Raise)]
    refusals = [node for node in raised if isinstance(node.exc, ast.Call) and getattr(node.exc.func, "id", "") == "InputError"]
    assert [text for text in map(texts, refusals) if "got" not in text] == []


# ---- a huge offset and another unit change nothing but themselves ----------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_an_offset_of_a_hundred_million_moves_no_influence_and_no_funnel(seed):
    """Dyadic numbers, so that the offset itself loses no digit."""
    rng = np.random.default_rng(seed)
    y, v = rng.integers(-128, 128, 12) / 128, rng.integers(2, 64, 12) / 256
    offset = 2.0**27
    near, far = (influence(y + shift, v)[3] for shift in (0.0, offset))
    for name in ("hat", "deleted_residual", "studentised_residual", "cooks_distance", "tau2_without"):
        assert getattr(far, name) == pytest.approx(getattr(near, name), rel=1e-6, abs=1e-9), name
    near, far = (small_study_test(y + shift, v) for shift in (0.0, offset))
    assert far.slope == pytest.approx(near.slope, rel=1e-6, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(SEEDS)
def test_variances_of_a_million_millionth_rescale_a_network(seed):
    rng = np.random.default_rng(seed)
    y, v = rng.normal(size=6), np.exp(rng.normal(size=6)) * 0.1
    pairs = ["a", "a", "b", "a", "b", "c"], ["b", "c", "c", "b", "d", "d"], list(range(6))
    near, far = network(y, np.diag(v), *pairs), network(y * 1e-6, np.diag(v) * 1e-12, *pairs)
    assert far.tau2 == pytest.approx(near.tau2 * 1e-12, rel=1e-6, abs=1e-20)
    one, other = near.contrast("a", "d"), far.contrast("a", "d")
    assert other.estimate == pytest.approx(one.estimate * 1e-6, rel=1e-6)
    assert other.interval.high == pytest.approx(one.interval.high * 1e-6, rel=1e-6)
