"""The analyses behind the comparisons as pydantic models: all runs of a pool in one crossed model, the network of steels,
curves against each other, and probes.

As in ``model``: ratios above 1 favour ``first``, ``None`` means "not computed", and the reason stands beside it in words.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .arguments import Arguments
from .ratio import RatioInterval


class Spread(Record):
    """How much one thing varies, according to the crossed model of all runs."""

    what: str
    """The random term: tester, sharpener, blade, batch, submission, steel × tester, steel × sharpener, level × steel, level × submission,
    or run-to-run."""
    state: Literal["given", "upper limit only", "no number"]
    """upper limit only: the data give only a bound; no number: the reason is in ``reason``."""
    reason: str
    """Why there is less than a number with its interval; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    holds: str
    """What else the figure includes, where other terms could not be told from it; empty otherwise."""
    ln_sd: float | None
    """Standard deviation on the ln scale; 0 is an estimate like any other."""
    ln_sd_low: float | None
    """Lower limit."""
    ln_sd_high: float | None
    """Upper limit."""
    typical_ratio: float | None
    """By what ratio two of them typically differ: exp(0.954 SD), the median over pairs."""
    typical_low: float | None
    """Lower limit."""
    typical_high: float | None
    """Upper limit."""
    most_ratio: float | None
    """95 % of pairs differ by less than this ratio: exp(2.77 SD)."""
    share_percent: float | None
    """Share of the random variance of one run, all random terms together."""
    levels: int
    """How many of them there are among the runs."""
    sentence: str
    """The same in plain English."""


class CrossedContrast(Record):
    """One steel against another in the crossed model of all runs."""

    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    told: Literal["yes", "weak", "no"]
    """Whether the runs can tell the two apart, judged before any reading is looked at."""
    reason: str
    """Why there is no ratio, or what weakens it; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    result: RatioInterval | None
    """The ratio, for testers, sharpeners and blades like those in the pool."""
    standard_error: float | None
    """On the ln scale."""
    df: float | None
    """Degrees of freedom of its interval."""
    simultaneous: RatioInterval | None
    """The same with an interval that holds for all pairs of steels at once (max-t)."""
    new_hands: RatioInterval | None
    """What somebody new would find, who sharpens new blades of both and cuts with them."""
    new_hands_measured: RatioInterval | None
    """What they would measure, with ``new_hands_runs`` runs on each."""
    within: RatioInterval | None
    """The ratio from comparisons within submissions alone; null where there are none, or no others."""
    within_note: str
    """Whether comparisons within submissions agree with the whole; empty where this was not tested."""
    headline: Literal["all runs", "within submissions"]
    """Which of the two to rely on: within submissions where the two differ by more than two standard errors (Hausman 1978)."""


class PracticeContrast(Record):
    """Whether one steel's advantage depends on who sharpens it."""

    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    practised: RatioInterval | None
    """Their ratio in the hands of practised sharpeners."""
    novice: RatioInterval | None
    """Their ratio in the hands of novices."""
    ratio_of_ratios: RatioInterval | None
    """The first divided by the second."""
    sentence: str
    """The same in plain English, or why there is none."""


class LevelContrast(Record):
    """Whether one steel's advantage changes with how good the sharpener is, judged by their edges of other steels."""

    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    sharpeners: int
    """Sharpeners who prepared both and whose edges of other steels others tested."""
    step: float
    """By what ratio the sharpener is better, on edges of other steels."""
    result: RatioInterval | None
    """What the ratio of the two steels is multiplied by for such a sharpener, corrected for the error in the sharpeners' levels."""
    reliability_percent: float | None
    """How much of the differences between these sharpeners, on their other edges, is real and not chance."""
    reason: str
    """Why there is none; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    sentence: str
    """The same in plain English."""


class CrossedResult(Record):
    """All runs of one endpoint in one model: fixed effects, variances, contrasts."""

    state: Literal["fitted", "not fitted"]
    """Whether there is a fit."""
    reason: str
    """Why not, or what limits it; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    runs: int
    """Runs in it."""
    one_sided: int
    """Those of them known on one side only."""
    left_out: int
    """Runs without a value, or shared by two testers."""
    fixed: tuple[str, ...]
    """Fixed effects in it, in words."""
    not_held: tuple[str, ...]
    """What was asked for and could not be fitted, each with its reason, in words."""
    criterion: Literal["reml", "ml", ""]
    """Restricted or full likelihood; empty where not fitted."""
    log_likelihood: float | None
    """At the optimum."""
    converged: bool
    """Whether the search converged; figures of one that did not are not shown."""
    sentence: str
    """What matters more, in one or two plain sentences."""
    spreads: tuple[Spread, ...]
    """Random terms, by name; run-to-run last."""
    steels_typical: float | None
    """By what ratio two steels of the pool typically differ: the median over pairs, without sampling variance; null below three steels."""
    own_sharpening: RatioInterval | None
    """Edges that the tester sharpened against edges of others; null where it is not estimable."""
    own_sharpening_note: str
    """Why not, or what it does not show; empty otherwise."""
    contrasts: tuple[CrossedContrast, ...]
    """Every pair of steels in the pool, by name."""
    new_hands_runs: int
    """Runs on each steel that ``new_hands_measured`` assumes."""
    practice: tuple[PracticeContrast, ...]
    """Steel by sharpener: every pair of steels that both practised and novice sharpeners prepared."""
    by_level: tuple[LevelContrast, ...]
    """Steel by the sharpener's level: every pair of which some sharpener prepared both; figures only with eight or more of them."""
    two_roles: str
    """Whether who sharpens well also cuts well (covariance between a person's two effects), or why it is not known."""


class NetworkLine(Record):
    """One steel against another in the network."""

    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    evidence: Literal["direct", "indirect", "not linked"]
    """direct: some submission has both; indirect: only through others."""
    path: tuple[str, ...]
    """For indirect evidence the shortest chain of steels from one to the other."""
    direct_studies: int
    """Studies with both."""
    result: RatioInterval | None
    """The ratio, direct and indirect evidence together."""
    reason: str
    """Why there is none; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    split_p: float | None
    """p value of direct against indirect evidence; null where this was not tested."""


class NetworkResult(Record):
    """The network of steels at one endpoint."""

    state: Literal["fitted", "not fitted"]
    """Whether there is a fit."""
    reason: str
    """Why not, or into which parts it splits; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    steels: tuple[str, ...]
    """Steels in it."""
    studies: int
    """Studies."""
    tau: float | None
    """Between-study standard deviation of a contrast, ln scale."""
    tau_low: float | None
    """Lower limit."""
    tau_high: float | None
    """Upper limit."""
    q_inconsistency: float | None
    """Part of Q that lies between designs."""
    q_df: int | None
    """Its degrees of freedom."""
    p_common: float | None
    """Design-by-treatment test with a common effect."""
    p_random: float | None
    """The same with random effects, which hides it where heterogeneity is large."""
    agreement: str
    """Whether the network agrees with itself, in plain English; empty where it cannot be tested."""
    lines: tuple[NetworkLine, ...]
    """Every pair of steels, by name."""
    sentence: str
    """What the network adds, in plain English."""


class BandPoint(Record):
    """One place of a contrast of curves."""

    at: float
    """Work in the protocol's unit, or sharpness relative to the pool's mean at 0."""
    ratio: float
    """The ratio there."""
    low: float | None
    """Pointwise limit; null: unbounded."""
    high: float | None
    """Pointwise limit; null: unbounded."""
    band_low: float | None
    """Limit that holds at all places at once; null: unbounded."""
    band_high: float | None
    """Limit that holds at all places at once; null: unbounded."""


class CurveComparison(Record):
    """Two steels, or two levels, along the whole course of work, from the joint posterior of the pool's curves."""

    factor: Literal["steel", "level"] = "steel"
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    state: Literal["compared", "not compared"]
    """Whether there is anything to show."""
    reason: str
    """Why not; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    submissions: int
    """Submissions with both, by the same sharpener and tester."""
    runs_first: int
    """Runs of the first in the pool."""
    runs_second: int
    """Runs of the second in the pool."""
    same_work: tuple[BandPoint, ...]
    """How much sharper at the same work."""
    same_sharpness: tuple[BandPoint, ...]
    """How much more work, all counted, it takes to the same sharpness."""
    same_sharpness_from_start: tuple[BandPoint, ...]
    """The same counted from a common starting sharpness."""
    sentence: str
    """Where one is sharper by the simultaneous band, and whether one overtakes the other, in plain English."""


class ProbeResult(Record):
    """A question to all pooled runs about something that may bend the results, with an estimand of its own."""

    id: str
    """Its name in addresses and objections."""
    question: str
    """The question in plain English."""
    endpoint: str
    """Endpoint id."""
    estimand: str
    """What the figure is a ratio of, in words; never the headline's."""
    state: Literal["answered", "too little", "not told apart", "not fitted"]
    """too little data is an answer too; not fitted: numbers failed."""
    reason: str
    """Why there is no figure; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    result: RatioInterval | None
    """The ratio."""
    p: float | None
    """p value against a ratio of 1."""
    runs: int
    """Runs that inform it."""
    submissions: int
    """Submissions that inform it."""
    sentence: str
    """What it shows."""
    does_not_show: str
    """What it does not show."""
