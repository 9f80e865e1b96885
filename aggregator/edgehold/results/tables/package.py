"""``datapackage.json``: what every table and column is, its keys, and its file by size and hash (Frictionless Data, an open standard)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from edgehold.results.model.results import Provenance
from edgehold.words import Reason

from .cells import ENDPOINT_COLUMNS, POOL_COLUMNS

ENDPOINT, POOL, SUBMISSION = (*ENDPOINT_COLUMNS,), (*POOL_COLUMNS,), ("origin", "submission")
COMPARED = (*ENDPOINT, "factor", "first", "second")
PAIR = (*ENDPOINT, "first", "second")

PRIMARY_KEYS: Mapping[str, tuple[str, ...]] = {
    "answer_methods": (*COMPARED, "by"),
    "answers": COMPARED,
    "checkpoints": (*SUBMISSION, "run", "work"),
    "comparisons": COMPARED,
    "contributions": (*COMPARED, "submission"),
    "crossed_contrasts": PAIR,
    "crossed_fits": ENDPOINT,
    "cumulative": (*COMPARED, "month"),
    "curves": (*POOL, "factor", "steel", "work"),
    "endpoints": ENDPOINT,
    "families": PAIR,
    "how_much": (*ENDPOINT, "what"),
    "influence": (*COMPARED, "study"),
    "interlaboratory": (*ENDPOINT, "item"),
    "interlaboratory_cells": (*ENDPOINT, "item", "code"),
    "network": PAIR,
    "network_contrasts": (*ENDPOINT, "row"),
    "network_covariances": (*ENDPOINT, "row", "other"),
    "probes": (*ENDPOINT, "probe"),
    "readings": (*SUBMISSION, "run", "work"),
    "references": (*POOL, "what"),
    "removed": ("submission",),
    "repeatability": ENDPOINT,
    "runs": (*SUBMISSION, "run", "endpoint"),
    "spreads": (*ENDPOINT, "what"),
    "steel_limits": ("steel", "element"),
    "steels": ("steel",),
    "study_checks": COMPARED,
    "submissions": SUBMISSION,
}
"""Columns that together name a row, by table; a table that is not here has none."""
REFERS_TO: tuple[tuple[tuple[str, ...], str], ...] = ((SUBMISSION, "submissions"), (ENDPOINT, "endpoints"))
"""Columns that name a row of another table, wherever a table has them all."""
ONLY_SOMETIMES = {"left_out", "moves", "posterior_points", "posteriors", "priors"}
"""Tables of which some rows have no endpoint or submission, so that these are no key into another table."""
VALUES: Mapping[str, tuple[str, ...]] = {
    "origin": ("measured", "simulated"),
    "role": ("early", "late", "overall"),
    "status": ("exact", "interval", "left", "right", "missing"),
    "edge_part": ("whole", "heel", "middle", "tip"),
    "limit": ("below", "above"),
    "keener": ("lower", "higher"),
}
"""All that a column may hold."""
NOT_NEGATIVE = {"reading_se", "start_se", "se", "work", "scale", "ln_variance", "ln_standard_error", "tau", "weight_percent", "angle_deg"}
AT_LEAST_ONE = {"order", "major", "repeats", "worthwhile_ratio"}


Resource = dict[str, Any]


def resources(made: Mapping[str, Mapping[str, str]], files: Mapping[str, bytes]) -> tuple[list[Resource], list[Resource]]:
    """The descriptions of all CSV files, and of the Parquet files.

    Parameters
    ----------
    made : columns of all tables, by name.
    files : their files, by file name: a CSV file of each, and a Parquet file of some.
    """
    return (
        [_resource(name, columns, files[f"{name}.csv"], made) for name, columns in made.items()],
        [_as_parquet(name, made[name], files[f"{name}.parquet"]) for name in made if f"{name}.parquet" in files],
    )


def datapackage(described: Sequence[Resource], provenance: Provenance, format_: str) -> bytes:
    """The description of tables.

    Parameters
    ----------
    described : each of their files, by `resources`.
    provenance : of the results.
    format_ : the format of the results, such as ``results/2.4.0``: its number is the version, with the hash of the input
    """
    package: dict[str, Any] = {
        "name": "edgehold-results",
        "title": Reason("kit.package"),
        "version": f"{format_.rpartition('/')[2]}+{provenance.inputs_sha256[:12]}",
        "profile": "data-package",
        "licenses": [{"name": "CC0-1.0", "title": "Creative Commons Zero v1.0 Universal"}],
        "sources": [_source(provenance)],
        "resources": described,
    }
    return (json.dumps(package, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def _source(provenance: Provenance) -> dict[str, str]:
    told = {"title": f"{provenance.input_files} files of protocols and submissions, sha256 {provenance.inputs_sha256}"}
    return told | ({"path": provenance.repository_url} if provenance.repository_url else {})


def _resource(name: str, columns: Mapping[str, str], content: bytes, made: Mapping[str, Mapping[str, str]]) -> dict[str, Any]:
    key = PRIMARY_KEYS.get(name, ())
    schema: dict[str, Any] = {"fields": [_field(column, text, column in key) for column, text in columns.items()], "missingValues": [""]}
    if key:
        schema["primaryKey"] = list(key)
    if refers := _refers(name, columns, made):
        schema["foreignKeys"] = refers
    return {
        "name": name,
        "title": Reason(f"kit.{name}"),
        "path": f"{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "profile": "tabular-data-resource",
        "schema": schema,
    }


def _as_parquet(name: str, columns: Mapping[str, str], content: bytes) -> dict[str, Any]:
    """The same table in another format. The standard's profile of tables is for CSV: to Frictionless this is a file with size and hash."""
    return {
        "name": f"{name}-parquet",
        "title": Reason("kit.parquet", table=Reason(f"kit.{name}")),
        "path": f"{name}.parquet",
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "profile": "data-resource",
        "type": "file",
        "schema": {"fields": [_field(column, text, column in PRIMARY_KEYS.get(name, ())) for column, text in columns.items()]},
    }


def _refers(name: str, columns: Mapping[str, str], made: Mapping[str, Mapping[str, str]]) -> list[dict[str, Any]]:
    return [
        {"fields": list(key), "reference": {"resource": other, "fields": list(key)}}
        for key, other in REFERS_TO
        if other in made and other != name and name not in ONLY_SOMETIMES and set(key) <= set(columns)
    ]


def _field(column: str, text: str, in_key: bool) -> dict[str, Any]:
    kind, description = text.split(": ", 1)
    constraints: dict[str, Any] = {"required": True} if in_key else {}
    if column in VALUES and kind == "string":
        constraints["enum"] = list(VALUES[column])
    if column in NOT_NEGATIVE and kind == "number":
        constraints["minimum"] = 0
    if column in AT_LEAST_ONE:
        constraints["minimum"] = 1
    told = {"name": column, "title": column.replace("_", " "), "type": kind, "description": description}
    return told | ({"constraints": constraints} if constraints else {})
