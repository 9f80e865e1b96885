"""A plan: the drawn order, roles and codes of one experiment, made before it."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from .base import Count, EdgePart, Handle, Key, Label, Month, NonNegative, Origin, Positive, ProtocolReference, Record, Sha256, Slug, Whole

PLAN_FORMAT: Final = "plan/1.4.0"
PLAN_SEAL_FORMAT: Final = "plan-seal/1.0.0"
SHARED_PLAN_FORMAT: Final = "shared-plan/1.2.0"

Nonce = Annotated[str, Field(pattern=r"^[0-9a-f]{32,64}(?!\n)$")]


class PlannedRun(Record):
    """One run as drawn."""

    order: Count
    """1, 2, 3 …"""
    block: Count
    """The block (evening and lot) it belongs to."""
    evening: Count | None = None
    """Which evening: 1, 2 …"""
    lot: Count | None = None
    """Which of the lots at hand it is cut from: 1, 2 …"""
    coil_position_m: NonNegative | None = None
    """Metres from the outer end of that lot where the run begins, if every run before goes to its last checkpoint."""
    blade: Key
    """Which blade."""
    sharpener: Handle
    """Who sharpens it, or "factory"."""
    condition: Label | None = None
    """Such as "before the course", where two are compared."""
    level: Label | None = None
    """Which of the protocol's levels, in its word; null where it compares none."""
    edge_part: EdgePart = "whole"
    """Which part of its edge."""
    partner: Count | None = None
    """Place in the order of the run that is cut in turn with this one; null: none."""
    tester: Handle
    """Who cuts and reads."""
    code: Label | None = None
    """The code on the envelope; null when nothing is coded."""
    from_table: Count | None = None
    """The table of a shared plan at which the edge is sharpened and from which it comes; null: this one."""


class TableOfPlan(Record):
    """One table of a shared plan."""

    number: Count
    """Which table this part of the plan is for: 1, 2 …"""
    of: Annotated[int, Field(ge=2, le=6)]
    """How many tables share the plan."""
    parts: Annotated[tuple[Sha256, ...], Field(min_length=2, max_length=6)] | None = None
    """Hash of each table's part in the order of tables, so that one seal holds for all and each is opened alone; null: not sealed."""


class Plan(Record):
    """The drawn order, roles and codes of one experiment."""

    format: Literal["plan/1.4.0", "plan/1.3.0", "plan/1.2.0", "plan/1.1.0", "plan/1.0.0", "plan/0.1.0"]
    """Name and version of this format; before 1.4.0 no level, before 1.3.0 no condition, before 1.2.0 no table, before 1.1.0 no partner."""
    id: Slug
    """The plan's id."""
    protocol: ProtocolReference
    """The protocol version to be followed."""
    origin: Origin = "measured"
    """measured: people will do this. simulated: a program will make it up."""
    month: Month
    """When it was drawn."""
    endpoint: Slug | None = None
    """The endpoint that it was planned for; null: the protocol's primary one."""
    worthwhile_ratio: Annotated[float, Field(gt=1, le=100)] | None = None
    """The smallest ratio worth acting on, fixed before the test; null: the protocol's."""
    planned_last_checkpoint: Positive | None = None
    """How far every run is meant to go, in the protocol's unit of work; null: to its last checkpoint."""
    seed: Whole
    """Seed of the random order, so that it can be drawn again."""
    blinding: Literal["none", "helper coded", "sealed"]
    """Who shall know whose edge is whose."""
    coder: Handle | None = None
    """Who keeps the codes; cuts and reads nothing."""
    runs: Annotated[tuple[PlannedRun, ...], Field(min_length=1)]
    """The runs in their order."""
    table: TableOfPlan | None = None
    """Which table of a shared plan this is; null: the plan is for one table."""
    nonce: Nonce | None = None
    """128 random bits or more, as lower-case hexadecimal digits: without them a short plan could be guessed from its seal."""
    sha256: Sha256 | None = None
    """The seal published before the test: SHA-256 of the canonical JSON (RFC 8785) of everything else in this plan, or of the hashes of all
    tables' parts."""


class SharedPlan(Record):
    """Plans of two to six tables that send each other edges, under one id and one seal."""

    format: Literal["shared-plan/1.2.0", "shared-plan/1.1.0", "shared-plan/1.0.0"]
    """Name and version of this format; 1.1.0 held no level, 1.0.0 no condition."""
    id: Slug
    """The plan's id, which every table's part has too."""
    tables: Annotated[tuple[Plan, ...], Field(min_length=2, max_length=6)]
    """Each table's part, in their order."""
    sha256: Sha256 | None = None
    """The seal, which every table's part has too; null: not sealed."""


class PlanSeal(Record):
    """What is published of a sealed plan before the test: submissions/plans/<id>.json."""

    format: Literal["plan-seal/1.0.0", "plan-seal/0.1.0"]
    """Name and version of this format; 0.1.0 had the same fields."""
    id: Slug
    """The plan's id, which is the file's name without .json."""
    protocol: ProtocolReference
    """The protocol version to be followed."""
    origin: Origin
    """measured or simulated; never mixed."""
    sha256: Sha256
    """The plan's hash."""
    month: Month
    """When it was published."""
    by: Handle
    """Who publishes it and answers for bringing the result back."""
