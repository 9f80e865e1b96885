"""What reference edges and known weights show, in plain English."""

from __future__ import annotations

from edgehold.records.units import plural
from edgehold.results.model.references import ReferenceSpread, ReferencesResult
from edgehold.words import Reason, together

from .answers import MOSTLY_PRIOR
from .sentences import amount, figures, ratio_text


def reference_sentences(result: ReferencesResult, work: float | None, unit: str) -> tuple[str, ...]:
    """What was read, what the work does to a reference edge, and the drift within an evening."""
    told = [_what_was_read(result)]
    if result.state == "not fitted":
        return (*told, Reason("references.no_figures", reason=result.reason))
    if result.wear is not None and work is not None:
        told.append(Reason("references.wear", work=f"{work:g} {unit if work == 1 else plural(unit)}", **figures(result.wear)))
    if result.drift is not None:
        told.append(Reason("references.drift", **figures(result.drift)))
    return tuple(told)


def _what_was_read(result: ReferencesResult) -> str:
    edges = Reason("references.edges", edges=result.edges) if result.edges else ""
    rigs = Reason("references.rigs", rigs=result.rigs) if result.edges else ""
    packs = Reason("references.packs", packs=result.packs) if result.edges else ""
    weights = Reason("references.weights", weights=result.weights) if result.weights else ""
    if not result.edges:
        return Reason("references.only_weights", weights=weights)
    read = Reason("references.read", edges=edges, rigs=rigs, packs=packs, evenings=Reason("references.evenings", evenings=result.evenings))
    return together(read, Reason("references.hung", weights=weights) if weights else "")


def spread_sentence(row: ReferenceSpread) -> str:
    """How much two of one kind differ."""
    told = Reason(
        f"references.{'drift_apart' if row.what == 'drift' else row.what}",
        typical=ratio_text(row.typical_ratio),
        low=amount(row.typical_low),
        high=amount(row.typical_high),
        most=ratio_text(row.most_ratio),
    )
    return together(told, Reason("references.mostly_prior") if row.from_prior_percent >= MOSTLY_PRIOR else "")
