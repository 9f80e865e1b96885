"""The crossed model, network, curves and probes, arranged for the templates. Nothing is estimated here."""

from __future__ import annotations

from dataclasses import dataclass

from aggregator.bundle.analysis import CrossedContrast, CrossedResult, CurveComparison, NetworkLine, PracticeContrast, Spread
from aggregator.bundle.model import EndpointResult, Pool

from . import spread_bars
from .words import endpoints_in_order

TERM_ORDER = ("sharpener", "tester", "blade", "batch", "steel × sharpener", "steel × tester", "submission", "run-to-run")
FIRST_VIEW = ("sharpener", "tester", "blade", "run-to-run")
TERM_WORDS = {
    "sharpener": "two sharpeners",
    "tester": "two testers",
    "blade": "two blades of one steel",
    "batch": "two batches of one steel",
    "steel × sharpener": "a steel's ratio, from sharpener to sharpener",
    "steel × tester": "a steel's ratio, from tester to tester",
    "submission": "two submissions",
    "run-to-run": "two runs with nothing changed",
}


@dataclass(frozen=True)
class PairAtEndpoint:
    """What the models of all runs say about one pair of steels at one endpoint."""

    endpoint: EndpointResult
    contrast: CrossedContrast | None
    practice: PracticeContrast | None
    line: NetworkLine | None


@dataclass(frozen=True)
class Note:
    """What limits some figures: parts of the dulling, terms in words (empty: all of them), and the limit."""

    roles: tuple[str, ...]
    terms: str
    text: str


def modelled(pool: Pool) -> list[EndpointResult]:
    """Endpoints that the crossed model was asked for, early and late first."""
    return [e for e in endpoints_in_order(pool) if e.crossed is not None]


def fitted(pool: Pool) -> list[EndpointResult]:
    """Endpoints whose runs the crossed model fits."""
    return [e for e in modelled(pool) if e.crossed.state == "fitted"]


def primary(pool: Pool) -> EndpointResult | None:
    """The pool's primary endpoint, where the crossed model was asked for it."""
    return next((e for e in modelled(pool) if e.primary), None)


def terms(endpoints: list[EndpointResult], only: tuple[str, ...] = ()) -> list[str]:
    """Random terms met at any of ``endpoints``, in a fixed order; of those named in ``only``, if any are."""
    met = {s.what for e in endpoints if e.crossed is not None for s in e.crossed.spreads}
    return sorted((t for t in met if not only or t in only), key=lambda t: (TERM_ORDER.index(t) if t in TERM_ORDER else -1, t))


def term(what: str) -> str:
    """A random term as the head of a row."""
    return TERM_WORDS.get(what, what)


def spread_of(model: CrossedResult | None, what: str) -> Spread | None:
    """One random term of a model; None where it does not stand in it."""
    return next((s for s in model.spreads if s.what == what), None) if model is not None else None


def notes(endpoints: list[EndpointResult], only: tuple[str, ...]) -> list[Note]:
    """What limits the figures of the terms in ``only``, said once for all the terms and endpoints it is true of."""
    by_endpoint = {e.id: _notes(e.crossed, only) for e in endpoints}
    said: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for endpoint in endpoints:
        for text, whats in by_endpoint[endpoint.id].items():
            said.setdefault((text, whats), []).append(endpoint.role)
    return [Note(tuple(roles), ", ".join(term(w) for w in whats), text) for (text, whats), roles in said.items()]


def _notes(model: CrossedResult | None, only: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Text to the terms it is said of; none where it is said of the whole model."""
    if model is None:
        return {}
    found: dict[str, tuple[str, ...]] = {model.reason: ()} if model.reason else {}
    for what in only:
        spread = spread_of(model, what)
        for text in (spread.reason, f"the figure stands for {spread.holds}." if spread.holds else "") if spread is not None else ():
            if text:
                found[text] = (*found.get(text, ()), what)
    return found


def axes(endpoints: list[EndpointResult], only: tuple[str, ...]) -> dict[str, spread_bars.SpreadAxis]:
    """One scale of typical ratios for all endpoints, with each endpoint's worthwhile ratio."""
    models = [e.crossed for e in endpoints if e.crossed is not None]
    shown = [s for m in models for s in m.spreads if not only or s.what in only]
    ratios = [r for s in shown for r in (s.typical_ratio, s.typical_high)] + [m.steels_typical for m in models]
    reach = spread_bars.reach_of(ratios)
    return {e.id: spread_bars.SpreadAxis(reach, e.worthwhile_ratio) for e in endpoints}


def of_pair(pool: Pool, first: str, second: str) -> list[PairAtEndpoint]:
    """One pair at every endpoint, early, late and overall."""
    return [
        PairAtEndpoint(
            e,
            _pair_in(e.crossed.contrasts if e.crossed is not None else (), first, second),
            _pair_in(e.crossed.practice if e.crossed is not None else (), first, second),
            _pair_in(e.network.lines if e.network is not None else (), first, second),
        )
        for e in endpoints_in_order(pool)
    ]


def curves_of(pool: Pool, first: str, second: str) -> CurveComparison | None:
    """Their curves against each other; None where nobody asked."""
    return _pair_in(pool.curve_comparisons, first, second)


def never_met(endpoint: EndpointResult | None) -> list[NetworkLine]:
    """Pairs of steels that no submission holds both of."""
    return [line for line in endpoint.network.lines if line.evidence != "direct"] if endpoint is not None and endpoint.network else []


def _pair_in(found, first: str, second: str):
    return next((x for x in found if (x.first, x.second) == (first, second)), None)
