"""Pools of two blades cut in turn: the pair as a random term against another library, and how often the headline holds the truth.

The generator here is this test's own; it shares nothing with the demonstration or with the pools of the coverage study.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from scipy.stats import binom

from edgehold.pooling import crossed
from edgehold.pooling.headline import headline
from edgehold.pooling.spread_priors import priors_for

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # statsmodels decorates with what pandas will take away
    from statsmodels.regression.mixed_linear_model import MixedLM

STEELS = ("demo-one", "demo-other")
TRUE = math.log(1.3)
LEAST = 0.93


def pool(seed, tables=8, blades=4, rounds=3):
    """Tables with a rope, a tester and an evening each; a sharpener for two of them; blades of two steels go round."""
    rng = np.random.default_rng([7, seed])
    luck = {f"{steel}.{n}": 0.15 * rng.standard_normal() for steel in STEELS for n in range(blades)}
    hands, suits = 0.15 * rng.standard_normal(tables), 0.06 * rng.standard_normal((tables, 2))
    labels: dict[str, list[object]] = {
        name: [] for name in ("steel", "blade", "sharpener", "tester", "submission", "lot", "evening", "pair")
    }
    values = []
    for table in range(tables):
        used = [f"{steel}.{(table + place) % blades}" for place, steel in enumerate(STEELS)]
        sharpener, tester, rope, evening = (
            table // 2,
            0.12 * rng.standard_normal(),
            0.1 * rng.standard_normal(),
            0.06 * rng.standard_normal(),
        )
        for turn in range(rounds):
            shared = 0.15 * rng.standard_normal() - 0.05 * turn  # what rope, hand and hour share, and a hand that tires
            for side, (steel, blade) in enumerate(zip(STEELS, used, strict=True)):
                begins = 0.02 if (turn + side) % 2 == 0 else -0.02  # what A B B A leaves to whichever began
                effect = TRUE / 2 * (1 if side == 0 else -1)
                beside = hands[sharpener] + suits[sharpener, side] + tester + rope + evening + shared + begins
                values.append(effect + luck[blade] + beside + 0.15 * rng.standard_normal())
                told = (steel, blade, f"s{sharpener}", f"t{table}", f"f{table}", f"l{table}", "1", f"p{turn}")
                for name, label in zip(labels, told, strict=True):
                    labels[name].append(label)
    return np.array(values), labels


def held(seed):
    """Whether the headline's interval of the two steels holds the truth."""
    values, labels = pool(seed)
    found = headline(values, values, labels, worthwhile=1.25, priors=priors_for(0.2, "a test's"))
    (answer,) = [one for one in found.pairs if {one.first, one.second} == set(STEELS)]
    truth = TRUE if answer.first == STEELS[0] else -TRUE
    return answer.interval.low <= truth <= answer.interval.high


@pytest.mark.parametrize("blades", [2, 3, 4])
def test_pairs_at_random_are_those_of_another_library(blades):
    rng = np.random.default_rng(blades)
    ring = [(i, (i + 1) % blades) for i in range(blades if blades > 2 else 1)] * (12 if blades == 2 else 6)
    cut, group = np.array(ring).ravel(), np.repeat(np.arange(len(ring)), 2)
    y = 0.3 * cut + 0.5 * rng.standard_normal(len(ring))[group] + 0.2 * rng.standard_normal(len(cut))
    x = np.column_stack([np.ones(len(cut)), *(cut == blade for blade in range(1, blades))]).astype(float)
    ours, theirs = crossed(y, x, {"pair": group}), MixedLM(y, x, groups=group).fit(reml=True)
    assert ours.coefficients == pytest.approx(theirs.fe_params, abs=1e-5)
    assert ours.variances["pair"] == pytest.approx(float(theirs.cov_re[0, 0]), rel=1e-3)


def test_a_handful_of_pools_holds_the_steels_true_ratio():
    hits = sum(held(seed) for seed in range(12))
    assert hits >= binom.ppf(0.001, 12, 0.95)


@pytest.mark.long
def test_the_headline_holds_the_steels_true_ratio_in_93_of_100_pools_at_least():
    """Planted: blades, drift, rope, evening, pairs, who begins, sharpeners and how they suit a steel. Lower 99 % bound of the share."""
    pools = 400
    share = np.mean([held(seed) for seed in range(pools)])
    assert share >= LEAST - 2.326 * math.sqrt(LEAST * (1 - LEAST) / pools)
