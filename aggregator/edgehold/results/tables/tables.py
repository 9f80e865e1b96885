"""The results as tidy CSV files, with ``datapackage.json`` (Frictionless Data, an open standard) to describe them."""

from __future__ import annotations

import json

from edgehold.results.model.history import ChangedValueResult, ChangeResult, RemovedResult
from edgehold.results.model.results import (
    CurvePointResult,
    ElementLimit,
    ReadingResult,
    RepeatabilityEntry,
    Results,
    SteelCurve,
    SteelResult,
    SubmissionResult,
)
from edgehold.results.publish.assemble import EverythingFound

from .analyses import (
    answer_methods,
    answers,
    crossed_contrasts,
    curve_comparisons,
    families,
    how_much,
    network,
    probes,
    references,
    spreads,
)
from .cells import ENDPOINT_COLUMNS, POOL_COLUMNS, Table
from .flat import flat, pool_cells
from .frames import csv_of, frame
from .moves import moves
from .objections import objections
from .studies import comparisons, contributions, influence, study_checks

SUBMISSION = flat(SubmissionResult, without=("note", "people", "warnings"), rename={"id": "submission"})
OF_SUBMISSION = flat(SubmissionResult, only=("origin", "id"), rename={"id": "submission"})
CHANGE, CHANGED = flat(ChangeResult), flat(ChangedValueResult)
REMOVED = flat(RemovedResult, rename={"id": "submission"})
READING, REPEATABILITY = flat(ReadingResult), flat(RepeatabilityEntry)
STEELS, LIMIT = flat(SteelResult, rename={"id": "steel"}), flat(ElementLimit)
STEEL, CURVE = flat(SteelCurve, only=("factor", "steel")), flat(CurvePointResult)


def tables(found: EverythingFound, results: Results) -> dict[str, bytes]:
    """Every CSV file by name, and datapackage.json."""
    made = {
        "submissions": _submissions(results),
        "changes": _changes(results),
        "removed": _removed(results),
        "runs": _runs(found),
        "readings": _readings(results),
        "steels": _steels(results),
        "steel_limits": _steel_limits(results),
        "answers": answers(results),
        "answer_methods": answer_methods(results),
        "how_much": how_much(results),
        "families": families(results),
        "references": references(results),
        "comparisons": comparisons(results),
        "contributions": contributions(results),
        "influence": influence(results),
        "study_checks": study_checks(results),
        "curves": _curves(results),
        "repeatability": _repeatability(results),
        "spreads": spreads(results),
        "crossed_contrasts": crossed_contrasts(results),
        "network": network(results),
        "curve_comparisons": curve_comparisons(results),
        "probes": probes(results),
        "moves": moves(results),
        "objections": objections(results),
    }
    files = {f"{name}.csv": csv_of(frame(table)) for name, table in made.items()}
    files["datapackage.json"] = datapackage(made)
    return files


def _submissions(results: Results) -> Table:
    rows = [(*SUBMISSION.cells(s), len(s.runs)) for s in (*results.submissions, *results.retracted)]
    return SUBMISSION.columns | {"runs": "integer: Runs."}, rows


def _changes(results: Results) -> Table:
    rows = [
        (*OF_SUBMISSION.cells(s), *CHANGE.cells(change), *CHANGED.cells(entry))
        for s in (*results.submissions, *results.retracted)
        for change in s.changes
        for entry in (change.what or (None,))
    ]
    return OF_SUBMISSION.columns | CHANGE.columns | CHANGED.columns, rows


def _removed(results: Results) -> Table:
    return REMOVED.columns, [REMOVED.cells(one) for one in results.removed]


def _runs(found: EverythingFound) -> Table:
    columns = POOL_COLUMNS | {
        "version": "string: protocol version",
        "submission": "string: id",
        "run": "string: run id in the submission",
        "order": "integer: place in the running order",
        "endpoint": "string: endpoint id",
        "status": "string: exact, interval, left, right (censored) or missing",
        "low": "number: lower end on the ln scale (INF where unbounded)",
        "high": "number: upper end on the ln scale",
        "reading_se": "number: standard error from reading alone, ln scale",
        "steel": "string: register id; empty when not known",
        "blade": "string: blade key",
        "batch": "string: batch key",
        "sharpener": "string: handle",
        "tester": "string: handle",
        "own_sharpening": "boolean: the tester sharpened the edge",
        "reason": "string: why missing or censored",
    }
    rows = [
        (
            r.pool.origin, r.pool.protocol, r.pool.major, r.version, r.submission, r.run, r.order, r.endpoint, r.status,
            r.low, r.high, r.reading_se, r.steel, r.blade, r.batch, r.sharpener, r.tester, r.own_sharpening, r.reason,
        )
        for r in found.rows
    ]  # fmt: skip
    return columns, rows


def _readings(results: Results) -> Table:
    rows = [
        (*OF_SUBMISSION.cells(s), run.id, *READING.cells(reading))
        for s in results.submissions
        for run in s.runs
        for reading in run.readings
    ]
    return OF_SUBMISSION.columns | {"run": "string: Run id."} | READING.columns, rows


def _steels(results: Results) -> Table:
    rows = [(*STEELS.cells(steel), " ".join(one.id for one in steel.near)) for steel in results.steels]
    return STEELS.columns | {"near": "string: Register ids of steels with near limits that are not pooled with it."}, rows


def _steel_limits(results: Results) -> Table:
    rows = [(steel.id, *LIMIT.cells(one)) for steel in results.steels for one in steel.composition]
    return {"steel": STEELS.columns["steel"]} | LIMIT.columns, rows


def _curves(results: Results) -> Table:
    rows = [
        (*pool_cells(pool), *STEEL.cells(curve), *CURVE.cells(point))
        for pool in results.pools
        for curve in pool.curves
        for point in curve.points
    ]
    return POOL_COLUMNS | STEEL.columns | CURVE.columns, rows


def _repeatability(results: Results) -> Table:
    rows = [
        (*pool_cells(pool), e.id, *REPEATABILITY.cells(e.repeatability))
        for pool in results.pools
        for e in pool.endpoints
        if e.repeatability is not None
    ]
    return ENDPOINT_COLUMNS | REPEATABILITY.columns, rows


def datapackage(made: dict[str, Table]) -> bytes:
    """``datapackage.json`` for the tables in ``made``, by name."""
    resources = [
        {
            "name": name,
            "path": f"{name}.csv",
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "profile": "tabular-data-resource",
            "schema": {"fields": [_field(column, text) for column, text in columns.items()], "missingValues": [""]},
        }
        for name, (columns, _) in made.items()
    ]
    package = {
        "name": "edgehold-results",
        "title": "Pooled results of home cutting tests",
        "profile": "tabular-data-package",
        "licenses": [{"name": "CC0-1.0", "title": "Creative Commons Zero v1.0 Universal"}],
        "resources": resources,
    }
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def _field(column: str, text: str) -> dict[str, str]:
    kind, description = text.split(": ", 1)
    return {"name": column, "type": kind, "description": description}
