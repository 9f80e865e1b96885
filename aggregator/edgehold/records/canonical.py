"""What leaves the first stage: validated records with canonical numbers beside the written ones.

Plain frozen dataclasses. Amounts of work are in the protocol's work unit, values in the reading's canonical unit,
so that no later stage ever meets a unit.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from pathlib import Path

from edgehold.errors import ERROR, Finding

from .model.changes import Correction, Retraction, Tombstone
from .model.plan import PlanSeal
from .model.protocol import Protocol, major
from .model.review import Event, Objection, Outcome, Response
from .model.roles import Roles
from .model.submission import Submission
from .names import Names
from .registers import Steels


@dataclass(frozen=True)
class CanonicalReading:
    """The repeats at one checkpoint.

    Attributes
    ----------
    work : cumulative work in the protocol's work unit.
    values : repeats in the reading's canonical unit; empty for pass/fail.
    limits : per value None, ``"below"`` or ``"above"``; same length as ``values``. A value of 0, below the
        resolution or over the scale's end is marked here even when the file does not say so.
    passed : outcomes of a pass/fail reading; empty otherwise.
    """

    work: float
    values: tuple[float, ...]
    limits: tuple[str | None, ...]
    passed: tuple[bool, ...]


@dataclass(frozen=True)
class CanonicalRun:
    """One run with everything a later stage needs to know about it.

    Attributes
    ----------
    id, order, evening, tester, lot, ended, blinding, coil_position_m, humidity_percent : as in the file.
    blade, steel, batch, sharpener, edge_part : of the preparation. ``steel`` is the register's id, or None; one person in two stated
        conditions is two sharpeners, unless the protocol compares the conditions.
    hand : the sharpener's handle; None behind a factory edge.
    own_sharpening : the tester sharpened the edge.
    sharpening : the sharpener's ``novice``/``practised``/``professional``, or None.
    start_state : as in the preparation.
    partner : id of the run that was cut in turn with this one, or None.
    instrument, reading_lot : as in the file.
    split_tester : True where a second tester took over; such a run is left out of the tester split.
    readings : in order of work.
    level : which of the protocol's levels it is of; None where it has none, and where the run fits none or two of them.
    """

    id: str
    order: int
    evening: int | None
    tester: str
    lot: str | None
    ended: str
    blinding: str | None
    coil_position_m: float | None
    humidity_percent: float | None
    preparation: str
    blade: str
    steel: str | None
    batch: str | None
    sharpener: str
    edge_part: str
    own_sharpening: bool
    sharpening: str | None
    start_state: str | None
    split_tester: bool
    readings: tuple[CanonicalReading, ...]
    partner: str | None = None
    instrument: str | None = None
    reading_lot: str | None = None
    hand: str | None = None
    level: str | None = None


@dataclass(frozen=True)
class CanonicalReference:
    """One reference edge.

    Attributes
    ----------
    when, evening, pack, segment, tester, lot, reading_lot, instrument : as in the file.
    readings : in the order taken, as those of a run.
    """

    when: str
    evening: int | None
    pack: str
    segment: str
    tester: str
    lot: str | None
    reading_lot: str | None
    instrument: str | None
    readings: tuple[CanonicalReading, ...]


@dataclass(frozen=True)
class CanonicalWeight:
    """One known weight.

    Attributes
    ----------
    evening, instrument : as in the file.
    known_n, read_n : what it weighs and what the rig showed, newtons.
    """

    evening: int | None
    instrument: str | None
    known_n: float
    read_n: float


@dataclass(frozen=True)
class LoadedChange:
    """A correction or retraction as read: the record, where it lay, its hash."""

    record: Correction | Retraction
    path: str
    sha256: str


@dataclass(frozen=True)
class LoadedSubmission:
    """One submission as it counts now.

    Attributes
    ----------
    record : the file with its corrections applied, people by the handle they are shown as.
    path, sha256 : where the original file lies, and its hash.
    runs : canonical runs in running order.
    references, weights : reference edges and known weights, in the file's order.
    changes : corrections and retraction in the order of their numbers.
    earlier : as it stood before each of them, in their order; None where it would not have passed the check. Empty without
        changes, and where the states were not asked for.
    seal_held : whether the seal of its plan held; None where none was made, or nobody looked.
    """

    record: Submission
    path: str
    sha256: str
    runs: tuple[CanonicalRun, ...]
    changes: tuple[LoadedChange, ...] = ()
    earlier: tuple[LoadedSubmission | None, ...] = ()
    seal_held: bool | None = None
    references: tuple[CanonicalReference, ...] = ()
    weights: tuple[CanonicalWeight, ...] = ()

    @property
    def retraction(self) -> LoadedChange | None:
        """What took it back, if something did."""
        return next((change for change in self.changes if isinstance(change.record, Retraction)), None)


@dataclass(frozen=True)
class LoadedProtocol:
    """One protocol version as read: front matter, Markdown body with the tables that its settings make, where it lay, its hash."""

    record: Protocol
    body: str
    path: str
    sha256: str


@dataclass(frozen=True)
class ObjectionThread:
    """One objection with its entries in order; texts are the plain-text bodies.

    ``by_itself`` is False of one that calls a method dangerous and closes no form until a maintainer takes it up (`rules.standing`).
    """

    protocol: str
    number: int
    path: str
    objection: Objection
    statement: str
    entries: tuple[tuple[Response | Outcome, str], ...]
    by_itself: bool = True


@dataclass(frozen=True)
class CarriedIn:
    """That a friend's request brought a result in.

    Attributes
    ----------
    by, month : who did, and when.
    confirmed : whether the owner has said since, by a file or by an objection that rests on it, that it is theirs.
    """

    by: str
    month: str
    confirmed: bool


@dataclass(frozen=True)
class Repository:
    """Everything people wrote, validated.

    Attributes
    ----------
    root : the repository's folder.
    protocols : by (id, version).
    submissions : sorted by path; only those without an error of their own or across files, and not retracted.
    events : by protocol id, in the order of their numbers.
    objections : all threads, sorted by protocol and number.
    steels : the registers of steels and of their classes.
    findings : everything found, sorted by file, line and code.
    retracted : submissions that were taken back: readable, and in no stage after this one. One with errors has no runs.
    tombstones : what is left of submissions that were taken out, by id.
    side_files : (path, hash) of tombstones, of what people say of their handles, of published seals, of the list of roles and of what
        was carried in.
    life_files : (path, hash) of the events in protocols' lives, of objections and of what was said and decided about them.
    seals : of plans, published before the test, by id; whether or not the result came back.
    names : which handle is shown for which.
    event_paths : files of ``events``.
    as_written : ``objections`` with handles as they stand in files, for the check of requests.
    roles : who may do what; None where there is no list.
    accounts : the account of every handle, as it stands in files, that is bound to one.
    carried : results that somebody else's request brought in, by the submission's id.
    exchanged : with whom every person who has an account says to have exchanged something, by the handle shown.
    """

    root: Path
    protocols: dict[tuple[str, str], LoadedProtocol]
    submissions: tuple[LoadedSubmission, ...]
    events: dict[str, tuple[Event, ...]]
    objections: tuple[ObjectionThread, ...]
    steels: Steels
    findings: tuple[Finding, ...]
    retracted: tuple[LoadedSubmission, ...] = ()
    tombstones: tuple[Tombstone, ...] = ()
    side_files: tuple[tuple[str, str], ...] = ()
    life_files: tuple[tuple[str, str], ...] = ()
    names: Names = field(default_factory=Names)
    seals: tuple[PlanSeal, ...] = ()
    event_paths: dict[str, tuple[str, ...]] = field(default_factory=dict)
    as_written: tuple[ObjectionThread, ...] = ()
    roles: Roles | None = None
    accounts: dict[str, str] = field(default_factory=dict)
    carried: dict[str, CarriedIn] = field(default_factory=dict)
    exchanged: dict[str, frozenset[str]] = field(default_factory=dict)

    @property
    def errors(self) -> tuple[Finding, ...]:
        """Findings that stop a build."""
        return tuple(f for f in self.findings if f.severity == ERROR)

    @functools.cached_property
    def gone(self) -> dict[str, str]:
        """Ids of submissions that no longer count, and how they went."""
        return {s.record.id: "retracted" for s in self.retracted} | {stone.id: "removed" for stone in self.tombstones}

    @functools.cached_property
    def submission_ids(self) -> frozenset[str]:
        """Ids that are or were submissions'."""
        return frozenset(s.record.id for s in self.submissions) | self.gone.keys()

    def protocol_of(self, submission: LoadedSubmission) -> LoadedProtocol:
        """The protocol version a submission followed."""
        reference = submission.record.protocol
        return self.protocols[(reference.id, reference.version)]


@dataclass(frozen=True, order=True)
class PoolKey:
    """What may be pooled together: one protocol MAJOR and one origin."""

    protocol: str
    major: int
    origin: str


def pool_key(submission: LoadedSubmission) -> PoolKey:
    """The pool a submission belongs to; measured and simulated are never pooled together."""
    record = submission.record
    return PoolKey(record.protocol.id, major(record.protocol.version), record.origin)
