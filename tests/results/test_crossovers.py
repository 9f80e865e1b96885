"""Sharper early, duller late, by the band along the whole work: a sentence, and no winner."""

from types import SimpleNamespace

import numpy as np
import pytest

from edgehold.pooling.curves.contrast import Band
from edgehold.results.publish.curve_pairs import crossovers
from edgehold.words import Reason

AT = np.array([0.0, 10.0, 40.0, 160.0])


def pair(ratio, overtakes="second", blades=(2, 3)):
    """Two steels whose band lies .1 about the ratio."""
    ratio = np.array(ratio)
    near = {"pointwise_low": ratio - 0.05, "pointwise_high": ratio + 0.05, "low": ratio - 0.1, "high": ratio + 0.1}
    contrast = SimpleNamespace(same_work=Band(at=AT, ln_ratio=ratio, level=0.95, critical=2.4, **near), overtakes=overtakes)
    facts = {"blades_first": blades[0], "blades_second": blades[1], "read_at": (0.0, 10.0, 160.0)}
    return SimpleNamespace(factor="steel", first="demo-a", second="demo-b", contrast=contrast, **facts)


def test_the_one_sharper_early_is_named_first_and_nobody_wins():
    (found,) = crossovers([pair([0.3, 0.2, -0.2, -0.3])], "cut")
    assert (found.first, found.second) == ("demo-a", "demo-b")
    told = {"keener": "demo-a", "longer": "demo-b", "early": "from 0 to 10", "late": "at 160", "unit": "cuts"}
    assert found.sentence == Reason("studies_answer.crossover", **told)


def test_where_a_steel_is_ahead_only_between_checkpoints_the_place_itself_is_named():
    (found,) = crossovers([pair([0.3, 0.2, -0.2, 0.0])], "cut")
    told = {"keener": "demo-a", "longer": "demo-b", "early": "from 0 to 10", "late": "at 40", "unit": "cuts"}
    assert found.sentence == Reason("studies_answer.crossover", **told)


def test_the_other_way_round_names_the_other_first():
    (found,) = crossovers([pair([-0.3, -0.05, 0.0, 0.2], "first")], "cut")
    assert (found.first, found.second) == ("demo-b", "demo-a")


@pytest.mark.parametrize(
    "one", [pair([0.3, 0.2, 0.1, 0.2], ""), pair([0.3, 0.2, 0.0, -0.2], blades=(1, 3)), pair([0.3, 0.2, 0.0, -0.2], blades=(2, 1))]
)
def test_without_an_overtaking_and_with_a_single_blade_there_is_none(one):
    assert crossovers([one], "cut") == ()
