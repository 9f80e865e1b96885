"""Classes of steels by composition, what is near, and what a register of classes is refused for."""

import itertools
import json
import random

import pytest

from edgehold.errors import WrittenError
from edgehold.records.compositions import RESIDUAL, UNTOLD, distance, limits_of, outside
from edgehold.records.model.submission import Steel
from edgehold.records.registers import CLASSES_FILE, load_classes, load_steels, parse_classes
from edgehold.records.steel_search import class_of, composition_rules, named_fits, nearest, steel_of

STEELS = load_steels()
POWDER = {"C": 1.45, "Cr": 14, "Mo": 2, "V": 4}


def a_class(**changes):
    """A class that is right, with changes."""
    windows = [{"element": "C", "min": 1.3, "max": 1.5}, {"element": "V", "min": 3, "max": 5}, {"element": "Mn", "max": 1}]
    return {"label": "C 1.4 V 4", "origin": "measured", "family": "cold-work tool", "windows": windows, "source": "for a test"} | changes


def register(*classes):
    return json.dumps({"note": "for a test", "classes": list(classes)})


def windows(*limits):
    return [{"element": element, "min": low, "max": high} for element, low, high in limits]


# --- the register ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("one", STEELS.classes.values(), ids=lambda one: one.id)
def test_the_figures_of_a_label_fall_into_its_own_class(one):
    parts = one.label.split()
    composition = dict(zip(parts[::2], map(float, parts[1::2]), strict=True))
    assert class_of(STEELS, composition, one.origin) == one
    assert one.id == "-".join(f"{symbol}{share}" for symbol, share in zip(parts[::2], parts[1::2], strict=True))


def test_no_composition_falls_into_two_classes():
    """Random compositions about every window, its corners among them, against each class by itself."""
    dice = random.Random(3)
    held = 0
    for one, _ in itertools.product(STEELS.classes.values(), range(200)):
        about = {e: dice.choice([low, high, dice.uniform(0.9 * low, 1.1 * high)]) for e, (low, high) in limits_of(one).items()}
        fits = [other.id for other in STEELS.classes.values() if not outside(limits_of(other), about)]
        assert len(fits) <= 1, (about, fits)
        held += bool(fits)
    assert held > 500


def test_every_class_says_that_the_project_declared_it_and_holds_no_carbon_free_steel():
    for one in STEELS.classes.values():
        assert one.source.startswith("Declared by the project") and "memory" in one.source
        assert one.windows[0].element == "C" and (one.windows[0].min or 0) > 0.2


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (register(a_class(label="Wonder Steel")), "at /classes/0/label"),
        (register(a_class(label="V 4 C 1.4")), "at /classes/0/label"),
        (register(a_class(label="C 1.4 V 4 ")), "at /classes/0/label"),
        (register(a_class(family="super")), "at /classes/0/family"),
        (register(a_class(windows=[])), "at /classes/0/windows"),
        (register(a_class(label="C 1.6 V 4")), "the windows of 'C 1.6 V 4' do not fit its label"),
        (register(a_class(label="C 1.4")), None),
        (register(a_class(label="C 1.4 Mn 0.5")), "do not fit its label"),
        (register(a_class(windows=windows(("C", 1.5, 1.3), ("V", 3, 5)))), "do not fit its label"),
        (register(a_class(windows=windows(("C", 1.3, None), ("V", 3, 5)))), "do not fit its label"),
        (register(a_class(windows=windows(("C", 1.3, 1.5), ("V", 3, 5), ("C", 1.3, 1.5)))), "do not fit its label"),
        (register(a_class(), a_class()), "a steel can be both 'C 1.4 V 4' and 'C 1.4 V 4'"),
        (register(a_class(), a_class(label="C 1.6 V 6", windows=windows(("C", 1.5, 1.7), ("V", 5, 7)))), "a steel can be both"),
        (register(a_class(), a_class(label="C 1.6 V 6", windows=windows(("C", 1.5, 1.7), ("V", 5.1, 7)))), None),
        (register(a_class(), a_class(origin="simulated")), None),
        (register(a_class(), a_class(label="C 1.4 V 4.1", windows=windows(("C", 1.3, 1.5), ("V", 3, 5), ("Mn", 2, 3)))), "can be both"),
        (register(a_class(), a_class(label="C 1.4 V 4 N 0.2", windows=windows(("C", 1.3, 1.5), ("V", 3, 5), ("N", 0.1, 0.3)))), "be both"),
        (register(a_class(), a_class(label="C 1.4 V 4 N 0.2", windows=windows(("C", 1.3, 1.5), ("V", 3, 5), ("N", 0.11, 0.3)))), None),
        ("", "Invalid JSON"),
    ],
)  # fmt: skip
def test_a_register_of_classes_is_refused_with_its_reason(text, problem):
    if problem is None:
        parse_classes(text)
        return
    with pytest.raises(WrittenError, match=problem) as caught:
        parse_classes(text)
    assert caught.value.cure


def test_a_repository_with_classes_of_its_own_uses_them(tmp_path):
    file = tmp_path / CLASSES_FILE
    file.parent.mkdir(parents=True)
    file.write_text(register(a_class()), encoding="utf-8")
    assert list(load_classes(tmp_path)) == ["C1.4-V4"]
    assert load_steels(tmp_path).named == STEELS.named


# --- what holds a composition ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("composition", "steel"),
    [
        (POWDER, "C1.4-Cr14-Mo2-V4"),
        (POWDER | {"Mn": 0.5, "Si": 0.5, "Fe": 78}, "C1.4-Cr14-Mo2-V4"),
        (POWDER | {"Si": 1.5}, None),
        (POWDER | {"Co": 0.3}, "C1.4-Cr14-Mo2-V4"),
        (POWDER | {"Co": 0.31}, None),
        ({"C": 1.45, "Cr": 14, "Mo": 2}, None),
        ({"C": 1.3, "Cr": 13, "Mo": 1.5, "V": 3.5}, "C1.4-Cr14-Mo2-V4"),
        ({"C": 1.29, "Cr": 13, "Mo": 1.5, "V": 3.5}, None),
        ({}, None),
    ],
)
def test_a_blade_without_a_designation_falls_into_the_class_that_holds_it(composition, steel):
    assert steel_of(Steel(composition_percent=composition), "measured", STEELS) == steel


def test_a_designation_counts_before_a_composition_and_a_simulated_file_finds_no_real_class():
    assert steel_of(Steel(designation="D2", composition_percent=POWDER), "measured", STEELS) == "aisi-d2"
    assert steel_of(Steel(designation="Wonder", composition_percent=POWDER), "measured", STEELS) is None
    assert steel_of(Steel(composition_percent=POWDER), "simulated", STEELS) is None
    assert steel_of(None, "measured", STEELS) is None


def test_a_composition_within_the_limits_of_a_named_steel_is_suggested_and_not_taken():
    of_d2 = {"C": 1.5, "Cr": 12, "Mo": 0.9, "V": 0.9}
    assert [one.id for one in named_fits(STEELS, of_d2, "measured")] == ["aisi-d2", "en-1-2379"]
    assert steel_of(Steel(composition_percent=of_d2), "measured", STEELS) is None
    assert named_fits(STEELS, of_d2, "simulated") == []


def test_limits_that_name_no_most_of_carbon_suggest_nothing():
    assert limits_of(STEELS.named["aisi-420"])["C"] == (0.15, 100.0)
    assert named_fits(STEELS, {"C": 1.45, "Cr": 13}, "measured") == []
    assert "aisi-420" not in {one["id"] for one in composition_rules(STEELS)["steels"]}


def test_distance_worked_by_hand():
    """D2 asks C 1.4 to 1.6, Cr 11 to 13, Mo 0.7 to 1.2, V 0.5 to 1.1: carbon 0.1 over counts 1, vanadium 0.4 over counts 0.4."""
    apart = outside(limits_of(STEELS.named["aisi-d2"]), {"C": 1.7, "Cr": 12, "Mo": 1, "V": 1.5})
    assert apart == pytest.approx({"C": 0.1, "V": 0.4}) and distance(apart) == pytest.approx(1.4)
    assert nearest(STEELS, {"C": 1.61, "Cr": 12, "Mo": 1, "V": 0.8}, "measured").id in {"aisi-d2", "en-1-2379"}


def test_what_is_not_given_is_none_of_it_but_for_what_short_sheets_leave_out():
    limits = limits_of(STEELS.named["aisi-1095"])
    assert limits["Mn"] == (0.3, 0.5)
    assert outside(limits, {"C": 0.95}) == {} and set(UNTOLD) >= {"Mn", "Si"}
    assert outside(limits, {"C": 0.95, "Mn": 0.2}) == pytest.approx({"Mn": -0.1})
    assert outside(limits, {"Mn": 0.4}) == pytest.approx({"C": -0.9})
    assert outside(limits, {"C": 0.95, "V": 0.2}) == pytest.approx({"V": 0.2 - RESIDUAL["V"]})


def test_an_invented_steel_is_never_near_a_real_composition():
    invented = nearest(STEELS, POWDER, "simulated")
    assert invented is None or invented.origin == "simulated"
