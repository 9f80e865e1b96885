"""The joint model of a pool's readings: against dense least squares and scipy, and that everything read off it agrees by construction.

How often its intervals hold the truth: ``tests/simulation/curve_coverage.py``.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import t as student_t

from edgehold.endpoints.rows import CurvePoint
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.answer import Estimated, NotEstimable
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.curves.joint import Readings, axis, interpolation, joint_model, trend_of, window
from edgehold.pooling.gather.all_answers import Asked, AskedOfPool, all_answers
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import EndpointRule
from tests.estimates.rows import make_protocols, make_row

POOL = PoolKey("rope", 1, "simulated")
WORKS = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
PRIORS = priors_for(0.3, "here")
LEVEL: EndpointRule = next(one for one in next(iter(make_protocols().values())).record.endpoints if one.kind == "level")
RULES = {
    "early": LEVEL.model_copy(update={"id": "early", "at": 10.0}),
    "late": LEVEL.model_copy(update={"id": "late", "at": 160.0}),
    "lost": LEVEL.model_copy(update={"id": "lost", "kind": "loss", "at": None, "start": 10.0, "end": 160.0}),
    "middle": LEVEL.model_copy(update={"id": "middle", "kind": "window", "at": None, "start": 5.0, "end": 80.0}),
}


def drawn(seed=1, people=6, dull=-2.2):
    """Readings of two steels by people of their own blades, some runs stopped; and labels and readings as the model takes them."""
    rng = np.random.default_rng(seed)
    points = []
    for who in range(people):
        for steel in ("keen", "lasting"):
            shift = rng.normal(0, 0.2) + rng.normal(0, 0.1) * np.array(axis(np.array(WORKS), np.array(WORKS)))
            for run in range(3):
                read = -0.45 * np.log1p(np.array(WORKS) / 5) + shift + rng.normal(0, 0.25) + rng.normal(0, 0.08, len(WORKS))
                for work, keenness in zip(WORKS, read, strict=True):
                    points.append(
                        CurvePoint(POOL, "1.0.0", f"file-{who}", f"{steel} {run}", steel, f"{who} {steel}", f"s{who}", f"t{who}", work,
                                   float(keenness), float(keenness), 0.05, 3, None, 1.0)
                    )  # fmt: skip
                    if keenness < dull:
                        break
    return points


def model_of(points, priors=PRIORS):
    """The joint model of points, their runs in the order of their first reading."""
    keys = list(dict.fromkeys((p.submission, p.run) for p in points))
    first = [next(p for p in points if (p.submission, p.run) == key) for key in keys]
    labels = {name: [getattr(p, name) for p in first] for name in ("steel", "blade", "sharpener", "tester", "submission")}
    number = {key: i for i, key in enumerate(keys)}
    keenness = np.array([p.keenness for p in points])
    readings = Readings(np.array([number[p.submission, p.run] for p in points]), np.array([p.work for p in points]), keenness, keenness)
    nothing = np.zeros(len(keys))
    return joint_model(checked_runs(nothing, nothing, labels | {"batch": [None] * len(keys)}), readings, WORKS, priors)


def rows_of(points):
    """Rows of every endpoint; those of stopped runs are known by their last reading."""
    found, runs = [], {}
    for p in points:
        runs.setdefault((p.submission, p.run), []).append(p)
    for number, read in enumerate(runs.values(), start=1):
        there = {p.work: p.keenness for p in read}
        facts = {name: getattr(read[0], name) for name in ("pool", "submission", "run", "steel", "blade", "sharpener", "tester")}
        facts |= {"own_sharpening": False}
        ended = (-np.inf, read[-1].keenness)
        values = {"early": there.get(10.0, ended), "late": there.get(160.0, ended)}
        values |= {"lost": values["late"] if 160.0 not in there else there[160.0] - there[10.0], "middle": there.get(20.0, ended)}
        found += [make_row(value, number, name, **facts) for name, value in values.items()]
    return found


def answered(points, rows=None, priors=PRIORS):
    rules = {(POOL, name): Asked(rule, priors) for name, rule in RULES.items()}
    return all_answers(
        rows_of(points) if rows is None else rows, points, rules, {POOL: AskedOfPool(WORKS, priors, True)}, sensitivity=False
    )


def test_given_the_spreads_the_coefficients_are_those_of_generalised_least_squares():
    """Textbook formula, dense: V is the sum of every term's covariance, b = (XᵀV⁻¹X)⁻¹XᵀV⁻¹y, its variance (XᵀV⁻¹X)⁻¹."""
    model = model_of(drawn())
    fit = model.fitted(())
    i = int(np.argmax(fit.weights))
    spread = dict(zip(fit.names, fit.sds[i], strict=True))
    V = np.diag(np.full(len(model.readings.low), spread["residual"] ** 2))
    for name, Z in model.groups.items():
        V += spread[name] ** 2 * (Z @ Z.T).toarray()
    X = model.columns[:, model.kept]
    V_inv_X = cho_solve(cho_factor(V), X)
    information = X.T @ V_inv_X
    assert fit.coefficients[i] == pytest.approx(np.linalg.solve(information, V_inv_X.T @ model.readings.low), abs=1e-6)
    assert fit.covariances[i] == pytest.approx(np.linalg.inv(information), abs=1e-7)


def test_what_a_term_counts_in_a_level_is_what_its_column_says_there():
    """A quantity's variance between two levels of a term, from the columns of a reading made at that place."""
    points = drawn(3)
    model = model_of(points)
    fit = model.fitted(())
    for at, work in enumerate(WORKS):
        seen = model.view(fit, model.quantity(np.eye(len(WORKS))[at]))
        row = next(i for i, p in enumerate(points) if p.work == work)
        for name in model.parts.terms:
            column = [abs(model.groups[one]).max(axis=1).toarray()[row, 0] for one in (name, trend_of(name))]
            wanted = np.sqrt((fit.variance(name) * column[0] ** 2) + fit.variance(trend_of(name)) * column[1] ** 2)
            assert seen.sds[:, seen.names.index(name)] == pytest.approx(wanted, abs=1e-9), (name, work)


def test_a_window_is_the_mean_of_the_curve_along_the_axis_and_a_level_between_checkpoints_lies_on_its_line():
    works = np.array(WORKS)
    values = np.random.default_rng(2).normal(size=len(works))
    fine = np.unique(np.concatenate([np.linspace(7.0, 95.0, 40_001), works[(works > 7) & (works < 95)]]))
    u = axis(works, fine)
    curve = np.interp(u, axis(works, works), values)
    assert window(works, 7.0, 95.0) @ values == pytest.approx(np.trapezoid(curve, u) / (u[-1] - u[0]), abs=1e-6)
    assert window(works, 0.0, 160.0).sum() == pytest.approx(1.0)
    assert interpolation(works, [30.0]) @ values == pytest.approx([np.interp(axis(works, np.array([30.0])), axis(works, works), values)[0]])


def test_prior_of_a_sum_of_spreads_is_that_of_scipy_drawing_it():
    """The standard deviation of ln √(σ₁² + σ₂²) of two half-t: a million draws of scipy's t."""
    model = model_of(drawn(), {name: HalfT(4, 0.2, "here") for name in PRIORS})
    fit = model.fitted(())
    seen = model.view(fit, model.quantity(np.eye(len(WORKS))[-1]))
    name, prior = next((name, term.prior) for name, term in model.parts.terms.items())
    sds = [prior.scale * scale * np.abs(student_t.rvs(4, size=1_000_000, random_state=seed)) for seed, scale in ((1, 1.0), (2, 0.5))]
    wanted = np.std(np.log(sds[0] ** 2 + sds[1] ** 2)) / 2
    assert seen.prior_log_sds[name] == pytest.approx(wanted, rel=0.01)


def test_levels_windows_losses_and_curves_are_one_posterior():
    points = drawn(5)
    found = answered(points)
    told = {name: found.answers[POOL, name].headline.pair("keen", "lasting").posterior for name in RULES}
    assert {one.readings for one in found.answers.values()} == {len(points)}
    assert told["late"].mean - told["early"].mean == pytest.approx(told["lost"].mean, abs=1e-9)
    curves = {curve.name: {point.work: point.mean for point in curve.points} for curve in found.curves.curves}
    for name, work in (("early", 10.0), ("late", 160.0)):
        assert curves["keen"][work] - curves["lasting"][work] == pytest.approx(told[name].mean, abs=1e-9)
    apart = np.array([curves["keen"][work] - curves["lasting"][work] for work in WORKS])
    assert window(np.array(WORKS), 5.0, 80.0) @ apart == pytest.approx(told["middle"].mean, abs=1e-9)
    band = found.curves.pairs[0].contrast.same_work
    for name, work in (("early", 10.0), ("late", 160.0)):
        at = int(np.flatnonzero(band.at == work)[0])
        width = told[name].interval.high - told[name].interval.low
        limits = told[name].interval.low, told[name].interval.high
        assert (band.pointwise_low[at], band.pointwise_high[at]) == pytest.approx(limits, abs=0.04 * width), "4,000 draws"
        assert band.low[at] < limits[0] and limits[1] < band.high[at]


def test_answers_do_not_change_with_the_unit_of_work_and_the_order_of_readings():
    points, feet = drawn(6), 0.3048
    found = answered(points).answers[POOL, "late"].headline.pair("keen", "lasting").interval
    order = np.random.default_rng(1).permutation(len(points))
    shuffled = answered([points[i] for i in order], rows_of(points)).answers[POOL, "late"].headline.pair("keen", "lasting").interval
    assert (shuffled.low, shuffled.high) == pytest.approx((found.low, found.high), abs=1e-9)
    rules = {(POOL, "late"): Asked(RULES["late"].model_copy(update={"at": 160.0 * feet}), PRIORS)}
    asked = {POOL: AskedOfPool(tuple(work * feet for work in WORKS), PRIORS, True)}
    rows = [row for row in rows_of(points) if row.endpoint == "late"]
    other = all_answers(rows, [replace(p, work=p.work * feet) for p in points], rules, asked, sensitivity=False)
    told = other.answers[POOL, "late"].headline.pair("keen", "lasting").interval
    assert (told.low, told.high) == pytest.approx((found.low, found.high), abs=0.02 * (found.high - found.low))


def test_a_steel_that_no_reading_shows_late_has_no_late_answer_and_its_early_one():
    points = [p for p in drawn(7) if p.steel == "keen" or p.work < 40]
    found = answered(points)
    late, early = (found.answers[POOL, name].headline.pair("keen", "lasting") for name in ("late", "early"))
    assert isinstance(early, Estimated) and isinstance(late, NotEstimable) and late.reason


def test_an_endpoint_outside_the_checkpoints_is_answered_from_its_own_values():
    points = drawn(8)
    rules = {(POOL, "late"): Asked(RULES["late"].model_copy(update={"at": 200.0}), PRIORS)}
    rows = [row for row in rows_of(points) if row.endpoint == "late"]
    found = all_answers(rows, points, rules, {POOL: AskedOfPool(WORKS, PRIORS, True)}, sensitivity=False)
    assert found.answers[POOL, "late"].readings is None and found.answers[POOL, "late"].headline.fit.convergence.fitted


def test_above_a_thousand_readings_normal_about_the_mode_is_near_the_sampled_posterior(monkeypatch):
    """Limits of every endpoint's ratio agree to a twentieth of the half-width."""
    points = drawn(9, people=26)
    assert 1000 < len(points) < 1100
    normal = answered(points)
    monkeypatch.setattr("edgehold.pooling.curves.joint.SAMPLED", 10**6)
    sampled = answered(points)
    for name in RULES:
        one, other = (x.answers[POOL, name].headline.pair("keen", "lasting").interval for x in (normal, sampled))
        half = (other.high - other.low) / 2
        assert (one.low, one.high) == pytest.approx((other.low, other.high), abs=0.05 * half), name
