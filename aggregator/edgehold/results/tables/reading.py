"""The tables read back as rows of the stages, so that whoever has the published files alone can fit every model anew."""

from __future__ import annotations

import csv
import io
import json
import math
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from pathlib import Path
from types import MappingProxyType
from typing import Any

from edgehold.disk import LARGEST_BUILT_BYTES, read_text
from edgehold.endpoints.references import Beside, ReferencePoint, WeightPoint
from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.gather.all_answers import Asked, AskedOfPool
from edgehold.records.canonical import PoolKey
from edgehold.records.linkage import Linkage
from edgehold.records.model.protocol import AssumedRepeatability, EndpointRule, Threshold
from edgehold.words import Reason

from .runs import CALLED, CHECKPOINT, REFERENCE, RUN, WEIGHT

NUMBERS: Mapping[str, Callable[[str], Any]] = MappingProxyType({"integer": int, "number": float, "boolean": lambda text: text == "true"})


@dataclass(frozen=True)
class Tables:
    """What the published tables hold of runs, readings, references and what protocols ask.

    Attributes
    ----------
    rows, points, beside : as the stage of endpoints gives them; texts of flags are one cell.
    endpoints, pools : what protocols ask, by pool and endpoint, and by pool.
    origins : whom submissions come from, and which are linked.
    """

    rows: tuple[EndpointRow, ...]
    points: tuple[CurvePoint, ...]
    beside: Beside
    endpoints: Mapping[tuple[PoolKey, str], Asked]
    pools: Mapping[PoolKey, AskedOfPool]
    origins: Linkage


def read_tables(folder: Path) -> Tables:
    """Read the tables ``submissions``, ``runs``, ``checkpoints``, ``reference_readings``, ``known_weights``, ``endpoints`` and ``priors``.

    Parameters
    ----------
    folder : of the CSV files.

    Raises
    ------
    OSError, KeyError, ValueError
        A file is not there, or is not one of these tables.
    """
    priors = _priors(folder)
    return Tables(
        rows=tuple(_row(one) for one in _read(folder / "runs.csv")),
        points=tuple(_record(CurvePoint, CHECKPOINT, one) for one in _read(folder / "checkpoints.csv")),
        beside=Beside(
            tuple(_record(ReferencePoint, REFERENCE, one) for one in _read(folder / "reference_readings.csv")),
            tuple(_record(WeightPoint, WEIGHT, one) for one in _read(folder / "known_weights.csv")),
        ),
        endpoints={(_pool(one), one["endpoint"]): _asked(one, priors) for one in _read(folder / "endpoints.csv")},
        pools={_pool(one): _asked_of_pool(one, priors) for one in _read(folder / "endpoints.csv")},
        origins=_origins(_read(folder / "submissions.csv")),
    )


def _origins(submissions: list[dict[str, str]]) -> Linkage:
    counted = [one for one in submissions if one["sender"]]
    linked = frozenset(one["submission"] for one in counted if one["linked"] == "true")
    return Linkage({one["submission"]: one["sender"] for one in counted}, linked)


def _read(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(read_text(path, LARGEST_BUILT_BYTES), newline="")))


def _pool(cells: Mapping[str, str]) -> PoolKey:
    return PoolKey(cells["protocol"], int(cells["major"]), cells["origin"])


def _row(cells: Mapping[str, str]) -> EndpointRow:
    row: dict[str, Any] = _attributes(EndpointRow, RUN, cells)
    row["flags"] = (cells["flags"],) if cells["flags"] else ()
    if cells["reason_code"]:
        row["reason"] = Reason(cells["reason_code"], **json.loads(cells["reason_arguments"]))
    return EndpointRow(pool=_pool(cells), **row)


def _record(kind: type[Any], columns: Mapping[str, str], cells: Mapping[str, str]) -> Any:
    return kind(pool=_pool(cells), **_attributes(kind, columns, cells))


def _attributes(kind: type[Any], columns: Mapping[str, str], cells: Mapping[str, str]) -> dict[str, Any]:
    """Values by attribute; an empty cell is what the attribute's type has for nothing."""
    types = {one.name: str(one.type) for one in fields(kind)}
    needed = {one.name for one in fields(kind) if one.default is MISSING}
    found = {}
    for column, text in columns.items():
        name = CALLED.get(column, column)
        kind_of_cell = text.split(": ", 1)[0]
        cell = cells[column]
        if cell:
            found[name] = NUMBERS[kind_of_cell](cell) if kind_of_cell in NUMBERS else cell.removeprefix("'")
        elif "None" in types[name]:
            found[name] = None
        elif kind_of_cell == "number":
            found[name] = math.nan
        elif name in needed:
            found[name] = ""
    return found


def _priors(folder: Path) -> Mapping[tuple[PoolKey, str], dict[str, HalfT]]:
    priors: dict[tuple[PoolKey, str], dict[str, HalfT]] = defaultdict(dict)
    for one in _read(folder / "priors.csv"):
        priors[(_pool(one), one["endpoint"])][one["spread"]] = HalfT(float(one["df"]), float(one["scale"]), one["source"])
    return priors


def _asked(one: Mapping[str, str], priors: Mapping[tuple[PoolKey, str], dict[str, HalfT]]) -> Asked:
    def number(name: str) -> float | None:
        return float(one[name]) if one[name] else None

    threshold = number("threshold")
    rule = EndpointRule.model_validate(
        {
            "id": one["endpoint"], "title": one["title"], "kind": one["kind"], "role": one["role"], "primary": one["primary"] == "true",
            "at": number("at"), "start": number("start"), "end": number("end"),
            "threshold": None if threshold is None else Threshold(value=threshold, relative=one["threshold_relative"] == "true"),
            "worthwhile_ratio": float(one["worthwhile_ratio"]),
            "assumed_repeatability": AssumedRepeatability(
                ln_sd=float(one["assumed_ln_sd"]), prior_df=float(one["assumed_df"]), source="the protocol"
            ),
        }
    )  # fmt: skip
    return Asked(rule, priors[(_pool(one), one["endpoint"])])


def _asked_of_pool(one: Mapping[str, str], priors: Mapping[tuple[PoolKey, str], dict[str, HalfT]]) -> AskedOfPool:
    places = tuple(float(place) for place in one["checkpoints"].split())
    return AskedOfPool(places, priors[(_pool(one), "")], one["keener"] != "higher")
