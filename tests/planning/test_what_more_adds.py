"""What an exchange, a friend's table and a second evening add, against numpy's least squares and block design theory."""

import math
from dataclasses import replace

import numpy as np
import pandas
import pytest
from scipy.stats import t as t_distribution

from edgehold.planning.adds import EVENING, EXCHANGE, FRIEND, _again, _exchanged, _friends, additions
from edgehold.planning.capacity import capacity
from edgehold.planning.designs import doable
from edgehold.planning.plans import draw_plan, half_balance
from edgehold.planning.precision import cuts_of, precision
from edgehold.planning.remedies import Outlook
from edgehold.pooling import separability

from .boatyard_plans import own_spread_only
from .households import HOUSEHOLDS, wanted

S0 = 0.2
EXCHANGING = [name for name, (key, _, _) in HOUSEHOLDS.items() if " of " not in key[1]]  # where levels are compared nothing is exchanged


def planned(name, seed=5):
    design = doable(wanted(name))
    return design.asked, draw_plan(design.asked, design.fits, id="x-1", month="2026-05", seed=seed, sealed=False)


def tables(name):
    asked, plan = planned(name)
    mine = cuts_of(plan)
    theirs = tuple(_friends(cut) for cut in mine)
    return asked, mine, theirs, _exchanged(asked, mine)


def by_weights(cuts, factor, first, second):
    """(variance at a residual variance of 1, residual df): the shortest weights w with Xᵀw = c are those of the best linear unbiased
    estimate (Gauss and Markov), and its variance is their square; X by pandas, w and the rank by numpy."""
    frame = pandas.DataFrame([vars(cut) for cut in cuts]).astype(str)
    frame["evening"], frame["lot"], frame["pair"] = (frame["table"] + " " + frame[name] for name in ("evening", "lot", "pair"))
    kept = ["pair", "edge_part"] if cuts[0].pair is not None else ["tester"]
    kept += [] if cuts[0].pair is not None else [name for name in ("evening", "lot") if len(frame) >= 2 * frame[name].nunique()]
    dummies = pandas.get_dummies(frame[["sharpener", "blade", *kept]], prefix_sep="=").astype(float)
    c = pandas.Series(0.0, dummies.columns)
    c[f"{factor}={first}"], c[f"{factor}={second}"] = 1.0, -1.0
    x = dummies.to_numpy()
    weights = np.linalg.lstsq(x.T, c.to_numpy(), rcond=None)[0]
    assert x.T @ weights == pytest.approx(c.to_numpy(), abs=1e-9)
    return float(weights @ weights), len(frame) - np.linalg.matrix_rank(x)


@pytest.mark.parametrize("name", [name for name in EXCHANGING if "alone" not in HOUSEHOLDS[name][1] and "hardly" not in name])
def test_precision_with_an_exchange_is_that_of_best_weights(name):
    asked, mine, theirs, exchange = tables(name)
    factor, (first, second, *_) = ("sharpener", asked.sharpeners) if asked.in_rounds else ("blade", asked.blades)
    for cuts, a, b in ((mine, first, second), ((*mine, *theirs, *exchange), first, f"the friend's {first}")):
        got = precision(cuts, factor, a, b)
        if math.isfinite(got.unscaled):
            variance, df = by_weights(cuts, factor, a, b)
            assert (got.unscaled, got.df) == (pytest.approx(variance, rel=1e-9), df)


@pytest.mark.parametrize("name", EXCHANGING)
def test_nothing_tells_two_tables_apart_until_something_is_exchanged(name):
    """The rank of the design: numpy counts one direction more with an exchange than runs without it can ever give."""
    asked, mine, theirs, exchange = tables(name)
    first = next(cut.sharpener for cut in exchange) if asked.in_rounds else asked.blades[0]
    factor = "sharpener" if asked.in_rounds else "blade"
    apart = (*mine, *theirs)
    for evenings in range(3):
        assert math.isinf(precision(apart, factor, first, f"the friend's {first}").unscaled), evenings
        apart = (*apart, *_again(apart))
    assert math.isfinite(precision((*mine, *theirs, *exchange), factor, first, f"the friend's {first}").unscaled)


def linked(cuts):
    return separability({"sharpener": [cut.sharpener for cut in cuts], "tester": [cut.tester for cut in cuts]})


def test_only_an_exchange_joins_who_sharpens_and_who_cuts():
    """Connectedness of the sharpener × tester design (Bose 1947: two-way designs are estimable throughout where they are connected), as the
    project judges pools by it, and as its incidence matrix has it."""
    _, mine, theirs, exchange = tables("halves, three hours, a helper, 20 m")
    assert len(linked((*mine, *theirs)).components) == 2 and linked((*mine, *theirs)).contrasts["sharpener"].verdict != "yes"
    joined = linked((*mine, *theirs, *exchange))
    assert len(joined.components) == 1 and joined.contrasts["sharpener"].aliased_contrasts == ()
    assert joined.contrasts["tester"].aliased_contrasts == ()
    for cuts, components in (((*mine, *theirs), 2), ((*mine, *theirs, *exchange), 1)):
        people = sorted({("s", cut.sharpener) for cut in cuts} | {("t", cut.tester) for cut in cuts})
        laplacian = np.zeros((len(people), len(people)))
        for cut in cuts:
            i, j = people.index(("s", cut.sharpener)), people.index(("t", cut.tester))
            laplacian[[i, j], [i, j]] += 1
            laplacian[[i, j], [j, i]] -= 1
        assert len(people) - np.linalg.matrix_rank(laplacian) == components


def test_with_the_spread_known_by_the_evenings_own_runs_widths_are_students():
    """Six pairs of a second evening: t(.975, 4 + 6) with a spread of ten degrees of freedom is √(2/6)·s·t; here nothing is moderated."""
    asked, plan = planned("halves, three hours, a helper, 20 m")
    alone = Outlook(own_spread_only(S0), (S0, math.inf), 3)
    found = {one.kind: one for one in additions(asked, plan, alone)}
    pairs = len(plan.runs)  # two evenings of half as many pairs as runs
    df = pairs - 2
    expected = math.sqrt(2 / pairs) * S0 * t_distribution.ppf(0.975, df)
    assert found[EVENING].half_width == pytest.approx(expected, rel=0.02)  # 4,000 draws of s²
    assert found[FRIEND].half_width is None and set(found[FRIEND].seen.values()) == {0.0}
    assert list(found) == [EXCHANGE, FRIEND, EVENING]


def test_a_second_evening_changes_halves_over_so_that_none_is_lost():
    asked, plan = planned("halves, three hours, a helper, 20 m")
    cuts = cuts_of(plan)
    both = (*cuts, *_again(cuts))
    heels = [cut.sharpener for cut in both if cut.edge_part == "heel"]
    assert {name: heels.count(name) for name in asked.sharpeners} == dict.fromkeys(asked.sharpeners, len(plan.runs) // 2)
    assert all(a.pair == b.pair for a, b in zip(both[::2], both[1::2], strict=True))


def test_an_evening_more_is_worth_no_less_than_the_plan_of_two_evenings():
    asked, plan = planned("the same in the open, 6 m")
    twice = replace(asked, stock=replace(asked.stock, evenings=2, lots_m=()))
    drawn = draw_plan(twice, capacity(twice), id="x-1", month="2026-05", seed=5, sealed=False)
    cuts = cuts_of(plan)
    again = precision((*cuts, *_again(cuts)), "sharpener", *asked.sharpeners)
    assert again == precision(cuts_of(drawn), "sharpener", *asked.sharpeners)


def test_where_levels_are_compared_a_friends_table_tells_about_the_same_two():
    """Least squares on the differences within p pairs, in s of which more the first has the heel: variance 2p/(p² − s²)."""
    asked, plan = planned("two levels in halves, a helper")
    alone = Outlook(own_spread_only(S0), (S0, math.inf), 3)
    found = {one.kind: one for one in additions(asked, plan, alone)}
    assert list(found) == [FRIEND, EVENING]
    pairs, more = len(plan.runs), 2 * half_balance(plan)  # of both tables
    expected = math.sqrt(2 * pairs / (pairs**2 - more**2)) * S0 * t_distribution.ppf(0.975, pairs - 2)
    assert found[FRIEND].half_width == pytest.approx(expected, rel=0.02)
