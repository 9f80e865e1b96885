"""Probes: a planted effect is found, nothing planted is covered, and what cannot be told is said."""

import numpy as np
import pytest
from scipy.stats import t as student_t

from aggregator.pooling.probe_register import EFFECT, PROBES, STEELS_AT_EQUAL, Probe, edge_angle, later_evening, place_in_evening
from aggregator.pooling.probes import ProbeAnswer, found_something, probe_answers
from tests.estimates.rows import POOL, make_row

KEY = (POOL, "early")
BY_ID = {probe.id: probe for probe in PROBES}
STEELS = {"demo-a": 0.0, "demo-b": 0.25}


def ask(rows, *ids):
    answers = probe_answers(rows, frozenset({KEY}), [BY_ID[name] for name in ids])[KEY]
    return answers[0] if len(ids) == 1 else answers


def evenings(rng, people=6, nights=2, order=0.0, later=0.0, own=0.0, angle=0.0, tilt=0.0, spread=0.1, sd=0.1):
    """Runs of several people, each with two steels, own and foreign edges, at angles that vary from edge to edge.

    Planted: ``order`` for each run earlier in the evening, ``later`` evenings, ``own`` sharpening, ``angle`` for each degree; with
    ``tilt`` the second steel is ground that many degrees wider.
    """
    handles = [f"p{i}" for i in range(people)]
    who, hand = rng.normal(0, spread, people), rng.normal(0, spread, people)
    rows, values = [], []
    for i, tester in enumerate(handles):
        for night in range(nights):
            arms = [(steel, s) for steel in STEELS for s in (i, (i + 1) % people)]
            for place, at in enumerate(rng.permutation(len(arms))):
                steel, s = arms[at]
                degrees = 15 + rng.normal(0, 2) + tilt * (steel == "demo-b")
                value = STEELS[steel] + who[i] + hand[s] + order * place + later * (night > 0) + own * (s == i) + angle * degrees
                values.append(value + rng.normal(0, sd))
                rows.append(
                    {"submission": f"s{i}", "tester": tester, "sharpener": handles[s], "steel": steel, "blade": f"{tester}.{steel}",
                     "evening": night + 1, "order": night * len(arms) + place + 1, "own_sharpening": s == i, "angle_deg": degrees}
                )  # fmt: skip
    return [make_row(value, n + 1, **facts) for n, (value, facts) in enumerate(zip(values, rows, strict=True))]


@pytest.mark.parametrize(
    ("probe", "planted", "size"),
    [
        ("run-order", {"order": -0.05}, -0.2),
        ("later-evening", {"later": 0.3}, 0.3),
        ("own-sharpening", {"own": -0.25}, -0.25),
        ("edge-angle", {"angle": -0.05}, -0.25),
    ],
)
def test_a_planted_effect_is_found_by_its_probe_and_by_no_other(probe, planted, size):
    estimates, covered, alone = [], 0, []
    for seed in range(8):
        answers = ask(evenings(np.random.default_rng(seed), **planted), *(p.id for p in PROBES if p.measures == EFFECT))
        for answer in answers:
            if answer.probe.id == probe:
                estimates.append(answer.result.estimate)
                covered += answer.result.interval.low <= size <= answer.result.interval.high
                assert answer.state == "answered"
            else:
                alone.append(answer.p)
    assert abs(np.mean(estimates) - size) < 4 * np.std(estimates) / np.sqrt(len(estimates))
    assert covered >= 6, "95 % of 8; 5 or fewer happens once in 170 such tests of a true 95 %"
    assert np.mean(np.array(alone) < 0.05) < 0.25


def test_where_nothing_is_planted_few_probes_find_something():
    found = [found_something(ask(evenings(np.random.default_rng(100 + seed)), *BY_ID)) for seed in range(10)]
    assert sum(n for _, n in found) == 40, "four probes of an effect each; the fifth is adjusted and does not count"
    assert sum(k for k, _ in found) <= 7, "2 expected by chance; 8 or more once in 1400"


def test_the_ratio_at_equal_angle_takes_out_what_the_angle_does_and_the_headline_is_not_touched():
    # demo-b is ground 4 degrees wider and each degree costs 0.05: as people sharpen it, it is 0.25 − 0.2 = 0.05 ahead; at equal angle 0.25.
    adjusted = []
    for seed in range(12):
        answer = ask(evenings(np.random.default_rng(seed), angle=-0.05, tilt=4.0), "steels-at-equal-angle")
        assert (answer.pair, answer.p) == (("demo-a", "demo-b"), None)
        adjusted.append(answer.result.estimate)
    assert np.mean(adjusted) == pytest.approx(-0.25, abs=0.06)


def test_without_random_spread_the_probe_is_a_regression():
    # Independent solution: least squares on version, steel and place within its evening, which are orthogonal to the people here.
    rng = np.random.default_rng(7)
    rows = [
        make_row(0.0, n, submission=f"s{n // 4}", tester=f"t{n // 4}", sharpener=f"t{n // 4}", blade=f"b{n}", steel="demo-a", order=n % 4)
        for n in range(32)
    ]
    noise = rng.normal(0, 0.1, 32).reshape(8, 4)
    noise -= noise.mean(axis=1, keepdims=True)  # no spread between people
    place = np.tile(np.arange(4) - 1.5, 8)
    values = noise.ravel() - 0.05 * place
    rows = [row.__class__(**{**vars(row), "low": float(v), "high": float(v)}) for row, v in zip(rows, values, strict=True)]
    answer = ask(rows, "run-order")
    slope = place @ values / (place @ place)
    assert answer.result.estimate == pytest.approx(4 * slope, rel=1e-6)
    residual = values - slope * place
    error = 4 * np.sqrt(residual @ residual / 30 / (place @ place))
    assert answer.result.standard_error == pytest.approx(error, rel=1e-3)
    assert answer.result.df <= 30, "variances found to be zero still had to be estimated"
    assert answer.p >= 2 * student_t.sf(abs(4 * slope) / error, 30)


def test_what_goes_from_sharpener_to_sharpener_with_the_angle_is_not_read_as_the_angle():
    # Blunter hands go wider, 0.05 a degree, but within one hand the angle does nothing.
    found = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        rows = evenings(rng, spread=0.02)
        usual = {f"p{i}": 12 + 1.5 * i for i in range(6)}
        changed = []
        for row in rows:
            value = row.low - 0.05 * usual[row.sharpener]
            changed.append(
                row.__class__(**{**vars(row), "low": value, "high": value, "angle_deg": usual[row.sharpener] + rng.normal(0, 1)})
            )
        found.append(ask(changed, "edge-angle").result)
    assert abs(np.mean([one.estimate for one in found])) < 0.06, "read across people it would be −0.25"
    assert sum(one.interval.low <= 0 <= one.interval.high for one in found) >= 6


def test_too_little_is_said_with_what_is_wanted():
    rows = evenings(np.random.default_rng(1), people=2, nights=1)
    answer = ask(rows, "run-order")
    assert (answer.state, answer.result, answer.p) == ("too little", None, None)
    assert answer.reason == "it varies among 8 runs of 2 submissions; 12 runs of 3 submissions are wanted"
    assert ask(rows, "later-evening").reason == "it is the same in all runs that could be compared, or not known"


def test_a_moderator_that_goes_with_the_people_cannot_be_told():
    rng = np.random.default_rng(2)
    rows = [
        make_row(
            rng.normal(0, 0.1), i + 1, submission=f"s{i // 4}", tester=f"t{i // 4}", sharpener=f"t{i // 4}" if i < 12 else "maker",
            steel=f"demo-{'ab'[i % 2]}", blade=f"b{i}", own_sharpening=i < 12,
        )
        for i in range(24)
    ]  # fmt: skip
    answer = ask(rows, "own-sharpening")
    assert (answer.state, answer.result) == ("not told apart", None)
    assert answer.reason == "it changes together with the steel, or with who sharpened and who tested"


def test_a_moderator_that_goes_with_the_steel_cannot_be_told():
    rows = evenings(np.random.default_rng(3))
    fixed = [row.__class__(**{**vars(row), "angle_deg": 15.0 if row.steel == "demo-a" else 20.0}) for row in rows]
    assert ask(fixed, "edge-angle").state == "not told apart"
    assert ask(fixed, "steels-at-equal-angle").state == "not told apart"


def test_runs_without_the_column_a_value_or_one_tester_are_left_out():
    rows = evenings(np.random.default_rng(4))
    less = [
        row.__class__(**{**vars(row), **change})
        for row, change in zip(
            rows,
            [{"angle_deg": None}, {"split_tester": True}, {"low": np.nan, "high": np.nan, "status": "missing"}] + [{}] * len(rows),
            strict=False,
        )
    ]
    assert (ask(rows, "edge-angle").runs, ask(less, "edge-angle").runs) == (48, 45)


def test_the_place_in_an_evening_is_counted_by_tester_and_an_unknown_evening_has_none():
    rows = [make_row(0.0, n, tester=who, order=n, evening=night) for n, who, night in [(1, "a", 1), (2, "b", 1), (3, "a", 1), (5, "a", 2)]]
    assert place_in_evening([*rows, make_row(0.0, 6, evening=None)]) == [0.0, 0.0, 1.0, 0.0, None]
    assert later_evening([*rows, make_row(0.0, 6, evening=None)]) == [0.0, 0.0, 0.0, 1.0, None]


def test_one_sided_lives_stand_in_a_probe():
    rows = evenings(np.random.default_rng(5), later=0.5)
    level = float(np.quantile([row.low for row in rows], 0.9))
    cut = [r if r.low < level else r.__class__(**{**vars(r), "low": level, "high": np.inf, "status": "right"}) for r in rows]
    answer = ask(cut, "later-evening")
    assert answer.state == "answered"
    assert answer.result.interval.low < 0.5 < answer.result.interval.high


def test_only_what_is_asked_is_answered():
    rows = evenings(np.random.default_rng(6))
    assert probe_answers(rows, frozenset()) == {}


def test_a_shift_of_every_reading_changes_no_answer():
    rows = evenings(np.random.default_rng(8))
    moved = [r.__class__(**{**vars(r), "low": r.low + 6.1, "high": r.high + 6.1}) for r in rows]
    for one, other in zip(ask(rows, *BY_ID), ask(moved, *BY_ID), strict=True):
        assert one.result.estimate == pytest.approx(other.result.estimate, abs=1e-6)


def test_another_probe_needs_only_another_row_of_the_register():
    fresh = Probe("odd-runs", "?", EFFECT, "e", lambda rows: [float(row.order % 2) for row in rows], 1.0, None, 12, 3, "s", "o", "d")
    (answer,) = probe_answers(evenings(np.random.default_rng(9)), frozenset({KEY}), [fresh])[KEY]
    assert (answer.state, answer.runs) == ("answered", 48)


def test_the_register_is_whole():
    assert len(BY_ID) == len(PROBES)
    for probe in PROBES:
        assert probe.measures in (EFFECT, STEELS_AT_EQUAL)
        assert probe.question.endswith("?")
        assert probe.estimand and probe.does_not_show and probe.subject
        assert probe.step > 0 and probe.least_submissions >= 3
    assert BY_ID["steels-at-equal-angle"].column is edge_angle


def test_found_something_counts_probes_of_an_effect_only():
    told = [ProbeAnswer(*KEY, PROBES[0], "answered", "", None, None, p, 20, 4) for p in (0.01, 0.2, None)]
    assert found_something(told) == (1, 2)
