"""A steel that no standard names, from its composition in a file to its page, pair and place in the model; the rule for near steels; and
families of steels."""

from __future__ import annotations

import csv
import html
import json
import re

import numpy as np
import pytest

from edgehold import builds
from edgehold.records import load_repository

from .repositories import level_endpoint, protocol_text, run, submission, write_repository

POWDER = "C1.4-Cr14-Mo2-V4"
OF_POWDER = ({"C": 1.45, "Cr": 14, "Mo": 2, "V": 4}, {"C": 1.38, "Cr": 14.2, "Mo": 1.9, "V": 3.8, "Si": 0.5})
"""Two data sheets' figures that one window holds."""
STEELS = [
    ({"composition_percent": OF_POWDER[0]}, {"designation": "AISI 1095"}),
    ({"composition_percent": OF_POWDER[1]}, {"designation": "AISI 1084"}),
    ({"composition_percent": OF_POWDER[0]}, {"designation": "D2"}),
    ({"designation": "SKD11"}, {"designation": "D2"}),
    ({"designation": "JIS SKD 11"}, {"designation": "AISI 1095"}),
    ({"composition_percent": {"C": 1.45, "Cr": 14}}, {"designation": "UNS T30402"}),
]
"""Two blades a submission; the last has a composition of no class."""
TRUTH = {"composition": 0.0, "carbon": 0.7, "tool": 0.3}
"""ln force after the same work, larger for a blunter edge."""
WORK = (0, 10, 20, 40)


def truth(steel: dict) -> float:
    name = steel.get("designation", "composition")
    return TRUTH["carbon" if name.startswith("AISI 10") else "composition" if name == "composition" else "tool"]


def evening(number: int, rng: np.random.Generator) -> dict:
    """One person with two blades, each sharpened and cut three times."""
    who = f"auk-{number}"
    blades = [{"key": f"{who}.{key}", "steel": steel, "edge": "plain"} for key, steel in zip("ab", STEELS[number], strict=True)]
    runs = []
    for place in range(6):
        blade = blades[place % 2]
        level = rng.normal(0.5 + truth(blade["steel"]), 0.05)
        forces = [round(float(np.exp(level + 0.3 * step + rng.normal(0, 0.02))), 3) for step in range(len(WORK))]
        runs.append(run(place + 1, blade["key"], who, [(w, [f, round(f * 1.01, 3)]) for w, f in zip(WORK, forces, strict=True)]))
    return submission(f"evening-{number}", [who], blades, runs, month=f"2026-{number + 1:02d}")


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    rng = np.random.default_rng(8)
    protocol = protocol_text(endpoints=[level_endpoint(20, title="Reading after 20 cuts")], early_checkpoint=10, late_checkpoint=40)
    root = write_repository(tmp_path_factory.mktemp("composed"), protocol, [evening(number, rng) for number in range(len(STEELS))])
    builds.site(root)
    return root


@pytest.fixture(scope="module")
def results(built):
    return json.loads((built / "build/results/results.json").read_text(encoding="utf-8"))


def page(built, *address: str) -> str:
    """What a page says, without its markup."""
    text = built.joinpath("build/site", *address, "index.html").read_text(encoding="utf-8")
    return html.unescape(" ".join(re.sub(r"<[^<>]*>", " ", text.partition("<article")[2].partition("</article")[0]).split()))


def answer(results, first: str, second: str) -> dict:
    (pool,) = results["pools"]
    (endpoint,) = pool["endpoints"]
    (found,) = [one for one in endpoint["steels"] if {one["first"], one["second"]} == {first, second}]
    return found


def test_two_data_sheets_of_one_class_are_one_steel_and_two_standards_are_two(built, results):
    repository = load_repository(built)
    steels = {s.record.id: sorted({str(run.steel) for run in s.runs}) for s in repository.submissions}
    assert steels["evening-0"] == [POWDER, "aisi-1095"] and steels["evening-1"] == [POWDER, "aisi-1084"]
    assert steels["evening-3"] == ["aisi-d2", "jis-skd11"] and steels["evening-4"] == ["aisi-1095", "jis-skd11"]
    assert steels["evening-5"] == ["None", "aisi-d2"]
    assert [steel["id"] for steel in results["steels"]] == [POWDER, "aisi-1084", "aisi-1095", "aisi-d2", "jis-skd11"]


def test_a_composition_of_no_class_is_a_warning_that_says_what_is_nearest(built):
    (finding,) = [f for f in load_repository(built).findings if f.code == "no-steel-class"]
    assert (finding.file, finding.pointer) == (
        "submissions/measured/two-sharpeners-rope/evening-5.json",
        "/blades/0/steel/composition_percent",
    )
    assert finding.severity == "warning" and "at a distance of" in finding.message and "steel_classes.json" in finding.cure


def test_the_class_has_its_pair_with_the_right_sign_and_size(results):
    """Blunter by 0.7 on the ln scale, within three times the spread that went in."""
    found = answer(results, POWDER, "aisi-1095")
    assert found["state"] == "estimated" and found["about"] == "steels"
    sharper = 1 if found["first"] == POWDER else -1
    assert sharper * np.log(found["result"]["ratio"]) == pytest.approx(0.7, abs=0.2)


def test_the_class_stands_in_the_model_with_all_other_steels(results):
    (pool,) = results["pools"]
    (endpoint,) = pool["endpoints"]
    ids = {POWDER, "aisi-1084", "aisi-1095", "aisi-d2", "jis-skd11"}
    assert {name for one in endpoint["steels"] for name in (one["first"], one["second"])} == ids
    assert set(endpoint["network"]["steels"]) == ids
    assert POWDER in {curve["steel"] for curve in pool["curves"]}


def test_the_class_has_a_page_with_its_window_and_family_and_a_page_of_its_pair(built):
    shown = page(built, "steels", POWDER)
    for part in ("C 1.4 Cr 14 Mo 2 V 4", "martensitic stainless", "C 1.3 to 1.55", "Declared by the project", "aisi-1095"):
        assert part in shown
    pair = answer(json.loads((built / "build/results/results.json").read_text(encoding="utf-8")), POWDER, "aisi-1095")
    assert POWDER in page(built, "results", "two-sharpeners-rope-v1-measured", "compare", f"{pair['first']}-and-{pair['second']}")
    assert POWDER in page(built, "steels")


def test_near_steels_say_that_they_are_not_pooled_and_why_and_link_to_each_other(built):
    told = "JIS SKD11 is close to AISI/SAE D2 but is not pooled with it, because their limits differ (per cent by mass): Mo"
    assert told in page(built, "steels", "jis-skd11") and "V 0.2 to 0.5 against 0.5 to 1.1" in page(built, "steels", "jis-skd11")
    assert "AISI/SAE D2 is close to JIS SKD11" in page(built, "steels", "aisi-d2")
    own = (built / "build/site/steels/jis-skd11/index.html").read_text(encoding="utf-8")
    assert re.search(r'See <a href="(\.\./)+steels/aisi-d2/"|See <a href="\.\./aisi-d2/"', own)
    assert "No submission is about it yet" in page(built, "steels", "jis-skd11"), "1.2379 is near, too, and nobody has it"
    assert "is close to" not in page(built, "steels", POWDER)


def test_the_table_of_steels_tells_them_all(built):
    with (built / "build/results/steels.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["steel"]: row for row in csv.DictReader(file)}
    assert rows[POWDER]["kind"] == "class" and rows[POWDER]["family"] == "martensitic stainless"
    with (built / "build/results/steel_limits.csv").open(newline="", encoding="utf-8") as file:
        limits = {(row["steel"], row["element"]): (row["least"], row["most"]) for row in csv.DictReader(file)}
    assert [float(one) for one in limits[POWDER, "V"]] == [3.5, 4.5] and limits[POWDER, "Mn"] == ("", "1")
    assert rows["aisi-d2"]["names"] == "AISI/SAE D2; UNS T30402" and rows["aisi-d2"]["near"] == "en-1-2379 jis-skd11"


def family_answers(results) -> dict:
    (endpoint,) = results["pools"][0]["endpoints"]
    assert endpoint["families"]["state"] == "estimated"
    return {(one["first"], one["second"]): one for one in endpoint["families"]["answers"]}


def test_two_families_of_two_steels_have_a_ratio_of_the_right_size_and_a_verdict_and_a_family_of_one_steel_has_none(results):
    told = family_answers(results)
    tool = told["cold-work tool", "plain carbon"]
    assert (tool["steels_first"], tool["steels_second"]) == (["aisi-d2", "jis-skd11"], ["aisi-1084", "aisi-1095"])
    assert np.log(tool["result"]["ratio"]) == pytest.approx(0.4, abs=0.2) and tool["verdict"] and tool["about"] == "families"
    assert tool["another"]["low"] < tool["result"]["low"] < 1.5 < tool["result"]["high"] < tool["another"]["high"]
    for pair in (("cold-work tool", "martensitic stainless"), ("martensitic stainless", "plain carbon")):
        assert (told[pair]["about"], told[pair]["verdict"]) == ("steels", "") and told[pair]["result"]["low"] < told[pair]["result"]["high"]
        assert "no verdict" in told[pair]["sentence"]


def test_a_pools_page_tells_of_families_and_the_page_of_a_steel_leads_to_its_own(built, results):
    shown = page(built, "results", "two-sharpeners-rope-v1-measured")
    assert "Families of steels" in shown and family_answers(results)["cold-work tool", "plain carbon"]["sentence"] in shown
    assert "only one steel was tested: martensitic stainless" in shown and "Two steels of one family typically differ by" in shown
    steel = (built / "build/site/steels/aisi-d2/index.html").read_text(encoding="utf-8")
    assert 'href="../#cold-work-tool"' in steel
    assert 'results/two-sharpeners-rope-v1-measured/#families"' in steel
    assert "Cold-work tool aisi-d2 , jis-skd11" in page(built, "steels")


def test_families_stand_in_a_table_of_their_own_and_their_spread_beside_the_others(built):
    with (built / "build/results/families.csv").open(newline="", encoding="utf-8") as file:
        rows = {(row["first"], row["second"]): row for row in csv.DictReader(file)}
    assert rows["cold-work tool", "plain carbon"]["steels_second"] == "aisi-1084 aisi-1095" and len(rows) == 3
    with (built / "build/results/how_much.csv").open(newline="", encoding="utf-8") as file:
        assert {"steel", "steel-in-family"} <= {row["what"] for row in csv.DictReader(file)}
