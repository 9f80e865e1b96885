"""The published protocols: valid, safe to follow, and right in their own arithmetic.

Outside sources: standard gravity from ``scipy.constants`` (CGPM 1901, 9.80665 m/s² exactly) for every force that is
written in two units; Student's t from ``scipy.stats`` for the precision each page promises.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import markdown
import nh3
import pytest
import yaml
from scipy import constants, stats

from edgehold.records.model.protocol import Protocol
from edgehold.records.model.review import Event
from edgehold.records.rules.settings_tables import with_tables

ROOT = Path(__file__).resolve().parents[2] / "protocols"
NAMES = (
    "two-sharpeners-rope/1.0.0",
    "two-sharpeners-rope/1.1.0",
    "two-sharpeners-rope/2.0.0",
    "steels-exchanged-rope/1.0.0",
    "steels-exchanged-rope/2.0.0",
    "steels-exchanged-rope/3.0.0",
    "life-on-card/1.0.0",
    "life-on-card/2.0.0",
    "first-evening-paper/1.0.0",
    "finish-in-halves-rope/1.0.0",
    "strop-or-not-paper/1.0.0",
)
ROPE = tuple(name for name in NAMES if "rope" in name)
HALVES, TURNS, CARD = "two-sharpeners-rope/2.0.0", "steels-exchanged-rope/3.0.0", "life-on-card/2.0.0"
FINISH, STROP = "finish-in-halves-rope/1.0.0", "strop-or-not-paper/1.0.0"
UNDER_A_LID = (HALVES, TURNS, CARD, FINISH)  # an edge that a lid lowers on a thread while a cup fills
PUSHED = tuple(name for name in ROPE if name not in UNDER_A_LID)  # an edge pushed on a scale by hand
IN_HALVES = (HALVES, "first-evening-paper/1.0.0", FINISH, STROP)
FOLDERS = (
    "finish-in-halves-rope",
    "first-evening-paper",
    "life-on-card",
    "steels-exchanged-rope",
    "strop-or-not-paper",
    "two-sharpeners-rope",
)
THREATS = {
    "confounding", "carry-over", "order", "expectation", "instrument", "medium", "selection", "analysis",
    "generality", "safety",
}  # fmt: skip


@dataclass(frozen=True)
class Page:
    """One protocol file: its record, its body, its sections by step id."""

    record: Protocol
    body: str
    sections: dict[str, str]


def read(name: str) -> Page:
    """Read a protocol file as a stranger's program would: front matter between two lines of three hyphens, the text with its tables."""
    opening, front, body = (ROOT / f"{name}.md").read_text(encoding="utf-8").split("---\n", 2)
    assert opening == ""
    record = Protocol.model_validate_json(json.dumps(yaml.safe_load(front)))
    body = with_tables(record, body)
    parts = re.split(r"(?m)^(?=##+ )", body)
    sections = {m[1]: part for part in parts if (m := re.match(r"### (s[0-9]+-[a-z-]+) · \S", part))}
    return Page(record, body, sections)


def plain(text: str) -> str:
    """Text without emphasis marks and line breaks, so that phrases can be looked for."""
    return re.sub(r"\s+", " ", text.replace("**", "").replace("*", ""))


def figure(pattern: str, text: str) -> tuple[float, ...]:
    """The numbers of the one place in the text that matches."""
    found = re.findall(pattern, plain(text))
    assert len(found) == 1, f"{pattern!r} found {len(found)} times"
    return tuple(float(number) for number in (found[0] if isinstance(found[0], tuple) else found))


# --- form ---


def test_these_are_all_the_protocols():
    assert {f"{p.parent.name}/{p.stem}" for p in ROOT.glob("*/*.md")} == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_path_agrees_with_content_and_one_endpoint_is_primary(name):
    record = read(name).record
    assert f"{record.id}/{record.version}" == name
    assert sum(endpoint.primary for endpoint in record.endpoints) == 1


@pytest.mark.parametrize("name", NAMES)
def test_steps_are_numbered_without_gaps_and_every_step_pointed_at_exists(name):
    page = read(name)
    headings = re.findall(r"(?m)^### (s([0-9]+)\S*)", page.body)
    assert [int(number) for _, number in headings] == list(range(1, len(headings) + 1))
    assert [step for step, _ in headings] == list(page.sections)
    pointed = {step for threat in page.record.threats for step in threat.steps}
    links = set(re.findall(r"\]\(#(\S+?)\)", page.body)) - {"alone-tonight"}
    assert pointed | links <= set(page.sections)
    assert "## Alone tonight\n" in page.body


@pytest.mark.parametrize("name", NAMES)
def test_step_ids_survive_conversion_and_sanitising(name):
    page = read(name)
    html = nh3.clean(markdown.markdown(page.body, extensions=["tables"]))
    assert re.findall(r"<h3>(s[0-9]+-[a-z-]+) ·", html) == list(page.sections)
    assert not re.search(r"<[a-zA-Z/!]", page.body), "the body is Markdown without HTML"
    assert html.count("<img") == len(page.record.figures)


@pytest.mark.parametrize("name", NAMES)
def test_all_ten_threats_stand_in_front_matter_and_table_alike(name):
    page = read(name)
    table = re.findall(r"(?m)^\| ([a-z-]+) \| (.+) \| (s[0-9].*|left open) \|$", page.body)
    front = [(t.threat, t.text, ", ".join(t.steps) or "left open") for t in page.record.threats]
    assert table == front
    assert sorted(t.threat for t in page.record.threats) == sorted(THREATS)


@pytest.mark.parametrize("name", NAMES)
def test_the_table_of_endpoints_says_what_the_front_matter_says(name):
    page = read(name)
    table = re.findall(r"(?m)^\| `([a-z]+)`( \(primary\))? \| (.+) \| (\w+) \| ×([\d.]+) \| ([\d.]+), assumed \|$", page.body)
    assert [(i, bool(p), t, r, float(w), float(s)) for i, p, t, r, w, s in table] == [
        (e.id, e.primary, e.title, e.role, e.worthwhile_ratio, e.assumed_repeatability.ln_sd) for e in page.record.endpoints
    ]


# --- safety ---

CAUTIONS = (
    "Law, carrier and supervision come first",
    "trained or licensed supervision",
    "Sharp edges cut people",
    "Never hold it across your hand",
    "cut-resistant glove on the other hand",
    "Cut away from your body, on a board fixed to the table",
    "No folding knife without a lock",
    "Never catch a falling blade",
    "Cover the edge between runs",
    "eye protection",
    "Stop when the edge needs force",
    "Rest after every",
    "Stop when you are tired",
    "Never test on skin, hair or a nail",
    "First aid within reach",
    "no children and no pets near",
    "Nobody is ever blindfolded",
)


@pytest.mark.parametrize("name", NAMES)
def test_every_caution_stands_before_the_first_step_with_a_blade(name):
    page = read(name)
    section = plain(page.sections["s1-safe-first"])
    places = [section.find(caution) for caution in CAUTIONS]
    assert -1 not in places, CAUTIONS[places.index(-1)]
    assert places[0] == min(places), "law, carrier and supervision are said first"
    assert re.search(r"Clamp the (rope|card)\.", section)
    before = page.body[: page.body.index("### s1-safe-first")]
    assert not re.search(r"(?m)^\d+\. ", before), "no instruction stands before the cautions"


@pytest.mark.parametrize("name", NAMES)
def test_the_lone_tester_is_sent_to_the_cautions_too(name):
    alone = read(name).body.split("## Alone tonight\n")[1].split("\n## ")[0]
    assert "(#s1-safe-first)" in alone
    assert "What it cannot show" in alone


@pytest.mark.parametrize("name", NAMES)
def test_no_text_asks_for_a_blindfold_or_claims_a_standard(name):
    text = plain((ROOT / f"{name}.md").read_text(encoding="utf-8"))
    assert all("nobody" in text[max(0, m.start() - 20) : m.start()].lower() for m in re.finditer("blindfold", text))
    assert text.count("ISO") == 1
    assert "not the machine test of ISO 8442-5 and do not claim to agree with it" in text
    assert not re.search(r"\b(cutter|operator)s?\b", text)


# --- drawings ---

ELEMENTS = {"svg", "title", "desc", "line", "rect", "path", "polygon", "circle", "text"}
ATTRIBUTES = {
    "viewBox", "role", "fill", "fill-opacity", "stroke", "stroke-width", "stroke-dasharray", "stroke-linejoin",
    "stroke-linecap", "font-family", "font-size", "font-weight", "text-anchor", "x", "y", "x1", "y1", "x2", "y2", "cx",
    "cy", "r", "rx", "width", "height", "d", "points",
}  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"
DRAWINGS = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.glob("*/figures/*"))


@pytest.mark.parametrize("name", NAMES)
def test_drawings_are_hashed_and_each_is_shown_in_the_body(name):
    page = read(name)
    for drawing in page.record.figures:
        bytes_ = (ROOT / page.record.id / drawing.file).read_bytes()
        assert hashlib.sha256(bytes_).hexdigest() == drawing.sha256, drawing.file
    shown = re.findall(r"!\[[^\]]+\]\((\S+)\)", page.body)
    assert sorted(shown) == sorted(drawing.file for drawing in page.record.figures)


def test_no_drawing_lies_about_unused():
    used = {f"{read(n).record.id}/{drawing.file}" for n in NAMES for drawing in read(n).record.figures}
    assert set(DRAWINGS) == used


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_drawings_are_plain_lines_that_cannot_run_or_fetch_anything(drawing):
    root = ElementTree.fromstring((ROOT / drawing).read_bytes())
    assert root.tag == f"{SVG}svg"
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in ELEMENTS, element.tag
        assert set(element.attrib) <= ATTRIBUTES, element.attrib
        assert not any(re.search(r"url|:|//", value) for value in element.attrib.values())
    assert root.find(f"{SVG}title").text
    assert root.find(f"{SVG}desc").text


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_drawings_follow_the_text_colour_and_stay_readable_on_a_telephone(drawing):
    root = ElementTree.fromstring((ROOT / drawing).read_bytes())
    colours = {e.attrib[key] for e in root.iter() for key in ("fill", "stroke") if key in e.attrib}
    assert colours == {"none", "currentColor"}
    scale = 350 / float(root.attrib["viewBox"].split()[2])
    sizes = [float(e.attrib["font-size"]) for e in root.iter() if "font-size" in e.attrib]
    assert min(sizes) * scale >= 11


# --- versions ---


def changed_against(old: Protocol, new: Protocol) -> set[str]:
    """What in the new version would compute some endpoint of the old one differently."""
    alike = ("medium", "estimand", "apex_start", "stopping", "edges")
    changed = {name for name in alike if getattr(old, name) != getattr(new, name)}
    wider = {"accepted_units": old.reading.accepted_units}
    narrower = not set(old.reading.accepted_units) <= set(new.reading.accepted_units)
    if narrower or new.reading.model_copy(update=wider) != old.reading:
        changed.add("reading")
    if new.work.model_copy(update={"checkpoints": old.work.checkpoints}) != old.work:
        changed.add("work")
    if not set(old.work.checkpoints) <= set(new.work.checkpoints) or old.work.checkpoints[1] != new.work.checkpoints[1]:
        changed.add("checkpoints")
    return changed | {e.id for e in old.endpoints if e not in new.endpoints}


def test_the_minor_adds_and_changes_nothing():
    old, new = read("two-sharpeners-rope/1.0.0"), read("two-sharpeners-rope/1.1.0")
    assert changed_against(old.record, new.record) == set()
    assert changed_against(new.record, old.record) == {"reading", "checkpoints", "hold"}, "taking away is no minor"
    assert set(new.record.work.checkpoints) - set(old.record.work.checkpoints) == {160}
    assert set(new.record.reading.accepted_units) - set(old.record.reading.accepted_units) == {"ozf"}
    assert {e.id for e in new.record.endpoints} - {e.id for e in old.record.endpoints} == {"hold"}
    for step in ("s2-reading-rig", "s3-rope-hold", "s5-flatten-apex", "s8-read-zero"):
        assert old.sections[step] == new.sections[step]


def test_halves_are_another_experiment_so_no_old_endpoint_is_computed_alike():
    old, new = read("two-sharpeners-rope/1.1.0").record, read(HALVES).record
    assert changed_against(old, new) >= {"reading", "work", "stopping", "apex_start"}
    assert "no longer comparable with 1.1.0" in new.changes
    assert new.late_checkpoint / new.work.edge_stretch_mm == old.late_checkpoint / old.work.edge_stretch_mm, (
        "as much rope a millimetre of edge"
    )


@pytest.mark.parametrize("name", (*IN_HALVES, TURNS))
def test_minutes_are_the_sum_of_their_parts(name):
    record = read(name).record
    parts, readings = record.minutes.parts, len(record.work.checkpoints) * record.reading.repeats
    run = parts.sharpening + (record.work.checkpoints[-1] * parts.unit_seconds + readings * parts.value_seconds) / 60
    assert record.minutes.one_run == round(run)
    assert record.minutes.whole == parts.once + record.design.least_runs * record.minutes.one_run
    body = plain(read(name).body)
    short = (
        parts.sharpening + (record.late_checkpoint * parts.unit_seconds + (readings - record.reading.repeats) * parts.value_seconds) / 60
    )
    if record.reading.kind == "pass/fail":
        one, whole = figure(r"takes about (\d+) minutes and four runs with everything about (\d+)", body)
        assert (one, whole) == (pytest.approx(short, abs=0.5), pytest.approx(parts.once + 4 * short, abs=0.5))
        return
    one, two = figure(r"about (\d+) minutes a run, (\d+) a pair", body)
    assert (one, two) == (pytest.approx(short, abs=0.5), pytest.approx(2 * short, abs=0.5))


def test_two_blades_in_turn_are_another_experiment_so_no_old_endpoint_is_computed_alike():
    old, new = read("steels-exchanged-rope/2.0.0").record, read(TURNS).record
    assert changed_against(old, new) >= {"reading", "work", "stopping"}
    assert "no longer comparable with 2.0.0" in new.changes
    before, after = 80 / old.work.edge_stretch_mm, new.late_checkpoint / new.work.edge_stretch_mm
    assert after == before == 2, "40 cuts on 20 mm are as much rope a millimetre of edge as 80 on 40 mm"
    assert new.reading == read(HALVES).record.reading, "both questions are read alike"


def test_card_on_a_thread_is_another_experiment_than_card_on_paper():
    old, new = read("life-on-card/1.0.0").record, read(CARD).record
    assert changed_against(old, new) >= {"reading", "work", "stopping", "apex_start", "life"}
    assert "no longer comparable with 1.0.0" in new.changes and "coarse side" in new.apex_start
    assert (new.reference.work, new.reading.kind) == (1, "force") and "500 g" in new.reference.weights


def test_the_major_reads_another_thing_so_no_old_endpoint_is_computed_alike():
    old, new = read("steels-exchanged-rope/1.0.0"), read("steels-exchanged-rope/2.0.0")
    assert changed_against(old.record, new.record) == {"reading"}
    assert "cotton" in old.record.reading.description
    assert "waxed linen" in new.record.reading.description
    assert "1 kg" in new.record.reading.description
    assert old.sections["s2-reading-rig"] != new.sections["s2-reading-rig"]
    assert "no longer comparable with 1.0.0" in new.record.changes


# --- arithmetic of the pages ---


@pytest.mark.parametrize("name", NAMES)
def test_checkpoints_double_from_the_first_positive_one(name):
    positive = read(name).record.work.checkpoints[1:]
    assert all(after == 2 * before for before, after in pairwise(positive))


@pytest.mark.parametrize("name", ROPE)
def test_rope_metres_follow_from_checkpoints_and_spacing(name):
    page = read(name)
    last, spacing, cut, tail, run = figure(
        r"Checkpoint (\d+) × (\d+) mm a cut = ([\d.]+) m, and ([\d.]+) m stay in the clamp: ([\d.]+) m a run", page.body
    )
    assert last == page.record.work.checkpoints[-1]
    assert f"takes off {spacing:.0f} mm" in page.record.work.stroke
    assert cut == pytest.approx(last * spacing / 1000)
    assert run == pytest.approx(cut + tail)
    practice_cuts, practice = figure(r"practice run \((\d+) cuts, ([\d.]+) m\)", page.body)
    assert practice == pytest.approx(practice_cuts * spacing / 1000)
    (whole, buy) = figure(r"take ([\d.]+) m\. Buy (\d+) m", page.body)
    assert whole == pytest.approx(page.record.design.least_runs * run + practice)
    assert buy >= whole
    assert any(f"{buy:.0f} m from one coil" in need.item for need in page.record.needs)


@pytest.mark.parametrize("name", ROPE)
def test_thread_metres_and_minutes_follow_from_the_readings(name):
    page, record = read(name), read(name).record
    each, readings, repeats, values, run, whole = figure(
        r"([\d.]+) m a value; (\d+) readings × (\d+) = (\d+) values a run: ([\d.]+) m a run, ([\d.]+) m for four",
        page.body,
    )
    assert (readings, repeats) == (len(record.work.checkpoints), record.reading.repeats)
    assert values == readings * repeats
    assert run == pytest.approx(values * each)
    assert whole == pytest.approx((record.design.least_runs * values + 2 * repeats) * each)
    reel = next(float(m[1]) for need in record.needs if (m := re.search(r"thread.* (\d+) m from one reel", need.item)))
    assert reel >= whole
    sharpening, cutting, a_reading = figure(r"(\d+) for sharpening, (\d+) for \d+ cuts .*?, ([\d.]+) a reading", page.body)
    assert sharpening + cutting + a_reading * readings == pytest.approx(record.minutes.one_run, abs=1)
    assert record.minutes.whole >= record.design.least_runs * record.minutes.one_run


def test_thread_and_minutes_of_the_card_follow_from_its_readings_and_its_reference_edges():
    page, record = read(CARD), read(CARD).record
    each, readings, repeats, values, run, whole, reference, taken = figure(
        r"([\d.]+) m a value; (\d+) readings × (\d+) = (\d+) values a run: ([\d.]+) m a run, ([\d.]+) m for four runs and the practice run "
        r"\(4 values\), and ([\d.]+) m for two reference edges \((\d+) values\)",
        page.body,
    )
    assert (readings, repeats, values) == (len(record.work.checkpoints), record.reading.repeats, readings * repeats)
    assert (run, whole) == pytest.approx((values * each, (record.design.least_runs * values + 4) * each))
    assert (taken, reference) == (2 * 2 * repeats, pytest.approx(taken * each))
    reel = next(float(m[1]) for need in record.needs if (m := re.search(r"thread.* (\d+) m from one reel", need.item)))
    assert reel >= whole + reference
    parts = record.minutes.parts
    to_the_end = parts.sharpening + (record.work.checkpoints[-1] * parts.unit_seconds + values * parts.value_seconds) / 60
    assert to_the_end == pytest.approx(record.minutes.one_run, abs=0.5)
    assert record.minutes.whole == parts.once + record.design.least_runs * record.minutes.one_run
    (short,) = figure(r"plan to stop at 8 m, where the primary endpoint is: a run then takes about (\d+) minutes", page.body)
    assert short == pytest.approx(parts.sharpening + (8 * parts.unit_seconds + (values - repeats) * parts.value_seconds) / 60, abs=0.5)


def test_card_area_sheets_and_marks_follow_from_the_checkpoints():
    page = read("life-on-card/1.0.0")
    length, width, area = figure(r"(\d+) m × (\d+) mm = ([\d.]+) m²", page.body)
    assert length == page.record.work.checkpoints[-1]
    assert area == pytest.approx(length * width / 1000)
    side_across, side_along = figure(r"Of a sheet of (\d+) mm × (\d+) mm", page.body)
    under, strips, strip, sheet = figure(r"last (\d+) mm stay under .*? leaves (\d+) strips of ([\d.]+) m = ([\d.]+) m a sheet", page.body)
    assert strips == (side_across - under) // width
    assert strip == side_along / 1000
    assert sheet == pytest.approx(strips * strip)
    used, sheets, whole = figure(r"m take ([\d.]+) sheets: lay out (\d+) sheets a run, (\d+) for four", page.body)
    assert used == pytest.approx(length / sheet, abs=0.05)
    assert sheets == math.ceil(length / sheet)
    assert whole == page.record.design.least_runs * sheets
    marks = [(float(a), int(b), int(c)) for a, b, c in re.findall(r"\| (\d+) m \| (\d+) \| (\d+) mm \|", page.body)]
    assert [metres for metres, _, _ in marks] == list(page.record.work.checkpoints[1:])
    assert all(full * strip + rest / 1000 == pytest.approx(metres) for metres, full, rest in marks)


@pytest.mark.parametrize("name", ["first-evening-paper/1.0.0", CARD, STROP])
def test_an_evening_counts_its_card_and_its_marks(name):
    page = read(name)
    length, width, area, whole = figure(
        r"(\d+) m × (\d+) mm = ([\d.]+) m² of card for a run that goes all the way, (\d+) m for four", page.body
    )
    assert length == page.record.work.checkpoints[-1]
    assert area == pytest.approx(length * width / 1000)
    assert whole == page.record.design.least_runs * length
    strips, strip, sheet = figure(r"gives (\d+) strips of ([\d.]+) m = ([\d.]+) m: three sheets", page.body)
    assert strips == (400 - 30) // width
    assert sheet == pytest.approx(strips * strip)
    assert math.ceil(whole / sheet) == 3
    marks = [(float(a), int(b), int(c)) for a, b, c in re.findall(r"\| (\d+) m \| (\d+) \| (\d+) mm \|", page.body)]
    assert [metres for metres, _, _ in marks] == list(page.record.work.checkpoints[1:])
    assert all(full * strip + rest / 1000 == pytest.approx(metres) for metres, full, rest in marks)


def test_a_first_evening_needs_no_scale_and_nothing_made():
    record = read("first-evening-paper/1.0.0").record
    assert record.reading.kind == "pass/fail"
    assert record.minutes.whole <= 90
    assert {need.where for need in record.needs} == {"in the house", "cheap"}
    assert [need.item for need in record.needs if need.where == "cheap"] == ["Cut-resistant glove, eye protection, first-aid kit"]
    card = read("life-on-card/1.0.0").record
    assert record.work.checkpoints[-1] / record.work.edge_stretch_mm == card.late_checkpoint / card.work.edge_stretch_mm, (
        "as much card a millimetre of edge"
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_body_names_every_checkpoint_and_the_stopping_rule_of_the_front_matter(name):
    page, record = read(name), read(name).record
    (listed,) = re.findall(r"Read after \*\*(.+?) (?:cuts|m) in all\*\*", page.body)
    assert [float(n) for n in re.findall(r"\d+", listed)] == list(record.work.checkpoints[1:])
    assert record.stopping.readings_below == 2
    (stop,) = [text for step, text in page.sections.items() if step.endswith("-when-to-stop")]
    assert "Two successive readings" in stop
    (life,) = [endpoint for endpoint in record.endpoints if endpoint.kind == "life"]
    if life.threshold is not None:
        assert f"past {life.threshold.value:g} N" in stop
        assert f"above {life.threshold.value:g} N" in record.stopping.text


# --- forces ---

NEWTON_PER_GF = constants.g / 1000


@pytest.mark.parametrize("name", [*ROPE, CARD])
def test_forces_written_in_two_units_agree(name):
    pairs = re.findall(r"([\d.]+) N \((\d+) gf\)", plain(read(name).body))
    assert pairs
    for newton, gf in pairs:
        assert float(newton) == pytest.approx(float(gf) * NEWTON_PER_GF, rel=0.015), "two significant figures"
    assert f"1 gf is {NEWTON_PER_GF:.8f} N" in plain(read(name).body)


@pytest.mark.parametrize("name", PUSHED)
def test_scale_end_and_resolution_are_those_of_a_five_kilogram_kitchen_scale(name):
    reading = read(name).record.reading
    assert reading.scale_end == pytest.approx(5 * constants.g, abs=0.5)
    assert reading.resolution == pytest.approx(NEWTON_PER_GF, abs=0.005)
    assert "until it shows 5 kg. That is 49 N" in plain(read(name).body)
    assert read(name).record.work.force_limit_n >= reading.scale_end


@pytest.mark.parametrize("name", [n for n in PUSHED if n != "steels-exchanged-rope/1.0.0"])
def test_hung_weight_can_give_the_threshold_and_the_scale_can_show_it(name):
    """Statics of a thread over two posts: an edge pressing it down by h in mid-span a needs 2T·h/√(h² + a²/4)."""
    page, rig = read(name), plain(read(name).sections["s2-reading-rig"])
    (pull_kg,) = figure(r"([\d.]+) kg hung is", rig)
    (span,) = figure(r"250 mm high and (\d+) mm apart", rig)
    (deflection,) = figure(r"land[s]? on them (\d+) mm after", rig)
    largest = 2 * pull_kg * constants.g * deflection / math.hypot(deflection, span / 2)
    (life,) = [endpoint for endpoint in page.record.endpoints if endpoint.kind == "life"]
    assert largest > 2 * life.threshold.value, "the thread must not simply follow the edge down near the threshold"
    (rig_kg,) = figure(r"weigh about ([\d.]+) kg", rig)
    left, ceiling = figure(r"has ([\d.]+) N .*? twice its pull, ([\d.]+) N", rig)
    assert left == pytest.approx((5 - rig_kg) * constants.g, abs=0.5)
    assert ceiling == pytest.approx(2 * pull_kg * constants.g, abs=0.05)
    friction = math.exp(0.25 * math.pi / 2)  # capstan equation, a quarter turn on each post, waxed thread on wood
    assert left > ceiling * friction


@pytest.mark.parametrize("name", UNDER_A_LID)
def test_the_largest_load_that_is_written_is_one_that_the_thread_can_give_back(name):
    """Statics as above, the travel ended by the stop, rollers without friction; a cup of the size that the page names."""
    page, rig = read(name), plain(read(name).sections["s2-reading-rig"])
    (span,), (travel,) = figure(r"roller on each, (\d+) mm apart", rig), figure(r"catches it (\d+) mm after", rig)
    (pull_kg,), (said, end) = figure(r"([\d.]+) kg hung is", rig), figure(r"gives back ([\d.]+) N .*? never exceeds ([\d.]+) N", rig)
    largest = 2 * pull_kg * constants.g * travel / math.hypot(travel, span / 2)
    assert said == pytest.approx(largest, abs=0.05)
    assert end == page.record.reading.scale_end < largest
    (full_kg,) = figure(r"full, ([\d.]+) kg", rig)
    assert full_kg * constants.g < end
    assert page.record.reading.plausible_high < end
    (life,) = [endpoint for endpoint in page.record.endpoints if endpoint.kind == "life"]
    assert largest > 2 * life.threshold.value
    slow, fast = figure(r"about (\d+) g a second, never more than (\d+) g", rig)
    assert fast * NEWTON_PER_GF < 1 and slow * NEWTON_PER_GF < 0.2, "newtons a second"


@pytest.mark.parametrize(
    ("name", "unknowns", "variance"),
    [*((name, 2, lambda p: 2 * p / (p**2 - p % 2)) for name in IN_HALVES), (TURNS, 1, lambda p: 2 / p)],
    ids=[*IN_HALVES, TURNS],
)
def test_pairs_in_turn_promise_what_students_t_gives_on_differences_within_them(name, unknowns, variance):
    """Over p pairs of halves d = ±π + τ, so var τ = 2σ²p/(p² − s²), s = p mod 2; of two blades d = τ, so var τ = 2σ²/p. The assumed
    spread counts with its own df beside the pairs less what is unknown."""
    page = read(name)
    (primary,) = [endpoint for endpoint in page.record.endpoints if endpoint.primary]
    ln_sd, prior = primary.assumed_repeatability.ln_sd, primary.assumed_repeatability.prior_df
    said, df = figure(r"deviation of ([\d.]+) on the ln.*?counted as (\d+) degrees", page.body)
    widths = figure(r"×([\d.]+) either way with 2 pairs, ×([\d.]+) with 3, ×([\d.]+) with 6", page.body)
    doubled = figure(r"twice as large, ×([\d.]+), ×([\d.]+) and ×([\d.]+\d)", page.body)
    assert (said, df) == (ln_sd, prior)
    for pairs, width, twice in zip((2, 3, 6), widths, doubled, strict=True):
        half = float(stats.t.ppf(0.975, prior + pairs - unknowns)) * ln_sd * math.sqrt(variance(pairs))
        assert width == pytest.approx(math.exp(half), abs=0.05)
        assert twice == pytest.approx(math.exp(2 * half), abs=0.06)


@pytest.mark.parametrize("name", [n for n in NAMES if n not in (*IN_HALVES, TURNS)])
def test_promised_precision_is_that_of_students_t(name):
    """Half-width of a 95 % interval for two arms of n/2 runs each: exp(t(n − 2) · s · √(4/n))."""
    page = read(name)
    ln_sd, *widths = figure(
        r"deviation of ([\d.]+) on the ln.*?×([\d.]+) either way with 4 runs, ×([\d.]+) with 8, ×([\d.]+) with 16",
        page.body,
    )
    assert ln_sd in {e.assumed_repeatability.ln_sd for e in page.record.endpoints if e.primary}
    for runs, width in zip((4, 8, 16), widths, strict=True):
        half = float(stats.t.ppf(0.975, runs - 2)) * ln_sd * math.sqrt(4 / runs)
        assert width == pytest.approx(math.exp(half), abs=0.05)


# --- events ---


def events(folder: str) -> list[tuple[Path, Event]]:
    """The events of one protocol in the order of their numbers."""
    paths = sorted((ROOT / folder / "events").iterdir())
    return [(p, Event.model_validate_json(json.dumps(yaml.safe_load(p.read_text(encoding="utf-8"))))) for p in paths]


@pytest.mark.parametrize("folder", FOLDERS)
def test_released_files_are_held_by_hash_and_every_version_is_released_once(folder):
    released = {e.version: e.sha256 for _, e in events(folder) if e.kind == "released"}
    held = {p.stem: hashlib.sha256(p.read_bytes()).hexdigest() for p in (ROOT / folder).glob("*.md")}
    assert released == held
    assert sum(e.kind == "released" for _, e in events(folder)) == len(held)


@pytest.mark.parametrize("folder", FOLDERS)
def test_events_are_numbered_named_and_in_the_order_of_a_protocols_life(folder):
    life = ["released", "opened for review", "adopted", "retired"]
    listed = events(folder)
    assert [p.name for p, _ in listed] == [
        f"{i:03d}-{e.kind.replace(' ', '-')}-{e.version.replace('.', '-')}.yaml" for i, (_, e) in enumerate(listed, 1)
    ]
    months = [e.month for _, e in listed]
    assert months == sorted(months)
    for version in {e.version for _, e in listed}:
        kinds = [e.kind for _, e in listed if e.version == version]
        assert kinds == life[: len(kinds)]
        assert len(kinds) >= 3


def test_only_the_older_major_is_retired():
    retired = [(folder, e.version, e.month) for folder in FOLDERS for _, e in events(folder) if e.kind == "retired"]
    assert retired == [("steels-exchanged-rope", "1.0.0", "2026-02")]
