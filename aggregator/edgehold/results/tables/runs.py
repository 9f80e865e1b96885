"""What the models read, to the last column: values of runs, readings on the ln scale, reference edges and known weights.

Rows here are the stages' own, not the published record's: an analyst who takes these files alone can fit every model anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from edgehold.endpoints.references import Beside
from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.records.canonical import PoolKey
from edgehold.words import arguments_of, code_of

from .cells import POOL_COLUMNS, Cell, Table

RUN = {
    "version": "string: protocol version",
    "submission": "string: id",
    "month": "string: month in which the first run began",
    "run": "string: run id in the submission",
    "order": "integer: place in the running order",
    "evening": "integer: which evening of the submission; empty when not known",
    "endpoint": "string: endpoint id",
    "role": "string: early, late or overall",
    "status": "string: exact, interval, left, right (censored) or missing",
    "low": "number: lower end on the ln scale (-INF where unbounded); keenness, its difference, or ln of work for a life",
    "high": "number: upper end on the ln scale (INF where unbounded)",
    "reading_se": "number: standard error from reading alone, ln scale",
    "raw": "number: mean of the repeats in the reading's unit, for a level read at its own checkpoint with every repeat on the scale",
    "steel": "string: register id; empty when not known",
    "level": "string: which of the protocol's levels; empty where it has none or the run is of none",
    "level_place": "integer: place of that level among those that the protocol declares, from 0",
    "blade": "string: blade key",
    "batch": "string: batch key",
    "edge_part": "string: whole, heel, middle or tip",
    "pair": "string: label of the two runs that were cut in turn; empty where the protocol cuts edges one by one",
    "sharpening": "string: which sharpening of the submission the edge comes from",
    "sharpener": "string: handle, with the condition where one person stands in two",
    "hand": "string: handle of the person behind the sharpener; empty for an edge as it came",
    "tester": "string: handle",
    "own_sharpening": "boolean: the tester sharpened the edge",
    "split_tester": "boolean: two people tested this run, so that it takes part in no model",
    "blinded": "boolean: the tester did not know whose edge it was; empty when not known",
    "guessed_sharpener": "string: what a blind tester took the sharpener for",
    "guessed_blade": "string: what a blind tester took the blade for",
    "seal_held": "boolean: the seal of the submission's plan held; empty without a seal",
    "interest": "boolean: the tester owns, made or sells the blade; empty when not known",
    "lot": "string: lot of the medium",
    "coil_position_m": "number: metres from the outer end of the coil",
    "humidity_percent": "number: relative humidity",
    "angle_deg": "number: edge angle per side in degrees, mean of both",
    "finish_um": "number: particle size of the last abrasive in micrometres",
    "hrc": "number: hardness, Rockwell C",
    "instrument": "string: that sharpness was read with; empty where it is not known which",
    "start": "number: keenness before the first cut, ln scale; empty where it was not read on the scale or is the endpoint itself",
    "start_se": "number: its standard error from reading",
    "relative_life": "number: ln of the work at which the edge has lost what lies between the usual start and the threshold",
    "failed_preparation": "boolean: the edge was past the threshold before the first cut",
    "damaged": "boolean: the run ended with a damaged edge",
    "flags": "string: what is worth a look, with semicolons between",
    "reason": "string: why missing or censored",
}
BESIDE_REASON = {
    "reason_code": "string: code of the reason in the catalogue of texts",
    "reason_arguments": "string: what stands in the places of that text, as JSON",
}
CHECKPOINT = {
    "version": RUN["version"],
    "submission": RUN["submission"],
    "run": RUN["run"],
    "work": "number: cumulative work in the protocol's unit",
    "keenness": "number: as read, ln scale; the bound where a repeat was off the scale",
    "limit": "string: below or above, where a repeat was below the resolution or over the end of the scale of the reading",
    "se": "number: standard error of keenness from reading alone",
    "repeats": "integer: number of repeats",
    "smoothed": "number: monotone fit through the run; empty before the place where the protocol lets it begin",
    "raw": "number: mean of the repeats in the reading's unit",
    "steel": RUN["steel"],
    "level": RUN["level"],
    "level_place": RUN["level_place"],
    "blade": RUN["blade"],
    "sharpener": RUN["sharpener"],
    "tester": RUN["tester"],
}
CALLED = {"repeats": "n"}  # columns whose attribute has another name
REFERENCE = {
    "submission": RUN["submission"],
    "when": "string: start or end of the evening",
    "evening": RUN["evening"],
    "pack": "string: pack key",
    "segment": "string: segment or blade of the pack",
    "tester": RUN["tester"],
    "lot": RUN["lot"],
    "instrument": RUN["instrument"],
    "work": "number: work before the reading, in the protocol's unit",
    "low": "number: lower end of keenness, ln scale",
    "high": "number: upper end of keenness, ln scale",
}
WEIGHT = {
    "submission": RUN["submission"],
    "instrument": RUN["instrument"],
    "shown": "number: ln of what the rig showed over what the weight is, with the sign of keenness",
}


def runs(rows: Iterable[EndpointRow]) -> Table:
    """Every endpoint of every run, with its labels and all that a probe asks about."""
    cells = [
        (
            *_pool(row.pool),
            *_cells(row, RUN),
            code_of(row.reason),
            json.dumps(arguments_of(row.reason), sort_keys=True) if row.reason else "",
        )
        for row in rows
    ]
    return POOL_COLUMNS | RUN | BESIDE_REASON, cells


def checkpoints(points: Iterable[CurvePoint]) -> Table:
    """Every reading as the joint model takes it."""
    return POOL_COLUMNS | CHECKPOINT, [(*_pool(point.pool), *_cells(point, CHECKPOINT)) for point in points]


def reference_readings(beside: Beside) -> Table:
    """Every reading of a reference edge."""
    return POOL_COLUMNS | REFERENCE, [(*_pool(one.pool), *_cells(one, REFERENCE)) for one in beside.edges]


def known_weights(beside: Beside) -> Table:
    """Every known weight that was read."""
    return POOL_COLUMNS | WEIGHT, [(*_pool(one.pool), *_cells(one, WEIGHT)) for one in beside.weights]


def _pool(pool: PoolKey) -> tuple[Cell, ...]:
    return pool.origin, pool.protocol, pool.major


def _cells(record: object, columns: Mapping[str, str]) -> list[Cell]:
    return [_cell(getattr(record, CALLED.get(name, name))) for name in columns]


def _cell(value: object) -> Cell:
    if isinstance(value, tuple):
        return "; ".join(map(str, value))
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise TypeError(f"got {type(value).__name__}, wanted what can stand in a cell")
