"""The rules of a submission that need more than one field: one flat table that any small program can walk.

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
unit fits       readings of a run that lie far off in their unit, and not in another one
far             a reading far from those beside it, such as ten times
stray limit     a sign of a limit among exact repeats
sharper         a checkpoint much sharper than an earlier one
row twice       the readings of a checkpoint that stand at an earlier one
copied          the readings of a run, or of a part of it, that an earlier run has
ends            an end at the last checkpoint of a run that stops before it
beyond          a change in mid-run far beyond the last reading
as planned      the first run that is not the drawn one
reference work  a reference edge that was not read at 0 and after the fixed amount of work
reference range a value of a reference edge outside the plausible range
reference order a reference edge that reads much sharper after the work than before
weight          a known weight that the rig showed far from what it is
no level        a run that is of none of the protocol's levels; ``two levels``: of more than one
other level     a level written that a recorded fact keeps the run out of; ``level unshown``: one that no recorded fact shows
two edges       parts of one edge that were not sharpened by the same people
steel           a designation that is not in the register
steel origin    a designation of another origin than the file's
no class        a composition without a designation that no class of steels holds, and no named steel
named steel     one that lies within the limits of a named steel
grit, size      a designation that its system does not have; a size that is not the designation's
==============  ======================================================================================================

``when`` binds a rule to other places, all of which must hold a word or nothing (``is``), or a month ``before`` or ``after`` one.
``unless`` names places and steps: the rule is silent where an earlier step found something inside that place, because a reader
cannot go on there.

Rules of sense ask about slips of the hand (``sense``, ``sense_kinds``), once a run at the first place. They have no ``says``: their kinds
fill in patterns of ``words/catalogue/questions.json``, here and in the browser.

``interpret`` reads the table for the check, and ``rules.js`` in the browser for the form. ``says`` is for the check alone: patterns of
``words/catalogue/findings.json`` for the message and a cure of its own, and what to put into them: a constant, or what stands at a place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from edgehold.records.canonical_runs import CANONICAL_TOLERANCE, EVEN
from edgehold.records.layout import RESERVED_IDS
from edgehold.records.model.protocol import Protocol
from edgehold.records.registers import DEMO_PREFIX
from edgehold.records.sharpeners import FACTORY
from edgehold.records.units import plural
from edgehold.words import Reason

Entry = dict[str, Any]

NEAR_CHECKPOINT = 0.02  # relative; 3 1/4 ft for 1 m is meant so, 22 cuts for 20 is not
READ_ALIKE = 0.2  # relative; partners are read at one checkpoint, 22 cuts for 20 among them, and checkpoints lie a factor of 2 apart
WIDEST_USUAL_ANGLE_DEG = 25.0  # per side; common practice has 10 to 25
LONG_AGO_YEARS = 10
LONGEST_COIL_M = 500.0  # rope comes in coils of up to some 220 m (common practice); a figure in centimetres or millimetres is beyond
FARTHEST_GRIT = 2.0  # systems state different statistics of one powder (d50, largest); a factor of 2 covers them

FARTHEST_WEIGHT = 2.5  # a filed notch multiplies the pull by 1.4 to 1.6 (common practice), and the check is there to show it
NEAR_WEIGHT = 1.7  # of the weight, once another unit is put in place of the one written
WEIGHT_UNITS = ("N", "gf", "kgf", "lbf", "ozf")

LARGEST_EXPECTED = 1e15  # where a protocol says nothing
USUAL_SPREAD = 0.25  # ln; where a protocol has no level: the assumption of those that have one

FAR = {"least": math.log(2.7), "times": 5.5, "near": 0.6}
"""How far a repeat may lie from the middle of its checkpoint, ln: a factor of 2.7, or so many standard deviations of a reading, which is a
factor of 4 at the assumed spread of 0.25; a power of ten is 9 of them. Near: from where on a power of ten is proposed."""
SHARPER = {"least": math.log(1.5), "times": 4.5}
"""How much sharper a checkpoint may read than an earlier one: a factor of 1.5, or so many standard errors of the difference; a run has some
twenty pairs, and dulling lies against it."""
ROWS = {"rise": math.log(3), "slack": 0.5, "out": 1.0}
"""Where a checkpoint is looked for, ln: between the two around it and a slack, at the ends of a run within a rise of the only one. A whole
checkpoint is asked about when it lies out by more, and inside once it is multiplied by a power of ten."""
COPIED = {"values": 6, "distinct": 4, "part": 5}
D2 = (0.0, 0.0, 1.128, 1.693, 2.059, 2.326)  # mean range of 2 to 5 normal values, in standard deviations
LEAST_SPREAD = 0.03  # ln; below it the instrument's steps decide
ENOUGH_RANGES = 6  # checkpoints with repeats before a file's own spread counts
FINE_STEPS = 8  # steps of the instrument from which on two readings seldom agree by themselves
OFF_UNIT = math.log(4)  # a run beside the others; the nearest two accepted units lie apart by 2.2 and are not told apart

UNITS, NUMBERS, VALUES = 1, 2, 3  # steps of reading one run
RUN, READING, REFERENCE = "/runs/*", "/runs/*/readings/*", "/references/*"
AFTER_VALUES = {RUN: VALUES}


def submission_table(protocol: Protocol, status: str) -> list[Entry]:
    """Every rule for one protocol version; ``status`` is where its life stands."""
    return [
        *NAMES,
        entry_of("never", "/id", "reserved-id", words=sorted(RESERVED_IDS)),
        *FACTS,
        *fit_table(protocol),
        *([entry_of("told", "/protocol/version", "pilot")] if status == "in review" else []),
        *_quantities(),
        *(entry for of in (RUN, REFERENCE) for entry in _converted(protocol, of)),
        *readings_table(protocol),
    ]


def sense(protocol: Protocol) -> Entry:
    """What the rules of sense hold readings against: the protocol's settings, and the limits above."""
    rule = protocol.reading
    return {
        "keener": rule.keener,
        "units": list(rule.accepted_units),
        "low": rule.plausible_low or 0.0,
        "high": rule.plausible_high or rule.scale_end or LARGEST_EXPECTED,
        "spread": max((e.assumed_repeatability.ln_sd for e in protocol.endpoints if e.kind == "level"), default=USUAL_SPREAD),
        "least": LEAST_SPREAD,
        "enough": ENOUGH_RANGES,
        "d2": list(D2),
        "far": FAR,
        "sharper": SHARPER,
        "row": ROWS,
        "copied": COPIED,
        "fine": FINE_STEPS,
        "enough_values": 3,
        "share": 0.9,
        "off": OFF_UNIT,
        "even": EVEN,
    }


def handed_on(table: Iterable[Entry]) -> list[Entry]:
    """The table as the browser gets it: without what is for the check alone."""
    return [{name: value for name, value in entry.items() if name != "says"} for entry in table]


def entry_of(rule: str, at: str, code: str, **more: object) -> Entry:
    """One rule of the table, as the head of this module tells."""
    return {"rule": rule, "at": at, "code": code, **more}


def says(message: str, cure: str = "", cure_when: Entry | None = None, **names: str) -> Entry:
    """What the check says of a finding.

    Parameters
    ----------
    message : code of a pattern.
    cure : code of another one; empty: the usual cure of the finding's code.
    cure_when : as ``when``: the cure is for these only, here or at the place that a value repeats.
    names : what the patterns name beside ``value``: constants, and places that begin with ``/``. Each can also be had as ``…_shown`` and
        ``…_plural``, and from the place that a value repeats as ``earlier_…``.
    """
    return {"message": message, "cure": cure, "cure_when": cure_when, "names": names}


def _names() -> list[Entry]:
    """Ids stand for one thing each, and what is named is there."""
    lists = {"people": "handle", "blades": "key", "lots": "key", "instruments": "key", "preparations": "id", "runs": "id"}
    return [
        *(entry_of("unique", f"/{name}/*/{key}", "duplicate-id", says=_twice(name)) for name, key in lists.items()),
        *_people_named(),
        *_things_named(),
        entry_of("unique", "/runs/*/preparation", "preparation-used-twice", says=_served_twice()),
        entry_of("unique", "/runs/*/order", "order-repeated", says=says("findings.same_number", run="/runs/*/id")),
    ]


def _twice(name: str) -> Entry:
    return says("findings.twice", cure="findings.own_handle" if name == "people" else "", list=name)


def _served_twice() -> Entry:
    """One preparation, one run: an edge touched up and gone on with is a new preparation and a new run."""
    touched = {"at": "/runs/*/ended", "is": "edge touched up"}
    return says("findings.serves_already", cure="findings.touched_up", cure_when=touched, run="/runs/*/id")


def _people_named() -> list[Entry]:
    places = (
        "/submitted_by",
        "/blades/*/interest/*/person",
        "/runs/*/tester",
        "/references/*/tester",
    )
    edges, told = ("/preparations/*/sharpener", "/runs/*/tester_guess/sharpener"), says("findings.not_in_people")
    found = [entry_of("one of", at, "unknown-person", among="/people/*/handle", says=told) for at in places]
    found += [entry_of("one of", at, "unknown-person", among="/people/*/handle", beside=[FACTORY], says=told) for at in edges]
    return [*found, entry_of("never", "/people/*/handle", "reserved-handle", words=[FACTORY], says=says("findings.reserved_handle"))]


def _things_named() -> list[Entry]:
    places = {
        ("blade", "key"): ("/preparations/*/blade", "/runs/*/tester_guess/blade"),
        ("preparation", "id"): ("/preparations/*/previous_preparation", "/runs/*/preparation"),
        ("lot", "key"): (
            "/runs/*/lot",
            "/runs/*/lot_changes/*/lot",
            "/runs/*/reading_lot",
            "/references/*/pack",
            "/references/*/lot",
            "/references/*/reading_lot",
        ),
        ("instrument", "key"): ("/runs/*/instrument", "/references/*/instrument", "/weights/*/instrument"),
        ("run", "id"): ("/runs/*/partner",),
    }
    return [
        entry_of(
            "one of", at, "unknown-reference", among=f"/{what}s/*/{key}", says=says("findings.not_in_file", "findings.add_it", what=what)
        )
        for (what, key), named in places.items()
        for at in named
    ]


def _facts() -> list[Entry]:
    """Month, angles, changes during runs, edges, grits and steels."""
    found = [
        entry_of("not after", "/month", "month-in-future", months=0, says=says("findings.month_to_come")),
        entry_of("not before", "/month", "month-long-ago", months=-12 * LONG_AGO_YEARS, says=says("findings.month_long_ago")),
    ]
    found.append(
        entry_of("at most", "/runs/*/coil_position_m", "far-into-coil", limit=LONGEST_COIL_M, says=says("warnings.metres_into_coil"))
    )
    planned = entry_of("as planned", "/runs/*", "order-differs")
    return [*found, *_angles(), *_changes(), *_grits(), *_edge_parts(), *_partners(), *_steels(), *_references(), planned]


def _angles() -> list[Entry]:
    angle, stage = "/preparations/*/edge_angle", "/preparations/*/stages/*/angle_deg"
    wide = {"per side": WIDEST_USUAL_ANGLE_DEG, "both together": 2 * WIDEST_USUAL_ANGLE_DEG}
    together = {"at": f"{angle}/basis", "is": "both together"}
    told = says("findings.degrees", basis=f"{angle}/basis")
    return [
        *(
            entry_of("at most", f"{angle}/{side}", "wide-angle", limits=wide, by=f"{angle}/basis", says=told)
            for side in ("left_deg", "right_deg")
        ),
        entry_of("unused", f"{angle}/right_deg", "right-angle-unused", when=together, says=says("findings.right_side")),
        entry_of("at most", stage, "wide-angle", limit=WIDEST_USUAL_ANGLE_DEG, says=says("findings.degrees", basis="per side")),
    ]


def _changes() -> list[Entry]:
    """Another lot, or another tester, in the middle of a run."""
    lot = says("findings.lot_begun", lot=f"{RUN}/lot_changes/*/lot", work=f"{RUN}/lot_changes/*/at_work", unit=f"{RUN}/work_unit")
    tester = says("findings.second_tester", unit=f"{RUN}/work_unit")
    return [
        entry_of("told", f"{RUN}/lot_changes/*", "lot-change", says=lot),
        entry_of("told", f"{RUN}/tester_change_at_work", "tester-change", says=tester),
    ]


def _grits() -> list[Entry]:
    """Grits that their system does not have, and sizes that are not theirs."""
    stage = "/preparations/*/stages/*"
    system, grit = f"{stage}/grit_system", f"{stage}/grit"
    unknown, other = says("findings.no_such_grit", system=system), says("findings.grit_of_size", system=system, grit=grit)
    return [
        entry_of("grit", grit, "unknown-grit", system=system, says=unknown),
        entry_of("size", f"{stage}/micrometres", "grit-disagrees", system=system, grit=grit, factor=FARTHEST_GRIT, says=other),
    ]


def _edge_parts() -> list[Entry]:
    """Factory edges say so twice. Heel by one, tip by the other: part and person stay mixed unless everybody sharpened every part."""
    factory = entry_of("factory edge", "/preparations/*/sharpener", "factory-edge", words=[FACTORY], says=says("findings.factory_edge"))
    return [factory, entry_of("two edges", "/preparations/*/edge_part", "two-edges", says=says("findings.two_edges"))]


def _partners() -> list[Entry]:
    """Two runs cut in turn: each names the other, and they share who cut, when, what and how it was read."""
    shared = ["tester", "evening", "lot", "instrument", "work_unit", "reading_unit", "planned_last_checkpoint"]
    return [
        entry_of("partners", "/runs/*/partner", "partner-one-sided", says=says("findings.partner_one_sided", run="/runs/*/id")),
        entry_of(
            "partners share", "/runs/*/partner", "partner-differs", shared=shared, says=says("findings.partner_differs", run="/runs/*/id")
        ),
    ]


def _steels() -> list[Entry]:
    steel, composition = "/blades/*/steel/designation", "/blades/*/steel/composition_percent"
    real = says("findings.real_steel", "findings.invented_id", prefix=DEMO_PREFIX)
    return [
        entry_of("steel", steel, "unknown-steel", says=says("findings.unknown_steel")),
        entry_of("steel origin", steel, "invented-steel", origin="measured", says=says("findings.invented_steel")),
        entry_of("steel origin", steel, "real-steel", origin="simulated", says=real),
        entry_of("no class", composition, "no-steel-class"),
        entry_of("named steel", composition, "named-steel-fits"),
    ]


def _references() -> list[Entry]:
    """A reference edge serves once, and a rig shows about what a known weight weighs."""
    again = says("findings.segment_again", when=f"{REFERENCE}/when")
    limits = {"factor": FARTHEST_WEIGHT, "near": NEAR_WEIGHT, "units": list(WEIGHT_UNITS), "goal": None, "unit": "/weights/*/read/unit"}
    return [
        entry_of("unique", f"{REFERENCE}/segment", "segment-twice", says=again),
        entry_of("weight", "/weights/*/read", "weight-in-doubt", unless={"/weights/*": UNITS}, **limits),
    ]


NAMES, FACTS = tuple(_names()), tuple(_facts())


def fit_table(protocol: Protocol) -> list[Entry]:
    """Medium and edges, and which runs are cut in turn, against the protocol."""
    medium = says("findings.other_medium", lot="/lots/*/key")
    cut = {"at": "/lots/*/use", "is": None}
    found = [entry_of("only", "/lots/*/medium", "wrong-medium", words=[protocol.medium.name], when=cut, says=medium)]
    if protocol.edges == "plain only":
        words = ["serrated", "part serrated"]
        found.append(entry_of("never", "/blades/*/edge", "edge-not-allowed", words=words, says=says("findings.not_plain")))
    return [*found, *_in_turn(protocol), *_levels(protocol)]


def _levels(protocol: Protocol) -> list[Entry]:
    """Which of the protocol's levels a run is of, and whether what is recorded of its edge bears that out."""
    levels, at = [level.model_dump(mode="json") for level in protocol.question.levels], f"{RUN}/level"
    guessed = f"{RUN}/tester_guess/level"
    if not levels:
        return [entry_of("unused", place, "level-not-asked", says=says("findings.level_not_asked")) for place in (at, guessed)]
    words = [level.word for level in protocol.question.levels]
    told, unknown = {"levels": levels}, says("findings.unknown_level", run=f"{RUN}/id")
    return [
        *(entry_of("only", one, "unknown-level", words=words, says=unknown) for one in (at, guessed)),
        entry_of("other level", at, "level-disagrees", says=says("findings.level_disagrees", run=f"{RUN}/id"), **told),
        entry_of("no level", RUN, "no-level", says=says("findings.no_level", run=f"{RUN}/id"), **told),
        entry_of("two levels", RUN, "two-levels", says=says("findings.two_levels", run=f"{RUN}/id"), **told),
        entry_of("level unshown", at, "level-not-shown", says=says("findings.level_not_shown", run=f"{RUN}/id"), **told),
    ]


def _in_turn(protocol: Protocol) -> list[Entry]:
    """Whose edges are cut in turn, one straight after the other; of two blades neither always begins."""
    how = protocol.design.side_by_side
    if how is None:
        return []
    at, run = "/runs/*/partner", "/runs/*/id"
    other = "findings.partner_same_blade" if how == "blades" else "findings.partner_other_blade"
    begins = [entry_of("always first", "/runs/*", "always-first", says=says("findings.always_first"))] if how == "blades" else []
    return [
        entry_of("partner edges", at, "partner-edge", same=how == "halves", says=says(other, run=run)),
        entry_of("partners apart", at, "partner-apart", says=says("findings.partner_apart", run=run)),
        *begins,
    ]


def _quantities() -> list[Entry]:
    """Values that stand alone with a unit of their own."""
    places = {
        "/blades/*/thickness_behind_edge": ["length"],
        "/instruments/*/resolution": ["force", "length", "count"],
        "/weights/*/known": ["force"],
        "/weights/*/read": ["force"],
    }
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


def _converted(protocol: Protocol, of: str) -> list[Entry]:
    """What a run, or a reference edge, is written in, and its numbers; without the units nothing else of it can be read."""
    return [*_units(protocol, of), *_numbers(protocol, of), *([] if protocol.reading.kind == "pass/fail" else _values(protocol, of))]


def _units(protocol: Protocol, of: str) -> list[Entry]:
    rule = protocol.reading
    found = [entry_of("unit", f"{of}/work_unit", "wrong-unit", units=list(protocol.work.accepted_units), step=UNITS)]
    if rule.kind == "pass/fail":
        return [*found, entry_of("unused", f"{of}/reading_unit", "wrong-reading", step=UNITS)]
    return [
        *found,
        entry_of("needed", f"{of}/reading_unit", "wrong-unit", step=UNITS, cure=Reason("findings.choose_unit")),
        entry_of("unit", f"{of}/reading_unit", "wrong-unit", units=list(rule.accepted_units), step=UNITS),
    ]


def _numbers(protocol: Protocol, of: str) -> list[Entry]:
    """Amounts of work, and whether a reading gives what the protocol reads."""
    beside = ["/tester_change_at_work", "/planned_last_checkpoint", "/lot_changes/*/at_work"] if of == RUN else []
    works, after = [*beside, "/readings/*/work"], {of: UNITS}
    work = {"unit": f"{of}/work_unit", "goal": protocol.work.unit, "step": NUMBERS, "unless": after}
    wanted, other = ("outcomes", "values") if protocol.reading.kind == "pass/fail" else ("values", "outcomes")
    return [
        *(entry_of("number", f"{of}{name}", "not-a-number", **work) for name in works),
        *(entry_of("not negative", f"{of}{name}", "negative-value", **work) for name in works),
        entry_of("unused", f"{of}/readings/*/{other}", "wrong-reading", step=NUMBERS, unless=after),
        entry_of("filled", f"{of}/readings/*/{wanted}", "wrong-reading", step=NUMBERS, unless=after),
    ]


def _values(protocol: Protocol, of: str) -> list[Entry]:
    """Values read: numbers, and as canonical as they say."""
    rule = protocol.reading
    item, after = f"{of}/readings/*/values/*", {of: UNITS, f"{of}/readings/*": NUMBERS}
    read = {"unit": f"{of}/reading_unit", "goal": rule.canonical_unit, "step": VALUES, "unless": after}
    canonical = {"written": f"{item}/written", "within": CANONICAL_TOLERANCE, "least": 0, **read}
    return [
        entry_of("number", f"{item}/written", "not-a-number", **read),
        entry_of("not negative", f"{item}/written", "negative-value", **read),
        entry_of("agrees", f"{item}/canonical", "canonical-disagrees", **canonical),
    ]


def readings_table(protocol: Protocol) -> list[Entry]:
    """What a run's readings say once they are numbers."""
    if protocol.reading.kind == "pass/fail":
        settled = entry_of("settled", f"{RUN}/readings", "pass-after-fail", unless=AFTER_VALUES, says=says("findings.pass_again"))
        return [*_works(protocol), settled, _repeats(protocol, "outcomes"), *_reference_works(protocol)]
    return [
        *_odd_values(protocol),
        _repeats(protocol, "values"),
        *_works(protocol),
        *_reference_works(protocol),
        *_odd_references(protocol),
    ]


def _reference_works(protocol: Protocol) -> list[Entry]:
    """Where the protocol asks for a reference edge, how much work lies between its two readings."""
    if protocol.reference is None:
        return []
    late = {"unless": {REFERENCE: VALUES}, "work": _work(protocol, REFERENCE)}
    told = says("findings.reference_works")
    wanted = {"wanted": protocol.reference.work, "within": NEAR_CHECKPOINT}
    return [entry_of("reference work", f"{REFERENCE}/readings", "reference-work", says=told, **wanted, **late)]


def _odd_references(protocol: Protocol) -> list[Entry]:
    """Values of a reference edge that nobody expects, and readings that seem to have changed places."""
    rule = protocol.reading
    limit = {"resolution": rule.resolution, "scale_end": rule.scale_end, "even": EVEN}
    read = {"unit": f"{REFERENCE}/reading_unit", "goal": rule.canonical_unit, "unless": {REFERENCE: VALUES}, **limit}
    range_ = {"low": rule.plausible_low or 0.0, "high": rule.plausible_high or LARGEST_EXPECTED}
    order = {"keener": rule.keener, "factor": math.exp(SHARPER["least"]), "work": _work(protocol, REFERENCE)}
    return [
        entry_of("reference range", f"{REFERENCE}/readings", "reference-in-doubt", **range_, **read),
        entry_of("reference order", f"{REFERENCE}/readings", "reference-in-doubt", **order, **read),
    ]


def _odd_values(protocol: Protocol) -> list[Entry]:
    """Limits that nobody marked, values that nobody expects, a burr, and slips of the hand."""
    rule = protocol.reading
    limit = {"resolution": rule.resolution, "scale_end": rule.scale_end, "even": EVEN}
    late = {"unit": f"{RUN}/reading_unit", "goal": rule.canonical_unit, "work": _work(protocol), "unless": AFTER_VALUES} | limit
    asked = {"sense": sense(protocol), **late}
    plausible = {"low": rule.plausible_low or 0.0, "high": rule.plausible_high or LARGEST_EXPECTED, **asked}
    return [
        entry_of("unit fits", f"{RUN}/reading_unit", "unit-in-doubt", **asked),
        entry_of("far", f"{RUN}/readings", "far-from-neighbours", **asked),
        entry_of("limit", f"{RUN}/readings", "censored-value", **asked),
        entry_of("between", f"{RUN}/readings", "implausible-value", **plausible),
        entry_of("stray limit", f"{RUN}/readings", "stray-limit", **asked),
        entry_of("burr", f"{RUN}/readings", "sharper-after-work", **asked),
        entry_of("sharper", f"{RUN}/readings", "sharper-again", **asked),
        entry_of("row twice", f"{RUN}/readings", "checkpoint-twice", **asked),
        entry_of("copied", f"{RUN}/readings", "run-copied", **asked),
    ]


def _repeats(protocol: Protocol, name: str) -> Entry:
    wanted = protocol.reading.repeats
    return entry_of("repeats", f"{READING}/{name}", "repeats-differ", wanted=wanted, unless=AFTER_VALUES, says=says("findings.repeats"))


def _works(protocol: Protocol) -> list[Entry]:
    """Amounts of work, one after the other and beside the checkpoints."""
    late = {"unless": AFTER_VALUES, "work": _work(protocol)}
    near = says("findings.off_checkpoint", unit=f"{RUN}/work_unit")
    return [
        entry_of("filled", f"{RUN}/readings", "no-readings", says=says("findings.no_readings", run=f"{RUN}/id")),
        entry_of("rising", f"{RUN}/readings", "work-not-increasing", says=says("findings.not_rising"), **late),
        entry_of("near", f"{READING}/work", "off-checkpoint", within=NEAR_CHECKPOINT, says=near, **late),
        entry_of("begins", f"{RUN}/readings", "no-reading-at-0", says=says("findings.late_start"), **late),
        entry_of("ends", f"{RUN}/ended", "end-disagrees", within=NEAR_CHECKPOINT, **{"is": "last checkpoint"}, **late),
        entry_of("beyond", f"{RUN}", "change-beyond", within=NEAR_CHECKPOINT, **late),
        *_read_alike(protocol, late),
    ]


def _read_alike(protocol: Protocol, late: Entry) -> list[Entry]:
    """Runs cut in turn are read after the same amounts of work, as far as the shorter one goes."""
    if protocol.design.side_by_side is None:
        return []
    told = says("findings.partner_works", run="/runs/*/id")
    return [entry_of("partner works", "/runs/*/partner", "partner-works", within=READ_ALIKE, says=told, **late)]


def _work(protocol: Protocol, of: str = RUN) -> Entry:
    """How an amount of work is read; one that is a checkpoint but for rounding counts as that checkpoint."""
    return {"unit": f"{of}/work_unit", "goal": protocol.work.unit, "checkpoints": list(protocol.work.checkpoints), "even": EVEN} | {
        "plural": plural(protocol.work.unit)
    }
