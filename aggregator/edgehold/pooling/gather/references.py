"""From reference edges, known weights and rows of runs to what the joint model of a pool's readings takes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from edgehold.endpoints.references import Beside, ReferencePoint
from edgehold.endpoints.rows import EndpointRow
from edgehold.numerics.arrays import Array, Texts
from edgehold.pooling.curves.references import References
from edgehold.pooling.inputs import frozen

PLACES = {"start": -0.5, "end": 0.5}


def references_of(keys: Sequence[tuple[str, str]], rows: Iterable[EndpointRow], beside: Beside) -> References | None:
    """Reference edges and known weights beside the runs of one pool; None where there are none.

    Parameters
    ----------
    keys : submission and run of the n runs.
    rows : of the pool.
    beside : of the pool.

    A rig is one tester with one instrument. Where a reference edge does not say its lot or evening, and the runs of its file have one
    only, it is theirs. A reference known to neither side, and one whose submission has no run here, is left out.
    """
    known = {(row.submission, row.run): row for row in rows}
    if not set(keys) <= known.keys():
        return None
    runs = [known[key] for key in keys]
    files = {run.submission for run in runs}
    edges = [_placed(edge, runs) for edge in beside.edges if edge.submission in files and np.isfinite([edge.low, edge.high]).any()]
    weights = [weight for weight in beside.weights if weight.submission in files]
    if not edges and not weights:
        return None
    return References(
        low=_numbers(edge.low for edge in edges),
        high=_numbers(edge.high for edge in edges),
        work=_numbers(edge.work for edge in edges),
        rig=_texts(_rig(edge) for edge in edges),
        scale=_texts(_scale(edge.submission, edge.instrument) for edge in edges),
        pack=_texts(edge.pack for edge in edges),
        segment=_texts(edge.segment for edge in edges),
        labels={
            "lot": _texts(edge.lot or f"of {edge.submission}" for edge in edges),
            "evening": _texts(_evening(edge) for edge in edges),
            "submission": _texts(edge.submission for edge in edges),
        },
        place=_numbers(PLACES[edge.when] for edge in edges),
        shown=_numbers(weight.shown for weight in weights),
        hung=_texts(_scale(weight.submission, weight.instrument) for weight in weights),
        run_rig=_texts(_rig(run) for run in runs),
        run_scale=_texts(_scale(run.submission, run.instrument) for run in runs),
        run_evening=_texts(_evening(run) for run in runs),
        run_place=frozen(places(runs)),
    )


def _placed(edge: ReferencePoint, runs: Sequence[EndpointRow]) -> ReferencePoint:
    """A reference edge with the lot and evening of its file's runs, where it has none and they have one."""
    beside = [run for run in runs if run.submission == edge.submission]
    lots, evenings = ({getattr(run, name) for run in beside} for name in ("lot", "evening"))
    lot = edge.lot if edge.lot is not None or len(lots) > 1 else lots.pop()
    evening = edge.evening if edge.evening is not None or len(evenings) > 1 else evenings.pop()
    return replace(edge, lot=lot, evening=evening)


def places(runs: Sequence[EndpointRow]) -> Array:
    """(n,) where each run lies in its evening, in equal steps between −½ and ½ in the order in which they were made."""
    evenings: dict[str, list[int]] = defaultdict(list)
    for run in runs:
        evenings[_evening(run)].append(run.order)
    ranks = {evening: {order: i for i, order in enumerate(sorted(orders), 1)} for evening, orders in evenings.items()}
    return np.array([ranks[_evening(run)][run.order] / (len(ranks[_evening(run)]) + 1) - 0.5 for run in runs])


def _evening(one: EndpointRow | ReferencePoint) -> str:
    """As ``runs_design.checked_runs`` has it."""
    return f"{one.submission}: {f'of {one.submission}' if one.evening is None else one.evening}"


def _rig(one: EndpointRow | ReferencePoint) -> str:
    return f"{one.tester} with {_scale(one.submission, one.instrument)}"


def _scale(submission: str, instrument: str | None) -> str:
    return instrument or f"scale of {submission}"


def _numbers(values: Iterable[float]) -> Array:
    return frozen(np.array(list(values), dtype=float))


def _texts(values: Iterable[str]) -> Texts:
    return np.array(list(values), dtype=str)
