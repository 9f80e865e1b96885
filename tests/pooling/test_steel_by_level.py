"""A steel's advantage against the sharpener's level: the slope that was put in comes out, though levels are known with error."""

import numpy as np
import pytest

from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.crossed.runs_model import model_of
from edgehold.pooling.crossed.steel_by_level import steel_by_level

SLOPE, SKILL, RUN = 0.8, 0.3, 0.25


def exchange(seed: int, people: int = 30, slope: float = SLOPE, own: bool = False, known_steels: int = 3):
    """Everybody's edges of s1 and s2 are tested by three neighbours, those of s3 by two; the sharpener's skill adds ``slope`` times
    itself to s1 alone."""
    draw = np.random.default_rng(seed)
    skill, hand = draw.normal(0, SKILL, people), draw.normal(0, 0.2, people)
    labels: dict[str, list] = {name: [] for name in ("steel", "blade", "sharpener", "tester", "submission")}
    y, level, first = [], [], []
    for sharpener in range(people):
        for steel, tests in (("s1", 3), ("s2", 3), ("s3", 2))[:known_steels]:
            for step in range(tests):
                tester = sharpener if own else (sharpener + step + 1) % people
                row = (steel, f"{steel}.{(sharpener + step) % 6}", f"p{sharpener}", f"p{tester}", f"u{tester}")
                for name, value in zip(labels, row, strict=True):
                    labels[name].append(value)
                gain = slope * skill[sharpener] * (steel == "s1")
                y.append(skill[sharpener] + gain + hand[tester] + draw.normal(0, RUN))
                level.append(skill[sharpener])
                first.append(steel)
    return checked_runs(y, y, labels), np.array(y), np.array(first)


def found(*args, **kwargs):
    runs, y, steel = exchange(*args, **kwargs)
    told = {(one.first, one.second): one for one in steel_by_level(runs, model_of(runs, profile=False))}
    return told, runs, y, steel


def plain_slope(runs, y, steel) -> float:
    """Ordinary regression of everybody's mean difference on their mean over s3, as if that were their level."""
    people = sorted(set(runs.sharpener.tolist()))

    def mean(what):
        return np.array([y[(runs.sharpener == who) & (steel == what)].mean() for who in people])

    return float(np.polyfit(mean("s3"), mean("s1") - mean("s2"), 1)[0])


def test_the_slope_that_was_put_in_comes_out_where_a_plain_regression_flattens_it():
    """Over 12 draws. The plain slope is that of Spearman's attenuation, λ = σ²/(σ² + v): v is the mean of two runs' errors, testers'
    hands among them."""
    seeds = range(12)
    results = [found(seed) for seed in seeds]
    slopes = np.array([told[("s1", "s2")].slope.estimate for told, *_ in results])
    plain = np.array([plain_slope(*rest) for _, *rest in results])
    error = slopes.std(ddof=1) / np.sqrt(len(slopes))
    attenuation = SKILL**2 / (SKILL**2 + (RUN**2 + 0.2**2) / 2)
    assert slopes.mean() == pytest.approx(SLOPE, abs=2.5 * error)
    assert plain.mean() == pytest.approx(SLOPE * attenuation, abs=3 * plain.std(ddof=1) / np.sqrt(len(plain)))
    assert slopes.mean() - plain.mean() > 2 * error
    covered = [told[("s1", "s2")].slope.interval.low < SLOPE < told[("s1", "s2")].slope.interval.high for told, *_ in results]
    assert sum(covered) >= 10


def test_other_pairs_have_the_slope_of_their_own_steels():
    """s1 gains with the level against s3 as against s2, s2 does not gain against s3."""
    told = found(3, people=40)[0]
    assert told[("s1", "s3")].slope.estimate > 0.3
    none = told[("s2", "s3")].slope
    assert none.interval.low < 0 < none.interval.high


def test_levels_known_with_error_have_a_reliability_below_1_and_the_interval_takes_that_in():
    one = found(1)[0][("s1", "s2")]
    assert 0.3 < one.reliability < 0.95 and one.sharpeners == 30
    assert one.slope.interval.method.endswith("calibrated")


@pytest.mark.parametrize(("people", "given"), [(7, False), (8, True)])
def test_seven_crossing_sharpeners_are_too_few_and_eight_are_enough(people, given):
    one = found(2, people=people)[0][("s1", "s2")]
    assert one.sharpeners == people
    if not given:
        assert one.slope is None and one.reason.startswith("7 sharpeners prepared both") and one.reason.endswith("8 are needed")
    else:
        assert "are needed" not in one.reason


def test_without_a_third_steel_nobody_has_a_level_from_other_runs():
    one = found(0, known_steels=2)[0][("s1", "s2")]
    assert (one.sharpeners, one.slope) == (0, None) and one.reason.startswith("0 sharpeners")


def test_who_is_tested_by_themselves_alone_does_not_cross():
    assert all(one.sharpeners == 0 and one.slope is None and one.reason for one in found(0, people=12, own=True)[0].values())


def test_sharpeners_that_do_not_differ_have_no_level():
    runs, y, _ = exchange(5, people=14)
    flat = y - np.array([y[runs.sharpener == who].mean() for who in runs.sharpener.tolist()])
    runs = checked_runs(flat, flat, {n: getattr(runs, n).tolist() for n in ("steel", "blade", "sharpener", "tester", "submission")})
    reasons = {one.reason for one in steel_by_level(runs, model_of(runs, profile=False)) if one.slope is None}
    assert "the runs of other steels show no difference between sharpeners" in reasons
