"""Choose the evidence yourself: one page for all pairs, which loads the submissions of the one that its address names."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.engine.tasks import kept
from edgehold.results.model.results import Pool, Results
from edgehold.results.tables.evidence import Compared, Evidence, draws, evidence_of
from edgehold.results.words.ratio_scale import scale_for_browser
from edgehold.words import Reason, group

from . import addresses, choose
from .formatting import pool_name
from .page import Page, render
from .tonight_pages import inert_json

SIDES = ("times", "side_life", "side_other", "short_level", "short_practice", "short_sharpener")  # of the patterns of an own answer


def explorer(results: Results) -> Page:
    """The page, with the list of pairs, the words and the points of its prediction intervals as data."""
    pools = [(pool, list(evidence_of(pool))) for pool in (*choose.measured(results), *choose.simulated(results))]
    data = {
        "pools": [_pool(pool, found) for pool, found in pools if found],
        "says": {**group("explorer"), **{f"interest_{name}": text for name, text in _interests()}, **_months()},
        "sides": {name: group("own_answer")[name] for name in SIDES},
        "scale": scale_for_browser(),
        "draws": kept(draws),
    }
    html = render("explore.html", data=inert_json(data), pairs=sum(len(found) for _, found in pools))
    return Page(addresses.EXPLORER, Reason("explorer.title"), html, "Results", Reason("explorer.told"))


def explored(pool: Pool) -> dict[Compared, str]:
    """Where a reader chooses among the submissions of a pair, by pair; none where no submission has a ratio of it."""
    return {one.compared: addresses.explorer(one.pool_id, one.pair_id) for one in evidence_of(pool)}


def _interests() -> Iterable[tuple[str, object]]:
    words = group("pages")
    return ((name, words[f"interest_{name}"]) for name in ("none", "owner", "maker", "seller", "not_stated"))


def _months() -> dict[str, object]:
    return {name: text for name, text in group("card").items() if name.startswith("month_")}


def _pool(pool: Pool, found: list[Evidence]) -> dict[str, object]:
    return {
        "id": found[0].pool_id,
        "name": pool_name(pool),
        "origin": pool.origin,
        "pairs": [
            {
                "id": one.pair_id,
                "factor": one.compared[0],
                "first": one.compared[1],
                "second": one.compared[2],
                "file": one.file,
                "page": _page(pool, one),
            }
            for one in found
        ],
    }


def _page(pool: Pool, of: Evidence) -> str:
    """The published page of a pair, seen from the explorer."""
    _, comparison = choose.by_studies(pool, *of.compared)[0]
    paged = comparison.factor != "steel" or choose.of_pair(pool, *of.compared)
    return addresses.relative(addresses.EXPLORER, addresses.in_pool(pool, comparison) if paged else addresses.pool(pool))
