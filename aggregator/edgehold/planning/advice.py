"""The whole answer to "what can we do with what is in the house?"."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.estimates.repeatability import Repeatability
from edgehold.records.model.base import Origin
from edgehold.records.model.plan import Plan

from .capacity import Capacity, capacity, evening_runs
from .chances import Expected, Progress, expected, setting
from .occasion import Occasion
from .plans import draw_plan
from .remedies import Outlook, Remedy, Verdicts, remedies, right_verdicts
from .threats import OpenThreat, open_threats


@dataclass(frozen=True)
class Advice:
    """A plan and what to expect of it.

    Attributes
    ----------
    asked, fits : what was asked for, and the runs that fit.
    plan : None where not even one run of each arm fits.
    found : what to expect; None without a plan.
    right : chances of the right verdict; None where the plan cannot tell at all.
    remedies : what would help; empty where the plan is good enough as it is, or tells nothing at all.
    threats : what it leaves open.
    table_sha256 : of the repeatability table used; None where the protocol's assumption stands in.
    """

    asked: Occasion
    fits: Capacity
    plan: Plan | None
    found: Expected | None
    right: Verdicts | None
    remedies: tuple[Remedy, ...]
    threats: tuple[OpenThreat, ...]
    table_sha256: str | None

    @property
    def answers(self) -> bool:
        """Whether the plan is likely enough to answer its question."""
        return self.right is not None and self.right.enough


def advise(
    asked: Occasion,
    entry: Repeatability,
    *,
    id: str,
    month: str,
    seed: int,
    sealed: bool = False,
    origin: Origin = "measured",
    reading_variance: float | None = None,
    table_sha256: str | None = None,
    evenings: int | None = None,
    say: Progress = lambda _: None,
) -> Advice:
    """Plan, and say what to expect.

    Parameters
    ----------
    asked : who, with what, for how long.
    entry : repeatability of the protocol's primary endpoint: of a published table, or the protocol's assumption.
    id, month, seed, sealed, origin : of the plan.
    reading_variance : of one repeat, ln scale, where a table has it.
    table_sha256 : hash of the table that ``entry`` came from.
    evenings : drawn at each true ratio; None: enough for a Monte-Carlo error of about 1 to 3 %.
    say : told how far it has come.
    """
    fits = capacity(asked)
    if not fits.runs:
        return Advice(asked, fits, None, None, None, (), (), table_sha256)
    plan = draw_plan(asked, fits, id=id, month=month, seed=seed, sealed=sealed, origin=origin)
    made = setting(plan, asked.protocol, entry, dict(zip(asked.blades, asked.steels, strict=True)))
    found = expected(made, evenings, say)
    right = None if found.reason else right_verdicts(found.chances)
    helpful: tuple[Remedy, ...] = ()
    if right is not None and not right.enough and found.unscaled is not None:
        say("looking for what would help")
        absent = tuple(sorted({arm.sharpener for arm in asked.as_left}))
        share = _reading_share(asked, entry, reading_variance)
        outlook = Outlook(entry, made.truth, seed)
        helpful = remedies(plan, found, outlook, max(1, evening_runs(asked)), asked.worthwhile_ratio, share, absent)
    return Advice(asked, fits, plan, found, right, helpful, open_threats(asked, plan), table_sha256)


def _reading_share(asked: Occasion, entry: Repeatability, reading_variance: float | None) -> float | None:
    """How much of the variance of a level comes from reading; windows and lives mix several readings."""
    if reading_variance is None or asked.rule.kind != "level":
        return None
    return min(1.0, reading_variance / asked.protocol.reading.repeats / entry.prior_s2)
