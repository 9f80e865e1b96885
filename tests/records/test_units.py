"""Numbers as people write them, and units against NIST SP 811 and scipy.constants."""

import json
import math
from fractions import Fraction
from pathlib import Path

import pytest
import scipy.constants
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from edgehold.errors import InputError, WrittenError
from edgehold.records.registers import load_units
from edgehold.records.units import canonical_value, convert, find_unit, parse_number, quantity_text, unit_named

NIST = json.loads((Path(__file__).parents[1] / "reference/units_nist_sp811.json").read_text(encoding="utf-8"))
SI = {"N": "N", "m": "m"}
UNITS = [unit.id for unit in load_units().units]
FORCES = [unit.id for unit in load_units().units if unit.kind == "force"]
LENGTHS = [unit.id for unit in load_units().units if unit.kind == "length"]


# --- units against the outside ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", [row for row in NIST["factors"] if row["si"] in SI], ids=lambda row: row["row"])
def test_factor_is_the_one_printed_in_nist_sp_811(row):
    unit = unit_named(row["unit"])
    printed = Fraction(row["factor"])
    if row["exact"]:
        assert Fraction(unit.factor) == printed
    else:  # printed with seven digits
        assert f"{float(Fraction(unit.factor)):.6E}" == row["factor"]


def test_pound_force_is_the_exact_factor_of_the_footnote_in_nist_sp_811():
    assert Fraction(unit_named("lbf").factor) == Fraction(NIST["pound_force_exact"])
    assert Fraction(unit_named("lbf").factor) == Fraction("0.45359237") * Fraction("9.80665")
    assert Fraction(unit_named("ozf").factor) * 16 == Fraction(unit_named("lbf").factor)
    assert Fraction(unit_named("gf").factor) * 1000 == Fraction(unit_named("kgf").factor)


def test_one_degree_is_the_fraction_of_a_radian_printed_in_nist_sp_811():
    printed = next(row["factor"] for row in NIST["factors"] if row["unit"] == "°")
    assert f"{math.radians(convert(1, 'degrees', '°')):.6E}" == printed


@pytest.mark.parametrize(("unit", "written", "celsius"), NIST["temperatures"]["values"])
def test_temperatures_follow_the_equations_of_nist_sp_811(unit, written, celsius):
    assert convert(written, unit, "°C") == celsius
    assert convert(celsius, "°C", unit) == written


@pytest.mark.parametrize(
    ("unit", "si", "name"),
    [("lbf", "N", "lbf"), ("kgf", "N", "kgf"), ("dyn", "N", "dyn"), ("in", "m", "inch"), ("ft", "m", "foot"),
     ("yd", "m", "yard"), ("µm", "m", "micron"), ("mm", "m", "milli"), ("cm", "m", "centi"), ("kN", "N", "kilo")],
)  # fmt: skip
def test_factor_agrees_with_scipy_constants(unit, si, name):
    assert convert(1, unit, si) == pytest.approx(getattr(scipy.constants, name), rel=1e-15)


def test_list_is_closed_and_every_unit_names_its_source():
    assert set(UNITS) == {
        "N", "kN", "mN", "gf", "kgf", "lbf", "ozf", "dyn", "m", "mm", "cm", "µm", "in", "ft", "yd", "cut",
        "°C", "°F", "K", "%", "°",
    }  # fmt: skip
    for unit in load_units().units:
        assert "NIST SP 811" in unit.source or unit.kind == "count"


def test_no_spelling_stands_for_two_units():
    owner = {}
    for unit in load_units().units:
        for spelling in {*map(str.casefold, unit.names), unit.id, *unit.symbols}:
            assert owner.setdefault(spelling, unit.id) == unit.id, spelling


# --- spellings -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spelling", "unit"),
    [('"', "in"), ("″", "in"), ("''", "in"), ("inches", "in"), ("in.", "in"), ("'", "ft"), ("feet", "ft"),
     ("metres", "m"), ("meter", "m"), ("um", "µm"), ("μm", "µm"), ("µm", "µm"), ("g", "gf"), ("Grams", "gf"),
     ("kg", "kgf"),
     ("lb", "lbf"), ("LBS.", "lbf"), ("oz", "ozf"), ("Cuts", "cut"), (" N ", "N"), ("deg", "°"), ("MM", "mm")],
)  # fmt: skip
def test_spelling_is_understood(spelling, unit):
    assert find_unit(spelling).id == unit


@pytest.mark.parametrize("spelling", ["MN", "n", "M", "k", "", "stone", "N m", "1", "x" * 5000])
def test_anything_else_is_no_unit(spelling):
    assert find_unit(spelling) is None
    with pytest.raises(WrittenError, match="is not a unit of the closed list; use ") as caught:
        unit_named(spelling)
    assert caught.value.cure.startswith("use ")


def test_the_nearest_units_are_named():
    with pytest.raises(WrittenError, match="use mm"):
        unit_named("mmm")


def test_units_of_different_kinds_are_refused():
    with pytest.raises(WrittenError, match="'gf' is a unit of force, 'mm' one of length; use a unit of length"):
        convert(1, "gf", "mm")


# --- conversion ------------------------------------------------------------------------------------------------------


def test_three_eighths_of_an_inch_is_exactly_9_525_mm():
    assert canonical_value("3/8", "in", "mm") == 9.525
    assert canonical_value('3/8"', "inches", "mm") == 9.525
    assert convert(Fraction(3, 8), "in", "mm") == 9.525


def test_a_float_is_taken_as_the_decimal_it_is_written_as():
    assert convert(0.1, "m", "mm") == 100.0
    assert convert(1.1, "kgf", "gf") == 1100.0


ordinary = st.floats(min_value=1e-6, max_value=1e6)


two_alike = st.sampled_from([FORCES, LENGTHS]).flatmap(lambda u: st.tuples(st.sampled_from(u), st.sampled_from(u)))


@settings(deadline=None)  # a busy machine is no failure
@given(ordinary, two_alike)
def test_there_and_back_is_the_same_number(value, units):
    there, back = units
    assert convert(convert(value, there, back), back, there) == pytest.approx(value, rel=4e-16)


@settings(deadline=None)
@given(ordinary, ordinary, st.sampled_from(FORCES), st.sampled_from(FORCES))
def test_a_change_of_unit_changes_no_ratio(first, second, unit, other):
    ratio = convert(first, unit, other) / convert(second, unit, other)
    assert ratio == pytest.approx(first / second, rel=1e-15)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e16, 10**17, True, None, "3", [3]])
def test_conversion_refuses_what_is_no_ordinary_number(value):
    with pytest.raises(WrittenError):
        convert(value, "m", "mm")


def test_a_mark_that_contradicts_the_unit_is_refused():
    with pytest.raises(WrittenError, match="the mark of 'in', but its unit is given as 'mm'; leave the mark out"):
        canonical_value('3/8"', "mm", "mm")


# --- numbers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "value"),
    [
        (3, 3.0), (2.5, 2.5), (0, 0.0), (-4, -4.0), ("3", 3.0), ("0.5", 0.5), (".5", 0.5), ("5.", 5.0), ("+5", 5.0),
        ("3 1/8", 3.125), ("3  1 / 8", 3.125), ("1-5/8", 1.625), ("1 - 5/8", 1.625), ("5/8", 0.625), ("9/8", 1.125),
        ("3½", 3.5), ("3 ½", 3.5), ("⅛", 0.125), ("1-⅝", 1.625), ("3⁄8", 0.375), ("¾", 0.75),
        ("0,5", 0.5), ("12,75", 12.75), ("0,125", 0.125), ("1234,567", 1234.567), (",5", 0.5),
        ("1.234,5", 1234.5), ("1,234.5", 1234.5), ("1.234.567,8", 1234567.8), ("1.234", 1.234),
        ("1e3", 1000.0), ("1.5E-2", 0.015), ("1,5e3", 1500.0), ("−3", -3.0), ("–3", -3.0), ("-1-5/8", -1.625),
        ("- ½", -0.5), ("\u00a03\u202f1/8 ", 3.125), ("0", 0.0), ("0.0", 0.0),
    ],
)  # fmt: skip
def test_number_is_read(written, value):
    number = parse_number(written)
    assert (number.value, number.uncertainty, number.unit) == (value, None, None)


@pytest.mark.parametrize(
    ("written", "value", "uncertainty"),
    [
        ("25 (5)", 25, 5), ("25(5)", 25, 5), ("250(5)", 250, 5),
        ("1.25(3)", 1.25, 0.03), ("1,25(3)", 1.25, 0.03), ("1.25(12)", 1.25, 0.12), ("-1.25(3)", -1.25, 0.03),
        ("1.25(0.03)", 1.25, 0.03), ("25 ± 5", 25, 5), ("25+/-0,5", 25, 0.5), ("3 1/8 ± 1/16", 3.125, 0.0625),
        # NIST SP 811 section 7.9 and JCGM 100:2008, 7.2.2, example 2: m = 100,021 47(35) g
        ("100.02147(35)", 100.02147, 0.00035),
    ],
)  # fmt: skip
def test_parentheses_and_plus_minus_are_an_uncertainty(written, value, uncertainty):
    number = parse_number(written)
    assert (number.value, number.uncertainty) == (value, uncertainty)


@pytest.mark.parametrize(
    ("written", "value", "unit"),
    [('1-5/8"', 1.625, "in"), ("3/8″", 0.375, "in"), ("5''", 5, "in"), ("5'", 5, "ft"), ("30°", 30, "°"),
     ("12 %", 12, "%")],
)  # fmt: skip
def test_a_mark_behind_a_number_is_kept_apart(written, value, unit):
    number = parse_number(written)
    assert (number.value, number.unit) == (value, unit)


@pytest.mark.parametrize(
    ("written", "got", "cure"),
    [
        ("3-Jan", "'3-Jan' is not a number", "a spreadsheet may have made a date of it"),
        ("Jan-03", "'Jan-03' is not a number", "a spreadsheet may have made a date of it"),
        ("2026-01-03", "'2026-01-03' is not a number", "a spreadsheet may have made a date of it"),
        ("03/01", "'03/01' is not a number", "a spreadsheet may have made a date of it"),
        ("1,234", "'1,234' may be a thousand or a decimal", "write 1234 or 1.234, as it was meant"),
        ("-12,345", "'-12,345' may be a thousand or a decimal", "write 12345 or 12.345"),
        ("25 (1,234)", "may be a thousand or a decimal", "write 1234 or 1.234"),
        ("1,234,567", "is not a number", "write thousands without marks between them"),
        ("1 234", "is not a number", "write thousands without marks between them"),
        ("", "'' is not a number", "write a number; leave the field out"),
        ("   ", "is not a number", "write a number; leave the field out"),
        ('"', "is not a number", "write a number; leave the field out"),
        ("nan", "'nan' is not a number", "write a number alone"),
        ("inf", "'inf' is not a number", "write a number alone"),
        ("-Infinity", "is not a number", "write a number alone"),
        ("twelve", "'twelve' is not a number", "write a number alone"),
        ("3/8 in", "is not a number", "its unit has a field of its own"),
        ("5' 3\"", "is not a number", "write a number alone"),
        ("٣", "is not a number", "write a number alone"),
        ("0x10", "is not a number", "write a number alone"),
        ("1_000", "is not a number", "write a number alone"),
        ("=1+1", "is not a number", "write a number alone"),
        ("3/0", "is not a number", "write a number alone"),
        ("3 9/8", "a whole number before a fraction over 1", "write it like 3 1/8"),
        ("3 1/8 (2)", "an uncertainty in parentheses follows a plain decimal", "write it like 25"),
        ("<5", "'<5' is not a number", 'mark its limit "below" or "above"'),
        ("10-12", "'10-12' is not a number", "write one number, not a range"),
        ("1e16", "'1e16' is out of any scale's range", "write an ordinary number"),
        ("1e999", "is out of any scale's range", "write an ordinary number"),
        ("1e-999", "is out of any scale's range", "write an ordinary number"),
        ("9" * 41, "is longer than 40 characters", "write the number alone"),
        (math.nan, "got nan, not a finite number", "leave out what was not read"),
        (math.inf, "got inf, not a finite number", "leave out what was not read"),
        (1e300, "1e\\+300' is out of any scale's range", "write an ordinary number"),
        pytest.param(10**5000, "a number of thousands of digits is out of any", "write an ordinary", id="5001 digits"),
        (True, "got True, not a number", "write a number"),
        (None, "got None, not a number", "write a number"),
        ([1], "got \\[1\\], not a number", "write a number"),
    ],
)  # fmt: skip
def test_what_is_no_single_number_is_refused_with_a_cure(written, got, cure):
    with pytest.raises(InputError, match=got) as caught:
        parse_number(written)
    assert cure in caught.value.cure
    assert isinstance(caught.value, ValueError)


anything = st.one_of(
    st.text(),
    st.text(alphabet="0123456789.,-–−/ ½⅛'\"()±+eE°%", max_size=24),
    st.floats(),
    st.integers(),
    st.none(),
    st.booleans(),
    st.lists(st.integers(), max_size=2),
)


@settings(deadline=None)
@given(anything)
def test_any_input_gives_a_finite_number_or_the_documented_error(written):
    try:
        number = parse_number(written)
    except WrittenError as error:
        assert error.problem and error.cure
    else:
        assert math.isfinite(number.value) and abs(number.value) <= 1e15
        assert number.uncertainty is None or 0 <= number.uncertainty <= 1e15


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_unit_text_gives_a_unit_or_the_documented_error(text):
    try:
        assert unit_named(text).id in UNITS
    except WrittenError as error:
        assert error.problem and error.cure


@settings(deadline=None)
@given(st.floats(min_value=-1e15, max_value=1e15, allow_subnormal=False))
def test_a_float_is_read_back_as_itself_as_number_and_as_text(value):
    assume(value == 0 or abs(value) >= 1e-15)
    assert parse_number(value).value == value
    assert parse_number(repr(value)).value == value


@settings(deadline=None)
@given(st.integers(0, 999), st.sampled_from([2, 4, 8, 16, 32, 64]), st.integers(1, 63))
def test_every_way_to_write_a_mixed_fraction_gives_the_same_number(whole, bottom, top):
    assume(top < bottom)
    expected = whole + top / bottom
    assert {parse_number(f"{whole}{gap}{top}/{bottom}").value for gap in (" ", "-", " - ", "–")} == {expected}


@settings(deadline=None)
@given(st.decimals(min_value=0, max_value=99999, places=2))
def test_point_and_comma_decimals_are_the_same_number(value):
    assert parse_number(str(value)).value == parse_number(str(value).replace(".", ",")).value == float(value)


@pytest.mark.parametrize(
    ("value", "unit", "text"), [(1, "cut", "1 cut"), (80, "cut", "80 cuts"), (0, "cut", "0 cuts"), (1.5, "m", "1.5 m"), (20, "gf", "20 gf")]
)
def test_a_unit_that_is_a_word_has_a_plural_behind_a_number_and_a_symbol_has_none(value, unit, text):
    assert quantity_text(value, unit) == text


def test_only_units_that_are_words_have_a_plural_of_their_own():
    for unit in load_units().units:
        changed = quantity_text(2, unit.id) != f"2 {unit.id}"
        assert changed == (unit.kind == "count")
