"""A submission: one contributed result file (submissions/<origin>/<protocol>/<id>.json)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import (
    Count,
    EdgePart,
    Finite,
    Handle,
    Interest,
    Key,
    Label,
    LongText,
    Month,
    NonNegative,
    Origin,
    Percent,
    Positive,
    ProtocolReference,
    Quantity,
    Record,
    Sha256,
    ShortText,
    Slug,
    Written,
)
from .plan import Plan

SUBMISSION_FORMAT = "submission/1.6.0"


class Person(Record):
    """Somebody named in the submission, by handle only."""

    handle: Handle
    """Lower-case letters, digits and hyphens, 2 to 31 of them. Never a real name or an address."""
    agreed: Literal["yes"]
    """This person agreed to be named here by this handle, for good."""
    sharpening: Literal["novice", "practised", "professional"] | None = None
    """How used this person is to sharpening: under about 20 edges, more, or for a living. Null: not known."""


class Steel(Record):
    """What the blade is made of, as far as known. All null: not known."""

    designation: Label | None = None
    """AISI/SAE, UNS, EN or JIS designation, found in aggregator/registers/steels.json. Never a trade name."""
    composition_percent: dict[Annotated[str, Field(pattern=r"^[A-Z][a-z]?(?!\n)$")], Percent] | None = None
    """Mass per cent by chemical symbol, where a data sheet gives it."""


class Hardness(Record):
    """Hardness of the blade."""

    hrc: Annotated[float, Field(ge=20, le=72)]
    """Rockwell C."""
    known_by: Literal["measured", "maker states", "estimated"] | None = None
    """How it is known."""


class BladeInterest(Record):
    """The interest one person has in a blade."""

    person: Handle
    """Whose interest."""
    interest: Interest
    """none, owner, maker or seller."""


class Blade(Record):
    """One physical specimen. The key means the same blade in every file."""

    key: Key
    """<owner>.<name>: the same key is the same blade everywhere."""
    steel: Steel | None = None
    """What it is made of; null: not known."""
    batch: Key | None = None
    """The heat-treatment or maker's batch it came from, <owner>.<name>."""
    hardness: Hardness | None = None
    """Hardness and how it is known."""
    edge: Literal["plain", "serrated", "part serrated"] | None = None
    """Kind of edge."""
    profile: Literal["straight", "curved belly", "recurve", "hooked"] | None = None
    """Shape of the edge line."""
    grind: Literal["flat", "hollow", "convex", "sabre", "one-sided"] | None = None
    """Shape of the blade's cross-section."""
    thickness_behind_edge: Quantity | None = None
    """Thickness where the bevel begins."""
    interest: tuple[BladeInterest, ...] | None = None
    """Who has which interest in this blade; null: not known."""
    note: ShortText | None = None
    """Anything else about the blade."""


class Lot(Record):
    """One spool, sheet or batch of what is cut or read on, or one pack of reference edges."""

    key: Key
    """<owner>.<name>."""
    medium: Label | None = None
    """The medium as the protocol names it."""
    use: Literal["read on", "reference edges"] | None = None
    """read on: thread or paper that sharpness is read on. reference edges: a pack of them. Null: it is cut to dull edges."""
    note: ShortText | None = None
    """As printed on the label, without trade names."""


class Instrument(Record):
    """What sharpness was read with."""

    key: Key
    """<owner>.<name>."""
    kind: ShortText | None = None
    """Such as "kitchen scale" or "spring balance"."""
    resolution: Quantity | None = None
    """The smallest step it shows."""


class EdgeAngle(Record):
    """Bevel angle as the sharpener states it. Never halved or doubled by the program."""

    basis: Literal["per side", "both together"]
    """What the figures mean."""
    left_deg: Annotated[float, Field(gt=0, lt=180)]
    """Degrees on the left side (edge down, spine towards you), or of both together."""
    right_deg: Annotated[float, Field(gt=0, lt=180)] | None = None
    """Degrees on the right side where it differs; null: the same, or both together."""
    known_by: Literal["measured", "guide", "estimated"] | None = None
    """How it is known."""


class AbrasiveStage(Record):
    """One abrasive used, in the order used."""

    as_printed: ShortText
    """What the abrasive says of itself, such as "coarse" or "P400"; no trade names."""
    grit_system: Literal["FEPA F", "FEPA P", "JIS", "ANSI", "CAMI", "mesh", "micrometres"] | None = None
    """The grit system, when known. ANSI: bonded abrasives and loose grain. CAMI: coated ones. micrometres: marked with the size itself."""
    grit: Label | None = None
    """The grit designation in that system, such as "F220"."""
    micrometres: Positive | None = None
    """Mean particle size in micrometres, when known; null for a stone only marked coarse or fine."""
    angle_deg: Annotated[float, Field(gt=0, lt=90)] | None = None
    """Angle per side of this stage where it differs, such as a microbevel."""


class Preparation(Record):
    """One sharpening of one blade by one sharpener."""

    id: Slug
    """Unique in this file."""
    blade: Key
    """Which blade."""
    sharpener: Handle
    """Who, or "factory"."""
    edge_part: EdgePart = "whole"
    """Which part of the edge, when two people share one blade."""
    condition: Label | None = None
    """Such as "before the course", where two are compared."""
    start_state: Literal["as left", "apex flattened", "bevel reset", "factory"] | None = None
    """What was done to the old edge first; factory: nothing since it was delivered; null: not known."""
    previous_preparation: Slug | None = None
    """The preparation in this file that this one replaced on the same edge."""
    edge_angle: EdgeAngle | None = None
    """Bevel angle."""
    stages: tuple[AbrasiveStage, ...] | None = None
    """Abrasives in the order used."""
    deburring: ShortText | None = None
    """How the burr was taken off."""
    strop: ShortText | None = None
    """Strop and compound, or "none"."""
    minutes: NonNegative | None = None
    """Time the sharpening took."""
    note: ShortText | None = None
    """Anything else about this sharpening."""


class ReadingValue(Record):
    """One of the repeats of a reading."""

    written: Written
    """The value as read, in the run's reading_unit."""
    limit: Literal["below", "above"] | None = None
    """below: under what the instrument resolves; above: over the end of its scale."""
    canonical: Finite | None = None
    """The same value in the protocol's canonical unit; null when the program shall compute it. Checked when given."""


class Reading(Record):
    """The repeats at one checkpoint."""

    work: Written
    """Cumulative work when read, in the run's work_unit. 0 is before the first cut."""
    values: tuple[ReadingValue, ...] | None = None
    """The repeated values; null where the protocol reads pass or fail."""
    outcomes: tuple[Literal["pass", "fail"], ...] | None = None
    """The repeated outcomes; null where the protocol reads a value."""
    note: ShortText | None = None
    """Anything seen."""


class LotChange(Record):
    """A new lot begun in the middle of a run."""

    at_work: Written
    """Work done when it changed, in the run's work_unit."""
    lot: Key
    """The lot from then on."""


class Guess(Record):
    """What a blind tester believed, written down before the codes were opened."""

    sharpener: Handle | None = None
    """Whose edge the tester took it for."""
    blade: Key | None = None
    """Which blade the tester took it for."""
    level: Label | None = None
    """Which of the protocol's levels the tester took it for."""
    confidence_percent: Percent | None = None
    """How sure, 0 to 100."""


class Run(Record):
    """One prepared edge dulled by one tester, with readings along the way."""

    id: Slug
    """Unique in this file."""
    order: Count
    """Place in the order in which this submission's runs were made: 1, 2, 3 …"""
    evening: Count | None = None
    """Which evening of this experiment: 1, 2 …"""
    preparation: Slug
    """The preparation whose edge was dulled. One preparation serves one run."""
    level: Label | None = None
    """Which of the protocol's levels it is of, in the protocol's word; null where recorded facts tell, or where there are none."""
    partner: Slug | None = None
    """The run whose edge was cut in turn with this one's, on the same few centimetres of medium; null: none. Both name each other."""
    tester: Handle
    """Who cut and read."""
    tester_change_at_work: Written | None = None
    """If somebody else took over: the work done by then."""
    lot: Key | None = None
    """The lot of the medium."""
    lot_changes: tuple[LotChange, ...] | None = None
    """Lots begun in the middle of the run."""
    reading_lot: Key | None = None
    """The reel of thread or the ream of paper that sharpness was read on."""
    coil_position_m: NonNegative | None = None
    """Metres from the outer end of the coil where the run began."""
    instrument: Key | None = None
    """What sharpness was read with."""
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = None
    """Degrees Celsius."""
    humidity_percent: Percent | None = None
    """Relative humidity."""
    blinding: Literal["none", "helper coded", "sealed"] | None = None
    """Whether the tester knew whose edge it was. The tester always sees the blade."""
    tester_guess: Guess | None = None
    """What the tester believed before the codes were opened."""
    film: Sha256 | None = None
    """SHA-256 of a film that shows this run, which the tester keeps. One film may show several runs."""
    work_unit: Label
    """Unit of every work figure in this run."""
    reading_unit: Label | None = None
    """Unit of every value in this run; null where the protocol reads pass or fail."""
    planned_last_checkpoint: Written | None = None
    """How far the run was meant to go, in work_unit."""
    ended: Literal["last checkpoint", "dull", "medium ran out", "tester stopped", "edge damaged", "edge touched up"]
    """How the run ended. A run broken off is a valid run."""
    readings: tuple[Reading, ...]
    """Readings in the order taken."""
    note: ShortText | None = None
    """Anything else about the run."""


class Reference(Record):
    """A fresh reference edge, read before and after the protocol's fixed amount of work, at the start or the end of an evening."""

    when: Literal["start", "end"]
    """start: before the first run of the evening. end: after the last."""
    evening: Count | None = None
    """Which evening of this experiment: 1, 2 …"""
    pack: Key
    """The pack that the edge is from, <owner>.<name>; a lot for reference edges."""
    segment: Key
    """Which edge, such as one segment of a snap-off blade, <owner>.<name>. Each serves once."""
    tester: Handle
    """Who cut and read."""
    lot: Key | None = None
    """The lot of the medium, the same as the runs beside it."""
    reading_lot: Key | None = None
    """The reel of thread or the ream of paper that sharpness was read on."""
    instrument: Key | None = None
    """What sharpness was read with, the same as for the runs."""
    work_unit: Label
    """Unit of the work figures here."""
    reading_unit: Label | None = None
    """Unit of the values here; null where the protocol reads pass or fail."""
    readings: tuple[Reading, ...]
    """At 0, and after the protocol's fixed amount of work."""
    note: ShortText | None = None
    """Anything seen."""


class KnownWeight(Record):
    """A known weight, hung where the edge would pull, and what the rig said of it."""

    evening: Count | None = None
    """Which evening of this experiment: 1, 2 …"""
    instrument: Key | None = None
    """The instrument in the rig; null where the file lists one or none."""
    known: Quantity
    """What is known of the weight: a mass such as 500 g, or a force."""
    read: Quantity
    """What the rig showed."""
    note: ShortText | None = None
    """How the weight is known, such as a litre of water."""


class Answer(Record):
    """The submitter's answer to a warning of the check."""

    pointer: Annotated[str, Field(max_length=300)]
    """JSON pointer of what the warning was about."""
    code: Label
    """The warning's code."""
    says: ShortText
    """The answer, shown beside the warning."""


class PlanReference(Record):
    """The plan that was drawn before the test."""

    id: Slug
    """The plan's id."""
    sha256: Sha256 | None = None
    """The seal that was published before the test, when there was one."""
    opened: Plan | None = None
    """The whole plan, opened after the test, with the nonce of its seal: what the runs are held against."""


class Submission(Record):
    """One contributed result file."""

    format: Literal[
        "submission/1.6.0",
        "submission/1.5.0",
        "submission/1.4.0",
        "submission/1.3.0",
        "submission/1.2.0",
        "submission/1.1.0",
        "submission/1.0.0",
        "submission/0.1.0",
    ]
    """Name and version of this format; before 1.6.0 no film, 1.5.0 no level, 1.3.0 no condition, 1.2.0 no references."""
    id: Slug
    """The file's name without .json. Never used again for anything else."""
    protocol: ProtocolReference
    """The protocol version that was followed."""
    origin: Origin
    """measured: people did this. simulated: a program made it up."""
    licence: Literal["CC0-1.0"]
    """Data here are given to everybody without conditions."""
    submitted_by: Handle
    """Who sends this in; need not be a tester."""
    month: Month
    """Month in which the last run ended, such as 2026-05."""
    people: Annotated[tuple[Person, ...], Field(min_length=1)]
    """Everybody named in this file."""
    blades: Annotated[tuple[Blade, ...], Field(min_length=1)]
    """Every blade used."""
    lots: tuple[Lot, ...] | None = None
    """Lots of the medium, of what is read on, and packs of reference edges."""
    instruments: tuple[Instrument, ...] | None = None
    """Instruments that sharpness was read with."""
    preparations: Annotated[tuple[Preparation, ...], Field(min_length=1)]
    """Every sharpening."""
    runs: Annotated[tuple[Run, ...], Field(min_length=1)]
    """Every run, the broken-off ones too."""
    references: tuple[Reference, ...] | None = None
    """Reference edges read at the start and the end of an evening."""
    weights: tuple[KnownWeight, ...] | None = None
    """Known weights that the rig was checked with."""
    plan: PlanReference | None = None
    """The plan drawn before the test."""
    answers: tuple[Answer, ...] | None = None
    """Answers to warnings."""
    note: LongText | None = None
    """Anything a reader should know."""
