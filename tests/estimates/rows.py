"""Rows and protocols in memory for the third stage."""

from __future__ import annotations

import json
import math
from pathlib import Path

import yaml

from edgehold.endpoints.rows import EndpointRow
from edgehold.records.canonical import LoadedProtocol, PoolKey
from edgehold.records.model.protocol import Protocol

ROOT = Path(__file__).parents[2]
POOL = PoolKey("steels-exchanged-rope", 2, "measured")
NAN = float("nan")


def make_row(value, number=1, endpoint="early", **facts) -> EndpointRow:
    """A row: a number is exact, a pair is (low, high), None is missing."""
    low, high = (NAN, NAN) if value is None else value if isinstance(value, tuple) else (value, value)
    status = "missing" if value is None else "exact" if low == high else "interval"
    status = "left" if low == -math.inf else "right" if high == math.inf else status
    known = {
        "pool": POOL, "version": "2.0.0", "submission": "one", "month": "2026-05", "endpoint": endpoint,
        "role": "early", "run": f"r{number}", "order": number, "evening": 1, "blade": "wren.galley", "steel": None,
        "batch": None, "sharpener": "wren", "tester": "wren", "lot": None, "own_sharpening": True, "sharpening": None,
        "split_tester": False, "low": low, "high": high, "status": status, "reason": "" if low == high else "why",
        "reading_se": NAN, "raw": NAN, "failed_preparation": False, "damaged": False, "flags": (),
    }  # fmt: skip
    return EndpointRow(**(known | facts))


def make_rows(values, submission="one", endpoint="early", **columns) -> list[EndpointRow]:
    """Rows from columns: every column a sequence as long as ``values``, or one value for all."""
    rows = []
    for i, value in enumerate(values):
        facts = {name: column[i] if isinstance(column, (list, tuple, str)) and len(column) == len(values) else column
                 for name, column in columns.items()}  # fmt: skip
        rows.append(make_row(value, i + 1, endpoint, submission=submission, **facts))
    return rows


def make_protocols(**changes) -> dict[tuple[str, str], LoadedProtocol]:
    """The project's exchange protocol, top-level fields changed."""
    text = (ROOT / "protocols" / "steels-exchanged-rope" / "2.0.0.md").read_text(encoding="utf-8")
    data = yaml.safe_load(text.split("---\n", 2)[1]) | changes
    record = Protocol.model_validate_json(json.dumps(data))
    return {(record.id, record.version): LoadedProtocol(record, "", "x.md", "0" * 64)}
