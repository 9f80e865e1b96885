"""What reference edges and known weights show by themselves, from the joint posterior that they stand in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from edgehold.numerics.half_t import from_score
from edgehold.pooling.hierarchical import ContrastPosterior, Posterior
from edgehold.pooling.what_matters import HowMuch, how_much

from .joint import JointModel, interpolation
from .references import DRIFT, OF_REFERENCES, WEAR, Augmented

LOT = "lot"
CENTRAL = float(ndtri(0.975))


@dataclass(frozen=True, eq=False)
class ShownByReferences:
    """What references of one pool show.

    Attributes
    ----------
    reason : why there are no figures; empty where there are.
    edges, readings : reference edges, and readings of them.
    evenings, rigs, packs, lots, weights, scales : how many evenings had one, and rigs, packs, lots, known weights and scales were met.
    work : the amount of work between the two readings; None where no edge was read after any.
    wear : keenness lost over it, ln scale.
    drift : keenness gained from the start of an evening to its end, ln scale.
    spreads : how much two rigs, scales, evenings (in their drift), lots (over that work), packs, segments and weights typically differ;
        ``from_prior`` is the width of the standard deviation's interval in that of its prior, which tells a spread known to be small from
        one that is not known.
    """

    reason: str
    edges: int
    readings: int
    evenings: int
    rigs: int
    packs: int
    lots: int
    weights: int
    scales: int
    work: float | None
    wear: ContrastPosterior | None
    drift: ContrastPosterior | None
    spreads: tuple[HowMuch, ...]


def shown_by_references(model: JointModel, fit: Posterior | str) -> ShownByReferences | None:
    """What the references of a pool show; None where it has none.

    Parameters
    ----------
    model, fit : the joint model of the pool and its posterior, or why there is none.
    """
    if model.beside is None:
        return None
    beside, references = model.beside, model.beside.references
    worked = references.work[references.work > 0]
    found = ShownByReferences(
        reason=fit if isinstance(fit, str) else "",
        edges=len(np.unique(references.segment)),
        readings=len(references.low),
        evenings=len(np.unique(references.labels["evening"])),
        rigs=len(np.unique(references.rig)),
        packs=len(np.unique(references.pack)),
        lots=len(np.unique(references.labels[LOT])),
        weights=len(references.shown),
        scales=len(np.unique(references.hung)),
        work=float(worked.mean()) if len(worked) else None,
        wear=None,
        drift=None,
        spreads=(),
    )
    return found if isinstance(fit, str) else _with_figures(found, model, beside, fit)


def _with_figures(found: ShownByReferences, model: JointModel, beside: Augmented, fit: Posterior) -> ShownByReferences:
    names = beside.names
    at = {name: fit.target_means.shape[1] - len(names) + i for i, name in enumerate(names)}
    drift = fit.target(at[DRIFT]) if DRIFT in at else None
    wear = fit.target(at[WEAR]) if WEAR in at else None
    spreads = [_spread(fit, name, Z.shape[1]) for name, Z in beside.groups.items() if name in OF_REFERENCES]
    if LOT in model.parts.terms and found.work is not None:
        weights = interpolation(model.checkpoints, [found.work])[0]
        seen = model.view(fit, model.quantity(weights))
        spreads.append(_spread(seen, LOT, model.parts.terms[LOT].levels))
    return replace(found, wear=wear, drift=drift, spreads=tuple(spreads))


def _spread(fit: Posterior, name: str, levels: int) -> HowMuch:
    posterior, prior = fit.spread(name), fit.priors[name]
    low, high = (float(from_score(prior, np.array(score))) for score in (-CENTRAL, CENTRAL))
    width = posterior.interval.high - posterior.interval.low
    return replace(how_much(name, posterior, levels), from_prior=width / (high - low))
