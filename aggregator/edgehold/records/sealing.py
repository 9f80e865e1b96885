"""The seal of a plan: a hash that proves it was not changed after it was published."""

from __future__ import annotations

import hashlib
from typing import Any

import rfc8785

from .model.plan import Plan

BEFORE_PAIRS = ("plan/0.1.0", "plan/1.0.0")  # formats whose runs had no edge_part and no partner
BEFORE_TABLES = (*BEFORE_PAIRS, "plan/1.1.0")  # and those in which a plan was for one table
BEFORE_CONDITIONS = (*BEFORE_TABLES, "plan/1.2.0")  # and those whose runs had no condition
BEFORE_LEVELS = (*BEFORE_CONDITIONS, "plan/1.3.0")  # and those whose runs had no level


def plan_sha256(plan: Plan) -> str:
    """SHA-256 (FIPS 180-4) over the canonical JSON (RFC 8785) of a plan without its own ``sha256``.

    The nonce stands inside, so that a short list of possible orders cannot be tried out against a published hash. What the plan's format
    did not know yet is not hashed. A table's part of a shared plan has the seal of the whole: the hash of the list of all parts' hashes,
    its own computed anew, as in a hash tree of one level (RFC 6962 section 2.1 has the idea). So one table opens its part, and the
    others' codes stay closed.
    """
    if plan.table is None or plan.table.parts is None:
        return part_sha256(plan)
    parts = list(plan.table.parts)
    if plan.table.number <= len(parts):
        parts[plan.table.number - 1] = part_sha256(plan)
    return _hash({"parts": parts})


def part_sha256(plan: Plan) -> str:
    """The same over a plan alone, or over one table's part without the hashes of all."""
    later = {"edge_part", "partner"} if plan.format in BEFORE_PAIRS else set()
    if plan.format in BEFORE_TABLES:
        later |= {"from_table"}
    if plan.format in BEFORE_CONDITIONS:
        later |= {"condition"}
    if plan.format in BEFORE_LEVELS:
        later |= {"level"}
    out: dict[str, Any] = {"sha256": True, "runs": {"__all__": later}}
    out["table"] = True if plan.format in BEFORE_TABLES else {"parts": True}
    return _hash(plan.model_dump(mode="json", exclude=out))


def _hash(value: Any) -> str:
    return hashlib.sha256(rfc8785.dumps(value)).hexdigest()
