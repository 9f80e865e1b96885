"""Choose the evidence yourself: one page for all pairs, which loads the submissions of the one that its address names."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.results.model.results import Pool, Results
from edgehold.results.tables.evidence import Evidence, all_evidence, draws, evidence_of
from edgehold.results.words.ratio_scale import scale_for_browser
from edgehold.words import Reason, group

from . import addresses, choose
from .formatting import pool_name
from .page import Page, render
from .tonight_pages import inert_json

SIDES = ("times", "side_life", "side_other", "short_level", "short_practice", "short_sharpener")  # of the patterns of an own answer


def explorer(results: Results) -> Page:
    """The page, with the list of pairs, the words and the points of its prediction intervals as data."""
    found = all_evidence(results)
    pools = [*choose.measured(results), *choose.simulated(results)]
    data = {
        "pools": [_pool(pool, [one for one in found if one.pool is pool]) for pool in pools if any(one.pool is pool for one in found)],
        "says": {**group("explorer"), **{f"interest_{name}": text for name, text in _interests()}},
        "sides": {name: group("own_answer")[name] for name in SIDES},
        "scale": scale_for_browser(),
        "draws": draws(),
    }
    html = render("explore.html", data=inert_json(data), pairs=len(found))
    return Page(addresses.EXPLORER, Reason("explorer.title"), html, "Results", Reason("explorer.told"))


def explored(pool: Pool, factor: str, first: str, second: str) -> str:
    """Where a reader chooses among the submissions of one pair; empty where none has a ratio."""
    one = next((one for one in evidence_of(pool) if one.compared == (factor, first, second)), None)
    return "" if one is None else addresses.explorer(one.pool_id, one.pair_id)


def _interests() -> Iterable[tuple[str, object]]:
    words = group("pages")
    return ((name, words[f"interest_{name}"]) for name in ("none", "owner", "maker", "seller", "not_stated"))


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
    factor, first, second = of.compared
    if factor == "steel":
        answers = choose.of_pair(pool, factor, first, second)
        target = addresses.pair(pool, answers[0][1]) if answers else addresses.pool(pool)
    else:
        target = addresses.levels(pool) if factor == "level" else addresses.sharpening(pool)
    return addresses.relative(addresses.EXPLORER, target)
