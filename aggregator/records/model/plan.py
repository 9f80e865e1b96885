"""A plan: the drawn order, roles and codes of one experiment, made before it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import Count, Handle, Key, Label, Month, ProtocolReference, Record, Sha256, Slug, Whole

PLAN_FORMAT = "plan/0.1.0"


class PlannedRun(Record):
    """One run as drawn."""

    order: Count
    """1, 2, 3 …"""
    block: Count
    """The block (evening and lot) it belongs to."""
    blade: Key
    """Which blade."""
    sharpener: Handle
    """Who sharpens it."""
    tester: Handle
    """Who cuts and reads."""
    code: Label | None = None
    """The code on the envelope; null when nothing is coded."""


class Plan(Record):
    """The drawn order, roles and codes of one experiment."""

    format: Literal["plan/0.1.0"]
    """Name and version of this format."""
    id: Slug
    """The plan's id."""
    protocol: ProtocolReference
    """The protocol version to be followed."""
    month: Month
    """When it was drawn."""
    seed: Whole
    """Seed of the random order, so that it can be drawn again."""
    blinding: Literal["none", "helper coded", "sealed"]
    """Who shall know whose edge is whose."""
    runs: Annotated[tuple[PlannedRun, ...], Field(min_length=1)]
    """The runs in their order."""
    sha256: Sha256 | None = None
    """The seal published before the test."""
