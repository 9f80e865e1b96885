"""Results: the index, a page a pool, its endpoints, its pairs of steels, and what sharpening did."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import partial

from edgehold.engine.tasks import found_as, kept_as
from edgehold.results.model.analyses import CrossedContrast, NetworkLine
from edgehold.results.model.answers import Answer
from edgehold.results.model.results import EndpointResult, Pool, Results
from edgehold.words import Reason

from . import addresses, analyses, bars, choose, contrast_curves, families
from .curves import curves
from .curves import specifications as of_curves
from .drawings import draw
from .explorer_pages import explored
from .formatting import endpoints_in_order, pool_name
from .log_pages import address_of
from .page import Findable, Page, hash_of, render

Doubts = Mapping[tuple[str, str, str], str]
"""Where a reader chooses the evidence of a pair, by factor, first and second."""


def result_pages(results: Results) -> Iterator[Page]:
    """The index and everything below it."""
    html = render("results.html", measured=choose.measured(results), simulated=choose.simulated(results))
    yield Page("/results/", "Results", html, "Results", Reason("pages.results_told"))
    for decided, given in _asked(results):
        yield from kept_as(_of_pool, decided, partial(_of_pool, *given))


def draw_curves(results: Results) -> None:
    """Draw the curves of the pools whose pages are not kept, which takes longer than all else of these pages."""
    anew = [pool for decided, (pool, *_) in _asked(results) if found_as(_of_pool, decided) is None]
    draw([one for pool in anew for of in (of_curves, contrast_curves.specifications) for one in of(pool)])


Given = tuple[Pool, str, int, Mapping[str, tuple[str, ...]]]


def _asked(results: Results) -> Iterator[tuple[tuple[object, ...], Given]]:
    """What decides the pages of each pool, and what they are made from."""
    called = {steel.id: choose.called(steel) for steel in results.steels}
    for pool in results.pools:
        log = address_of(results, pool.protocol, pool.major, pool.origin)
        failed = sum((one.protocol, one.major, one.origin) == (pool.protocol, pool.major, pool.origin) for one in results.not_fitted)
        yield (hash_of(pool), log, failed, called), (pool, log, failed, called)


def _of_pool(pool: Pool, log: str, failed: int, called: Mapping[str, tuple[str, ...]]) -> tuple[Page, ...]:
    """A pool's own page and all below it; ``failed`` is how much of it has no figures, ``called`` what steels are called."""
    doubts = explored(pool)
    return (
        _pool(pool, log, failed),
        *(_endpoint(pool, e) for e in pool.endpoints),
        *(_pair(pool, first, second, log, called, doubts) for first, second in choose.pairs(pool, "steel")),
        *([_sharpening(pool, log, doubts)] if choose.practice(pool) else ()),
        *([_levels(pool, log, doubts)] if choose.pairs(pool, "level") else ()),
    )


def _simulated(pool: Pool) -> bool:
    return pool.origin == "simulated"


def axes(pool: Pool) -> dict[str, bars.Axis]:
    """One scale an endpoint, common to all its comparisons of steels."""
    return {e.id: bars.axis_of(e, e.steels) for e in pool.endpoints}


def _pool(pool: Pool, log: str, not_fitted: int) -> Page:
    endpoints = endpoints_in_order(pool)
    table = [(first, second, _by_endpoint(pool, first, second)) for first, second in choose.pairs(pool, "steel")]
    html = render(
        "pool.html",
        pool=pool,
        log=log,
        not_fitted=not_fitted,
        endpoints=endpoints,
        axes=axes(pool),
        table=table,
        steels_told_apart=any(c.result is not None for _, _, answers in table for c in answers.values()),
        levels_compared=[
            (*pair, found, _common_axis(found)) for pair in choose.pairs(pool, "level") for found in [choose.of_pair(pool, "level", *pair)]
        ],
        practice=choose.practice(pool),
        practice_axis=_practice_axis(pool),
        families=families.shown(pool),
        chart=curves(pool, pool.headline),
    )
    return Page(
        addresses.pool(pool),
        f"Results: {pool_name(pool)}",
        html,
        "Results",
        pool.headline,
        record=True,
        simulated=_simulated(pool),
        found=Findable("result", (pool.protocol, pool.medium)),
    )


def _by_endpoint(pool: Pool, first: str, second: str) -> dict[str, Answer]:
    return {e.id: c for e, c in choose.of_pair(pool, "steel", first, second)}


def _practice_axis(pool: Pool) -> bars.Axis | None:
    found = choose.practice(pool)
    if not found:
        return None
    return _common_axis(found)


def _endpoint(pool: Pool, endpoint: EndpointResult) -> Page:
    html = render(
        "endpoint.html",
        pool=pool,
        endpoint=endpoint,
        network_axis=_network_axis(endpoint, endpoint.network.lines if endpoint.network is not None else ()),
        model_axis=_model_axis([(endpoint, c) for c in endpoint.crossed.contrasts] if endpoint.crossed is not None else []),
        spread_axis=analyses.axes(endpoint),
    )
    name = f"{endpoint.title}: {pool_name(pool)}"
    found = Findable("endpoint", (endpoint.id, endpoint.role), pool.headline if endpoint.primary else endpoint.sharpening)
    return Page(addresses.endpoint(pool, endpoint.id), name, html, "Results", record=True, found=found, simulated=_simulated(pool))


def _network_axis(endpoint: EndpointResult, lines: Iterable[NetworkLine]) -> bars.Axis:
    return bars.axis([line.result for line in lines], endpoint.worthwhile_ratio)


def _model_axis(found: list[tuple[EndpointResult, CrossedContrast]]) -> bars.Axis:
    """A scale for contrasts of the crossed model and what new hands would meet."""
    worthwhile = min((e.worthwhile_ratio for e, _ in found), default=1.0)
    return bars.axis([r for _, c in found for r in (c.result, c.new_hands)], worthwhile)


def _pair(pool: Pool, first: str, second: str, log: str, called: Mapping[str, tuple[str, ...]], doubts: Doubts) -> Page:
    html = render("pair.html", pool=pool, log=log, **_of_pair(pool, "steel", first, second, doubts))
    name = f"{first} and {second}: {pool.protocol} version {pool.major}"  # short enough to stay unlike any other when cut
    _, answer = choose.of_pair(pool, "steel", first, second)[0]
    found = Findable("pair", (*called.get(first, ()), *called.get(second, ())), answer.sentence)
    return Page(addresses.pair(pool, answer), name, html, "Results", record=True, found=found, simulated=_simulated(pool))


def _of_pair(pool: Pool, factor: str, first: str, second: str, doubts: Doubts) -> dict[str, object]:
    """What a page shows of one pair of steels or levels."""
    found = choose.of_pair(pool, factor, first, second)
    by_studies = choose.by_studies(pool, factor, first, second)
    along = analyses.curves_of(pool, factor, first, second)
    return {
        "first": first,
        "second": second,
        "found": found,
        "common": _common_axis(found),
        "by_studies": by_studies,
        "curves": along,
        "doubt": doubts.get((factor, first, second), ""),
        "same_work": contrast_curves.same_work(pool, along) if along is not None else "",
        "same_sharpness": contrast_curves.same_sharpness(pool, along) if along is not None else "",
    }


def _common_axis(found: list[tuple[EndpointResult, Answer]]) -> bars.Axis:
    """One scale for a comparison's answers, what new hands would meet and what other methods say."""
    results = [r for _, c in found for r in (c.result, c.new_hands, *(line.result for line in c.methods))]
    return bars.axis(results, min(e.worthwhile_ratio for e, _ in found))


def _sharpening(pool: Pool, log: str, doubts: Doubts) -> Page:
    found = choose.practice(pool)
    by_studies = choose.by_studies(pool, "practice", found[0][1].first, found[0][1].second)
    html = render(
        "sharpening.html",
        pool=pool,
        log=log,
        found=found,
        by_studies=by_studies,
        doubt=doubts.get(("practice", found[0][1].first, found[0][1].second), ""),
        modelled=analyses.answered(pool),
        common=_common_axis(found),
    )
    return Page(
        addresses.sharpening(pool),
        Reason("pages.practice_title", pool=pool_name(pool)),
        html,
        "Results",
        record=True,
        simulated=_simulated(pool),
        found=Findable("result", (), found[0][1].sentence),
    )


def _levels(pool: Pool, log: str, doubts: Doubts) -> Page:
    compared = choose.pairs(pool, "level")
    words = list(dict.fromkeys(word for pair in compared for word in pair))
    html = render("levels.html", pool=pool, log=log, words=words, pairs=[_of_pair(pool, "level", *pair, doubts) for pair in compared])
    return Page(
        addresses.levels(pool),
        Reason("pages.levels_title", pool=pool_name(pool)),
        html,
        "Results",
        record=True,
        simulated=_simulated(pool),
        found=Findable("levels", tuple(words)),
    )
