"""Evidence that is not linked: how far it may move an answer, that it changes no verdict, and that it counts in full where it agrees."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pooling.designs import values_of
from pooling.test_headline import own_blades

from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_mixture import NormalMixture
from edgehold.pooling.bounded import MOVE, bounded, bounded_answer
from edgehold.pooling.headline import headline
from edgehold.pooling.hierarchical import ContrastPosterior
from edgehold.pooling.posterior_verdict import BETTER, DIFFER, UNDECIDED, WORSE

WORTH = 1.25
TRUTH = {"sharpener": 0.1, "tester": 0.1, "blade": 0.08, "residual": 0.12}


def normal(mean, sd):
    ends = Interval(mean - 1.959963984540054 * sd, mean + 1.959963984540054 * sd, 0.95, "posterior")
    return ContrastPosterior(mean, sd, ends, 0.0, NormalMixture(np.ones(1), np.array([mean]), np.array([sd**2])))


def half(posterior):
    return (posterior.interval.high - posterior.interval.low) / 2


@settings(max_examples=300, deadline=None)
@given(st.floats(-3, 3), st.floats(0.01, 2), st.floats(-5, 5), st.floats(0.005, 4))
def test_unlinked_evidence_moves_an_answer_by_a_fifth_of_its_half_width_and_tells_no_more_than_the_linked(middle, sd, further, other):
    linked, everything = normal(middle, sd), normal(middle + further, other)
    found = bounded(linked, everything)
    moved = found.posterior.quantile(0.5) - middle
    assert abs(moved) <= MOVE * half(linked) * (1 + 1e-9)
    assert moved * further >= 0 and 0 <= found.power <= 1
    assert half(linked) / math.sqrt(2) <= half(found.posterior) * (1 + 1e-9)
    assert half(found.posterior) <= half(linked) * (1 + 1e-9)


def test_the_power_is_that_of_a_normal_likelihood():
    """The published median and width are those of a normal posterior in which the other likelihood stands to the power a."""
    linked, other = normal(0.1, 0.08), (0.9, 0.05)
    told, further = 0.08**-2, 0.05**-2
    both = normal((told * 0.1 + further * other[0]) / (told + further), (told + further) ** -0.5)
    found = bounded(linked, both)
    weight = found.power * further
    assert 0 < found.power < 1
    assert found.posterior.quantile(0.5) == pytest.approx((told * 0.1 + weight * other[0]) / (told + weight), rel=1e-6)
    assert half(found.posterior) == pytest.approx(1.959963984540054 * (told + weight) ** -0.5, rel=1e-6)
    assert found.posterior.interval.low == pytest.approx(found.posterior.quantile(0.025), abs=1e-9)


def test_evidence_that_agrees_counts_in_full_and_is_published_as_it_is():
    everything = normal(0.11, 0.09)
    assert bounded(normal(0.1, 0.1), everything).posterior is everything


def answer_of(people, shift=0.0, shifted=0, seed=3, ratio=0.75):
    """Everybody with blades of their own; the last ``shifted`` people say ``shift`` more of the first steel."""
    labels = own_blades(people=people, each=2)
    y = values_of(labels, seed, TRUTH, {"s1": math.log(ratio), "s2": 0.0})
    strange = np.array([int(who[1:]) >= people - shifted for who in labels["submission"]])
    y = y + np.where(strange & (np.array(labels["steel"]) == "s1"), shift, 0.0)
    honest = ~strange
    part = {name: [one for one, own in zip(column, honest, strict=True) if own] for name, column in labels.items()}
    return tuple(headline(z, z, of, worthwhile=WORTH).pair("s1", "s2") for z, of in ((y[honest], part), (y, labels)))


@pytest.mark.parametrize("invented", [3, 10, 30])
@pytest.mark.parametrize("saying", [1.35, 4.0])
def test_no_number_of_invented_files_changes_a_verdict(invented, saying):
    alone, everything = answer_of(19 + invented, math.log(saying), invented)
    found, power = bounded_answer(alone, everything, 19, WORTH)
    assert alone.verdict.kind in (WORSE, DIFFER) and found.verdict.kind == alone.verdict.kind
    assert abs(found.estimate - alone.estimate) <= MOVE * half(alone.posterior) * (1 + 1e-9)
    assert power < 1
    if invented == 30 and saying == 4.0:
        assert everything.verdict.kind != alone.verdict.kind or everything.estimate > 0  # in full it would have been turned


def test_a_verdict_needs_two_linked_senders_and_linked_evidence_of_both():
    alone, everything = answer_of(12, 0.0, 2, ratio=0.4)
    assert alone.verdict.kind in (BETTER, WORSE)
    assert bounded_answer(alone, everything, 2, WORTH)[0].verdict.kind == alone.verdict.kind
    assert bounded_answer(alone, everything, 1, WORTH)[0].verdict.kind == UNDECIDED
    unlinked, power = bounded_answer(None, everything, 0, WORTH)
    assert (unlinked.verdict.kind, power) == (UNDECIDED, None) and unlinked.posterior is everything.posterior


def test_single_blades_among_the_linked_bound_by_what_they_say_of_the_steels():
    alone, everything = answer_of(8, 0.0, 3)
    blades = replace(alone, about="blades", verdict=None, posterior=normal(alone.estimate, 1e-4))
    found, _ = bounded_answer(blades, everything, 5, WORTH)
    assert found.verdict.kind == UNDECIDED
    assert half(found.posterior) > 0.5 * half(everything.posterior)  # not the blades' own narrow interval
