"""The registers against published tables, and what a bad register is answered with."""

import itertools
import json
import os
import re
from pathlib import Path

import pytest

from edgehold.errors import WrittenError
from edgehold.records import registers
from edgehold.records.registers import STEELS_FILE, find_grit, find_steel, load_grits, load_steels, parse_steels

REFERENCE = Path(__file__).parents[1] / "reference"
STEELS = load_steels()
DEMO = {
    "demo-plain-carbon", "demo-fine-stainless", "demo-high-carbon-stainless", "demo-high-speed", "demo-tough-stainless",
    "demo-powder-stainless",
}  # fmt: skip


def reference(name):
    return json.loads((REFERENCE / name).read_text(encoding="utf-8"))


def entry(**changes):
    """A register entry that is right, with changes."""
    return {
        "id": "aisi-1234", "origin": "measured", "family": "plain carbon", "names": [{"system": "AISI/SAE", "designation": "1234"}],
        "composition": [], "standard": "ASTM A29/A29M", "from_memory": True,
    } | changes  # fmt: skip


def other_entry(**changes):
    """An entry of another standard."""
    return entry(id="en-1", names=[{"system": "EN", "designation": "1.9999"}], standard="EN 1") | changes


def register(*entries):
    return json.dumps({"note": "for a test", "steels": list(entries)})


# --- steels against the outside --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "limits"), reference("steels_aisi_limits.json")["limits"].items())
def test_composition_limits_are_the_published_ones(name, limits):
    steel = find_steel(STEELS, name)
    ours = {part.element: [part.min, part.max] for part in steel.composition}
    assert {element: ours.get(element) for element in limits} == limits


@pytest.mark.parametrize(("one", "other"), reference("steels_aisi_limits.json")["cross_references"]["same_entry"])
def test_two_names_of_one_standard_lead_to_one_entry(one, other):
    assert find_steel(STEELS, one) is find_steel(STEELS, other) is not None


@pytest.mark.parametrize(("one", "other"), reference("steels_aisi_limits.json")["cross_references"]["near"])
def test_published_equivalents_of_two_standards_are_near_and_not_one_steel(one, other):
    first, second = find_steel(STEELS, one), find_steel(STEELS, other)
    assert first is not second
    assert second.id in first.near or first.id in second.near


@pytest.mark.parametrize(
    ("names", "ids"),
    [(("D2", "SKD11", "1.2379"), ("aisi-d2", "jis-skd11", "en-1-2379")),
     (("440C", "SUS440C", "1.4125"), ("aisi-440c", "jis-sus440c", "en-1-4125"))],
)  # fmt: skip
def test_one_rule_for_all_equivalents(names, ids):
    """Three standards, three steels, each near to both others."""
    assert tuple(find_steel(STEELS, name).id for name in names) == ids
    near = {frozenset((steel.id, other)) for steel in STEELS.named.values() for other in steel.near}
    assert {frozenset(pair) for pair in itertools.combinations(ids, 2)} <= near


def test_check_grid_has_not_shrunk():
    facts = reference("steels_aisi_limits.json")
    crossed = facts["cross_references"]
    assert len(facts["limits"]) >= 15 and len(crossed["same_entry"]) >= 9 and len(crossed["near"]) >= 6


def test_every_real_steel_cites_a_standard_and_has_possible_limits():
    for steel in STEELS.named.values():
        if steel.origin == "simulated":
            continue
        assert steel.standard and steel.composition, steel.id
        for part in steel.composition:
            assert part.min is not None or part.max is not None, steel.id
            assert part.min is None or part.max is None or part.min < part.max, (steel.id, part)
        assert sum(part.min or 0 for part in steel.composition) < 50, steel.id  # what is left is iron


def test_limits_called_seen_say_where_and_the_others_are_marked():
    seen = {steel.id for steel in STEELS.named.values() if steel.composition and not steel.from_memory}
    assert seen == {
        "aisi-1060", "aisi-1070", "aisi-1075", "aisi-1080", "aisi-1084", "aisi-1095", "aisi-a2", "aisi-m2", "aisi-m4", "aisi-o1", "aisi-s7",
        "en-1-4034", "en-1-4112", "en-1-4116", "jis-sus420j1", "jis-sus420j2",
    }  # fmt: skip
    assert all("as in" in STEELS.named[steel].note for steel in seen)


def test_a_near_steel_belongs_to_another_standard_and_the_names_of_an_entry_to_one():
    """AISI, SAE and UNS are one family of names for the same limits; EN and JIS each have their own."""
    american = {"AISI/SAE", "UNS"}
    for steel in STEELS.named.values():
        systems = {name.system for name in steel.names}
        assert len(systems) == 1 or systems == american, steel.id
        for other in steel.near:
            assert not systems & {name.system for name in STEELS.named[other].names}, (steel.id, other)
            assert steel.family == STEELS.named[other].family, (steel.id, other)


def test_designations_have_the_form_of_their_system():
    forms = {
        "AISI/SAE": r"[0-9]{4,5}|[A-Z][0-9]{1,2}|4[0-9]{2}[A-C]?",
        "UNS": r"[A-Z][0-9]{5}",
        "EN": r"1\.[0-9]{4}|HS[0-9-]+C?|X?[0-9]+[A-Z][A-Za-z]*[0-9-]*|C[0-9]+[ES]?",
        "JIS": r"S(?:US|UJ|UP|KD|KH|KS|K)[0-9]+[A-C]?(?:J[12])?",
        "demo": r"demo-[a-z-]+",
    }
    for steel in STEELS.named.values():
        for name in steel.names:
            assert re.fullmatch(forms[name.system], name.designation), name


def test_demonstration_steels_are_six_invented_ones():
    assert {steel.id for steel in STEELS.named.values() if steel.origin == "simulated"} == DEMO
    for name in DEMO:
        assert [n.system for n in STEELS.named[name].names] == ["demo"] and "Invented" in STEELS.named[name].note


# --- finding a steel -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "steel"),
    [("1095", "aisi-1095"), ("aisi 1095", "aisi-1095"), ("SAE-1095", "aisi-1095"), ("AISI/SAE 1095", "aisi-1095"),
     ("aisi-1095", "aisi-1095"), ("d2", "aisi-d2"), ("T30402", "aisi-d2"), ("uns t30402", "aisi-d2"),
     ("SKD 11", "jis-skd11"),
     ("1.4116", "en-1-4116"), ("EN 1.4116", "en-1-4116"), ("x50crmov15", "en-1-4116"), ("X50 CrMoV 15", "en-1-4116"),
     ("sus-440c", "jis-sus440c"), ("Demo-Plain-Carbon", "demo-plain-carbon"), ("demo plain carbon", "demo-plain-carbon")],
)  # fmt: skip
def test_steel_is_found_by_any_of_its_designations(text, steel):
    assert find_steel(STEELS, text).id == steel


@pytest.mark.parametrize("text", ["", "14116", "109", "AISI", "stainless", "UNS 1095", "x" * 10_000])
def test_anything_else_is_no_steel_of_the_register(text):
    assert find_steel(STEELS, text) is None


# --- a repository's own register -------------------------------------------------------------------------------------


def test_repository_without_a_register_uses_the_program_s(tmp_path):
    assert load_steels(tmp_path) == STEELS


def test_repository_with_a_register_uses_its_own(tmp_path):
    file = tmp_path / STEELS_FILE
    file.parent.mkdir(parents=True)
    file.write_text(register(entry()), encoding="utf-8")
    assert list(load_steels(tmp_path).named) == ["aisi-1234"]


def test_a_caller_s_changes_do_not_reach_the_next_caller():
    load_steels().named.clear()
    assert load_steels() == STEELS


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (register(entry(), entry(id="aisi-1235")), "'1234' names both 'aisi-1234' and 'aisi-1235'"),
        (register(entry(), entry()), r"names both 'aisi-1234' and 'aisi-1234' \(entries 0 and 1\)"),
        (register(entry(), entry(id="x-1", names=[{"system": "UNS", "designation": "12-34"}])), "names both"),
        (register(entry(origin="simulated")), "'aisi-1234' mixes invented and real"),
        (register(entry(id="demo-x")), "'demo-x' mixes invented and real"),
        (register(entry(id="demo-x", origin="simulated")), "'demo-x' mixes invented and real"),
        (register(entry(colour="blue")), "Extra inputs are not permitted at /steels/0/colour"),
        (register(entry(names=[])), "at /steels/0/names"),
        (register(entry(family="magic")), "at /steels/0/family"),
        (register(entry(near=["aisi-9"])), "'aisi-1234' is said to be near 'aisi-9'"),
        (register(entry(near=["aisi-1234"])), "'aisi-1234' is said to be near 'aisi-1234'"),
        (register(entry(near=["en-1"]), other_entry(near=["aisi-1234"])), "'en-1' is said to be near 'aisi-1234'"),
        (register(entry(near=["en-1", "en-1"]), other_entry()), "'aisi-1234' is said to be near 'en-1'"),
        (register(entry(names=[{"system": "EN", "designation": "1", "equivalence": "near"}])), "Extra inputs"),
        (register(entry(names=[{"system": "brand", "designation": "x"}])), "at /steels/0/names/0/system"),
        ("", "Invalid JSON"),
        ("[" * 100_000, "Invalid JSON"),
        ('{"note": "x", "steels": NaN}', "steels"),
        (b"\xff\xfe{\x00}\x00", "Invalid JSON"),
    ],
)  # fmt: skip
def test_bad_register_is_refused_with_its_place(text, problem):
    with pytest.raises(WrittenError, match=problem) as caught:
        parse_steels(text)
    assert caught.value.cure


def test_register_over_the_limit_is_refused_before_it_is_parsed(tmp_path, monkeypatch):
    file = tmp_path / STEELS_FILE
    file.parent.mkdir(parents=True)
    file.write_bytes(b" " * (registers.LARGEST_REGISTER_BYTES + 1))
    monkeypatch.setattr(registers, "parse_steels", lambda text: pytest.fail("parsed"))
    with pytest.raises(WrittenError, match="is over 1000000 bytes; list the steels only"):
        load_steels(tmp_path)


@pytest.mark.parametrize("target", ["elsewhere.json", "missing.json"])
def test_register_that_is_a_link_is_refused(tmp_path, target):
    (tmp_path / "elsewhere.json").write_text(register(entry()), encoding="utf-8")
    file = tmp_path / STEELS_FILE
    file.parent.mkdir(parents=True)
    os.symlink(tmp_path / target, file)
    with pytest.raises(WrittenError, match="is a link or no ordinary file"):
        load_steels(tmp_path)


# --- grits -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["grits_fepa_p.json", "grits_fepa_f.json", "grits_cami.json", "sieves_mesh.json"])
def test_particle_sizes_are_the_published_ones(name):
    facts = reference(name)
    for grit, micrometres in facts["sizes"].items():
        assert find_grit(facts["system"], grit).micrometres == micrometres, grit


def test_jis_sizes_are_the_50_percent_points_of_the_standard():
    facts = reference("grits_jis_r6001.json")
    for grit, (median, _tolerance) in facts["sizes"].items():
        assert find_grit("JIS", grit).micrometres == median, grit


def test_macrogrit_means_lie_between_the_sieves_of_the_standard():
    facts = reference("grits_sieves_fepa_f.json")
    for grit, (low, high) in facts["ranges_mm"].items():
        assert low <= find_grit("FEPA F", grit).micrometres / 1000 <= high, grit


def test_sizes_fall_as_numbers_rise_within_a_system():
    for system in ("FEPA F", "FEPA P", "JIS", "ANSI", "CAMI", "mesh"):
        sizes = [size for series in load_grits().series if series.system == system for size in series.sizes]
        numbers = [int(re.sub("[^0-9]", "", size.grit)) for size in sizes]
        micrometres = [size.micrometres for size in sizes]
        assert numbers == sorted(set(numbers)), system
        assert micrometres == sorted(set(micrometres), reverse=True), system


def test_in_micrometres_the_designation_is_the_size():
    sizes = [size for series in load_grits().series if series.system == "micrometres" for size in series.sizes]
    assert [float(size.grit) for size in sizes] == [size.micrometres for size in sizes]
    assert sizes == sorted(sizes, key=lambda size: -size.micrometres) and len(sizes) > 30


def test_the_same_number_is_another_size_in_every_system():
    """Why a number without its system says little: 600 runs from 9 to 26 micrometres."""
    found = {system: find_grit(system, "600").micrometres for system in ("FEPA F", "FEPA P", "JIS", "CAMI")}
    assert found == {"FEPA F": 9.3, "FEPA P": 25.8, "JIS": 20.0, "CAMI": 16.0}


def test_figures_not_seen_in_print_are_marked():
    for series in load_grits().series:
        assert {size.from_memory for size in series.sizes} == {"memory" in series.source}, series.part


@pytest.mark.parametrize(
    ("system", "grit", "found"),
    [("FEPA P", "400", "P400"), ("FEPA P", "p400", "P400"), ("FEPA F", "220", "F220"), ("JIS", "1000", "#1000"),
     ("JIS", "# 1000", "#1000"), ("ANSI", "80", "80"), ("ANSI", "#80", "80"),
     ("CAMI", "600", "600"), ("mesh", "325", "325"), ("micrometres", "0.5", "0.5"), ("JIS", "12000", "#12000")],
)  # fmt: skip
def test_grit_is_found_with_and_without_its_letter(system, grit, found):
    assert find_grit(system, grit).grit == found


@pytest.mark.parametrize(
    ("system", "grit"),
    [
        ("FEPA F", "P400"),
        ("FEPA P", "F220"),
        ("JIS", "P1000"),
        ("FEPA P", "401"),
        ("mesh", "1200"),
        ("ANSI", ""),
        ("ANSI", "600"),
        ("CAMI", "P400"),
    ],
)
def test_grit_of_another_system_is_not_found(system, grit):
    assert find_grit(system, grit) is None
