"""The whole answer to "what can we do with what is in the house?"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from edgehold.estimates.repeatability import Repeatability
from edgehold.records.model.base import Origin
from edgehold.records.model.plan import Plan
from edgehold.words import Reason

from .adds import Addition, additions
from .capacity import Capacity, evening_runs
from .chances import SIGHTS, Expected, Progress, expected, setting, spread_of
from .designs import Design, doable, other_designs
from .occasion import Occasion
from .plans import draw_plan
from .remedies import Outlook, Remedy, Verdicts, rank, remedies, right_verdicts, unscaled_variance
from .threats import OpenThreat, open_threats


@dataclass(frozen=True)
class Known:
    """What runs that should agree differ by.

    Attributes
    ----------
    entries : by endpoint, of a published table or the protocol's assumption.
    reading_variance : of one repeat, ln scale, where a table has it.
    table_sha256 : hash of the table; None where the protocol's assumption stands in.
    """

    entries: Mapping[str, Repeatability]
    reading_variance: float | None
    table_sha256: str | None


@dataclass(frozen=True)
class Other:
    """Another design of the same occasion, in short.

    Attributes
    ----------
    last : checkpoint at which its runs end.
    endpoint, title, primary : what it would be judged by, and whether that is what the protocol asks first.
    runs : in all.
    half_width : of the 95 % interval, ln scale.
    seen : by true ratio, the chance that a difference is seen at all. Of lives these two hold where none is cut short.
    """

    last: float
    endpoint: str
    title: str
    primary: bool
    runs: int
    half_width: float
    seen: dict[float, float]


@dataclass(frozen=True)
class Advice:
    """A plan and what to expect of it.

    Attributes
    ----------
    asked, fits : who, with what, for how long, and the runs that fit.
    changes : how this differs from what was asked for, which was too much for the evening; empty where it does not.
    plan : as drawn.
    found : what to expect.
    right : chances of the right verdict; None where the plan alone cannot tell.
    remedies : what would help; empty where the plan is good enough as it is, or tells nothing alone.
    others : what else the same evening holds.
    adds : what edges exchanged with a friend's table, that table and a second evening add.
    threats : what it leaves open.
    table_sha256 : of the repeatability table used; None where the protocol's assumption stands in.
    """

    asked: Occasion
    fits: Capacity
    changes: tuple[Reason, ...]
    plan: Plan
    found: Expected
    right: Verdicts | None
    remedies: tuple[Remedy, ...]
    others: tuple[Other, ...]
    adds: tuple[Addition, ...]
    threats: tuple[OpenThreat, ...]
    table_sha256: str | None

    @property
    def answers(self) -> bool:
        """Whether the plan is likely enough to answer its question."""
        return self.right is not None and self.right.enough


def advise(
    wanted: Occasion,
    known: Known,
    *,
    id: str,
    month: str,
    seed: int,
    sealed: bool = False,
    origin: Origin = "measured",
    evenings: int | None = None,
    say: Progress = lambda _: None,
) -> Advice:
    """Plan, and say what to expect.

    Parameters
    ----------
    wanted : who, with what, for how long.
    known : what runs that should agree differ by.
    id, month, seed, sealed, origin : of the plan.
    evenings : drawn at each true ratio; None: enough for a Monte-Carlo error of about 1 to 3 %.
    say : told how far it has come.
    """
    design = doable(wanted)
    asked, fits = design.asked, design.fits
    plan = draw_plan(asked, fits, id=id, month=month, seed=seed, sealed=sealed, origin=origin)
    entry = known.entries[asked.rule.id]
    made = setting(plan, asked.protocol, entry, dict(zip(asked.blades, asked.steels, strict=True)))
    found = expected(made, evenings, say)
    right = None if found.reason else right_verdicts(found.chances)
    helpful: tuple[Remedy, ...] = ()
    if right is not None and not right.enough and found.unscaled is not None:
        say("looking for what would help")
        outlook = Outlook(entry, made.truth, seed)
        share = _reading_share(asked, entry, known.reading_variance)
        helpful = remedies(plan, found, outlook, max(1, evening_runs(asked)), asked.worthwhile_ratio, share, asked.left_by)
    others = tuple(glance(other, known, seed) for other in other_designs(design))
    adds = additions(asked, plan, Outlook(entry, made.truth, seed))
    return Advice(asked, fits, design.changes, plan, found, right, helpful, others, adds, open_threats(asked, plan), known.table_sha256)


def glance(design: Design, known: Known, seed: int) -> Other:
    """A design without drawing its evenings: every contrast as precise as so many runs of so many arms make it.

    Parameters
    ----------
    design : what is done.
    known, seed : as in `advise`.
    """
    asked, runs, entry = design.asked, design.fits.runs, known.entries[design.asked.rule.id]
    plan = draw_plan(asked, design.fits, id="glance", month="2000-01", seed=seed, sealed=False)
    compared = len(asked.sharpeners) if asked.in_rounds else len(asked.blades)
    unscaled, df = unscaled_variance(plan, compared), runs - rank(plan)
    outlook = Outlook(entry, spread_of(entry), seed)
    return Other(
        last=asked.last_checkpoint,
        endpoint=asked.rule.id,
        title=asked.rule.title,
        primary=asked.asks_primary,
        runs=runs,
        half_width=outlook.half_width(unscaled, df),
        seen={true: outlook.seen(unscaled, df, true) for true in SIGHTS},
    )


def _reading_share(asked: Occasion, entry: Repeatability, reading_variance: float | None) -> float | None:
    """How much of the variance of a level comes from reading; windows and lives mix several readings."""
    if reading_variance is None or asked.rule.kind != "level":
        return None
    return min(1.0, reading_variance / asked.protocol.reading.repeats / entry.prior_s2)
