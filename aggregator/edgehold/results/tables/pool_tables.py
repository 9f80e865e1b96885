"""What stands in the tables about pools and their submissions."""

from __future__ import annotations

from edgehold.results.model.results import CurvePointResult, ReadingResult, RepeatabilityEntry, Results, SteelCurve, SubmissionResult
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
from .flat import Pooled, flat, pool_cells
from .left_out import left_out
from .lines import Lines, lines_of
from .posteriors import posterior_points, posteriors
from .runs import checkpoints, known_weights, reference_readings, runs
from .studies import comparisons, contributions, cumulative, influence, study_checks
from .tables import table_files

OF_SUBMISSION = flat(SubmissionResult, only=("origin", "id"), rename={"id": "submission"})
READING, REPEATABILITY = flat(ReadingResult), flat(RepeatabilityEntry)
STEEL, CURVE = flat(SteelCurve, only=("factor", "steel")), flat(CurvePointResult)


def tables(found: EverythingFound, results: Results) -> dict[str, bytes]:
    """Every CSV file by name, the Parquet files, datapackage.json, the notebooks, and all but Parquet in one zip."""
    return table_files([lines_of_pools(found, results)], results)


def lines_of_pools(found: EverythingFound, published: Pooled) -> dict[str, Lines]:
    """What stands in the tables about the pools of some submissions.

    Parameters
    ----------
    found : of these submissions.
    published : pools and submissions, as published.
    """
    made = {
        "endpoints": endpoints(published, found.repository),
        "priors": priors(found.repository),
        "runs": runs(found.rows),
        "readings": _readings(published),
        "checkpoints": checkpoints(found.points),
        "reference_readings": reference_readings(found.beside),
        "known_weights": known_weights(found.beside),
        "left_out": left_out(found),
        "answers": answers(published),
        "answer_methods": answer_methods(published),
        "posteriors": posteriors(found),
        "posterior_points": posterior_points(found),
        "how_much": how_much(published),
        "families": families(published),
        "references": references(published),
        "comparisons": comparisons(published),
        "contributions": contributions(published),
        "influence": influence(published),
        "cumulative": cumulative(published),
        "study_checks": study_checks(published),
        "curves": _curves(published),
        "repeatability": _repeatability(published),
        "spreads": spreads(published),
        "crossed_fits": crossed_fits(published),
        "crossed_contrasts": crossed_contrasts(published),
        "network": network(published),
        "network_contrasts": network_contrasts(found),
        "network_covariances": network_covariances(found),
        "curve_comparisons": curve_comparisons(published),
        "probes": probes(published),
        "interlaboratory": interlaboratory(published),
        "interlaboratory_cells": interlaboratory_cells(published),
    }
    return {name: lines_of(name, table) for name, table in made.items()}


def _readings(results: Pooled) -> Table:
    rows = [
        (*OF_SUBMISSION.cells(s), run.id, *READING.cells(reading))
        for s in results.submissions
        for run in s.runs
        for reading in run.readings
    ]
    return OF_SUBMISSION.columns | {"run": "string: Run id."} | READING.columns, rows


def _curves(results: Pooled) -> Table:
    rows = [
        (*pool_cells(pool), *STEEL.cells(curve), *CURVE.cells(point))
        for pool in results.pools
        for curve in pool.curves
        for point in curve.points
    ]
    return POOL_COLUMNS | STEEL.columns | CURVE.columns, rows


def _repeatability(results: Pooled) -> Table:
    rows = [
        (*pool_cells(pool), e.id, *REPEATABILITY.cells(e.repeatability))
        for pool in results.pools
        for e in pool.endpoints
        if e.repeatability is not None
    ]
    return ENDPOINT_COLUMNS | REPEATABILITY.columns, rows
