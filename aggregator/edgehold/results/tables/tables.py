"""The results as tidy CSV files, with ``datapackage.json`` (Frictionless Data, an open standard) to describe them."""

from __future__ import annotations

import json

from edgehold.results.model.results import Comparison, EndpointResult, Pool, Results
from edgehold.results.publish.assemble import EverythingFound

from .analyses import answer_methods, answers, crossed_contrasts, curve_comparisons, how_much, network, probes, spreads
from .cells import POOL_COLUMNS, Cell, Table, csv_bytes
from .moves import moves
from .objections import objections
from .studies import PAIR_COLUMNS, each_comparison, influence, pair_cells, study_checks


def tables(found: EverythingFound, results: Results) -> dict[str, bytes]:
    """Every CSV file by name, and datapackage.json."""
    made = {
        "submissions": _submissions(results),
        "changes": _changes(results),
        "removed": _removed(results),
        "runs": _runs(found),
        "readings": _readings(results),
        "answers": answers(results),
        "answer_methods": answer_methods(results),
        "how_much": how_much(results),
        "comparisons": _comparisons(results),
        "contributions": _contributions(results),
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
    files = {f"{name}.csv": csv_bytes(columns, rows) for name, (columns, rows) in made.items()}
    files["datapackage.json"] = datapackage(made)
    return files


def _submissions(results: Results) -> Table:
    columns = {
        "origin": POOL_COLUMNS["origin"],
        "submission": "string: id",
        "protocol": "string: protocol id",
        "version": "string: protocol version",
        "month": "string: month of the last run",
        "submitted_by": "string: handle",
        "interest": "string: strongest interest named in a blade",
        "blades": "integer: blades",
        "runs": "integer: runs",
        "path": "string: file",
        "sha256": "string: hash of the file",
        "state": "string: as sent, corrected, or retracted (in no result)",
    }
    rows = [
        (s.origin, s.id, s.protocol, s.version, s.month, s.submitted_by, s.interest, s.blades, len(s.runs), s.path, s.sha256, s.state)
        for s in (*results.submissions, *results.retracted)
    ]
    return columns, rows


def _changes(results: Results) -> Table:
    columns = {
        "origin": POOL_COLUMNS["origin"],
        "submission": "string: id",
        "number": "integer: place in the order in which changes apply",
        "kind": "string: correction or retraction",
        "month": "string: month",
        "by": "string: handle",
        "why": "string: the reason given",
        "pointer": "string: JSON pointer of what was changed; empty for a retraction",
        "before": "string: what stood there, as JSON; empty for nothing",
        "after": "string: what counts since, as JSON; empty for nothing",
        "path": "string: file",
        "sha256": "string: hash of the file",
    }
    rows = [
        (s.origin, s.id, c.number, c.kind, c.month, c.by, c.why, pointer, before, after, c.path, c.sha256)
        for s in (*results.submissions, *results.retracted)
        for c in s.changes
        for pointer, before, after in ([(e.pointer, e.before, e.after) for e in c.what] or [("", "", "")])
    ]
    return columns, rows


def _removed(results: Results) -> Table:
    columns = {
        "submission": "string: id of a submission that was taken out",
        "month": "string: month in which it was",
        "reason": "string: privacy or legal",
    }
    return columns, [(r.id, r.month, r.reason) for r in results.removed]


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
    columns = {
        "origin": POOL_COLUMNS["origin"],
        "submission": "string: id",
        "run": "string: run id",
        "work": "number: cumulative work in the protocol's unit",
        "written": "string: the repeats as written, with their unit",
        "mean": "number: mean in the reading's canonical unit; empty where censored or pass/fail",
        "outcome": "string: pass/fail outcomes, or below/above",
    }
    rows = [
        (s.origin, s.id, run.id, reading.work, reading.written, reading.mean, reading.outcome)
        for s in results.submissions
        for run in s.runs
        for reading in run.readings
    ]
    return columns, rows


def _comparisons(results: Results) -> Table:
    columns = PAIR_COLUMNS | {
        "state": "string: pooled, listed, single or not estimable",
        "studies": "integer: studies",
        "one_sided": "integer: submissions that give only a bound",
        "ratio": "number: pooled ratio, above 1 favours the first",
        "low": "number: lower end",
        "high": "number: upper end",
        "level": "number: coverage of the interval",
        "method": "string: how the interval was made",
        "ln_estimate": "number: ln ratio",
        "ln_standard_error": "number: its standard error",
        "df": "number: degrees of freedom",
        "tau": "number: between-study standard deviation, ln scale",
        "i2_percent": "number: share of variance between studies",
        "q": "number: Cochran's Q",
        "q_p": "number: its p value",
        "prediction_low": "number: lower end of the prediction interval",
        "prediction_high": "number: upper end of the prediction interval",
        "bounds_included_ratio": "number: sensitivity, common effect with one-sided results weighed in",
        "bounds_included_low": "number: its lower end",
        "bounds_included_high": "number: its upper end",
        "verdict": "string: against the worthwhile ratio",
        "sentence": "string: the answer in words",
    }
    return columns, [_comparison_row(*entry) for entry in each_comparison(results)]


def _comparison_row(pool: Pool, endpoint: EndpointResult, c: Comparison) -> tuple[Cell, ...]:
    result, prediction = c.result, c.prediction.result if c.prediction else None
    return (
        *pair_cells(pool, endpoint, c), c.state, c.studies, c.one_sided,
        *((result.ratio, result.low, result.high, result.level, result.method) if result else (None,) * 5),
        c.ln_estimate, c.ln_standard_error, c.df, c.tau, c.i2_percent, c.q, c.q_p,
        *((prediction.low, prediction.high) if prediction else (None, None)),
        *((c.bounds_included.ratio, c.bounds_included.low, c.bounds_included.high) if c.bounds_included else (None,) * 3),
        c.verdict, c.sentence,
    )  # fmt: skip


def _contributions(results: Results) -> Table:
    columns = PAIR_COLUMNS | {
        "submission": "string: id",
        "study": "integer: number of the study it counts in",
        "ln_estimate": "number: ln ratio",
        "ln_variance": "number: sampling variance from the common repeatability",
        "weight_percent": "number: share of the pooled estimate",
        "bound": "string: at least, at most, or empty",
        "bound_ratio": "number: the bound",
        "reason": "string: why there is no ratio",
    }
    rows = [
        (
            *pair_cells(pool, endpoint, c), line.submission, line.cluster, line.ln_estimate, line.ln_variance, line.weight_percent,
            line.bound, line.bound_ratio, line.reason,
        )
        for pool, endpoint, c in each_comparison(results)
        for line in c.lines
    ]  # fmt: skip
    return columns, rows


def _curves(results: Results) -> Table:
    columns = POOL_COLUMNS | {
        "steel": "string: register id",
        "work": "number: work in the protocol's unit",
        "ratio": "number: sharpness to an average sharpener and tester, relative to the pool's mean at 0",
        "low": "number: lower end of the 95 % interval",
        "high": "number: upper end",
        "runs": "integer: runs that reach it",
    }
    rows = [
        (pool.origin, pool.protocol, pool.major, curve.steel, p.work, p.ratio, p.low, p.high, p.runs)
        for pool in results.pools
        for curve in pool.curves
        for p in curve.points
    ]
    return columns, rows


def _repeatability(results: Results) -> Table:
    columns = POOL_COLUMNS | {
        "endpoint": "string: endpoint id",
        "ln_sd": "number: standard deviation between runs, ln scale",
        "df": "number: degrees of freedom",
        "source": "string: pooled or assumed",
        "submissions": "integer: submissions with replicate runs",
    }
    rows = [
        (pool.origin, pool.protocol, pool.major, e.id, r.ln_sd, r.df, r.source, r.submissions)
        for pool in results.pools
        for e in pool.endpoints
        if (r := e.repeatability) is not None
    ]
    return columns, rows


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
