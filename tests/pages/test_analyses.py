"""The model behind the answers, the crossed model, the network, curves against each other and probes, as the pages show them."""

from __future__ import annotations

import re

import html5lib
import pytest
import sample_answers as answers
from sample import results
from sample_analyses import LONE_STEEL, PAIRS

from edgehold.pages.analyses import withheld
from edgehold.pages.spread_bars import SpreadAxis, how_much_bar, reach_of, scale, spread_bar
from edgehold.results.model.references import ReferenceSpread, ReferencesResult
from edgehold.results.words.sentences import ratio_text
from tests.generated import generate_pages

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


def cells(body: str) -> list[str]:
    return re.findall(r"<td[^>]*>(.*?)</td>", body, re.DOTALL)


def test_what_matters_more_stands_early_on_the_page_of_a_pool_and_on_the_first_page(pages, pool):
    page = pages[f"{POOL}/index.md"]
    for endpoint in pool.endpoints[:2]:
        sentence = endpoint.model.matters_sentence
        assert sentence in words(section(page, "matters")) and sentence in words(pages["index.md"])
    assert page.index('id="matters"') < page.index('id="sharpening"') < page.index('id="apart"')


def test_every_kind_of_which_two_differ_has_a_figure_or_none_and_the_reason_stands_below(pages, pool):
    shown = section(pages[f"{POOL}/index.md"], "matters")
    by_kind = {name: cells(body) for name, body in rows(shown).items()}
    assert list(by_kind) == ["two steels", "practised and novice sharpeners", "two sharpeners of one class", "two testers",
                             "two blades of one steel", "two runs with nothing changed"]  # fmt: skip
    early, late = 0, 2
    sharpener, tester = by_kind["two sharpeners of one class"], by_kind["two testers"]
    assert words(sharpener[late]) == "×1.34 (×1.17 to ×1.8); most pairs below ×2.34" and "bar-mark" in sharpener[late + 1]
    assert words(tester[late]).endswith("; mostly the prior") and "mostly" not in words(sharpener[late])
    for row in (sharpener, tester):
        assert words(row[early]) == "the prior alone" and "<svg" not in row[early + 1]
    practised = words(by_kind["practised and novice sharpeners"][late])
    assert practised.startswith("×1.35 (") and "most pairs" not in practised and "prior" not in practised
    told = words(shown)
    for row in pool.endpoints[0].model.matters:
        assert (row.sentence in told) == (row.state == "withheld")
    assert all(len(row) == 4 for row in by_kind.values()), "an endpoint without a fit has no column"


def test_a_reason_common_to_several_endpoints_is_said_once(pool):
    early, late = pool.endpoints[:2]
    both = withheld([early, late.model_copy(update={"model": early.model})])
    assert [note.roles for note in both] == [("early", "late")] * 2
    assert [note.text for note in both] == [row.sentence for row in early.model.matters if row.state == "withheld"]
    assert withheld([late]) == []


def test_the_page_of_an_endpoint_says_what_stands_in_the_model_its_priors_and_how_it_was_computed(pages, pool):
    said, model = words(section(pages[f"{POOL}/late/index.md"], "model-of-all")), pool.endpoints[1].model
    assert model.matters_sentence in said and "Fixed: steel, practised or novice sharpener." in said
    for wanted in ("40, 4", "4096, 1880", "0.34", "at most 0.72 % of the half-width", f"Not estimable: {model.not_held[0]}.", "×1.04 ("):
        assert wanted in said
    table = rows(section(pages[f"{POOL}/late/index.md"], "model-of-all"))
    assert [words(cell) for cell in cells(table["sharpener"])] == ["4", "0.31", "ratios of 1.5 are common"]


def test_a_model_without_a_posterior_has_its_reason_and_no_answer_has_a_number(pages, pool):
    page, life = pages[f"{POOL}/life/index.md"], pool.endpoints[2]
    said = words(section(page, "model-of-all"))
    assert life.model.matters_sentence in said and "The computation did not pass its checks." in said
    for one in life.steels:
        row = words(rows(page)[f"{one.first} against {one.second}"])
        assert "×" not in row and "not fitted" in row


def test_effects_of_people_are_a_distribution_only(pages):
    assert "never who stands where" in words(section(pages[f"{POOL}/index.md"], "matters"))


def test_bars_of_spreads_stand_where_their_ratios_do_and_an_arrow_goes_on_beyond_the_scale(pool):
    on = SpreadAxis(2.0, 1.25)
    assert [on.x(ratio) for ratio in (1.0, 2**0.5, 2.0, 50.0)] == pytest.approx([10, 120, 230, 230])
    assert reach_of([1.1, None, 1.9]) == 2.0 and reach_of([]) == 1.5 and reach_of([99.0]) == 16.0
    sharpener = next(row for row in pool.endpoints[1].model.matters if row.what == "sharpener")
    assert "bar-head" not in how_much_bar(sharpener, on) and "bar-head" in how_much_bar(sharpener, SpreadAxis(1.5, 1.25))
    withheld_one = next(row for row in pool.endpoints[0].model.matters if row.what == "sharpener")
    assert how_much_bar(withheld_one, on) == ""
    assert 'text-anchor="start">×1<' in scale(on) and 'text-anchor="end">×2<' in scale(on)


def test_a_spread_of_the_crossed_model_is_a_mark_without_limits_or_nothing(pool):
    on, (given, nothing) = SpreadAxis(2.0, 1.25), (
        next(s for s in pool.endpoints[1].crossed.spreads if s.what == what) for what in ("sharpener", "tester")
    )  # fmt: skip
    assert "bar-mark" in spread_bar(given, on) and "bar-interval" not in spread_bar(given, on) and spread_bar(nothing, on) == ""


def test_a_pair_known_only_through_others_has_an_answer_like_any_other_and_its_path_among_the_other_methods(pages):
    shown = section(pages[f"{POOL}/late/index.md"], "network")
    linked = words(rows(shown)[f"{PAIRS[5][0]} against {PAIRS[5][1]}"])
    assert "×1.45" in linked and "never met; linked by demo-plain-carbon → demo-fine-stainless → demo-powder-stainless" in linked
    lone = words(rows(shown)[f"demo-high-speed against {LONE_STEEL}"])
    assert "×" not in lone and f"No chain of comparisons leads to {LONE_STEEL}." in lone
    assert "×2.35 (" in words(rows(pages[f"{POOL}/index.md"])[f"{PAIRS[5][0]} against {PAIRS[5][1]}"])
    pair = words(pages[compare(*PAIRS[5])])
    assert "no submissions with both" in pair or "0 submissions with both" in pair
    assert "No submission tested both, so there is nothing to show study by study." in pair


def test_the_other_methods_stand_folded_below_the_answers(pages):
    page = pages[f"{POOL}/late/index.md"]
    assert page.index('id="model-of-all"') < page.index('id="other-methods"') < page.index('id="network"') < page.index('id="model"')
    folded = page[page.index('id="other-methods"') :]
    for name in ("The network of steels", "The crossed model by restricted likelihood"):
        assert f"<details><summary>{name}</summary>" in folded


def test_a_pair_says_what_new_hands_would_meet_and_read(pages, pool):
    for n in (0, 1):
        one, shown = pool.endpoints[1].steels[n], words(section(pages[compare(*PAIRS[n])], "new-hands"))
        for limits in (one.new_hands, one.new_hands_measured):
            assert f"{ratio_text(limits.low)} to {ratio_text(limits.high)}" in shown
        assert "2 runs each" in shown


def test_a_pair_says_whether_it_depends_on_the_method_and_lists_every_method(pages, pool):
    for n in (0, 1):
        one, shown = pool.endpoints[1].steels[n], section(pages[compare(*PAIRS[n])], "methods")
        assert one.methods_sentence in words(shown)
        table = rows(shown[shown.index("Sharpness after 160 cuts.") :])
        assert next(iter(table)) == "hierarchical model (the headline)"
        for line in one.methods[1:]:
            assert ("×" in words(table[line.method])) == ("<svg" in table[line.method]) == (line.result is not None)
            assert line.reason in words(table[line.method])
    outside = words(section(pages[compare(*PAIRS[1])], "methods"))
    assert "It does depend on the method" in outside and "It does depend" not in words(section(pages[compare(*PAIRS[0])], "methods"))


def test_what_weakens_an_answer_stands_on_its_page(pages):
    assert "early Few comparisons across people." in words(pages[compare(*PAIRS[1])])
    assert "Few comparisons across people" not in words(pages[compare(*PAIRS[0])])


def test_single_blades_have_a_ratio_and_no_verdict(pages, pool):
    page = pages[f"{POOL}/late/index.md"]
    page = page[: page.index('id="model-of-all"')]
    row, one = words(rows(page)[f"{PAIRS[3][0]} against {PAIRS[3][1]}"]), pool.endpoints[1].steels[3]
    assert f"{ratio_text(one.result.ratio)} (" in row and "of these blades only: no verdict" in row and "better" not in row


def test_what_the_runs_cannot_tell_has_its_reason_and_no_number(pages, pool):
    pair = pages[compare(*PAIRS[2])]
    assert 'id="new-hands"' not in pair and 'id="methods"' not in pair
    assert pool.endpoints[1].steels[2].reason in words(pair)
    model = rows(section(pages[f"{POOL}/late/index.md"], "model").split('id="contrasts"')[1])
    told = model[f"{PAIRS[2][0]} against {PAIRS[2][1]}"]
    assert "×" not in words(told) and "<svg" not in told and "no: Steel and sharpener move together." in words(told)


def test_curves_against_each_other_name_their_finding_and_have_their_figures_beside_them(pages, pool):
    shown, along = section(pages[compare(*PAIRS[0])], "along"), pool.curve_comparisons[0]
    labels = re.findall(r'<div class="chart chart-(?:wide|narrow)" role="img" aria-label="([^"]*)">', shown)
    assert len(labels) == 4 and all(along.sentence in words(label) for label in labels)
    bodies = re.findall(r"<tbody>(.*?)</tbody>", shown, re.DOTALL)
    assert [c.count("<tr>") for c in bodies] == [len(along.same_work), len(along.same_sharpness), len(along.same_sharpness_from_start)]
    assert "×1.36 to unbounded" in words(bodies[1]) and "unbounded" not in words(bodies[0])
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
    assert "no number" in words(random_terms["tester"]) and words(random_terms["sharpener"]).endswith("0.31")


def test_a_pool_of_which_nothing_is_modelled_has_none_of_the_sections() -> None:
    few = results(measured=1, simulated=0)
    bare = few.model_copy(
        update={
            "pools": tuple(
                p.model_copy(
                    update={
                        "endpoints": tuple(
                            e.model_copy(update={"crossed": None, "model": None, "steels": (), "practice": None}) for e in p.endpoints
                        ),
                        "curve_comparisons": (),
                        "quoted": None,
                    }
                )
                for p in few.pools
            )
        }
    )
    for path, text in generate_pages(bare):
        if path.startswith(POOL):
            assert not re.search(r'id="(matters|methods|new-hands|along|model|model-of-all|network|probes)"', text), path


def test_what_references_show_stands_on_the_page_of_their_pool_and_nowhere_else(pages):
    few = results(measured=4, simulated=0)
    spread = {"typical_low": 1.05, "typical_high": 1.4, "most_ratio": 1.9, "ln_sd": 0.2, "levels": 6, "sentence": "Said once."}
    told = ReferencesResult(
        state="fitted", reason="", edges=12, readings=24, evenings=6, rigs=6, packs=2, lots=3, weights=0, scales=0, wear=None, drift=None,
        spreads=(
            ReferenceSpread(what="rig", typical_ratio=1.21, from_prior_percent=40.0, **spread),
            ReferenceSpread(what="pack", typical_ratio=1.07, from_prior_percent=97.0, **spread),
        ),
        sentences=("Twelve edges were read.", "They drift."),
    )  # fmt: skip
    given = few.model_copy(update={"pools": tuple(p.model_copy(update={"references": told}) for p in few.pools)})
    page = dict(generate_pages(given))[f"{POOL}/index.md"]
    shown = section(page, "references")
    assert all(sentence in words(shown) for sentence in told.sentences)
    found = rows(shown)
    assert [("mostly the prior" in words(body)) for body in found.values()] == [False, True]
    assert [ratio_text(s.typical_ratio) in words(body) for s, body in zip(told.spreads, found.values(), strict=True)] == [True, True]
    assert "<svg" in shown and 'href="../../methods/#references"' in shown
    assert not any('id="references"' in text for text in pages.values())


def test_pairs_of_steels_are_folded_away_where_none_has_a_ratio(pages):
    """A pool about levels or sharpeners may hold ten pairs that it cannot compare: they stay, each with its page, but not in the way."""
    few = results(measured=4, simulated=0)
    without = {pair: answers.answer(answers.KINDS.index("not estimable"), *pair) for pair in PAIRS}
    none = few.model_copy(
        update={
            "pools": tuple(
                p.model_copy(update={"endpoints": tuple(e.model_copy(update={"steels": tuple(without.values())}) for e in p.endpoints)})
                for p in few.pools
            )
        }
    )
    given = dict(generate_pages(none))
    told, folded = (section(found[f"{POOL}/index.md"], "steels") for found in (pages, given))
    assert "<details" not in told and "this is not a ranking" in words(told)
    assert "this is not a ranking" not in words(folded) and "These runs give no ratio of any two steels." in words(folded)
    before, _, inside = folded.partition("<details>")
    assert "<table" not in before and [f"{first} against {second}" in words(inside) for first, second in PAIRS] == [True] * len(PAIRS)
    assert f"Pairs of steels: {len(PAIRS)}" in words(inside) and all(compare(*pair) in given for pair in PAIRS)
