"""Hierarchical posteriors against long runs of a general-purpose sampler and published tables (tests/reference/posteriors/*.json).

Tolerances, written in every file: means and SDs within 3 Monte-Carlo errors of the sampler; 2.5 and 97.5 % limits within 3 of theirs
and, on top, 2 % of the half-width, to which our own limits are carried. `posteriors/make.py` made the files and checked each by a
second method.
"""

import json
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from test_crossed_reference import design_column, term

from edgehold.pooling.hierarchical import HalfT, hierarchical

REFERENCE = Path(__file__).parents[1] / "reference"
POSTERIORS = REFERENCE / "posteriors"
LIMITS = {"low": 0.025, "high": 0.975}
MACHINES = (("machine A", "B - A", "C - A"), ("worker", "cell", "residual"))
PENICILLIN = (("mean",), ("plate", "sample", "residual"))
SLEEP = (("at day 0", "a day"), ("subject", "residual"))

# file: (coefficients, standard deviations); a later edit may add to this list, never take away
SETS = {
    "eight_schools": (("mean",), ("school",)),
    "crins2014": (("mean",), ("study",)),
    "penicillin": PENICILLIN,
    "penicillin_censored": PENICILLIN,
    "machines": MACHINES,
    "machines_all_random": (("mean",), ("machine", "worker", "cell", "residual")),
    "assink2016": (("covert", "general - covert", "overt - covert"), ("study", "effect")),
    "konstantopoulos2011": (("mean", "a year"), ("district", "school")),
    "konstantopoulos2011_crossed": (("mean",), ("district", "school", "year")),
    "sleepstudy": SLEEP,
    "sleepstudy_censored": SLEEP,
}
TAKES_LONG = {"penicillin_censored", "konstantopoulos2011_crossed"}
"""Fits of many seconds, for `make test-long`; other sets with limits and with three crossed or nested terms are fitted in every run."""


def marks(name):
    return [pytest.mark.long] if name in TAKES_LONG else []


FITTED = [pytest.param(name, marks=marks(name)) for name in SETS]
QUANTITIES = [
    pytest.param(name, group, quantity, id=f"{name}-{quantity}")
    for name, both in SETS.items()
    for group, quantities in zip(("coefficients", "spreads"), both, strict=True)
    for quantity in quantities
]
OURS = [pytest.param(*one.values, id=one.id, marks=marks(one.values[0])) for one in QUANTITIES]


@cache
def load(name):
    return json.loads((POSTERIORS / f"{name}.json").read_text(encoding="utf-8"))


def columns_of(told):
    """The set's own columns, or those of the file of tests/reference that it points to."""
    return (
        told["columns"]
        if "columns" in told
        else json.loads((REFERENCE / f"{told['data_set']}.json").read_text(encoding="utf-8"))["columns"]
    )


def limits_of(told):
    """Lower and upper limits of the values; equal where the value is exact, null in the file where a side is open."""
    if "coarsening" not in told:
        exact = np.array(columns_of(told)[told["model"]["response"]], dtype=float)
        return exact, exact
    low, high = (told["coarsening"][side] for side in ("low", "high"))
    return np.array([-math.inf if x is None else x for x in low]), np.array([math.inf if x is None else x for x in high])


@cache
def fitted(name):
    told = load(name)
    model, columns, (low, high) = told["model"], columns_of(told), limits_of(told)
    return hierarchical(
        low,
        np.column_stack([design_column(columns, spec) for spec in model["X"]]),
        {key: term(columns, spec) for key, spec in model["terms"].items()},
        {key: HalfT(df=float(prior["df"]), scale=float(prior["scale"])) for key, prior in told["priors"].items()},
        V=None if model["V"] is None else np.array(columns[model["V"]], dtype=float),
        high=high if "coarsening" in told else None,
        error=0.005,
        spread_error=0.02 if "coarsening" in told else 0.01,  # a limited response costs as much as many exact ones
    )


def found(name, group, quantity):
    """Our posterior of one coefficient or standard deviation."""
    if group == "spreads":
        return fitted(name).spread(quantity)
    coefficients = load(name)["model"]["coefficients"]
    return fitted(name).contrast(np.eye(len(coefficients))[coefficients.index(quantity)])


@pytest.mark.parametrize("name", FITTED)
def test_every_set_is_fitted(name):
    assert fitted(name).convergence.fitted


@pytest.mark.parametrize(("name", "group", "quantity"), OURS)
def test_mean_and_sd_agree_with_the_sampler(name, group, quantity):
    wanted, times = load(name)["posterior"][group][quantity], load(name)["tolerances"]["monte_carlo_errors"]
    got = found(name, group, quantity)
    assert got.mean == pytest.approx(wanted["mean"]["value"], rel=0, abs=times * wanted["mean"]["error"])
    assert got.sd == pytest.approx(wanted["sd"]["value"], rel=0, abs=times * wanted["sd"]["error"])


@pytest.mark.parametrize(("name", "group", "quantity"), OURS)
def test_limits_agree_with_the_sampler(name, group, quantity):
    wanted, tolerances = load(name)["posterior"][group][quantity], load(name)["tolerances"]
    own = tolerances["own_error_of_a_limit_in_half_widths"] * (wanted["high"]["value"] - wanted["low"]["value"]) / 2
    got = found(name, group, quantity)
    for side, prob in LIMITS.items():
        allowed = tolerances["monte_carlo_errors"] * wanted[side]["error"] + own
        assert got.quantile(prob) == pytest.approx(wanted[side]["value"], rel=0, abs=allowed), side
    if group == "coefficients":
        assert [got.interval.low, got.interval.high] == pytest.approx([got.quantile(prob) for prob in LIMITS.values()], rel=1e-6)


@pytest.mark.parametrize("name", ["eight_schools", "crins2014"])
def test_one_sd_and_known_variances_agree_with_the_integral_on_a_grid(name):
    """No Monte-Carlo error on the grid's side: means, medians and SDs within 1 % of the SD, limits within 2 % of the half-width."""
    for group, quantities in load(name)["grid"].items():
        for quantity, wanted in quantities.items():
            got, half_width = found(name, group, quantity), (wanted["high"] - wanted["low"]) / 2
            values = [got.mean, got.sd, got.quantile(0.5)]
            assert values == pytest.approx([wanted["mean"], wanted["sd"], wanted["median"]], rel=0, abs=0.01 * wanted["sd"])
            for side, prob in LIMITS.items():
                assert got.quantile(prob) == pytest.approx(wanted[side], rel=0, abs=0.02 * half_width), (quantity, side)


def test_the_eight_schools_agree_with_the_published_posterior():
    """The printed table of RStan's vignette (flat on mean and SD): means and quantiles within 3 of its own Monte-Carlo errors."""
    (published,) = load("eight_schools")["published"]
    for group in ("coefficients", "spreads"):
        for quantity, printed in published[group].items():
            got, rounding = found("eight_schools", group, quantity), published["printed_to"][group]
            assert got.mean == pytest.approx(printed["mean"], rel=0, abs=3 * printed["mean_error"] + rounding)
            for prob, value in printed["quantiles"].items():
                allowed = 3 * printed["quantile_errors"][prob] + rounding
                assert got.quantile(float(prob)) == pytest.approx(value, rel=0, abs=allowed), (quantity, prob)


def test_the_transplant_trials_agree_with_the_published_posterior():
    """Roever 2020, pp. 21-23. The paper's mean has the prior N(0, 4²), ours a flat one; what that pulls is the difference of two grids."""
    told = load("crins2014")
    (published,) = told["published"]
    for group in ("coefficients", "spreads"):
        for quantity, printed in published[group].items():
            flat, theirs = told["grid"][group][quantity], published["computed_again"][group][quantity]
            got, allowed = found("crins2014", group, quantity), 0.01 * printed["sd"]
            assert got.mean == pytest.approx(printed["mean"] + flat["mean"] - theirs["mean"], rel=0, abs=allowed)
            assert got.sd == pytest.approx(printed["sd"] + flat["sd"] - theirs["sd"], rel=0, abs=allowed)
            median = printed["quantiles"]["0.5"] + flat["median"] - theirs["quantiles"]["0.5"]
            assert got.quantile(0.5) == pytest.approx(median, rel=0, abs=allowed)


def test_the_grid_reaches_the_printed_digits_of_the_transplant_trials():
    """So that the grid, our judge where nothing is drawn, is itself judged by the publication."""
    (published,) = load("crins2014")["published"]
    for group in ("coefficients", "spreads"):
        for quantity, printed in published[group].items():
            again = published["computed_again"][group][quantity]
            values = [(printed[key], again[key]) for key in ("mean", "sd")] + [(printed["quantiles"]["0.5"], again["quantiles"]["0.5"])]
            for wanted, got in values:
                assert got == pytest.approx(wanted, rel=0, abs=published["printed_to"][group])


@pytest.mark.parametrize("name", SETS)
def test_every_set_holds_its_quantities_with_their_errors_and_says_where_it_is_from(name):
    told, (coefficients, spreads) = load(name), SETS[name]
    assert told["citation"] and told["prior_note"] and told["second_opinion"]["method"]
    posterior, sampler = told["posterior"], told["sampler"]
    assert (tuple(posterior["coefficients"]), tuple(posterior["spreads"])) == (coefficients, spreads)
    assert sampler["chains"] >= 4 and sampler["target_accept"] >= 0.95 and sampler["largest_r_hat"] < 1.005
    for one in (*posterior["coefficients"].values(), *posterior["spreads"].values()):
        assert set(one) == {"mean", "sd", "low", "high"}
        assert all(value["error"] > 0 for value in one.values())
        assert one["mean"]["error"] <= 0.01 * one["sd"]["value"]


@pytest.mark.parametrize(("name", "group", "quantity"), QUANTITIES)
def test_the_sampler_and_the_second_method_agree(name, group, quantity):
    """Importance sampling over the SDs, or a Gibbs sampler where values are censored: within 3 errors of both together."""
    first, second = load(name)["posterior"][group][quantity], load(name)["second_opinion"][group][quantity]
    for statistic, one in first.items():
        other = second[statistic]
        assert one["value"] == pytest.approx(other["value"], rel=0, abs=3 * math.hypot(one["error"], other["error"])), statistic
        assert other["error"] < 2 * one["error"]


@pytest.mark.parametrize("name", [name for name in SETS if name.endswith("_censored")])
def test_the_coarsened_sets_hold_one_sided_interval_and_exact_values(name):
    told = load(name)
    exact, (low, high) = np.array(columns_of(told)[told["model"]["response"]], dtype=float), limits_of(told)
    assert np.all((low <= exact) & (exact <= high))
    kinds = {"below": np.isinf(low), "above": np.isinf(high), "within": (low < high) & np.isfinite(low) & np.isfinite(high)}
    assert {kind: int(rows.sum()) for kind, rows in kinds.items()} == {kind: told["coarsening"][kind] for kind in kinds}
    assert all(rows.sum() >= 15 for rows in kinds.values()) and (low == high).sum() >= 15


def test_no_posterior_stands_unlisted_and_none_is_lost():
    assert {path.stem for path in POSTERIORS.glob("*.json")} == set(SETS)
    assert len(SETS) >= 11 and len(QUANTITIES) >= 44
