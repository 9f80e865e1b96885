"""The seal of a plan: a hash that proves it was not changed after it was published."""

from __future__ import annotations

import hashlib

import rfc8785

from .model.plan import Plan

BEFORE_PAIRS = ("plan/0.1.0", "plan/1.0.0")  # formats whose runs had no edge_part and no partner


def plan_sha256(plan: Plan) -> str:
    """SHA-256 (FIPS 180-4) over the canonical JSON (RFC 8785) of a plan without its own ``sha256``.

    The nonce stands inside, so that a short list of possible orders cannot be tried out against a published hash. What the plan's format
    did not know yet is not hashed.
    """
    later = {"runs": {"__all__": {"edge_part", "partner"}}} if plan.format in BEFORE_PAIRS else {}
    return hashlib.sha256(rfc8785.dumps(plan.model_dump(mode="json", exclude={"sha256": True, **later}))).hexdigest()
