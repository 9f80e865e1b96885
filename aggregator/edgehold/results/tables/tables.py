"""The results as tidy CSV files, with ``datapackage.json`` (Frictionless Data, an open standard) to describe them.

Tables that grow with every submission are there as Parquet, too.
"""

from __future__ import annotations

import io

from edgehold.results.model.grades import GradeResult
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
    crossed_fits,
    curve_comparisons,
    families,
    how_much,
    interlaboratory,
    interlaboratory_cells,
    network,
    network_contrasts,
    network_covariances,
    probes,
    references,
    spreads,
)
from .asked import endpoints, priors
from .cells import ENDPOINT_COLUMNS, POOL_COLUMNS, Table
from .flat import flat, pool_cells
from .frames import csv_of, frame
from .kit import KIT, kit, notebooks
from .left_out import left_out
from .moves import moves
from .objections import objections
from .package import PRIMARY_KEYS, datapackage
from .parquet import GROWING, write_parquet
from .posteriors import posterior_points, posteriors
from .runs import checkpoints, known_weights, reference_readings, runs
from .studies import comparisons, contributions, cumulative, influence, study_checks

SUBMISSION = flat(SubmissionResult, without=("note", "people", "warnings"), rename={"id": "submission"})
EVIDENCE = flat(GradeResult, rename={"name": "grade_name", "kinds": "evidence", "why": "grade_why", "raised_by": "grade_raised_by"})
OF_SUBMISSION = flat(SubmissionResult, only=("origin", "id"), rename={"id": "submission"})
CHANGE, CHANGED = flat(ChangeResult), flat(ChangedValueResult)
REMOVED = flat(RemovedResult, rename={"id": "submission"})
READING, REPEATABILITY = flat(ReadingResult), flat(RepeatabilityEntry)
STEELS, LIMIT = flat(SteelResult, rename={"id": "steel"}), flat(ElementLimit)
STEEL, CURVE = flat(SteelCurve, only=("factor", "steel")), flat(CurvePointResult)


def tables(found: EverythingFound, results: Results) -> dict[str, bytes]:
    """Every CSV file by name, the Parquet files, datapackage.json, the notebooks, and all of these in one zip."""
    made = {
        "submissions": _submissions(results),
        "changes": _changes(results),
        "removed": _removed(results),
        "endpoints": endpoints(results, found.repository),
        "priors": priors(found.repository),
        "runs": runs(found.rows),
        "readings": _readings(results),
        "checkpoints": checkpoints(found.points),
        "reference_readings": reference_readings(found.beside),
        "known_weights": known_weights(found.beside),
        "left_out": left_out(found),
        "steels": _steels(results),
        "steel_limits": _steel_limits(results),
        "answers": answers(results),
        "answer_methods": answer_methods(results),
        "posteriors": posteriors(found),
        "posterior_points": posterior_points(found),
        "how_much": how_much(results),
        "families": families(results),
        "references": references(results),
        "comparisons": comparisons(results),
        "contributions": contributions(results),
        "influence": influence(results),
        "cumulative": cumulative(results),
        "study_checks": study_checks(results),
        "curves": _curves(results),
        "repeatability": _repeatability(results),
        "spreads": spreads(results),
        "crossed_fits": crossed_fits(results),
        "crossed_contrasts": crossed_contrasts(results),
        "network": network(results),
        "network_contrasts": network_contrasts(found),
        "network_covariances": network_covariances(found),
        "curve_comparisons": curve_comparisons(results),
        "probes": probes(results),
        "interlaboratory": interlaboratory(results),
        "interlaboratory_cells": interlaboratory_cells(results),
        "moves": moves(results),
        "objections": objections(results),
    }
    files = {f"{name}.csv": csv_of(frame(table)) for name, table in made.items()}
    files |= {f"{name}.parquet": _parquet(name, made[name]) for name in GROWING}
    files["datapackage.json"] = datapackage(made, files, results.provenance, results.format)
    files |= notebooks()
    return files | {KIT: kit(files)}


def _parquet(name: str, table: Table) -> bytes:
    written = io.BytesIO()
    write_parquet(*table, written, PRIMARY_KEYS.get(name, ()))
    return written.getvalue()


def _submissions(results: Results) -> Table:
    rows = [(*SUBMISSION.cells(s), *EVIDENCE.cells(s.evidence), len(s.runs)) for s in (*results.submissions, *results.retracted)]
    return SUBMISSION.columns | EVIDENCE.columns | {"runs": "integer: Runs."}, rows


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
