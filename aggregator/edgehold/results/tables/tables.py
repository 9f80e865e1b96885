"""The results as tidy CSV files, with ``datapackage.json`` (Frictionless Data, an open standard) to describe them.

Tables that grow with every submission are there as Parquet, too.
"""

from __future__ import annotations

import io
import pickle
from collections.abc import Mapping, Sequence
from functools import partial

from edgehold.engine.tasks import kept
from edgehold.results.model.grades import GradeResult
from edgehold.results.model.history import ChangedValueResult, ChangeResult, RemovedResult
from edgehold.results.model.results import ElementLimit, Results, SteelResult, SubmissionResult

from .cells import Table
from .flat import flat
from .kit import KIT, kit, notebooks
from .lines import GROWING, Lines, lines_of
from .moves import moves
from .objections import objections
from .package import PRIMARY_KEYS, datapackage, resources
from .typed import csv_of

SUBMISSION = flat(SubmissionResult, without=("note", "people", "warnings"), rename={"id": "submission"})
EVIDENCE = flat(GradeResult, rename={"name": "grade_name", "kinds": "evidence", "why": "grade_why", "raised_by": "grade_raised_by"})
OF_SUBMISSION = flat(SubmissionResult, only=("origin", "id"), rename={"id": "submission"})
CHANGE, CHANGED = flat(ChangeResult), flat(ChangedValueResult)
REMOVED = flat(RemovedResult, rename={"id": "submission"})
STEELS, LIMIT = flat(SteelResult, rename={"id": "steel"}), flat(ElementLimit)
NAMES = (
    "submissions", "changes", "removed", "endpoints", "priors", "runs", "readings", "checkpoints", "reference_readings", "known_weights",
    "left_out", "steels", "steel_limits", "answers", "answer_methods", "posteriors", "posterior_points", "how_much", "families",
    "references", "comparisons", "contributions", "influence", "cumulative", "study_checks", "curves", "repeatability", "spreads",
    "crossed_fits", "crossed_contrasts", "network", "network_contrasts", "network_covariances", "curve_comparisons", "probes",
    "interlaboratory", "interlaboratory_cells", "moves", "objections",
)  # fmt: skip
"""All tables in their order."""


def table_files(parts: Sequence[Mapping[str, Lines]], results: Results) -> dict[str, bytes]:
    """Every CSV file by name, the Parquet files, datapackage.json, the notebooks, and all but Parquet in one zip.

    Parameters
    ----------
    parts : what stands in the tables about all pools, in the order in which it shall stand there.
    results : for what hangs on no pool.
    """
    common = {
        "submissions": _submissions(results),
        "changes": _changes(results),
        "removed": _removed(results),
        "steels": _steels(results),
        "steel_limits": _steel_limits(results),
        "moves": moves(results),
        "objections": objections(results),
    }
    made = {name: [lines_of(name, common[name])] if name in common else [part[name] for part in parts] for name in NAMES}
    columns = {name: lines[0].columns for name, lines in made.items()}
    tables = {f"{name}.csv": csv_of((columns[name], ())) + b"".join(one.csv for one in lines) for name, lines in made.items()}
    typed = {f"{name}.parquet": kept(_parquet, name, columns[name], tuple(one.rows for one in made[name])) for name in GROWING}
    described, typed_ones = resources(columns, tables | typed)
    package = partial(datapackage, provenance=results.provenance, format_=results.format)
    held = tables | {"datapackage.json": package(described)} | notebooks()
    return held | typed | {"datapackage.json": package([*described, *typed_ones]), KIT: kit(held)}


def _parquet(name: str, columns: Mapping[str, str], rows: tuple[bytes, ...]) -> bytes:
    from .parquet import write_parquet  # slow to load, and only needed where something in the table changed

    written = io.BytesIO()
    write_parquet(columns, (row for part in rows for row in pickle.loads(part)), written, PRIMARY_KEYS.get(name, ()))
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


def _steels(results: Results) -> Table:
    rows = [(*STEELS.cells(steel), " ".join(one.id for one in steel.near)) for steel in results.steels]
    return STEELS.columns | {"near": "string: Register ids of steels with near limits that are not pooled with it."}, rows


def _steel_limits(results: Results) -> Table:
    rows = [(steel.id, *LIMIT.cells(one)) for steel in results.steels for one in steel.composition]
    return {"steel": STEELS.columns["steel"]} | LIMIT.columns, rows
