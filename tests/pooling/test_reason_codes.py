"""Reasons of the models of all runs carry their codes to whoever asks for them, alone and inside other results."""

import numpy as np

from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.exchanges import best_exchanges
from edgehold.pooling.headline import headline
from edgehold.pooling.interlaboratory import interlaboratory
from edgehold.pooling.random_terms import stands_for, terms_held
from edgehold.pooling.separability import separability
from edgehold.words import arguments_of, code_of

WHO = ["a", "a", "b", "b", "c", "c", "d", "d"]
OWN = {"steel": ["s1", "s2"] * 4, "blade": ["k1", "k2"] * 4, "sharpener": WHO, "tester": WHO, "submission": WHO}


def test_what_cannot_be_told_apart_says_so_by_code():
    found = separability({"sharpener": WHO, "tester": WHO})
    assert code_of(found.split.reason) == "separability.term_aliased"
    assert arguments_of(found.split.reason) == {"term": "tester", "others": "sharpener"}
    assert code_of(found.contrasts["sharpener"].linked("a", "b")[1]) == "separability.not_linked"


def test_a_term_stands_for_what_was_dropped_because_of_it():
    held = terms_held({"sharpener": WHO, "submission": WHO})
    assert (held.held, stands_for("sharpener", held.dropped)) == (("sharpener",), ("sharpener", "submission"))
    assert held.holds["sharpener"] == "sharpener, or what the runs of one submission share"


def test_a_pair_of_which_one_steel_has_no_bounded_run_keeps_its_code():
    y = np.array([0.1, 0.4, 0.2, 0.5, 0.0, 0.3, 0.1, 0.6])
    high = np.where(np.array(OWN["steel"]) == "s2", np.inf, y)
    (lost,) = headline(y, high, OWN, worthwhile=1.2).pairs
    assert (code_of(lost.reason), arguments_of(lost.reason)) == ("headline.one_sided_steel", {"steel": "s2"})


def test_a_fit_that_is_not_had_says_why_by_code():
    fit = crossed([1.0, 2.0], np.eye(2), {})
    assert code_of(fit.reason) == "crossed.few_rows"
    assert fit.reason == "2 rows for 2 coefficients leave nothing to tell a variance from"


def test_plans_and_items_say_why_by_code():
    runs = {"blade": ["k1", "k2"], "sharpener": ["a", "a"], "tester": ["a", "b"]}
    assert code_of(best_exchanges(runs, ("split",)).reason) == "separability.sharpener_alone"
    item = interlaboratory([1.0, 2.0, 1.5], ["a", "b", "c"], ["x"] * 3)["x"]
    assert arguments_of(item.reasons["grubbs"]) == {"persons": 3, "least": 6}
