"""Every case of this folder says what the program says today, and what can be had by hand agrees."""

import math

import numpy as np
import pytest
from scipy.stats import f, t

from edgehold.forms.answer import answer_rules
from edgehold.records.registers import load_steels

from .cases import answered, differences, files, nothing_published, protocol_of
from .write import all_cases

CASES = files()


@pytest.mark.parametrize("name", sorted(CASES))
def test_a_case_says_what_the_program_says(name):
    assert differences(CASES[name]["expected"], answered(CASES[name]), tolerance=1e-9) == []


def test_the_cases_are_the_written_ones_and_no_others():
    made = all_cases()
    assert sorted(made) == sorted(CASES)
    for name, case in made.items():
        assert {key: CASES[name][key] for key in ("says", "protocol", "changes")} == {k: case[k] for k in ("says", "protocol", "changes")}


def test_the_cases_reach_every_kind_of_answer():
    expected = [case["expected"] for case in CASES.values()]
    assert len(CASES) >= 25
    assert {r["verdict"] for e in expected for r in e["results"]} == {
        "", "better", "worse", "no difference worth having", "different, size undecided", "undecided", "one-sided",
    }  # fmt: skip
    assert {r["factor"] for e in expected for r in e["results"]} == {"steel", "blade", "sharpener", "practice", "level"}
    assert {row["status"] for e in expected for row in e["rows"]} == {"exact", "interval", "left", "right", "missing"}
    methods = " ".join(m for e in expected for m in e["methods"].values())
    for part in ("REML", "likelihood", "assumes", "evening", "two testers", "no usable run"):
        assert part in methods


def logs(case: dict, work: float) -> dict[str, list[float]]:
    """Keenness at one amount of work by sharpener, straight from the file: minus the mean ln of the repeats."""
    prepared = {p["id"]: p["sharpener"] for p in case["submission"]["preparations"]}
    found: dict[str, list[float]] = {}
    for run in case["submission"]["runs"]:
        reading = next(r for r in run["readings"] if r["work"] == work)
        keenness = -np.mean([math.log(value["written"]) for value in reading["values"]])
        found.setdefault(prepared[run["preparation"]], []).append(keenness)
    return found


def result(name: str, endpoint: str, factor: str = "sharpener") -> dict:
    return next(r for r in CASES[name]["expected"]["results"] if (r["endpoint"], r["factor"]) == (endpoint, factor))


def test_levels_are_compared_in_the_order_in_which_the_protocol_declares_them():
    told = [(r["first"], r["second"]) for r in CASES["levels-as-declared"]["expected"]["results"] if r["endpoint"] == "early"]
    assert told == [("stropped", "P240"), ("stropped", "bare"), ("P240", "bare")]


def test_without_replicates_the_interval_is_the_assumed_spread_and_students_t():
    read, found = logs(CASES["one-run-each"], 10), result("one-run-each", "early")
    estimate, half = read["tern"][0] - read["wren"][0], 0.25 * math.sqrt(2) * t.ppf(0.975, 4)
    assert [found["ratio"], found["low"], found["high"]] == pytest.approx(np.exp([estimate, estimate - half, estimate + half]).tolist())
    assert found["ruled_out_beyond"] == pytest.approx(math.exp(max(abs(estimate - half), abs(estimate + half))))


def test_a_moderated_interval_is_smyths_for_two_groups():
    """Smyth 2004, section 4: (d0 s0² + d s²)/(d0 + d) on d0 + d degrees of freedom; here d = 6, d0 = 5.5, s0² = 0.04."""
    read, found = logs(CASES["moderated"], 80), result("moderated", "late")
    own = np.mean([np.var(values, ddof=1) for values in read.values()])
    s2 = (5.5 * 0.04 + 6 * own) / 11.5
    estimate, half = np.mean(read["tern"]) - np.mean(read["wren"]), math.sqrt(s2 / 2) * t.ppf(0.975, 11.5)
    assert [found["ratio"], found["low"], found["high"]] == pytest.approx(np.exp([estimate, estimate - half, estimate + half]).tolist())


def test_nothing_worth_having_is_two_one_sided_tests_at_five_per_cent():
    read, found = logs(CASES["nothing-worth-having"], 10), result("nothing-worth-having", "early")
    estimate, se = np.mean(read["tern"]) - np.mean(read["wren"]), math.sqrt(0.004 / 2)
    worse = max(t.sf((math.log(1.25) + estimate) / se, 90), t.sf((math.log(1.25) - estimate) / se, 90))
    assert worse < 0.05
    assert found["verdict"] == "no difference worth having"


def test_a_window_is_the_trapezoid_over_ln_of_work_and_first_checkpoint():
    works = (10, 20, 40, 80)
    by_work = [logs(CASES["one-run-each"], work) for work in works]
    u = np.log(np.array(works) + 5)
    apart = [read["tern"][0] - read["wren"][0] for read in by_work]
    assert result("one-run-each", "hold")["ratio"] == pytest.approx(math.exp(np.trapezoid(apart, u) / (u[-1] - u[0])))


def test_where_every_life_is_exact_the_screen_and_the_table_need_no_likelihood():
    lives = [row for row in CASES["clear-lives"]["expected"]["rows"] if row["endpoint"] == "life"]
    assert {row["status"] for row in lives} == {"exact"}
    first, second = (np.mean([row["low"] for row in lives if int(row["run"][-1]) % 2 == odd]) for odd in (0, 1))
    assert result("clear-lives", "life")["ratio"] == pytest.approx(math.exp(first - second))


def test_the_rules_of_an_answer_hold_the_protocols_assumption_where_nothing_is_published():
    case = CASES["one-run-each"]
    rules = answer_rules(protocol_of(case), nothing_published(), load_steels())
    assert rules["repeatability"]["endpoints"]["early"]["prior_s2"] == pytest.approx(0.25**2)
    assert rules["steels"]["aisi1095"] == rules["steels"]["1095"] == "aisi-1095"
    assert f.ppf(0.95, 1, 7) == pytest.approx(t.ppf(0.975, 7) ** 2)  # why the scripts need no quantile of F but this
