"""What each screen asks about and what it leaves alone, on drawn readings.

How often it asks over whole files stands in tests/simulation/screens.md.
"""

import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import kstest

from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey
from edgehold.screens import circumstances, copies, digits, questions, spreads
from edgehold.screens.questions import of_request
from edgehold.screens.readings import ReadFile, ReadRun, read_files, runs_by_month
from edgehold.words import arguments_of, code_of

ROOT = Path(__file__).parents[2]
POOL = PoolKey("small-rope", 1, "measured")
SPREAD, STEP = 0.06, 0.01
WORK = np.repeat([0.0, 5, 10, 20, 40, 80], 2)


def run(rng, name="r1", level=2.0, spread=SPREAD, step=STEP) -> ReadRun:
    value = level * (1 + WORK / 20) ** 0.6 * np.exp(rng.normal(0, spread, len(WORK)))
    rounded = np.maximum(np.round(value / step), 1) * step
    return ReadRun(name, "wren", 1, WORK, np.tile([0.0, 1.0], len(WORK) // 2), rounded, step)


def file(rng, name: str, spread=SPREAD, step=STEP, runs=4) -> ReadFile:
    drawn = tuple(run(rng, f"r{n}", rng.uniform(1.5, 3), spread, step) for n in range(runs))
    return ReadFile(name, "2026-05", POOL, drawn, 0.0, np.log(rng.normal(3, 0.05, 2)), 25.0)


@pytest.fixture
def rng():
    return np.random.default_rng(7)


@pytest.fixture
def files(rng):
    return tuple(file(rng, f"f{n}") for n in range(14))


def done(files) -> Counter:
    return Counter((run.tester, one.month) for one in files for run in one.runs)


def about_new(files):
    return questions(files, {"new"}, done(files))


def asked(files) -> set[str]:
    return {one.screen for one in about_new(files)}


def test_an_honest_file_is_asked_nothing(files, rng):
    assert asked((*files, file(rng, "new"))) == set()


def one_changed(source: ReadRun) -> ReadRun:
    value = source.value.copy()
    value[3] *= 1.2
    return replace(source, value=value)


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (one_changed, "copies_equal"),
        (lambda source: replace(source, value=source.value + 7 * STEP), "copies_shifted"),
        (lambda source: replace(source, value=np.round(source.value * 1.083 / STEP) * STEP), "copies_ratio"),
    ],
)
def test_a_run_typed_from_another_is_asked_about_with_both_names(files, rng, change, kind):
    new = file(rng, "new")
    new = replace(new, runs=(*new.runs[:3], replace(change(files[5].runs[2]), id="mine")))
    (one,) = about_new((*files, new))
    arguments = arguments_of(one.question)
    assert code_of(one.question) == "screens.copies" and code_of(arguments["how"]) == f"screens.{kind}"
    assert (arguments["run"], arguments["other"], arguments["whose"]) == ("mine", "r2", "f5")


def test_a_run_typed_twice_in_one_file_is_asked_about(files, rng):
    new = file(rng, "new")
    new = replace(new, runs=(*new.runs[:3], replace(one_changed(new.runs[0]), id="again")))
    (one,) = about_new((*files, new))
    assert code_of(one.question) == "screens.copies_within"


def test_agreements_by_chance_are_no_rarer_than_the_bound_says(rng):
    """Of independent runs of one edge, those with p below 5 % are at most 5 %: the bound of Hoeffding 1956 holds for what is counted."""
    low = 0
    for _ in range(300):
        table = copies.table([("a", run(rng, step=0.05)), ("b", run(rng, step=0.05))])
        found = copies.likeliest(table, 0, np.array([False, True]), SPREAD)
        low += found is not None and found.p < 0.05
    assert low <= 15


def test_steps_as_coarse_as_chance_hide_a_copy(files, rng):
    coarse = tuple(file(rng, f"c{n}", step=0.5) for n in range(14))
    assert "copies" not in asked((*coarse, replace(coarse[3], id="new")))


def test_repeats_too_close_together(files, rng):
    assert asked((*files, file(rng, "new", spread=SPREAD / 4))) == {"repeats", "course"}


def test_a_variance_is_judged_by_the_f_between_files(rng):
    """Where files differ as Smyth's prior says, the chance that an honest one is as even is uniform (Smyth 2004, section 5)."""
    df, prior_df, prior = 12.0, 9.0, SPREAD**2
    drawn = prior * prior_df / rng.chisquare(prior_df, 400) * rng.chisquare(df, 400) / df
    others = np.column_stack([drawn[:200], np.full(200, df)])
    found = [spreads.evenness((float(variance), df), others, 0.0) for variance in drawn[200:]]
    assert kstest(found, "uniform").pvalue > 0.01


def test_where_rounding_makes_the_repeats_even_nothing_is_asked(rng):
    coarse = tuple(file(rng, f"c{n}", step=0.9) for n in range(14))
    new = file(rng, "new", step=0.9)
    level = replace(new, runs=tuple(replace(one, value=np.round(one.value.mean() / 0.9) * 0.9 + 0 * one.value) for one in new.runs))
    assert "repeats" not in asked((*coarse, level))


@pytest.mark.parametrize(
    ("told", "odd"), [("as read", False), ("a dial, rounded to 0 and 5", False), ("thought up", True), ("no 0 and no 5", True)]
)
def test_last_digits(rng, told, odd):
    drawn = {
        "as read": rng.integers(0, 10, 160),
        "a dial, rounded to 0 and 5": np.where(rng.random(160) < 0.6, rng.choice([0, 5], 160), rng.integers(0, 10, 160)),
        "thought up": np.resize([3, 7, 2, 8, 3, 1, 7, 4, 6, 3, 7], 160),
        "no 0 and no 5": rng.choice([1, 2, 3, 4, 6, 7, 8, 9], 160),
    }[told]
    one = ReadRun("r", "wren", 1, np.arange(160.0), np.zeros(160), (300 + 10 * rng.integers(0, 9, 160) + drawn) * STEP, STEP)
    chance, count = digits.evenness(ReadFile("f", "2026-05", POOL, (one,), 0.0, np.zeros(0), 25.0), SPREAD)
    assert count == 160 and (chance < 0.002) == odd


def test_an_evening_longer_than_a_day_and_a_month_longer_than_itself(files, rng):
    long = file(rng, "new", runs=80)
    assert circumstances.fullest_evening(long) == ("wren", 80, pytest.approx(80 * 25 / 60))
    assert circumstances.fullest_evening(file(rng, "new", runs=20)) is None
    many = [file(rng, f"m{n}", runs=60) for n in range(42)]
    assert circumstances.fullest_month(many[0], done(many)) == ("wren", 2520, pytest.approx(1050))
    assert circumstances.fullest_month(many[0], done([many[0], *(replace(one, month="2026-06") for one in many[1:])])) is None


def test_values_between_the_steps_of_the_instrument(rng):
    assert circumstances.finer_than_the_instrument(replace(file(rng, "new"), resolution=0.05))[1] == 48
    assert circumstances.finer_than_the_instrument(replace(file(rng, "new", step=0.05), resolution=0.05)) is None


def test_references_further_off_than_any_other_rig(files, rng):
    others = np.array([one.references.mean() for one in files])
    new = file(rng, "new")
    assert circumstances.reference_distance(new, others) is None
    assert circumstances.reference_distance(replace(new, references=new.references + math.log(1.5)), others) > 4.5


def test_many_handles_that_nobody_has_met():
    people = {f"s{n}": [f"p{n}{m}" for m in range(4)] for n in range(4)}
    (one,) = of_request(people, {name: some[0] for name, some in people.items()}, frozenset())
    assert code_of(one.question) == "screens.handles"
    known = frozenset(handle for some in people.values() for handle in some)
    assert list(of_request(people, {name: some[0] for name, some in people.items()}, known)) == []


def test_readings_come_in_the_canonical_unit_with_the_step_they_were_written_in():
    found = {one.id: one for one in read_files(load_repository(ROOT))}
    assert len(found) > 100
    ounces = next(one for one in found.values() if one.runs and not one.runs[0].decimal)
    assert 0 < ounces.runs[0].step < 0.6
    for one in found.values():
        for run in one.runs:
            if run.step:
                assert np.abs(run.value / run.step - np.round(run.value / run.step)).max() < 1e-6, one.id


def test_runs_are_counted_by_tester_and_month_as_the_files_have_them():
    repository = load_repository(ROOT)
    assert runs_by_month(repository) == done(read_files(repository))
