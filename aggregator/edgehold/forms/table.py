"""The rules of a submission that need more than one field, as one flat table that any small program can walk.

Each entry is plain JSON: ``rule`` names one of the kinds in the list below, ``at`` the places it looks at (JSON pointers in
which ``*`` stands for every entry of a list), ``code`` the finding it makes, and the rest what the kind needs. Limits come
from the protocol and from the constants of ``edgehold.records``: nothing is written a second time here, and
``tests/forms`` holds both readers of the rules to the same findings.

==============  ======================================================================================================
kind            finds
==============  ======================================================================================================
unique          a value that stands in the list before
one of          a value that does not stand at ``among``
only, never     a word that is none of ``words``; one that is
not after       a month more than ``months`` from now
not before      a month earlier than ``months`` from now
needed, unused  nothing written at ``at``; something written there
filled          an empty list, or none
told            anything written there, which readers must know
since           a month earlier than ``month``
matches         a text in which ``pattern`` is found
one kind        an entry that has not exactly one of ``names``
at most         a number above ``limit``, or above the one of ``limits`` that the word at ``by`` chooses
unit            a unit that is none of ``units`` in any spelling
number          text that is not one number in its unit; ``goal`` null: the base unit of the unit's kind
not negative    a number below 0
agrees          a canonical value that is not what was written (``least``: looked at from there on only)
rising          an amount of work that is not above the one before
near            an amount of work that is no checkpoint
repeats         another number of repeats
limit           a value that is its own limit: 0, below the resolution, over the scale's end
between         a value outside the plausible range
begins          no reading at 0
burr            a second reading sharper than the one at 0
settled         a pass after a fail
two edges       parts of one edge that were not sharpened by the same people
steel           a designation that is not in the register
steel origin    a designation of another origin than the file's
grit, size      a designation that its system does not have; a size that is not the designation's
==============  ======================================================================================================

``when`` binds a rule to other places, all of which must hold a word or nothing (``is``), or a month ``before`` or ``after`` one.
``unless`` names places and steps: the rule is silent where an earlier step found something inside that place, because a reader
cannot go on there.
"""

from __future__ import annotations

from edgehold.records.canonical_runs import CANONICAL_TOLERANCE, EVEN
from edgehold.records.model.protocol import Protocol
from edgehold.records.read.session import RESERVED_IDS
from edgehold.records.rules.readings import NEAR_CHECKPOINT
from edgehold.records.rules.submissions import FARTHEST_GRIT, LONG_AGO_YEARS, WIDEST_USUAL_ANGLE_DEG

Entry = dict[str, object]

UNITS, NUMBERS, VALUES, READINGS = 1, 2, 3, 4  # steps of reading one run
RUN, READING = "/runs/*", "/runs/*/readings/*"
AFTER_UNITS = {RUN: UNITS}
AFTER_NUMBERS = {RUN: UNITS, READING: NUMBERS}
AFTER_VALUES = {RUN: VALUES}


def submission_table(protocol: Protocol, status: str) -> list[Entry]:
    """Every rule for one protocol version; ``status`` is where its life stands."""
    return [
        *_names(),
        *_facts(protocol, status),
        *_quantities(),
        *_units(protocol),
        *_numbers(protocol),
        *([] if protocol.reading.kind == "pass/fail" else _values(protocol)),
        *_readings(protocol),
    ]


def entry_of(rule: str, at: str, code: str, **more: object) -> Entry:
    """One rule of the table, as the head of this module tells."""
    return {"rule": rule, "at": at, "code": code, **more}


def _names() -> list[Entry]:
    """Ids stand for one thing each, and what is named is there."""
    lists = {"people": "handle", "blades": "key", "lots": "key", "instruments": "key", "preparations": "id", "runs": "id"}
    among = {
        "/people/*/handle": (
            "/submitted_by",
            "/blades/*/interest/*/person",
            "/preparations/*/sharpener",
            "/runs/*/tester",
            "/runs/*/tester_guess/sharpener",
        ),
        "/blades/*/key": ("/preparations/*/blade", "/runs/*/tester_guess/blade"),
        "/preparations/*/id": ("/preparations/*/previous_preparation", "/runs/*/preparation"),
        "/lots/*/key": ("/runs/*/lot", "/runs/*/lot_changes/*/lot"),
        "/instruments/*/key": ("/runs/*/instrument",),
    }
    return [
        *(entry_of("unique", f"/{name}/*/{key}", "duplicate-id") for name, key in lists.items()),
        *(
            entry_of("one of", at, "unknown-person" if known == "/people/*/handle" else "unknown-reference", among=known)
            for known, places in among.items()
            for at in places
        ),
        entry_of("unique", "/runs/*/preparation", "preparation-used-twice"),
        entry_of("unique", "/runs/*/order", "order-repeated"),
        entry_of("never", "/id", "reserved-id", words=sorted(RESERVED_IDS)),
    ]


def _facts(protocol: Protocol, status: str) -> list[Entry]:
    """Month, medium, edges, angles, steels and grits."""
    angle, stage = "/preparations/*/edge_angle", "/preparations/*/stages/*"
    wide = {"per side": WIDEST_USUAL_ANGLE_DEG, "both together": 2 * WIDEST_USUAL_ANGLE_DEG}
    together = {"at": f"{angle}/basis", "is": "both together"}
    found = [
        entry_of("not after", "/month", "month-in-future", months=0),
        entry_of("not before", "/month", "month-long-ago", months=-12 * LONG_AGO_YEARS),
        entry_of("only", "/lots/*/medium", "wrong-medium", words=[protocol.medium.name]),
        *(entry_of("at most", f"{angle}/{side}", "wide-angle", limits=wide, by=f"{angle}/basis") for side in ("left_deg", "right_deg")),
        entry_of("unused", f"{angle}/right_deg", "right-angle-unused", when=together),
        entry_of("at most", f"{stage}/angle_deg", "wide-angle", limit=WIDEST_USUAL_ANGLE_DEG),
        entry_of("grit", f"{stage}/grit", "unknown-grit", system=f"{stage}/grit_system"),
        entry_of(
            "size",
            f"{stage}/micrometres",
            "grit-disagrees",
            system=f"{stage}/grit_system",
            grit=f"{stage}/grit",
            factor=FARTHEST_GRIT,
        ),
        entry_of("told", "/runs/*/lot_changes/*", "lot-change"),
        entry_of("told", "/runs/*/tester_change_at_work", "tester-change"),
        entry_of("two edges", "/preparations/*/edge_part", "two-edges"),
        entry_of("steel", "/blades/*/steel/designation", "unknown-steel"),
        entry_of("steel origin", "/blades/*/steel/designation", "invented-steel", origin="measured"),
        entry_of("steel origin", "/blades/*/steel/designation", "real-steel", origin="simulated"),
    ]
    if protocol.edges == "plain only":
        found.append(entry_of("never", "/blades/*/edge", "edge-not-allowed", words=["serrated", "part serrated"]))
    if status == "in review":
        found.append(entry_of("told", "/protocol/version", "pilot"))
    return found


def _quantities() -> list[Entry]:
    """Values that stand alone with a unit of their own."""
    places = {"/blades/*/thickness_behind_edge": ["length"], "/instruments/*/resolution": ["force", "length", "count"]}
    found = []
    for place, kinds in places.items():
        quantity = {"unit": f"{place}/unit", "goal": None, "unless": {place: UNITS}}
        canonical = {"written": f"{place}/written", "within": CANONICAL_TOLERANCE, **quantity}
        found += [
            entry_of("unit", f"{place}/unit", "wrong-unit", kinds=kinds, step=UNITS),
            entry_of("number", f"{place}/written", "not-a-number", **quantity),
            entry_of("not negative", f"{place}/written", "negative-value", **quantity),
            entry_of("agrees", f"{place}/canonical", "canonical-disagrees", **canonical),
        ]
    return found


def _units(protocol: Protocol) -> list[Entry]:
    """What a run is written in; without it, nothing else of the run can be read."""
    rule = protocol.reading
    found = [entry_of("unit", "/runs/*/work_unit", "wrong-unit", units=list(protocol.work.accepted_units), step=UNITS)]
    if rule.kind == "pass/fail":
        return [*found, entry_of("unused", "/runs/*/reading_unit", "wrong-reading", step=UNITS)]
    return [
        *found,
        entry_of("needed", "/runs/*/reading_unit", "wrong-unit", step=UNITS, cure="choose the unit"),
        entry_of("unit", "/runs/*/reading_unit", "wrong-unit", units=list(rule.accepted_units), step=UNITS),
    ]


def _numbers(protocol: Protocol) -> list[Entry]:
    """Amounts of work, and whether a reading gives what the protocol reads."""
    works = ["/tester_change_at_work", "/planned_last_checkpoint", "/lot_changes/*/at_work", "/readings/*/work"]
    work = {"unit": "/runs/*/work_unit", "goal": protocol.work.unit, "step": NUMBERS, "unless": AFTER_UNITS}
    wanted, other = ("outcomes", "values") if protocol.reading.kind == "pass/fail" else ("values", "outcomes")
    return [
        *(entry_of("number", f"/runs/*{name}", "not-a-number", **work) for name in works),
        *(entry_of("not negative", f"/runs/*{name}", "negative-value", **work) for name in works),
        entry_of("unused", f"{READING}/{other}", "wrong-reading", step=NUMBERS, unless=AFTER_UNITS),
        entry_of("filled", f"{READING}/{wanted}", "wrong-reading", step=NUMBERS, unless=AFTER_UNITS),
    ]


def _values(protocol: Protocol) -> list[Entry]:
    """Values read: numbers, near what the protocol expects."""
    rule = protocol.reading
    item = f"{READING}/values/*"
    value = {"unit": "/runs/*/reading_unit", "goal": rule.canonical_unit}
    read = value | {"step": VALUES, "unless": AFTER_NUMBERS}
    canonical = {"written": f"{item}/written", "within": CANONICAL_TOLERANCE, "least": 0, **read}
    limit = {"marked": f"{item}/limit", "resolution": rule.resolution, "scale_end": rule.scale_end, "even": EVEN}
    late = value | {"unless": AFTER_VALUES} | limit
    return [
        entry_of("number", f"{item}/written", "not-a-number", **read),
        entry_of("not negative", f"{item}/written", "negative-value", **read),
        entry_of("agrees", f"{item}/canonical", "canonical-disagrees", **canonical),
        entry_of("limit", f"{item}/written", "censored-value", **late),
        entry_of("between", f"{item}/written", "implausible-value", low=rule.plausible_low, high=rule.plausible_high, **late),
        entry_of("burr", f"{RUN}/readings", "sharper-after-work", keener=rule.keener, work=_work(protocol), **late),
        entry_of("repeats", f"{READING}/values", "repeats-differ", wanted=rule.repeats, unless=AFTER_VALUES),
    ]


def _readings(protocol: Protocol) -> list[Entry]:
    """What a run's readings say together."""
    late = {"unless": AFTER_VALUES, "work": _work(protocol)}
    found = [
        entry_of("filled", f"{RUN}/readings", "no-readings"),
        entry_of("rising", f"{RUN}/readings", "work-not-increasing", **late),
        entry_of("near", f"{READING}/work", "off-checkpoint", within=NEAR_CHECKPOINT, **late),
        entry_of("begins", f"{RUN}/readings", "no-reading-at-0", **late),
    ]
    if protocol.reading.kind == "pass/fail":
        found.append(entry_of("settled", f"{RUN}/readings", "pass-after-fail", unless=AFTER_VALUES))
        found.append(entry_of("repeats", f"{READING}/outcomes", "repeats-differ", wanted=protocol.reading.repeats, unless=AFTER_VALUES))
    return found


def _work(protocol: Protocol) -> Entry:
    """How an amount of work is read; one that is a checkpoint but for rounding counts as that checkpoint."""
    return {"unit": "/runs/*/work_unit", "goal": protocol.work.unit, "checkpoints": list(protocol.work.checkpoints), "even": EVEN}
