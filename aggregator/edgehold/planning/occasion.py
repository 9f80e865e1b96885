"""Who, with what, for how long: everything a plan is made from, checked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import TypedDict, TypeVar, Unpack

from edgehold.errors import InputError
from edgehold.records.model.base import HANDLE_FORM, KEY_FORM
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.records.sharpeners import FACTORY, in_condition, taken_apart
from edgehold.words import Reason

from .geometry import ORDINARY_BEHIND_EDGE_MM

COMPARED = ("sharpener", "steel", "blade", "level")  # what a plan can compare
RUNS_A_HAND = 4  # an evening and tester: our own cautious default, not a medical limit
MM_PER_CUT = 10.0  # medium that one cut takes off where the protocol counts cuts
ANGLE_DEG = 20.0  # per side, where nobody has measured it (common practice: 15 to 20)
FLAT_MM = 0.03  # width of the flat that flattening the apex leaves (from memory)
STEEL_MM = 0.5  # height of blade that the whole experiment may cost its owner
TAPER_DEG = 2.0  # per side, at which the blade itself widens above the bevel (from memory: full flat grinds)

_HANDLE = re.compile(HANDLE_FORM)
_SHARPENER = re.compile(rf"{_HANDLE.pattern}(?: \([^()]{{1,60}}\))?")
_KEY = re.compile(KEY_FORM)


def compares_edges(protocol: Protocol) -> bool:
    """Whether edges of one blade are compared, by sharpener or by level, and not blades."""
    return protocol.question.factor in ("sharpener", "level")


@dataclass(frozen=True)
class Arm:
    """One thing to compare: a blade as one person sharpens it, to one level where levels are compared."""

    blade: str
    sharpener: str


@dataclass(frozen=True)
class Stock:
    """What is at hand.

    Attributes
    ----------
    lots_m : metres of medium in each lot; empty: it is still to be bought, one lot.
    mm_per_unit : millimetres of medium that one unit of work uses up.
    minutes : in one evening.
    evenings : how many.
    runs_a_hand : runs that one tester may make in one evening.
    most_runs : not more than these in all; None: as many as fit.
    thickness_mm, angle_deg, taper_deg, flat_mm : of the blades and of the flat that the apex start leaves.
    steel_mm : height of blade that the whole may cost.
    assumed : names of the attributes that nobody gave, so that the defaults stand.
    """

    lots_m: tuple[float, ...]
    mm_per_unit: float
    minutes: float
    evenings: int
    runs_a_hand: int
    most_runs: int | None
    thickness_mm: float
    angle_deg: float
    taper_deg: float
    flat_mm: float
    steel_mm: float
    assumed: frozenset[str]


@dataclass(frozen=True)
class Occasion:
    """One experiment before it is planned.

    Attributes
    ----------
    protocol : the version to be followed.
    blades, steels : keys, and what each is made of (None: not told).
    sharpeners, testers, coder : handles; a sharpener's with the condition or level where these are compared, as in ``wren (coarse)``.
    alone : one person does everything tonight; other sharpeners' edges are there as they left them.
    last_checkpoint : how far every run shall go.
    rule : the endpoint that the plan is judged by.
    worthwhile_ratio : smallest ratio worth acting on.
    stock : what is at hand.
    """

    protocol: Protocol
    blades: tuple[str, ...]
    steels: tuple[str | None, ...]
    sharpeners: tuple[str, ...]
    testers: tuple[str, ...]
    coder: str | None
    alone: bool
    last_checkpoint: float
    rule: EndpointRule
    worthwhile_ratio: float
    stock: Stock

    @property
    def arms(self) -> tuple[Arm, ...]:
        """What is compared, sorted."""
        return tuple(sorted((Arm(b, s) for b, s in product(self.blades, self.sharpeners)), key=lambda arm: (arm.blade, arm.sharpener)))

    @property
    def as_left(self) -> tuple[Arm, ...]:
        """Edges whose sharpener is not there tonight: each can be cut once."""
        return tuple(arm for arm in self.arms if self.alone and not self.levels and arm.sharpener not in self.testers)

    @property
    def left_by(self) -> tuple[str, ...]:
        """Whose edges those are."""
        return tuple(sorted({arm.sharpener for arm in self.as_left}))

    @property
    def coded(self) -> bool:
        """Whether a helper hides whose edge it is."""
        return self.coder is not None

    @property
    def levels(self) -> tuple[str, ...]:
        """The levels that the protocol compares; none where its question is open."""
        return tuple(level.word for level in self.protocol.question.levels)

    @property
    def in_rounds(self) -> bool:
        """Whether runs go in rounds of one blade that hold each sharpener, or each level, once."""
        return compares_edges(self.protocol)

    @property
    def halves(self) -> bool:
        """Whether the halves of one edge, by two people or to two levels, are cut in turn: two runs are then one pair."""
        return self.protocol.design.side_by_side == "halves"

    @property
    def in_turn(self) -> bool:
        """Whether runs go in pairs whose edges are cut in turn: halves of one edge, or two blades of one sharpener."""
        return self.protocol.design.side_by_side is not None

    @property
    def blades_in_turn(self) -> bool:
        """Whether it is two blades that are cut in turn."""
        return self.protocol.design.side_by_side == "blades"

    @property
    def round_runs(self) -> int:
        """Runs of one round: every edge once, and of three blades or more in turn twice, so that all of them hang together in pairs."""
        return len(self.arms) * (2 if self.blades_in_turn and len(self.blades) > 2 else 1)

    @property
    def asks_primary(self) -> bool:
        """Whether the plan is judged by the protocol's primary endpoint."""
        return self.rule.primary


def names_of(sharpeners: Sequence[str]) -> str:
    """Sharpeners in a sentence."""
    return " and ".join(Reason("plan.the_factory") if name == FACTORY else name for name in sharpeners)


def sharpened_again(sharpeners: Sequence[str]) -> str:
    """What a further run takes of those whose edges were there as they left them; empty without any."""
    if not sharpeners:
        return ""
    if any(name == FACTORY or taken_apart(name)[1] for name in sharpeners):
        return Reason("plan.back_other")
    return Reason("plan.back_again", names=names_of(sharpeners))


def primary_rule(protocol: Protocol) -> EndpointRule:
    """The endpoint that a protocol is judged by."""
    return next(rule for rule in protocol.endpoints if rule.primary)


def reaches(rule: EndpointRule) -> float:
    """Work from which an endpoint has a value."""
    return (rule.at if rule.kind == "level" else rule.end) or 0.0


def _reaches(protocol: Protocol, rule: EndpointRule) -> float:
    """The same in a protocol, where a run that ends before the early checkpoint says next to nothing about a life."""
    return protocol.early_checkpoint if rule.kind == "life" else reaches(rule)


def usual_last(protocol: Protocol) -> float:
    """The last checkpoint that a plan takes where none is asked for: the least that the primary endpoint needs, a life's the late one."""
    rule = primary_rule(protocol)
    return protocol.late_checkpoint if rule.kind == "life" else reaches(rule)


def rule_within(protocol: Protocol, last: float) -> EndpointRule | None:
    """The endpoint to judge runs by that end at a checkpoint: the primary one if it is reached, else the level farthest along, else any
    other; None where none has a value there."""
    within = [rule for rule in protocol.endpoints if _reaches(protocol, rule) <= last]
    kinds = ("level", "window", "loss", "life")
    ranked = sorted(within, key=lambda rule: (not rule.primary, kinds.index(rule.kind), -reaches(rule)))
    return next(iter(ranked), None)


class Told(TypedDict, total=False):
    """What somebody says is at hand: attributes of `Stock`, None where nothing is said."""

    lots_m: tuple[float, ...] | None
    mm_per_unit: float | None
    minutes: float | None
    evenings: int | None
    runs_a_hand: int | None
    most_runs: int | None
    thickness_mm: float | None
    angle_deg: float | None
    taper_deg: float | None
    flat_mm: float | None
    steel_mm: float | None


Amount = TypeVar("Amount")


def _or(given: Amount | None, cautious: Amount) -> Amount:
    return cautious if given is None else given


def stock(protocol: Protocol, **given: Unpack[Told]) -> Stock:
    """What is at hand, with cautious defaults for what nobody told (None).

    Parameters
    ----------
    protocol : its minutes for the least number of runs are an evening's default.
    given : attributes of `Stock` but for ``assumed``.
    """
    length = protocol.work.kind == "length"
    known, told = frozenset(Told.__annotations__), {name for name, value in given.items() if value is not None}
    if unknown := told - known:
        raise InputError(f"got {sorted(unknown)}, wanted some of {sorted(known)}")
    made = Stock(
        lots_m=_or(given.get("lots_m"), ()),
        mm_per_unit=_or(given.get("mm_per_unit"), 1000.0 if length else MM_PER_CUT),
        minutes=_or(given.get("minutes"), float(protocol.minutes.whole)),
        evenings=_or(given.get("evenings"), 1),
        runs_a_hand=_or(given.get("runs_a_hand"), protocol.minutes.parts.runs_a_hand if protocol.minutes.parts else RUNS_A_HAND),
        most_runs=given.get("most_runs"),
        thickness_mm=_or(given.get("thickness_mm"), ORDINARY_BEHIND_EDGE_MM),
        angle_deg=_or(given.get("angle_deg"), ANGLE_DEG),
        taper_deg=_or(given.get("taper_deg"), TAPER_DEG),
        flat_mm=_or(given.get("flat_mm"), FLAT_MM),
        steel_mm=_or(given.get("steel_mm"), STEEL_MM),
        assumed=known - told - ({"mm_per_unit"} if length else set()),
    )
    _refuse_nonsense(made)
    return made


_MOST = {
    "mm_per_unit": 1e6,
    "minutes": 1e6,
    "evenings": 10_000,
    "runs_a_hand": 10_000,
    "thickness_mm": 100.0,
    "angle_deg": 89.0,
    "flat_mm": 100.0,
    "steel_mm": 1_000.0,
}
"""The most of each that still has a meaning; what the command line takes is less."""
_MOST_METRES, _MOST_LOTS = 1e6, 100


def _refuse_nonsense(made: Stock) -> None:
    for name, most in _MOST.items():
        if not getattr(made, name) > 0:
            raise InputError(f"got {getattr(made, name):g} for {name.replace('_', ' ')}, wanted more than 0")
        if getattr(made, name) > most:
            raise InputError(f"got {getattr(made, name):g} for {name.replace('_', ' ')}, wanted at most {most:g}")
    if any(not 0 < metres <= _MOST_METRES for metres in made.lots_m):
        named = ", ".join(f"{m:g}" for m in made.lots_m)
        raise InputError(f"got lots of {named} metres, wanted more than 0 and at most {_MOST_METRES:g} in each")
    if len(made.lots_m) > _MOST_LOTS:
        raise InputError(f"got {len(made.lots_m)} lots, wanted at most {_MOST_LOTS}")
    if made.most_runs is not None and made.most_runs < 1:
        raise InputError(f"got {made.most_runs} runs, wanted 1 or more")


def occasion(
    protocol: Protocol,
    at_hand: Stock,
    *,
    blades: Sequence[str],
    steels: Sequence[str | None] = (),
    sharpeners: Sequence[str] = (),
    testers: Sequence[str] = (),
    coder: str | None = None,
    alone: str | None = None,
    last_checkpoint: float | None = None,
    worthwhile_ratio: float | None = None,
) -> Occasion:
    """Check who does what, and put it together.

    Parameters
    ----------
    steels : as many as blades, or none.
    alone : this person sharpens and tests; ``sharpeners`` are then those who left their edges on the blades.
    last_checkpoint : None: as far as the primary endpoint needs.
    worthwhile_ratio : None: that of the endpoint.

    Raises
    ------
    InputError
        Anything that does not go together, with the value got and the value wanted.
    """
    if alone is not None:
        if testers or coder is not None:
            raise InputError(f"got {alone!r} alone together with another tester or coder; wanted one or the other")
        sharpeners, testers = (alone,) if protocol.question.levels else _with(sharpeners, alone), (alone,)
    _refuse_names(blades, steels, sharpeners, testers, coder)
    sharpeners = _to_levels(protocol, sharpeners)
    last = usual_last(protocol) if last_checkpoint is None else last_checkpoint
    rule = rule_within(protocol, last)
    if rule is None or last not in protocol.work.checkpoints[1:]:
        wanted = ", ".join(f"{w:g}" for w in lasts(protocol))
        raise InputError(f"got {last:g} as the last checkpoint, wanted one of {wanted}")
    made = Occasion(
        protocol=protocol,
        blades=tuple(blades),
        steels=tuple(steels) or (None,) * len(blades),
        sharpeners=tuple(sharpeners),
        testers=tuple(testers),
        coder=coder,
        alone=alone is not None,
        last_checkpoint=float(last),
        rule=rule,
        worthwhile_ratio=_ratio(rule, worthwhile_ratio),
        stock=at_hand,
    )
    _refuse_nothing_to_compare(made)
    return made


def _to_levels(protocol: Protocol, sharpeners: Sequence[str]) -> Sequence[str]:
    """Where levels are compared, the one sharpener once for each of them."""
    words = [level.word for level in protocol.question.levels]
    if not words:
        return sharpeners
    if len(sharpeners) != 1:
        raise InputError(f"got {len(sharpeners)} sharpeners, wanted one: {protocol.id} compares {', '.join(words)}, all by the same hand")
    _refuse_form("sharpener", sharpeners, _HANDLE)
    return tuple(in_condition(sharpeners[0], word) for word in words)


def _with(names: Sequence[str], one: str) -> tuple[str, ...]:
    return tuple(names) if one in names else (*names, one)


def lasts(protocol: Protocol) -> tuple[float, ...]:
    """Checkpoints at which runs may be planned to end: those by which some endpoint has a value."""
    return tuple(w for w in protocol.work.checkpoints[1:] if rule_within(protocol, w) is not None)


def _ratio(rule: EndpointRule, given: float | None) -> float:
    ratio = rule.worthwhile_ratio if given is None else given
    if not 1 < ratio <= 100:
        raise InputError(f"got {ratio:g} as the worthwhile ratio, wanted one above 1 and at most 100")
    return ratio


def _refuse_names(
    blades: Sequence[str], steels: Sequence[str | None], sharpeners: Sequence[str], testers: Sequence[str], coder: str | None
) -> None:
    for name, values, form in (("blade", blades, _KEY), ("sharpener", sharpeners, _SHARPENER), ("tester", testers, _HANDLE)):
        if not values:
            raise InputError(f"got no {name}, wanted one or more")
        if len(set(values)) < len(values):
            raise InputError(f"got one {name} twice in {', '.join(values)}")
        _refuse_form(name, values, form)
    if coder is not None:
        _refuse_form("coder", [coder], _HANDLE)
    if steels and len(steels) != len(blades):
        raise InputError(f"got {len(steels)} steels for {len(blades)} blades, wanted one for each or none")
    if coder in testers:
        raise InputError(f"got {coder!r} as coder and tester; whoever keeps the codes cuts and reads nothing")


def _refuse_form(name: str, values: Sequence[str], form: re.Pattern[str]) -> None:
    for value in values:
        if not form.fullmatch(value):
            kind = "<owner>.<name>" if form is _KEY else "a handle: 2 to 31 lower-case letters, digits and hyphens"
            kind += ", and a condition in brackets where two are compared" if form is _SHARPENER else ""
            raise InputError(f"got {value!r} as {name}, wanted {kind}")


def _refuse_nothing_to_compare(made: Occasion) -> None:
    factor = made.protocol.question.factor
    if factor not in COMPARED:
        raise InputError(f"got a protocol that asks for the {factor}; wanted one that compares sharpeners, steels, blades or levels")
    kind, names = ("sharpener", made.sharpeners) if made.in_rounds else ("blade", made.blades)
    if len(names) < 2:
        raise InputError(f"got {len(names)} {kind}, wanted two or more: {made.protocol.id} compares {factor}s")
    if made.blades_in_turn and made.in_rounds:
        raise InputError(f"got {made.protocol.id}, which compares {factor}s by two blades in turn; wanted steels or blades compared")
    if made.blades_in_turn and made.as_left and len(made.blades) != 2:
        raise InputError(f"got {len(made.blades)} blades with edges as they were left, wanted two: such an edge is cut once, in one pair")
    if made.halves and len(made.sharpeners) != 2:
        raise InputError(f"got {len(made.sharpeners)} sharpeners, wanted two: {made.protocol.id} gives each half of the edge to one of two")
