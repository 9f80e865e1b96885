"""A page a steel: what every pool says about it, medium by medium."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.answers import Answer
from edgehold.results.model.results import EndpointResult, Pool, Results, SteelResult
from edgehold.results.words.sentences import lead_answer
from edgehold.words import Reason, listed, small

from . import addresses, bars, choose, compared, families
from .formatting import endpoints_in_order
from .page import Findable, Page, render

DECIDED = ("better", "worse", "different, size undecided", "no difference worth having")
STATES = ("ahead", "behind", "over", "under", "alike", "open")


def steel_pages(results: Results) -> Iterator[Page]:
    """The index and a page for every steel that some submission names."""
    rows = [(steel, [p for p in results.pools if _compares(p, steel.id)]) for steel in sorted(results.steels, key=_order)]
    yield Page(
        "/steels/", "Steels", render("steels.html", rows=rows, families=families.by_family(results)), "Results", Reason("pages.steels_told")
    )
    known = {steel.id for steel in results.steels}
    pairs = [pair for pair in compared.pairs(results) if pair.factor == "steel"]
    for steel, pools in rows:
        yield _steel(steel, pools, known, [pair for pair in pairs if steel.id in (pair.first, pair.second)])


def _order(steel: SteelResult) -> tuple[bool, str]:
    return steel.simulated, steel.id


def _compares(pool: Pool, steel: str) -> bool:
    return any(steel in (c.first, c.second) for e in pool.endpoints for c in e.steels)


def _told(pool: Pool) -> bool:
    """Whether the pool's page holds families against each other."""
    told = families.shown(pool)
    return told is not None and bool(told.found)


def _steel(steel: SteelResult, pools: list[Pool], known: set[str], pairs: list[compared.Pair]) -> Page:
    sections = [
        (
            pool,
            endpoints_in_order(pool),
            {e.id: bars.axis_of(e, e.steels) for e in pool.endpoints},
            [
                (first, second, {e.id: c for e, c in choose.of_pair(pool, "steel", first, second)})
                for first, second in choose.pairs(pool, "steel")
                if steel.id in (first, second)
            ],
        )
        for pool in pools
    ]
    finding = _finding(steel.id, pools)
    html = render(
        "steel.html", steel=steel, sections=sections, families=[_told(pool) for pool in pools], known=known, pairs=pairs, finding=finding
    )
    found = Findable("steel", choose.called(steel), steel.note or listed(list(choose.called(steel))))
    name = f"Steel {steel.id}"
    return Page(addresses.steel(steel.id), name, html, "Results", finding, record=True, found=found, simulated=steel.simulated)


def _finding(steel: str, pools: list[Pool]) -> str:
    """What is known of a steel, in one sentence: by the pool that tells most of it, at the endpoint by which that pool is named."""
    leads = [(pool, _at_lead(pool, steel)) for pool in choose.measured_or_simulated(pools)]
    told = [(pool, e, answers) for pool, (e, answers) in leads if e is not None and lead_answer(answers) is not None]
    if not told:
        return Reason("compare.steel_no_ratio" if pools else "compare.steel_alone", steel=steel)
    pool, e, answers = max(told, key=lambda one: (any(_judged(c) for c in one[2]), sum(c.direct_submissions for c in one[2])))
    by_state: dict[str, list[str]] = {}
    for c in answers:
        by_state.setdefault(_state(c, steel), []).append(c.second if c.first == steel else c.first)
    where = {"medium": pool.medium, "steel": steel, "endpoint": small(e.title)}
    if set(by_state) == {"open"}:
        return Reason("compare.steel_nothing", names=listed(by_state["open"]), **where)
    clauses = [Reason(f"compare.steel_{state}_{e.quantity}", names=listed(by_state[state])) for state in STATES if state in by_state]
    return Reason("compare.steel_known", told="; ".join(clauses), **where)


def _at_lead(pool: Pool, steel: str) -> tuple[EndpointResult | None, list[Answer]]:
    """The endpoint by which a pool is named, and its answers on a steel."""
    endpoint = next((e for e in pool.endpoints if e.id == choose.lead_endpoint(pool)), None)
    return endpoint, [c for c in endpoint.steels if steel in (c.first, c.second)] if endpoint is not None else []


def _judged(answer: Answer) -> bool:
    """Whether it says something of the steels, and not of single blades alone."""
    return answer.result is not None and answer.general is None


def _state(answer: Answer, steel: str) -> str:
    """Where a steel stands against another, by the verdict's code."""
    if not _judged(answer) or answer.verdict not in DECIDED:
        return "open"
    if answer.verdict == "no difference worth having":
        return "alike"
    above = compared.first_is_ahead(answer) == (answer.first == steel)
    if answer.verdict == "different, size undecided":
        return "over" if above else "under"
    return "ahead" if above else "behind"
