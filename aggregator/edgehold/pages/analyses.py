"""The crossed model, network, curves and probes, arranged for the templates. Nothing is estimated here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from edgehold.results.model.analyses import CrossedResult, CurveComparison, Spread
from edgehold.results.model.answers import HowMuchResult, ModelResult
from edgehold.results.model.references import ReferencesResult
from edgehold.results.model.results import EndpointResult, Pool

from . import spread_bars
from .formatting import endpoints_in_order, word

KIND_ORDER = ("steel", "level", "practice", "sharpener", "tester", "blade", "batch", "lot", "evening", "pair", "submission", "run-to-run")
TERM_ORDER = (
    "sharpener", "tester", "blade", "batch", "steel × sharpener", "steel × tester", "level × steel", "level × submission", "submission",
    "run-to-run",
)  # fmt: skip
NOT_ONLY_TERMS = ("level", "practice", "sharpener", "lot", "evening", "pair")  # what the hierarchical model tells otherwise, or besides


@dataclass(frozen=True)
class Note:
    """A sentence on what limits some figures, and the parts of the dulling it is said of."""

    roles: tuple[str, ...]
    text: str


def modelled(pool: Pool) -> list[EndpointResult]:
    """Endpoints that the crossed model was asked for, early and late first."""
    return [e for e in endpoints_in_order(pool) if e.crossed is not None]


def fitted(pool: Pool) -> list[EndpointResult]:
    """Endpoints whose runs the crossed model fits, early and late first."""
    return [e for e in modelled(pool) if e.crossed is not None and e.crossed.state == "fitted"]


def answered(pool: Pool) -> list[EndpointResult]:
    """Endpoints whose runs the hierarchical model fits, early and late first."""
    return [e for e in endpoints_in_order(pool) if e.model is not None and e.model.state == "fitted"]


def primary(pool: Pool) -> EndpointResult | None:
    """The pool's primary endpoint, where the hierarchical model fits it."""
    return next((e for e in answered(pool) if e.primary), None)


def _matters(endpoint: EndpointResult) -> tuple[HowMuchResult, ...]:
    return () if endpoint.model is None else endpoint.model.matters


def kinds(endpoints: list[EndpointResult]) -> list[str]:
    """Everything of which two can differ at any of ``endpoints``, in a fixed order."""
    met = {row.what for e in endpoints for row in _matters(e)}
    return sorted(met, key=lambda name: (KIND_ORDER.index(name) if name in KIND_ORDER else len(KIND_ORDER), name))


def kind(what: str) -> str:
    """What two of differ, as the head of a row."""
    return word("kind", what) if what in NOT_ONLY_TERMS else term(what)


def how_much(model: ModelResult, what: str) -> HowMuchResult | None:
    """One row of a model; None where it does not stand in it."""
    return next((row for row in model.matters if row.what == what), None)


def matters_axes(endpoints: list[EndpointResult]) -> dict[str, spread_bars.SpreadAxis]:
    """One scale of typical ratios for all endpoints, with each endpoint's worthwhile ratio."""
    reach = spread_bars.reach_of(row.typical_ratio for e in endpoints for row in _matters(e))
    return {e.id: spread_bars.SpreadAxis(reach, e.worthwhile_ratio) for e in endpoints}


def references_axis(pool: Pool, references: ReferencesResult) -> spread_bars.SpreadAxis:
    """A scale of typical ratios for what references show, with the primary endpoint's worthwhile ratio."""
    worthwhile = next(e.worthwhile_ratio for e in pool.endpoints if e.primary)
    return spread_bars.SpreadAxis(spread_bars.reach_of(row.typical_ratio for row in references.spreads), worthwhile)


def withheld(endpoints: list[EndpointResult]) -> list[Note]:
    """Why some kinds have no figure, said once for all endpoints it is true of."""
    said = [(row.sentence, e.role) for e in endpoints for row in _matters(e) if row.state == "withheld"]
    return [Note(roles, text) for text, roles in _gathered(said)]


def terms(endpoints: list[EndpointResult], only: tuple[str, ...] = ()) -> list[str]:
    """Random terms met at any of ``endpoints``, in a fixed order; of those named in ``only``, if any are."""
    met = {s.what for e in endpoints if e.crossed is not None for s in e.crossed.spreads}
    return sorted((t for t in met if not only or t in only), key=lambda t: (TERM_ORDER.index(t) if t in TERM_ORDER else -1, t))


def term(what: str) -> str:
    """A random term as the head of a row."""
    return word("term", what) if what in (*TERM_ORDER, "steel") else what


def spread_of(model: CrossedResult | None, what: str) -> Spread | None:
    """One random term of a model; None where it does not stand in it."""
    return next((s for s in model.spreads if s.what == what), None) if model is not None else None


def _gathered(said: Iterable[tuple[str, str]]) -> list[tuple[str, tuple[str, ...]]]:
    """Everything said once, with the parts of the dulling it is said of."""
    found: dict[str, tuple[str, ...]] = {}
    for text, role in said:
        found[text] = (*found.get(text, ()), role)
    return list(found.items())


def axes(endpoint: EndpointResult) -> spread_bars.SpreadAxis:
    """A scale for the spreads of the crossed model."""
    shown = endpoint.crossed.spreads if endpoint.crossed is not None else ()
    return spread_bars.SpreadAxis(
        spread_bars.reach_of(r for s in shown for r in (s.typical_ratio, s.typical_high)), endpoint.worthwhile_ratio
    )


def curves_of(pool: Pool, factor: str, first: str, second: str) -> CurveComparison | None:
    """Their curves against each other; None where nobody asked."""
    return next((x for x in pool.curve_comparisons if (x.factor, x.first, x.second) == (factor, first, second)), None)
