"""All runs in one model, the network, curves against each other and probes, as the pages show them."""

from __future__ import annotations

import re

import html5lib
import pytest
from sample import results
from sample_analyses import LONE_STEEL, PAIRS

from aggregator.bundle.sentences import ratio_text
from aggregator.pages import generate_pages
from aggregator.pages.analyses import notes
from aggregator.pages.spread_bars import SpreadAxis, reach_of, scale, spread_bar

POOL = "results/steels-rope-v1-measured"


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return {path: text.split("---\n", 2)[2] for path, text in generate_pages(results(measured=4, simulated=0))}


@pytest.fixture(scope="module")
def pool():
    return results(measured=4, simulated=0).pools[0]


def words(html: str) -> str:
    return " ".join("".join(html5lib.parse(html).itertext()).split())


def section(html: str, name: str) -> str:
    found = re.search(rf'<section aria-labelledby="{name}">(.*?)</section>', html, re.DOTALL)
    assert found is not None, name
    return found[1]


def rows(html: str) -> dict[str, str]:
    """Rows by the words of their heading."""
    found = re.findall(r"<tr[^>]*><th scope=\"row\">(.*?)</th>(.*?)</tr>", html, re.DOTALL)
    return {words(head): body for head, body in found}


def compare(first: str, second: str) -> str:
    return f"{POOL}/compare/{first}-and-{second}/index.md"


def test_what_matters_more_stands_early_on_the_page_of_a_pool_and_on_the_first_page(pages, pool):
    page, sentence = pages[f"{POOL}/index.md"], pool.endpoints[1].crossed.sentence
    assert sentence in words(section(page, "matters")) and sentence in words(pages["index.md"])
    assert page.index('id="matters"') < page.index('id="sharpening"') < page.index('id="apart"')


def test_a_spread_has_a_figure_a_limit_or_no_number_and_the_reason_stands_beside_it(pages):
    shown = section(pages[f"{POOL}/index.md"], "matters")
    by_term = {name: re.findall(r"<td[^>]*>(.*?)</td>", body, re.DOTALL) for name, body in rows(shown).items()}
    early, late, life = 0, 2, 4
    assert words(by_term["two sharpeners"][late]) == "×1.34 (×1.16 to ×1.81)" and "bar-mark" in by_term["two sharpeners"][late + 1]
    assert words(by_term["two testers"][late]) == "at most ×1.46" and "bar-mark" not in by_term["two testers"][late + 1]
    assert "bar-interval" in by_term["two testers"][late + 1]
    for place in (early, life):
        assert words(by_term["two testers"][place]) == "no number" and "<svg" not in by_term["two testers"][place + 1]
    assert words(by_term["two steels"][late]) == "×1.42" and words(by_term["two steels"][life]) == "no number"
    said = words(shown)
    assert "Two blades of one steel: the figure stands for blade, or how this tester and steel suit each other." in said
    assert "Not fitted: 21 of 40 lives censored." in said


def test_a_reason_common_to_several_terms_is_said_once(pool):
    (note,) = notes([pool.endpoints[0]], ("sharpener", "tester"))
    assert (note.roles, note.text) == (("early",), "Two sharpeners, two testers: Too few people exchanged edges.")


def test_steels_without_a_typical_difference_have_the_reason(pool):
    model = pool.endpoints[1].crossed.model_copy(update={"steels_typical": None})
    (note,) = notes([pool.endpoints[1].model_copy(update={"crossed": model})], ("sharpener",))
    assert note.text == "Two steels: fewer than three of them can be told apart in these runs."


def test_effects_of_people_are_a_distribution_only(pages):
    assert "never who stands where" in words(section(pages[f"{POOL}/index.md"], "matters"))


def test_bars_of_spreads_stand_where_their_ratios_do_and_an_arrow_goes_on_beyond_the_scale(pool):
    on = SpreadAxis(2.0, 1.25)
    assert [on.x(ratio) for ratio in (1.0, 2**0.5, 2.0, 50.0)] == pytest.approx([10, 120, 230, 230])
    assert reach_of([1.1, None, 1.9]) == 2.0 and reach_of([]) == 1.5 and reach_of([99.0]) == 16.0
    sharpener = next(s for s in pool.endpoints[1].crossed.spreads if s.what == "sharpener")
    assert "bar-head" not in spread_bar(sharpener, on) and "bar-head" in spread_bar(sharpener, SpreadAxis(1.5, 1.25))
    assert 'text-anchor="start">×1<' in scale(on) and 'text-anchor="end">×2<' in scale(on)


def test_every_pair_known_only_through_others_has_a_figure_and_its_path(pages):
    for page in (section(pages[f"{POOL}/index.md"], "through-others"), section(pages[f"{POOL}/late/index.md"], "network")):
        linked = words(rows(page)[f"{PAIRS[5][0]} against {PAIRS[5][1]}"])
        assert "×1.45" in linked and "never met; linked by demo-plain-carbon → demo-fine-stainless → demo-powder-stainless" in linked
        lone = words(rows(page)[f"demo-high-speed against {LONE_STEEL}"])
        assert "×" not in lone and f"No chain of comparisons leads to {LONE_STEEL}." in lone
    assert f"{PAIRS[0][0]} against {PAIRS[0][1]}" not in rows(section(pages[f"{POOL}/index.md"], "through-others"))


def test_a_pair_says_what_new_hands_would_meet_and_which_figure_to_believe(pages, pool):
    agree, differ = (section(pages[compare(*PAIRS[n])], "new-hands") for n in (0, 1))
    contrast = pool.endpoints[1].crossed.contrasts[0]
    assert f"{ratio_text(contrast.new_hands.low)} to {ratio_text(contrast.new_hands.high)}" in words(agree)
    assert ratio_text(contrast.new_hands_measured.high) in words(agree) and "4 runs each" in words(agree)
    assert "to be believed" not in words(agree) and "to be believed" in words(differ)
    assert "early late Comparisons within submissions disagree with all runs." in words(differ)
    assert pool.endpoints[1].crossed.practice[0].sentence in words(agree)


def test_what_the_runs_cannot_tell_has_its_reason_and_no_number(pages):
    for body in rows(section(pages[compare(*PAIRS[2])], "new-hands")).values():
        assert words(body) == "no number: Steel and sharpener move together."
    model = rows(section(pages[f"{POOL}/late/index.md"], "model").split('id="contrasts"')[1])
    told = model[f"{PAIRS[2][0]} against {PAIRS[2][1]}"]
    assert "×" not in words(told) and "<svg" not in told and "no: Steel and sharpener move together." in words(told)


def test_curves_against_each_other_name_their_finding_and_have_their_figures_beside_them(pages, pool):
    shown, along = section(pages[compare(*PAIRS[0])], "along"), pool.curve_comparisons[0]
    labels = re.findall(r'<div class="chart chart-(?:wide|narrow)" role="img" aria-label="([^"]*)">', shown)
    assert len(labels) == 4 and all(along.sentence in words(label) for label in labels)
    cells = re.findall(r"<tbody>(.*?)</tbody>", shown, re.DOTALL)
    assert [c.count("<tr>") for c in cells] == [len(along.same_work), len(along.same_sharpness), len(along.same_sharpness_from_start)]
    assert "×1.36 to unbounded" in words(cells[1]) and "unbounded" not in words(cells[0])
    assert along.same_sharpness[-1].low == pytest.approx(1.36)


def test_curves_that_cannot_be_compared_say_why_and_draw_nothing(pages):
    shown = section(pages[compare(*PAIRS[1])], "along")
    assert "Only one run of each reaches the second checkpoint." in words(shown) and "<svg" not in shown


def test_drawings_of_one_page_share_no_id(pages):
    ids = re.findall(r'\sid="([^"]+)"', re.sub(r"<section.*?(?=<figure)", "", section(pages[compare(*PAIRS[0])], "along"), flags=re.DOTALL))
    assert ids and len(ids) == len(set(ids))


def test_a_page_of_an_endpoint_holds_the_whole_model(pages, pool):
    said, model = words(section(pages[f"{POOL}/late/index.md"], "model")), pool.endpoints[1].crossed
    for wanted in (*model.not_held, model.two_roles, "steel, protocol version, own sharpening", "REML, -12.346", "40; 3; 2"):
        assert wanted in said
    for spread in model.spreads:
        assert spread.what in said and spread.reason in said


def test_the_sharpeners_level_has_a_figure_or_the_reason_and_no_number(pages):
    told = rows(section(pages[f"{POOL}/late/index.md"], "model").split('id="sharpeners-level"')[1])
    given, refused = (words(told[f"{PAIRS[n][0]} against {PAIRS[n][1]}"].replace("</", " </")) for n in (0, 1))
    assert given.startswith("×1.07 (×1.02 to ×1.12)") and "9 64 % The sharpener's level matters" in given
    assert "×" not in refused and "4 – The sharpener's level cannot be brought in" in refused


def test_a_model_that_was_not_fitted_has_its_reason_and_no_table(pages):
    shown = section(pages[f"{POOL}/life/index.md"], "model")
    assert "not fitted: 21 of 40 lives censored" in words(shown) and "<table" not in shown and "×" not in shown


def test_probes_keep_their_estimand_and_say_how_many_chance_would_give(pages, pool):
    shown, late = section(pages[f"{POOL}/late/index.md"], "probes"), pool.endpoints[1]
    assert late.probes_sentence in words(shown)
    bodies = re.findall(r'<tr id="probe-([^"]+)">(.*?)</tr>', shown, re.DOTALL)
    assert [name for name, _ in bodies] == [p.id for p in late.probes]
    for (_, body), probe in zip(bodies, late.probes, strict=True):
        assert probe.estimand in words(body) and ("×" in body) == (probe.state == "answered")
        assert (probe.state in words(body)) == (probe.state != "answered")


def test_analysts_find_every_model_in_one_table_with_the_way_to_its_page(pages):
    page = pages["analysts/index.md"]
    assert all(f'href="../{POOL}/{e}/#model"' in page for e in ("early", "late", "life"))
    random_terms = rows(page[page.index("Random terms:") :])
    assert "at most 0.4" in words(random_terms["tester"]) and "0.31 (0.155 to 0.62)" in words(random_terms["sharpener"])


def test_a_pool_of_which_nothing_is_modelled_has_none_of_the_sections() -> None:
    few = results(measured=1, simulated=0)
    bare = few.model_copy(
        update={
            "pools": tuple(
                p.model_copy(
                    update={
                        "endpoints": tuple(e.model_copy(update={"crossed": None}) for e in p.endpoints),
                        "curve_comparisons": (),
                    }
                )
                for p in few.pools
            )
        }
    )
    for path, text in generate_pages(bare):
        if path.startswith(POOL):
            assert not re.search(r'id="(matters|through-others|new-hands|along|model|network|probes)"', text), path
