"""A or B: every two that some pool met have a page, with the figures of results, all methods side by side and none averaged."""

from __future__ import annotations

import itertools
import json
import re
from collections import Counter
from functools import cache
from types import SimpleNamespace

import pytest
from reading import parsed
from sample import results

from edgehold.pages import addresses, compared, one_exchange
from edgehold.pages.compare_pages import chooser
from edgehold.pages.formatting import interval, short_name
from edgehold.results.model.results import Pool, Results, SteelResult
from edgehold.results.words.sentences import ratio_text
from tests.generated import generate_pages
from tests.words.says import says

LEVELS = ("coarse", "fine")


@cache
def site_of(measured: int, simulated: int) -> dict[str, str]:
    return {path: text.split("---\n", 2)[2] for path, text in generate_pages(results(measured, simulated))}


def words(html: str) -> str:
    return " ".join("".join(parsed(html).tree.itertext()).split())


def met(found: Results) -> dict[tuple[str, str, str, str], list[Pool]]:
    """Pools by the two that they met, read off the results as they are."""
    pools: dict[tuple[str, str, str, str], list[Pool]] = {}
    for pool in found.pools:
        answers = [c for e in pool.endpoints for c in (*e.steels, *e.levels, *filter(None, [e.practice]))]
        for factor, first, second in sorted({(c.factor, c.first, c.second) for c in answers}):
            pools.setdefault((factor, pool.protocol if factor == "level" else "", first, second), []).append(pool)
    return pools


def with_levels(found: Results) -> Results:
    """The same, and two methods that each compare a coarse with a fine finish, by the figures that they have of sharpeners."""
    asking = []
    for name in ("halves-rope", "halves-card"):
        (pool,) = (p for p in found.pools if p.protocol == "two-sharpeners")
        ends = tuple(
            e.model_copy(update={"levels": (e.practice.model_copy(update={"factor": "level", "first": "coarse", "second": "fine"}),)})
            for e in pool.endpoints
            if e.practice is not None
        )
        asking.append(
            pool.model_copy(update={"protocol": name, "factor": "level", "treatment": "finish", "endpoints": ends, "quoted": None})
        )
    return found.model_copy(update={"pools": (*found.pools, *asking), "moves": ()})


@pytest.mark.parametrize(("measured", "simulated"), [(4, 4), (0, 4), (4, 0)])
def test_every_two_have_a_page_with_the_figures_of_every_method_and_no_other(measured: int, simulated: int) -> None:
    pages, found = site_of(measured, simulated), results(measured, simulated)
    expected = {addresses.source(addresses.compared(f, a, b, p)) for f, p, a, b in met(found)}
    assert expected and {path for path in pages if path.startswith("compare/") and path != "compare/index.md"} == expected
    for (factor, protocol, first, second), pools in met(found).items():
        page = pages[addresses.source(addresses.compared(factor, first, second, protocol))]
        shown = [p for p in pools if p.origin == "measured"] or pools
        figures = [
            f"{ratio_text(c.result.ratio)} ({interval(c.result)})"
            for pool in shown
            for e in pool.endpoints
            for c in (*e.steels, *e.levels, *filter(None, [e.practice]))
            if (c.factor, c.first, c.second) == (factor, first, second) and c.result is not None
        ]
        cells = re.findall(r'<td class="figure"[^>]*><strong>(.*?)</td>', page)
        assert Counter(words(cell) for cell in cells) == Counter(figures)
        for pool in shown:
            assert f'href="{addresses.relative(addresses.compared(factor, first, second, protocol), addresses.pool(pool))}' in page


def test_a_pools_own_page_of_two_leads_to_all_media_and_back() -> None:
    pages = site_of(4, 0)
    for pair in compared.pairs(results(4, 0)):
        here = pages[addresses.source(pair.address)]
        for method in pair.methods:
            assert f'href="{addresses.relative(pair.address, method.detail)}"' in here
            assert f'href="{addresses.relative(pair.address, addresses.protocol(method.pool.protocol))}"' in here
            assert f'href="{addresses.relative(method.detail, pair.address)}"' in pages[addresses.source(method.detail)]


def test_measured_results_stand_alone_and_the_demonstration_is_linked() -> None:
    both = [pair for pair in compared.pairs(results(4, 4)) if pair.demonstration]
    assert both
    for pair in both:
        assert {m.pool.origin for m in pair.methods} == {"measured"} and {m.pool.origin for m in pair.demonstration} == {"simulated"}
        page = site_of(4, 4)[addresses.source(pair.address)]
        assert addresses.relative(pair.address, pair.demonstration[0].detail) in page and 'class="banner simulated"' not in page


def test_each_medium_begins_with_what_the_verdict_comes_to_and_one_endpoint() -> None:
    for pair in compared.pairs(results(4, 0)):
        page = site_of(4, 0)[addresses.source(pair.address)]
        leads = re.findall(r'<p class="finding"><strong>(.*?)</strong>', page)
        assert len(leads) == len(pair.media)
        for lead, (_, methods) in zip(leads, pair.media, strict=True):
            e, c = methods[0].lead
            assert e.id == methods[0].pool.quoted.endpoint
            cannot = c.verdict == "undecided" or c.result is None or c.general is not None
            assert lead.startswith("Cannot yet say which") == cannot


def test_the_verdict_names_who_is_ahead() -> None:
    pair = next(p for p in compared.pairs(results(4, 0)) if p.factor == "steel" and p.methods[0].lead[1].verdict == "better")
    e, c = pair.methods[0].lead
    above, below = (c.model_copy(update={"result": c.result.model_copy(update={"ratio": ratio})}) for ratio in (2.0, 0.5))
    worse, differ = (below.model_copy(update={"verdict": verdict}) for verdict in ("worse", "different, size undecided"))
    assert [compared.in_short(e, one).arguments["ahead"] for one in (above, worse, differ)] == [pair.first, pair.second, pair.second]
    longer = compared.in_short(e.model_copy(update={"quantity": "work"}), above)
    assert longer.code == "compare.work_beyond"
    assert compared.in_short(e, differ).code == "compare.sharpness_differ"
    assert compared.in_short(e, above.model_copy(update={"verdict": "no difference worth having"})).code == "compare.alike"


def test_how_much_is_direct_and_who_has_an_interest_are_those_of_the_results() -> None:
    for pair in compared.pairs(results(4, 0)):
        page = words(site_of(4, 0)[addresses.source(pair.address)])
        for method in pair.telling:
            _, c = method.lead
            if c.evidence == "both":
                assert f"{c.direct_percent:.0f} % direct, {100 - c.direct_percent:.0f} % through others" in page
            lines = method.studies[method.lead[0].id].lines if method.lead[0].id in method.studies else ()
            counted = Counter(line.interest for line in lines) or Counter(method.pool.interests)
            assert dict(method.interests) == {name: n for name, n in counted.items() if n}


def test_levels_of_two_protocols_are_two_pages_whatever_they_are_called() -> None:
    found = [pair for pair in compared.pairs(with_levels(results(0, 4))) if pair.factor == "level"]
    assert [pair.address for pair in found] == ["/compare/halves-card/coarse-and-fine/", "/compare/halves-rope/coarse-and-fine/"]
    assert all((pair.first, pair.second) == LEVELS for pair in found)
    pages = dict(generate_pages(with_levels(results(0, 4))))
    for pair in found:
        assert f'href="{addresses.relative(pair.methods[0].detail, pair.address)}"' in pages[addresses.source(pair.methods[0].detail)]


NAMES = ("a", "b", "a-and-b", "and-b", "a-and", "and", "a.b", "..", "a/b", "a b", "a_b", "", "é", "<script>", "a" * 130, "C1.4-Cr14-V4")


def test_no_two_pairs_of_names_share_an_address_and_every_address_is_safe() -> None:
    found = [addresses.compared("steel", *pair) for pair in itertools.permutations(NAMES, 2)]
    assert len(set(found)) == len(found)
    assert all(re.fullmatch(r"/compare/[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?/", one) and ".." not in one for one in found)
    assert addresses.compared("steel", "aisi-440c", "C1.4-Cr14-V4") == "/compare/aisi-440c-and-C1.4-Cr14-V4/"


def test_two_without_a_ratio_say_which_one_exchange_would_give_it() -> None:
    silent = [pair for pair in compared.pairs(results(4, 0)) if not pair.telling]
    assert silent
    for pair in silent:
        page = words(site_of(4, 0)[addresses.source(pair.address)])
        assert "What would tell" in page and says(page, "chooser.no_method")  # the sample's protocols have no whole settings
        assert pair.methods[0].lead[1].reason in page


def test_who_sends_what_to_whom() -> None:
    rope, sharpeners = (_open_method(name, factor) for name, factor in (("rope", "steel"), ("two", "sharpener")))
    methods = {"two": sharpeners, "rope": rope}
    at = one_exchange.Table("/submissions/measured/rope/x/", "rope")
    elsewhere = one_exchange.Table("/submissions/measured/two/y/", "")
    cases = {
        "swap": ({"a": elsewhere, "b": at}, {"sent": "a", "kept": "b", "method": "Method rope"}),
        "send": ({"b": elsewhere}, {"sent": "a", "kept": "b", "method": "Method rope"}),
        "anybody": ({}, {"sent": "b", "kept": "a", "method": "Method rope"}),
    }
    for kind, (known, arguments) in cases.items():
        exchange = one_exchange.of_steels("a", "b", known, methods)
        assert (exchange.sentence.code, exchange.sentence.arguments) == (f"chooser.{kind}", arguments)
        assert [address for _, address in exchange.links][: len(known)] == [known[n].address for n in "ab" if n in known]
        assert exchange.links[-1][1] == "/tonight/?question=rope"
    assert one_exchange.of_levels("rope", methods).sentence.code == "chooser.level"
    assert one_exchange.of_practice(methods).sentence.arguments["method"] == "Method two"
    assert one_exchange.of_practice({"rope": rope}).sentence.code == "chooser.no_method"


def _open_method(name: str, factor: str) -> one_exchange.OpenMethod:
    settings = SimpleNamespace(title=f"Method {name}", question=SimpleNamespace(factor=factor, levels=()))
    return one_exchange.OpenMethod(SimpleNamespace(id=name), settings)


def test_the_chooser_knows_every_page_and_every_steel_of_the_register() -> None:
    found = with_levels(results(0, 4))
    pairs = compared.pairs(found)
    forms = {
        ("rope", "1.0.0"): {
            "designations": ["AISI/SAE 440C", "UNS S44004"],
            "steels": {"aisi/sae440c": "aisi-440c", "unss44004": "aisi-440c"},
        }
    }
    data = json.loads(json.dumps(chooser(found, pairs, {}, {}, forms)))
    assert {address for _, _, address, _ in data["pairs"]} == {pair.address.removeprefix("/compare/") for pair in pairs}
    for first, second, address, ratio in data["pairs"]:
        one, other = data["things"][first], data["things"][second]
        pair = next(p for p in pairs if p.address.removeprefix("/compare/") == address)
        assert (one["name"], other["name"], ratio) == (pair.first, pair.second, bool(pair.telling))
        assert (one["kind"], one["group"]) == (other["kind"], other["group"])
    (real,) = (thing for thing in data["things"] if thing["key"] == "aisi-440c")
    assert (real["label"], real["group"]) == ("440C", "") and {"AISI/SAE 440C", "UNS S44004"} <= set(real["names"])
    keys = [thing["key"] for thing in data["things"]]
    assert len(set(keys)) == len(keys)


def test_a_steel_is_called_as_people_call_it() -> None:
    named = SteelResult(id="aisi-d2", names=("AISI/SAE D2", "UNS T30402"), simulated=False, note="")
    assert short_name(named) == "D2"
    assert short_name(named.model_copy(update={"names": ()})) == "aisi-d2" == short_name(named.model_copy(update={"simulated": True}))


def test_a_steels_page_begins_with_what_is_known_of_it() -> None:
    pages, found = site_of(4, 0), results(4, 0)
    (pool,) = found.pools
    lead = next(e for e in pool.endpoints if e.id == pool.quoted.endpoint)
    for steel in found.steels:
        page = pages[addresses.source(addresses.steel(steel.id))]
        finding = words(re.search(r'<p class="finding">(.*?)</p>', page)[1])
        answers = [c for c in lead.steels if steel.id in (c.first, c.second)]
        if not any(c.result for c in answers):
            assert says(finding, "compare.steel_alone") or says(finding, "compare.steel_no_ratio")
            continue
        decided = [c for c in answers if c.result is not None and c.general is None and c.verdict != "undecided"]
        assert says(finding, "compare.steel_known" if decided else "compare.steel_nothing")
        for c in answers:
            assert (c.second if c.first == steel.id else c.first) in finding
        for c in decided:
            ahead = (c.verdict == "better") == (c.first == steel.id)
            other = c.second if c.first == steel.id else c.first
            clause = next(part for part in re.split("; |, (?=demo-.* was)", finding) if other in part)
            assert ("less sharp" in clause or "not last" in clause) != ahead
