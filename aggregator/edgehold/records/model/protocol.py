"""A protocol's machine-readable part: the YAML front matter of protocols/<id>/<version>.md."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import Count, Label, LongText, NonNegative, Positive, Record, Sha256, ShortText, Slug, Version

PROTOCOL_FORMAT = "protocol/1.4.0"

ThreatKind = Literal[
    "confounding",
    "carry-over",
    "order",
    "expectation",
    "instrument",
    "medium",
    "selection",
    "analysis",
    "generality",
    "safety",
]
StepId = Annotated[str, Field(pattern=r"^s[0-9]{1,3}(?:-[a-z0-9-]{1,40})?(?!\n)$")]


LevelFact = Literal[
    "last abrasive",
    "edge angle",
    "thickness behind the edge",
    "hardness",
    "microbevel",
    "strop",
    "deburring",
    "start state",
    "condition",
]


class LevelRule(Record):
    """By which recorded fact a run is of a level."""

    fact: LevelFact
    """Which: last abrasive in micrometres, edge angle in degrees per side, thickness in mm, hardness in HRC; the others are words."""
    at_least: Positive | None = None
    """The smallest number; null: no limit."""
    below: Positive | None = None
    """Numbers are smaller than this; null: no limit."""
    words: tuple[Label, ...] = ()
    """Words of which one is written there."""
    other_than: tuple[Label, ...] = ()
    """Words of which none is written there, though something is."""


class Level(Record):
    """One of the levels of a treatment that are compared."""

    word: Label
    """What it is called in results."""
    text: ShortText
    """What is done, in one sentence."""
    rule: LevelRule | None = None
    """Which recorded fact puts a run into it; null: no fact tells, and the result file says so."""


class Question(Record):
    """What the protocol is for."""

    factor: Literal["sharpener", "steel", "blade", "level", "abrasive", "angle"]
    """The one factor whose effect is asked for; level: the levels below. abrasive and angle compare nothing without levels."""
    text: ShortText
    """The question in one plain sentence."""
    treatment: Label | None = None
    """What the levels are levels of, such as "finish"; null where the question is open."""
    levels: Annotated[tuple[Level, ...], Field(max_length=8)] = ()
    """The levels that are compared; none where any steels, blades or sharpeners are."""


class Medium(Record):
    """What is cut to dull the edge."""

    name: Label
    """Short name; submissions repeat it in lots[].medium."""
    description: ShortText
    """Material, make-up and size."""


class Work(Record):
    """How dulling is counted."""

    kind: Literal["cuts", "length"]
    """Cuts of fixed length, or length of medium cut."""
    unit: Label
    """Canonical unit."""
    accepted_units: Annotated[tuple[Label, ...], Field(min_length=1)]
    """Units a run may use."""
    checkpoints: Annotated[tuple[NonNegative, ...], Field(min_length=3)]
    """Amounts of work at which sharpness is read, in the canonical unit, the first one 0."""
    edge_stretch_mm: Positive
    """Length of edge that does the work."""
    stroke: ShortText
    """How one cut is made."""
    force_limit_n: Positive | None = None
    """Stop when a cut needs more than this."""


class ReadingRule(Record):
    """How sharpness is read."""

    kind: Literal["force", "length", "count", "pass/fail"]
    """What one reading is."""
    description: ShortText
    """The reading in one sentence, its own medium named."""
    canonical_unit: Label | None = None
    """Unit of the canonical values; null for pass/fail."""
    accepted_units: tuple[Label, ...] = ()
    """Units a run may use."""
    keener: Literal["lower", "higher"] | None = None
    """Which way is sharper; null for pass/fail."""
    repeats: Count
    """Repeats at each checkpoint."""
    resolution: Positive | None = None
    """Smallest step of the reading in the canonical unit."""
    scale_end: Positive | None = None
    """The largest value that can be read, in the canonical unit."""
    plausible_low: Positive | None = None
    """Below this a value is looked at twice."""
    plausible_high: Positive | None = None
    """Above this a value is looked at twice."""
    dulls: bool
    """Whether reading itself dulls the edge."""


class Stopping(Record):
    """When a run ends."""

    text: ShortText
    """The rule in one sentence."""
    readings_below: Count = 2
    """How many successive readings past the threshold end a run."""


class Threshold(Record):
    """The keenness that ends an edge's life."""

    value: Positive
    """In the reading's canonical unit, or as a fraction of the start where relative is true."""
    relative: bool = False
    """Whether value is a fraction of the reading at 0."""


class AssumedRepeatability(Record):
    """Run-to-run spread assumed until pooled data say better."""

    ln_sd: Positive
    """Standard deviation between runs on the ln scale."""
    prior_df: Positive
    """How many degrees of freedom that assumption is worth."""
    source: ShortText
    """Where the figure comes from."""


class AssumedSpread(Record):
    """Half-t prior of how far the levels of one term differ."""

    scale: Positive
    """Scale, ln units."""
    df: Annotated[float, Field(ge=1, le=1000)]
    """Degrees of freedom: with 1 the tail is heaviest, with many it is a half-normal."""
    source: ShortText
    """Where the figures come from, or that they are the author's assumption."""


class AssumedSpreads(Record):
    """Priors of how far the levels of each term differ; null: the default, scaled to the assumed repeatability."""

    steel: AssumedSpread | None = None
    """Steels, for what matters more alone."""
    sharpener: AssumedSpread | None = None
    """Sharpeners of one class."""
    tester: AssumedSpread | None = None
    """Testers."""
    blade: AssumedSpread | None = None
    """Blades of one steel."""
    batch: AssumedSpread | None = None
    """Batches of one steel."""
    lot: AssumedSpread | None = None
    """Lots of the medium."""
    evening: AssumedSpread | None = None
    """Evenings of one person."""
    pair: AssumedSpread | None = None
    """Pairs of edges cut in turn."""
    submission: AssumedSpread | None = None
    """Submissions of the same people."""
    steel_sharpener: AssumedSpread | None = None
    """How steels suit a sharpener."""
    steel_tester: AssumedSpread | None = None
    """How steels suit a tester."""
    level_steel: AssumedSpread | None = None
    """How levels suit a steel."""
    level_submission: AssumedSpread | None = None
    """How levels differ from table to table."""


class EndpointRule(Record):
    """One quantity computed from a run."""

    id: Slug
    """Short id, unique in the protocol and the same in compatible versions."""
    title: ShortText
    """What it is called on pages."""
    kind: Literal["level", "window", "loss", "life"]
    """level at one amount of work; window mean between two; loss between two; life to a threshold."""
    role: Literal["early", "late", "overall"]
    """Which part of the dulling it speaks of."""
    primary: bool = False
    """Exactly one endpoint is primary."""
    at: NonNegative | None = None
    """Work of a level."""
    start: NonNegative | None = None
    """Work where a window or loss begins."""
    end: Positive | None = None
    """Work where a window or loss ends."""
    threshold: Threshold | None = None
    """Threshold of a life; null for pass/fail, where the first lasting fail ends it."""
    fit_from: Literal["zero", "first positive checkpoint"] = "zero"
    """Where the monotone fit of a life begins; later than zero where a burr can read as sharp."""
    worthwhile_ratio: Annotated[float, Field(gt=1, le=100)]
    """The smallest ratio worth acting on."""
    assumed_repeatability: AssumedRepeatability
    """Run-to-run spread assumed on day one."""
    assumed_spreads: AssumedSpreads | None = None
    """Priors of other spreads, where the defaults scaled to the assumed repeatability do not serve."""
    reason: ShortText | None = None
    """Needed where a loss or a relative life is primary: why."""


class ReferenceRule(Record):
    """A cheap edge that is the same everywhere, read beside the tested ones; readings are taken as the protocol's."""

    edge: ShortText
    """What the reference edge is."""
    work: Positive
    """The fixed amount of work between its two readings, in the canonical unit of work."""
    weights: ShortText | None = None
    """The known weights that the rig is checked with; null: none are asked for."""


class Design(Record):
    """How runs are laid out."""

    varies: tuple[Label, ...]
    """What differs between runs on purpose."""
    holds: tuple[Label, ...]
    """What is held equal."""
    least_runs: Count
    """Runs below which no answer is promised."""
    side_by_side: Literal["halves", "blades"] | None = None
    """halves: heel and tip of an edge, by two people or to two levels, in turn; blades: two blades in turn; null: edges one by one."""
    order: ShortText
    """How the order is drawn."""
    blinding: ShortText
    """Who knows what."""


class Need(Record):
    """Something the tester must have."""

    item: ShortText
    """What, and how much."""
    where: Literal["in the house", "cheap", "made"]
    """Whether it has to be bought or made."""
    substitute: ShortText | None = None
    """What does instead."""


class MinuteParts(Record):
    """What the time of an evening is made of."""

    once: NonNegative
    """Minutes of setting up and the practice run, once an evening."""
    sharpening: Positive
    """Minutes for the sharpening of one run: flattening the apex, sharpening, marks, code and sheath."""
    unit_seconds: Positive
    """Seconds for one unit of work, clamping and rests included."""
    value_seconds: Positive
    """Seconds for one value of a reading, thread or paper included."""
    runs_a_hand: Count
    """Runs to the late checkpoint that one tester's hand makes in an evening."""
    source: ShortText
    """Where the figures come from."""


class Minutes(Record):
    """Time it takes."""

    one_run: Count
    """Minutes for one run, resharpening included."""
    whole: Count
    """Minutes for the least number of runs."""
    parts: MinuteParts | None = None
    """What they are made of; null: not said."""


class PeopleModes(Record):
    """How it is done by one, two or three people."""

    alone: ShortText
    """The variant for one person tonight, and what it cannot show."""
    two: ShortText
    """Two people."""
    three: ShortText | None = None
    """Three people."""


class Threat(Record):
    """A known way to be misled, and where the method deals with it."""

    threat: ThreatKind
    """Its kind."""
    text: ShortText
    """The threat in one sentence."""
    steps: tuple[StepId, ...]
    """Ids of the steps that deal with it; empty: left open."""


class Figure(Record):
    """A drawing beside the protocol, hashed with it."""

    file: Annotated[str, Field(pattern=r"^figures/[a-z0-9][a-z0-9-]{0,60}\.svg(?!\n)$")]
    """Path beside the protocol file."""
    sha256: Sha256
    """Hash of the drawing's bytes."""
    caption: ShortText
    """What it shows; also its alternative text."""


class Protocol(Record):
    """The machine-readable part of one version of a test method."""

    format: Literal["protocol/1.4.0", "protocol/1.3.0", "protocol/1.2.0", "protocol/1.1.0", "protocol/1.0.0", "protocol/0.1.0"]
    """Name and version of this format; before 1.4.0 no levels, before 1.3.0 no assumed_spreads, before 1.2.0 no reference."""
    id: Slug
    """The folder's name."""
    version: Version
    """The file's name without .md."""
    title: ShortText
    """What the method is called."""
    question: Question
    """What it asks."""
    changes: ShortText
    """What is new against the version before, or "first version"."""
    medium: Medium
    """What is cut."""
    work: Work
    """How dulling is counted."""
    reading: ReadingRule
    """How sharpness is read."""
    reference: ReferenceRule | None = None
    """The reference edge that is asked for at the start and the end of an evening; null: none is."""
    stopping: Stopping
    """When a run ends."""
    endpoints: Annotated[tuple[EndpointRule, ...], Field(min_length=1)]
    """What is computed from a run."""
    early_checkpoint: Positive
    """The work that "early" means on pages."""
    late_checkpoint: Positive
    """The work that "late" means on pages."""
    estimand: Literal["total", "same stone", "same stone and angle"]
    """What a difference between sharpeners includes."""
    design: Design
    """How runs are laid out."""
    apex_start: ShortText
    """How the apex is flattened before every sharpening, whoever sharpens."""
    edges: Literal["plain only", "any"]
    """Which edges it is for."""
    needs: Annotated[tuple[Need, ...], Field(min_length=1)]
    """What the tester must have."""
    minutes: Minutes
    """Time it takes."""
    people: PeopleModes
    """How many people, who does what."""
    practice_run: ShortText
    """The run that does not count."""
    threats: Annotated[tuple[Threat, ...], Field(min_length=1)]
    """Known ways to be misled."""
    cautions: Annotated[tuple[ShortText, ...], Field(min_length=1)]
    """Cautions of this method, beside those that stand everywhere."""
    figures: tuple[Figure, ...] = ()
    """Drawings."""
    note: LongText | None = None
    """Anything else."""


def major(version: str) -> int:
    """MAJOR of a version: results of different MAJORs are never pooled together."""
    return int(version.split(".")[0])


def version_order(version: str) -> tuple[int, ...]:
    """Versions sort by their numbers: 1.10.0 comes after 1.9.0."""
    return tuple(int(part) for part in version.split("."))
