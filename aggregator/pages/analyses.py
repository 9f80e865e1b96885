"""The crossed model, network, curves and probes, arranged for the templates. Nothing is estimated here."""

from __future__ import annotations

from dataclasses import dataclass

from aggregator.bundle.analysis import CrossedContrast, CrossedResult, CurveComparison, NetworkLine, PracticeContrast, Spread
from aggregator.bundle.model import EndpointResult, Pool

from . import spread_bars
from .words import endpoints_in_order, sentence

TERM_ORDER = ("sharpener", "tester", "blade", "batch", "steel × sharpener", "steel × tester", "submission", "run-to-run")
FIRST_VIEW = ("sharpener", "tester", "blade", "run-to-run")
TOO_FEW_STEELS = "fewer than three of them can be told apart in these runs"
TERM_WORDS = {
    "steel": "two steels",
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
    """A sentence on what limits some figures, and the parts of the dulling it is said of."""

    roles: tuple[str, ...]
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
    """Why terms of ``only`` have no number and what the others hold, said once for all the terms and endpoints it is true of."""
    said = [((text, whats), e.role) for e in endpoints for text, whats in _notes(e.crossed, only).items()]
    named = [(", ".join(term(w) for w in whats), text, roles) for (text, whats), roles in _gathered(said)]
    return [Note(roles, sentence(f"{terms}: {text}" if terms else text)) for terms, text, roles in named]


def _notes(model: CrossedResult | None, only: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Text to the terms it is said of; none where it is said of the whole model."""
    if model is None:
        return {}
    if model.state == "not fitted":
        return {model.reason: ()}
    found: dict[str, tuple[str, ...]] = {TOO_FEW_STEELS: ("steel",)} if model.steels_typical is None else {}
    for spread in (s for what in only for s in model.spreads if s.what == what):
        limit = spread.reason if spread.state == "no number" else f"the figure stands for {spread.holds}" if spread.holds else ""
        if limit:
            found[limit] = (*found.get(limit, ()), spread.what)
    return found


def pair_notes(found: list[PairAtEndpoint]) -> list[Note]:
    """What weakens a pair's contrasts, whether submissions by themselves agree, and who sharpens; said once for all endpoints."""
    said = [(sentence(text), x.endpoint.role) for which in (_weakness, _within, _by_sharpener) for x in found if (text := which(x))]
    return [Note(roles, text) for text, roles in _gathered(said)]


def _weakness(x: PairAtEndpoint) -> str:
    return x.contrast.reason if x.contrast is not None and x.contrast.result is not None else ""


def _within(x: PairAtEndpoint) -> str:
    return x.contrast.within_note if x.contrast is not None and x.contrast.result is not None else ""


def _by_sharpener(x: PairAtEndpoint) -> str:
    return x.practice.sentence if x.practice is not None else ""


def _gathered(said: list[tuple[object, str]]) -> list[tuple[object, tuple[str, ...]]]:
    """Everything said once, with the parts of the dulling it is said of."""
    found: dict[object, tuple[str, ...]] = {}
    for text, role in said:
        found[text] = (*found.get(text, ()), role)
    return list(found.items())


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
