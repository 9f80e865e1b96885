"""Families of steels above the steels: what is told of them, what is refused, and what they leave alone."""

import numpy as np
import pytest
from pooling.designs import labels_of_exchange, values_of

from edgehold.pooling.families import FamiliesEstimated, families
from edgehold.pooling.headline import headline
from edgehold.words import code_of

WORTH = 1.25
TRUTH = {"sharpener": 0.1, "tester": 0.1, "blade": 0.05, "residual": 0.1}
HARD = {"h1": 0.62, "h2": 0.58, "h3": 0.6}
SOFT = {"s1": 0.02, "s2": -0.02}


def family_of(steels):
    return {steel: {"h": "hard", "s": "soft", "t": "tough"}[steel[0]] for steel in steels}


def asked(steels, seed=3, labels=None, values=None, **more):
    labels = labels or labels_of_exchange(people=8, blades=2, steels=tuple(steels), **more)
    y = values_of(labels, seed, TRUTH, steels) if values is None else values
    found = headline(y, y, labels, worthwhile=WORTH)
    return found, families(found, family_of(steels), WORTH)


def limits(posterior):
    return np.array([posterior.interval.low, posterior.quantile(0.5), posterior.interval.high])


def test_two_families_of_several_steels_are_answered_near_the_truth_with_a_verdict():
    _, told = asked(HARD | SOFT)
    (pair,) = told.pairs
    assert (told.state, pair.first, pair.second, pair.about) == ("estimated", "hard", "soft", "families")
    assert (pair.steels_first, pair.steels_second) == (tuple(HARD), tuple(SOFT))
    assert pair.posterior.interval.low < 0.6 < pair.posterior.interval.high and pair.posterior.quantile(0.5) == pytest.approx(0.6, abs=0.1)
    assert pair.verdict.kind in ("better", "different, size undecided")
    wide, narrow = (one.interval.high - one.interval.low for one in (pair.another, pair.posterior))
    assert wide > 1.2 * narrow and told.spread.levels == 5 and pair.posterior.error < 0.02 * narrow / 2


def test_a_single_steel_has_an_interval_and_no_verdict():
    _, told = asked(HARD | {"s1": 0.0})
    (pair,) = told.pairs
    assert (pair.about, pair.verdict, pair.steels_second) == ("steels", None, ("s1",))
    _, wide = asked({"h1": 1.2, "h2": 0.0, "h3": 0.6, "s1": 0.0})
    width, wider = (one.pairs[0].posterior.interval.high - one.pairs[0].posterior.interval.low for one in (told, wide))
    assert wider > 1.5 * width  # what the others of a family differ by is what the single one may


@pytest.mark.parametrize(
    ("steels", "code"),
    [
        (HARD, "families.one_family"),
        ({"h1": 0.6, "s1": 0.0, "t1": 0.3}, "families.one_steel_each"),
        ({"h1": 0.6}, "families.none_compared"),
    ],
    ids=str,
)
def test_what_would_be_the_prior_alone_is_refused_with_its_reason(steels, code):
    _, told = asked(steels)
    assert (told.state, code_of(told.reason), told.spread, told.pairs) == ("not estimable", code, None, ())


def test_a_family_that_no_run_links_with_the_others_has_a_reason_and_the_others_an_answer():
    linked, alone = labels_of_exchange(people=8, steels=tuple(HARD | SOFT)), labels_of_exchange(people=3, steels=("t1", "t2"))
    alone = {name: [value if name in ("version", "sharpening") else f"x{value}" for value in own] for name, own in alone.items()}
    alone["steel"] = [steel.removeprefix("x") for steel in alone["steel"]]
    steels = HARD | SOFT | {"t1": 0.0, "t2": 0.0}
    labels = {name: [*linked[name], *alone[name]] for name in linked}
    _, told = asked(steels, labels=labels)
    by = {(one.first, one.second): one for one in told.pairs}
    assert told.apart == ("t1", "t2") and dict(told.members) == {"hard": tuple(HARD), "soft": tuple(SOFT)}
    assert isinstance(by[("hard", "soft")], FamiliesEstimated)
    assert {code_of(by[pair].reason) for pair in (("hard", "tough"), ("soft", "tough"))} == {"families.not_linked"}


def test_names_of_steels_and_families_and_the_order_of_runs_change_nothing():
    steels = HARD | SOFT
    labels = labels_of_exchange(people=8, blades=2, steels=tuple(steels))
    y = values_of(labels, 5, TRUTH, steels)
    _, told = asked(steels, labels=labels, values=y)
    order = np.random.default_rng(0).permutation(len(y))
    renamed = {"h1": "z", "h2": "m", "h3": "a", "s1": "k", "s2": "b"}
    other = {name: [renamed.get(own[i], own[i]) if name == "steel" else own[i] for i in order] for name, own in labels.items()}
    found = headline(y[order], y[order], other, worthwhile=WORTH)
    mirrored = families(found, {renamed[one]: "a second" if one.startswith("h") else "a first" for one in steels}, WORTH).pairs[0]
    assert limits(mirrored.posterior) == pytest.approx(-limits(told.pairs[0].posterior)[::-1], abs=0.02 * told.pairs[0].posterior.sd)


def test_steels_of_one_family_far_apart_take_the_verdict_away():
    _, near = asked({"h1": 0.8, "h2": 0.8, "s1": 0.0, "s2": 0.0})
    _, far = asked({"h1": 0.2, "h2": 1.4, "s1": 0.6, "s2": -0.6})
    assert near.pairs[0].verdict.kind != "undecided" and far.pairs[0].verdict.kind == "undecided"
    assert far.spread.typical > 2 * near.spread.typical
