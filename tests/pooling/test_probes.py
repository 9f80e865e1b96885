"""Probes: a planted effect is found, nothing planted is covered, and what cannot be told is said."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chi2
from scipy.stats import t as student_t

from edgehold.pooling.probes.columns import edge_angle, last_not_first, later_evening, luck_of_guesses, place_in_evening, second_in_turn
from edgehold.pooling.probes.effects import Answered
from edgehold.pooling.probes.probes import ProbeAnswer, found_something, probe_answers
from edgehold.pooling.probes.register import AGREEMENT, EFFECT, PROBES, SPREAD, STEELS_AT_EQUAL, Probe, probes_for
from edgehold.pooling.probes.start import calibrated
from edgehold.records.probe_names import PROBE_NAMES
from edgehold.words import Reason, arguments_of, code_of
from tests.estimates.rows import POOL, make_row

KEY = (POOL, "early")
BY_ID = {probe.id: probe for probe in PROBES}
STEELS = {"demo-a": 0.0, "demo-b": 0.25}
BY_EVENING = ("run-order", "later-evening", "own-sharpening", "edge-angle")


def answered(rows, *ids):
    """The probes with their answers."""
    return probe_answers(rows, {KEY: [BY_ID[name] for name in ids]})[KEY]


def ask(rows, *ids):
    """What the probes find, or why they find nothing; one alone by itself."""
    answers = [answer.found for answer in answered(rows, *ids)]
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
        answers = ask(evenings(np.random.default_rng(seed), **planted), *BY_EVENING)
        for name, answer in zip(BY_EVENING, answers, strict=True):
            if name == probe:
                estimates.append(answer.result.estimate)
                covered += answer.result.interval.low <= size <= answer.result.interval.high
            else:
                alone.append(answer.p)
    assert abs(np.mean(estimates) - size) < 4 * np.std(estimates) / np.sqrt(len(estimates))
    assert covered >= 6, "95 % of 8; 5 or fewer happens once in 170 such tests of a true 95 %"
    assert np.mean(np.array(alone) < 0.05) < 0.25


def test_where_nothing_is_planted_few_probes_find_something():
    asked = (*BY_EVENING, "steels-at-equal-angle")
    found = [found_something(answered(evenings(np.random.default_rng(100 + seed)), *asked)) for seed in range(10)]
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
    assert answer.state == "too little"
    assert answer.reason == "it varies among 8 runs of 2 submissions; 12 runs of 3 submissions are needed"
    assert ask(rows, "later-evening").reason == "it is the same in all runs that could be compared"
    assert ask(rows, "humidity").reason == "it is not known for any run"


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
    assert answer.state == "not told apart"
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
    assert answer.result.interval.low < 0.5 < answer.result.interval.high


def test_only_what_is_asked_is_answered():
    rows = evenings(np.random.default_rng(6))
    assert probe_answers(rows, {}) == {}
    assert probe_answers(rows, {KEY: ()}) == {}


def test_a_shift_of_every_reading_changes_no_answer():
    rows = evenings(np.random.default_rng(8))
    moved = [r.__class__(**{**vars(r), "low": r.low + 6.1, "high": r.high + 6.1}) for r in rows]
    for one, other in zip(ask(rows, *BY_EVENING), ask(moved, *BY_EVENING), strict=True):
        assert one.result.estimate == pytest.approx(other.result.estimate, abs=1e-6)


def test_another_probe_needs_only_another_row_of_the_register():
    fresh = Probe("odd-runs", "?", EFFECT, "e", lambda rows: [float(row.order % 2) for row in rows], 1.0, None, "s", "o", "d")
    (answer,) = probe_answers(evenings(np.random.default_rng(9)), {KEY: [fresh]})[KEY]
    assert isinstance(answer.found, Answered) and answer.found.runs == 48


def test_the_register_is_whole():
    assert len(BY_ID) == len(PROBES)
    assert set(BY_ID) == PROBE_NAMES, "an objection may name exactly these"
    for probe in PROBES:
        assert probe.measures in (EFFECT, STEELS_AT_EQUAL, SPREAD, AGREEMENT)
        assert probe.question.endswith("?")
        assert probe.estimand and probe.does_not_show and probe.subject
        assert probe.step > 0 and probe.least_submissions >= 3
    assert BY_ID["steels-at-equal-angle"].column is edge_angle


def test_found_something_counts_probes_of_an_effect_only():
    told = [ProbeAnswer(*KEY, PROBES[0], Answered(None, None, p, 20, 4)) for p in (0.01, 0.2, None)]
    assert found_something(told) == (1, 2)


def changed(rows, value=lambda row: row.low, **columns):
    """Rows with other values and further columns, each made from the row."""
    found = []
    for row in rows:
        facts = {name: make(row) for name, make in columns.items()}
        found.append(row.__class__(**{**vars(row), "low": value(row), "high": value(row), **facts}))
    return found


def on_lots(rng, sd):
    """Six people on two evenings each; every evening on another of six lots, so that each lot is met by two people."""
    effect = rng.normal(0, sd, 6)

    def which(row):
        return (int(row.tester[1:]) + 2 * row.evening) % 6

    return changed(evenings(rng, spread=0.02), lambda row: row.low + effect[which(row)], lot=lambda row: f"coil.{which(row)}")


def test_lots_that_differ_are_found_as_a_typical_ratio_and_lots_that_do_not_as_little_or_none():
    apart = [ask(on_lots(np.random.default_rng(seed), 0.4), "lot") for seed in range(4)]
    assert all(answer.p < 0.01 and answer.result.interval.low > 0 for answer in apart)
    assert sum(answer.result.interval.low <= 0.954 * 0.4 <= answer.result.interval.high for answer in apart) >= 3
    same = [ask(on_lots(np.random.default_rng(seed), 0.0), "lot") for seed in range(4)]
    assert all(answer.result.interval.low == 0 and answer.p > 0.05 for answer in same)


def test_lots_that_go_with_the_evening_or_are_few_are_not_told():
    rows = on_lots(np.random.default_rng(1), 0.2)
    each = changed(rows, lot=lambda row: f"{row.submission}.{row.evening}")
    assert ask(each, "lot").state == "not told apart"
    reason = ask(each, "lot").reason
    assert (code_of(reason), arguments_of(reason)) == ("probes.not_apart", {"others": "evening"})
    few = changed(rows, lot=lambda row: f"coil.{row.order % 2}")
    assert ask(few, "lot").reason == "the runs are of 2 lots; 4 are wanted"
    begun_anew = changed(rows, flags=lambda row: (Reason("flags.lot_changed"),))
    assert ask(begun_anew, "lot").runs == 0


def test_the_likelihood_ratio_of_lots_is_that_of_the_dense_likelihood():
    # Independent: restricted log-likelihood from dense matrices, maximised by a general-purpose optimiser over evening, lot and residual.
    rng = np.random.default_rng(5)
    lots = rng.normal(0, 0.3, 5)
    rows = [
        make_row(
            lots[n % 5] + rng.normal(0, 0.1), n, submission=f"s{n}", tester=f"t{n}", sharpener=f"t{n}", blade=f"b{n}", steel="demo-a",
            lot=f"coil.{n % 5}", evening=1,
        )
        for n in range(30)
    ]  # fmt: skip
    y, X = np.array([row.low for row in rows]), np.ones((30, 1))
    same = np.equal.outer([n % 5 for n in range(30)], [n % 5 for n in range(30)]).astype(float)

    def deviance(variances):
        S = np.exp(variances[0]) * np.eye(30) + (np.exp(variances[1]) * same if len(variances) > 1 else 0)
        weighted = np.linalg.solve(S, X)
        left = y - X @ np.linalg.solve(X.T @ weighted, weighted.T @ y)
        return np.linalg.slogdet(S)[1] + np.linalg.slogdet(X.T @ weighted)[1] + left @ np.linalg.solve(S, left)

    rise = minimize(deviance, [-3.0], method="BFGS").fun - minimize(deviance, [-4.0, -3.0], method="BFGS").fun
    assert ask(rows, "lot").p == pytest.approx(chi2.sf(rise, 1) / 2, rel=1e-3)


def test_reading_error_of_the_start_is_taken_out_of_its_slope():
    # y follows the true start with slope 0.8; the start is read with an error as large as half its own spread.
    corrected, plain, covered = [], [], 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        true = {row.run: rng.normal(0, 0.2) for row in evenings(rng)}
        rows = evenings(np.random.default_rng(seed), nights=2)
        read = changed(
            rows, lambda row, t=true: row.low + 0.8 * t[row.run], start=lambda row, t=true, r=rng: t[row.run] + r.normal(0, 0.1),
            start_se=lambda row: 0.1,
        )  # fmt: skip
        answer = ask(read, "start-keenness").result
        corrected.append(answer.estimate / np.log(1.1))
        covered += answer.interval.low <= 0.8 * np.log(1.1) <= answer.interval.high
        plain.append(ask(changed(read, start_se=lambda row: 0.0), "start-keenness").result.estimate / np.log(1.1))
    assert abs(np.mean(corrected) - 0.8) < 0.08
    assert np.mean(plain) < 0.72, "λ = 0.04/(0.04 + 0.01) = 0.8 flattens it to 0.64"
    assert covered >= 8


def test_a_start_that_is_mostly_reading_error_or_read_with_an_unknown_one_is_refused():
    rng = np.random.default_rng(3)
    rows = changed(evenings(rng), start=lambda row: rng.normal(0, 0.1))
    assert ask(changed(rows, start_se=lambda row: 0.1), "start-keenness").reason == "its differences are hardly larger than reading error"
    assert ask(rows, "start-keenness").reason == "how well it was read is not known"


def test_the_calibration_of_one_set_is_the_classical_one():
    # λ = (s² − se²)/s² and E(true | read) = mean + λ(read − mean): Carroll et al. 2006, equation 4.8 without covariates.
    read = np.random.default_rng(0).normal(0, 1, 40)
    found = calibrated(read, np.full(40, 0.5), np.zeros(40, dtype=int), np.ones((40, 1)))
    reliability = 1 - 0.25 / read.var(ddof=1)
    assert found.values == pytest.approx(read.mean() + reliability * (read - read.mean()))
    assert found.slope_variance == pytest.approx(2 / 39 * ((1 - reliability) / reliability) ** 2)


def test_two_steels_at_an_equal_start_lose_what_the_start_gives_them():
    # demo-b starts 0.3 keener, and 0.5 of a start stays: 0.25 of the 0.40 it is ahead is its own.
    adjusted = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        start = {}
        rows = evenings(rng)
        for row in rows:
            start[row.run] = 0.3 * (row.steel == "demo-b") + rng.normal(0, 0.15)
        rows = changed(
            rows, lambda row, s=start: row.low + 0.5 * s[row.run], start=lambda row, s=start: s[row.run], start_se=lambda row: 0.0
        )
        adjusted.append(ask(rows, "steels-at-equal-start").result.estimate)
    assert np.mean(adjusted) == pytest.approx(-0.25, abs=0.06)


def test_the_place_in_the_coil_is_told_apart_from_the_place_in_the_evening():
    found = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        begin = {f"s{i}": rng.uniform(0, 80) for i in range(6)}
        metres = {(row.submission, row.order): begin[row.submission] + 6 * row.order for row in evenings(rng)}
        rows = changed(
            evenings(rng, order=-0.05), lambda row, m=metres: row.low - 0.02 * m[row.submission, row.order] / 10, lot=lambda row: "coil.1",
            coil_position_m=lambda row, m=metres: m[row.submission, row.order],
        )  # fmt: skip
        found.append(ask(rows, "coil-position").result)
    assert abs(np.mean([one.estimate for one in found]) + 0.02) < 0.02, "with the order read into it, it would be about −0.1"
    assert sum(one.interval.low <= -0.02 <= one.interval.high for one in found) >= 5


def test_expectation_is_what_own_sharpening_adds_where_it_was_known():
    def known(row):
        return row.evening == 1

    both = [evenings(np.random.default_rng(seed), own=0.1) for seed in range(6)]
    rows = [changed(one, lambda r: r.low + 0.2 * (r.own_sharpening and known(r)), blinded=lambda r: not known(r)) for one in both]
    found = [ask(one, "blinding").result for one in rows]
    assert np.mean([one.estimate for one in found]) == pytest.approx(0.2, abs=0.06), "not 0.3: coded edges of one's own gain 0.1 too"
    assert ask(changed(rows[0], blinded=lambda row: True), "blinding").state == "too little"


def test_a_doubtful_seal_is_what_own_sharpening_adds_where_it_did_not_hold():
    def held(row):
        return row.submission in ("s0", "s2", "s4")

    def from_one_more(row):
        return row.sharpener if row.own_sharpening or row.evening == 1 else f"p{(int(row.tester[1:]) + 2) % 6}"

    made = [evenings(np.random.default_rng(seed), own=0.1) for seed in range(6)]
    plain = [changed(one, seal_held=held, sharpener=from_one_more) for one in made]
    keener = [changed(one, lambda r: r.low + 0.3 * r.own_sharpening) for one in plain]
    bent = [changed(one, lambda r: r.low + 0.2 * (r.own_sharpening and not held(r))) for one in plain]
    before, own, found = ([ask(one, "seal").result.estimate for one in rows] for rows in (plain, keener, bent))
    assert np.subtract(own, before) == pytest.approx([0.0] * 6, abs=0.03), "what edges of one's own gain anyway is no part of it"
    assert np.subtract(found, before) == pytest.approx([0.2] * 6, abs=0.03)
    assert code_of(ask(made[0], "seal").reason) == "probes.known_of_none"


def test_relative_life_is_held_against_absolute_life_by_steel_and_else_by_practice():
    rng = np.random.default_rng(4)
    gap = {"demo-a": -0.2, "demo-b": 0.1}
    rows = changed(evenings(rng), relative_life=lambda row: row.low + gap[row.steel] + rng.normal(0, 0.05))
    answer = ask(rows, "relative-life")
    assert answer.pair == ("demo-a", "demo-b")
    assert answer.result.interval.low <= -0.3 <= answer.result.interval.high
    assert answer.p < 0.001
    hands = {f"p{i}": "practised" if i % 2 else "novice" for i in range(6)}
    alone = changed(
        rows, steel=lambda row: "demo-a", sharpening=lambda row: hands[row.sharpener],
        relative_life=lambda row: row.low + 0.4 * (hands[row.sharpener] == "practised") + rng.normal(0, 0.05),
    )  # fmt: skip
    answer = ask(alone, "relative-life")
    assert answer.pair[0] == "the edge of a practised sharpener"
    assert answer.result.interval.low <= 0.4 <= answer.result.interval.high
    assert ask(evenings(rng), "relative-life").reason == "it is not known for any run"


def test_guesses_are_counted_and_right_ones_held_against_wrong_ones():
    rng = np.random.default_rng(2)
    right = {}
    rows = evenings(rng)
    for row in rows:
        right[row.run] = rng.random() < 0.5
    rows = changed(
        rows, lambda row: row.low + 0.3 * right[row.run], blinded=lambda row: True,
        guessed_sharpener=lambda row: row.sharpener if right[row.run] else "somebody-else",
    )  # fmt: skip
    (told,) = answered(rows, "tester-guess")
    answer = told.found
    assert answer.result.interval.low <= 0.3 <= answer.result.interval.high
    assert answer.p < 0.01
    assert told.remark == f"right guesses: {sum(right.values())} of 48; luck alone would give 24"
    assert luck_of_guesses(changed(rows, blinded=lambda row: False)) == ""


def in_turn(rng, second):
    """Evenings whose runs are cut in turn two by two; a pair shares luck of its own, and ``second`` is what coming second does."""
    luck = {}
    rows = changed(evenings(rng), pair=lambda row: f"{row.tester}-{(row.order + 1) // 2}")
    return changed(rows, lambda row: row.low + luck.setdefault(row.pair, rng.normal(0, 0.2)) + second * (row.order % 2 == 0))


def test_what_coming_second_of_two_in_turn_does_is_found_within_pairs():
    found = [ask(in_turn(np.random.default_rng(seed), 0.2), "second-in-turn") for seed in range(20)]
    assert {one.runs for one in found} == {48}
    assert sum(one.result.interval.low <= 0.2 <= one.result.interval.high for one in found) >= 16, (
        "fewer: once in 2,600 times of a true 95 %"
    )
    assert np.mean([one.result.estimate for one in found]) == pytest.approx(0.2, abs=0.03)
    nothing = [ask(in_turn(np.random.default_rng(seed), 0.0), "second-in-turn").p for seed in range(20)]
    assert sum(p < 0.05 for p in nothing) <= 4


def test_an_edge_cut_alone_is_neither_first_nor_second():
    rows = [make_row(0.0, n, order=n, pair=pair) for n, pair in enumerate(("a b", "a b", "c", None, None), start=1)]
    assert second_in_turn(rows) == [0.0, 1.0, None, None, None]


def test_the_first_and_the_last_of_an_evening_are_held_against_each_other():
    rows = [make_row(0.0, n, tester=who, order=n, evening=1) for n, who in [(1, "a"), (2, "a"), (3, "a"), (4, "b")]]
    assert last_not_first([*rows, make_row(0.0, 5, evening=None)]) == [0.0, None, 1.0, None, None]
    found = [ask(evenings(np.random.default_rng(seed), order=-0.1), "first-and-last").result for seed in range(4)]
    assert np.mean([one.estimate for one in found]) == pytest.approx(-0.3, abs=0.1), "three runs later, 0.1 each"


def test_harder_blades_are_held_against_softer_ones_of_their_steel():
    hrc = {f"p{i}.{steel}": 58 + (4 + i // 2 if steel == "demo-b" else i % 3) for i in range(6) for steel in STEELS}
    found = []
    for seed in range(6):
        rows = changed(evenings(np.random.default_rng(seed)), lambda row: row.low + 0.1 * hrc[row.blade], hrc=lambda row: hrc[row.blade])
        found.append([answer.result.estimate for answer in ask(rows, "hardness", "steels-at-equal-hardness")])
    effect, equal = np.mean(found, axis=0)
    assert effect == pytest.approx(0.1, abs=0.08)
    assert equal == pytest.approx(-0.25, abs=0.3), "as people harden it, demo-b is 0.65 ahead"


def test_a_level_and_the_primary_endpoint_are_asked_everything_and_other_lives_about_lives_alone():
    names = {key: [probe.id for probe in probes_for(*key)] for key in [("level", False), ("life", True), ("life", False), ("loss", True)]}
    assert "relative-life" not in names["level", False]
    assert "lot" in names["level", False]
    assert len(names["life", True]) == len(PROBES)
    assert names["life", False] == ["relative-life"]
    assert not {"start-keenness", "steels-at-equal-start"} & set(names["loss", True]), "a loss holds the start already"
    assert probes_for("window", False) == ()


def test_a_moderator_that_foretells_much_is_not_bent_by_runs_known_to_one_side():
    # What a censored run says is judged beside the start, which tells most of it, and not beside the steel alone.
    found = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        rows = evenings(rng, spread=0.05, sd=0.05)
        true = {row.run: rng.normal(0, 0.3) for row in rows}
        rows = changed(rows, lambda row, t=true: row.low + 0.8 * t[row.run], start=lambda row, t=true: t[row.run], start_se=lambda row: 0.0)
        last = float(np.quantile([row.low for row in rows], 0.8))
        cut = [r if r.low < last else r.__class__(**{**vars(r), "low": last, "high": np.inf, "status": "right"}) for r in rows]
        found.append(ask(cut, "start-keenness").result)
    assert np.mean([one.estimate for one in found]) == pytest.approx(0.8 * np.log(1.1), abs=0.003)
    assert sum(one.interval.low <= 0.8 * np.log(1.1) <= one.interval.high for one in found) >= 3
