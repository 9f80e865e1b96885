"""The one answer on a comparison as published, how it depends on the method, and how much of everything differs."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .arguments import Arguments
from .ratio import RatioInterval


class MethodLine(Record):
    """What one method says about a comparison."""

    method: Literal[
        "hierarchical model",
        "hierarchical model, prior scales halved",
        "hierarchical model, prior scales doubled",
        "random effects over studies",
        "network of steels",
        "crossed model, restricted likelihood",
        "within submissions alone",
        "curves of all readings",
        "linked evidence alone",
        "all evidence in full",
        "senders with heavy tails",
    ]
    """The method; the first is the headline."""
    result: RatioInterval | None
    """Its ratio; null where it has none."""
    reason: str
    """Why it has none; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class StandsOn(Record):
    """Whose evidence stands behind an answer, and how much of it counts."""

    files: int
    """Submissions with a run of either side."""
    linked_files: int
    """Those of them that are linked with other people's results."""
    senders: int
    """People whom these submissions come from."""
    linked_senders: int
    """People whom the linked ones come from; a verdict takes two."""
    counted_percent: float | None
    """Power of its likelihood with which evidence that is not linked counts; null where nothing had to be bounded."""
    alone: RatioInterval | None
    """The ratio from linked evidence alone; null where all or none is linked, or where it cannot compare the two."""
    everything: RatioInterval | None
    """The ratio with all evidence in full; null where all or none is linked."""
    evidence_sentence: str
    """The same in plain English."""


class HangsOn(Record):
    """What hangs on whose results, the spreads taken as known and runs known on one side only left out."""

    senders_met: int
    """People whose results the ratio was computed without, each in turn."""
    without_sender_low: float
    """The lowest ratio without the results of any one of them."""
    without_sender_high: float
    """The highest."""
    senders_needed: int
    """Those without whom there would be no ratio."""
    months_met: int
    """Months whose results it was computed without, each in turn."""
    without_month_low: float
    """The lowest ratio without those of any one of them."""
    without_month_high: float
    """The highest."""
    months_needed: int
    """Those without which there would be no ratio."""
    heavy_tails: RatioInterval | None
    """The ratio if senders scatter as a t distribution with four degrees of freedom; null where fewer than four compare the two by
    themselves."""
    heavy_tails_senders: int
    """People who compare the two by themselves."""
    invented_to_reverse: int | None
    """Invented studies that would reverse the verdict, each saying twice as much against it and counting as a sender does on average; null
    where there is none, or where it is undecided."""
    hanging_sentence: str
    """The same in plain English."""


class Answer(Record):
    """The answer on one comparison, from the hierarchical model of all runs: the random-effects meta-analysis in one stage."""

    factor: Literal["steel", "practice", "level"]
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    state: Literal["estimated", "not estimable", "not fitted"]
    """Whether there is a ratio; not fitted: the computation did not pass its checks."""
    about: Literal["steels", "blades", "classes", "sharpeners", "levels", "tables"]
    """What it is about: steels (classes of sharpeners, levels), or only these blades (sharpeners, tables) if a side has one."""
    sentence: str
    """The answer in plain English."""
    verdict: str
    """better, worse, no difference worth having, different (size undecided), undecided; empty for single blades,
    sharpeners or tables and where there is no ratio."""
    reason: str
    """Why there is no ratio; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    weak: str
    """What weakens it; empty where nothing does."""
    weak_code: str = ""
    """Code of what weakens it in the catalogue of texts; empty where there is none, or where several are joined."""
    weak_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    result: RatioInterval | None
    """Posterior median and central interval of the ratio."""
    probability_better: float | None
    """Posterior probability that the ratio lies above the worthwhile one."""
    probability_within: float | None
    """Between one over the worthwhile ratio and it."""
    probability_worse: float | None
    """Below one over the worthwhile ratio."""
    probability_above_one: float | None
    """Posterior probability that the ratio lies above 1."""
    ruled_out_beyond: float | None
    """A difference larger than this ratio either way is ruled out."""
    general: RatioInterval | None
    """Where it is about single blades (sharpeners, tables): the ratio of the steels (classes, levels), with the spread of blades in it."""
    new_hands: RatioInterval | None
    """What somebody new would find who sharpens new blades of both, or makes edges of both levels on another steel, and cuts with them."""
    new_hands_measured: RatioInterval | None
    """What they would measure with ``new_hands_runs`` runs on each."""
    new_hands_runs: int
    """Runs on each that ``new_hands_measured`` assumes."""
    evidence: Literal["direct", "linked", "both", "reference", ""]
    """direct: submissions have both sides; linked: only through others; both; reference: through reference edges alone; empty where there
    is no ratio."""
    direct_percent: float | None
    """Share of the information that comes from submissions with both sides."""
    units_first: int
    """Blades (sharpeners, submissions) of the first."""
    units_second: int
    """Blades (sharpeners, submissions) of the second."""
    direct_submissions: int
    """Submissions with both sides."""
    testers: int
    """People who tested either."""
    methods: tuple[MethodLine, ...]
    """The same comparison by other methods, the headline first."""
    methods_sentence: str
    """Whether they agree; empty where there is nothing to compare."""
    stands_on: StandsOn | None = None
    """Whose evidence stands behind it; null where there is no ratio."""
    hangs_on: HangsOn | None = None
    """What hangs on whose results; null where there is no ratio, or too many runs to work it out."""


class HowMuchResult(Record):
    """How much two of one kind typically differ, from the posterior behind the answers."""

    what: str
    """steel, level, practice, the random term (several that these runs cannot tell apart are joined by "or"), or run-to-run."""
    state: Literal["given", "withheld"]
    """withheld: a figure would be the prior alone."""
    reason: str
    """Why withheld; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    typical_ratio: float | None
    """By what ratio two of them typically differ: posterior median of exp(0.954 SD); of practice and of two levels, the ratio of the two;
    of more levels, the median over their pairs."""
    typical_low: float | None
    """Lower end of its 95 % interval."""
    typical_high: float | None
    """Upper end."""
    most_ratio: float | None
    """95 % of pairs differ by less than this ratio, exp(2.77 SD); null for practice and levels, whose pairs are all in the pool."""
    ln_sd: float | None = None
    """Posterior median of the standard deviation, ln scale; null for practice."""
    from_prior_percent: float | None
    """Posterior standard deviation of ln SD divided by the prior one, in percent: near 100 the data add nothing; null for practice."""
    levels: int
    """How many of them the pool has."""
    sentence: str
    """The same in plain English."""


class PriorResult(Record):
    """The prior of one spread."""

    what: str
    """The term."""
    df: float
    """Degrees of freedom of the half-t distribution."""
    scale: float
    """Its scale, ln units."""
    source: str
    """Where the scale comes from."""


class ModelResult(Record):
    """The hierarchical model of all runs of one endpoint."""

    state: Literal["fitted", "not fitted"]
    """Whether there is a posterior."""
    reason: str
    """Why not; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    runs: int
    """Runs in it."""
    one_sided: int
    """Those of them known on one side only."""
    submissions: int
    """Submissions in it."""
    readings: int | None = None
    """Readings in the joint model of the pool that these answers are read off; null where they come from this endpoint's values alone."""
    left_out: int
    """Runs without a value, shared by two testers, or of a steel of which every run is known on one side only."""
    fixed: tuple[str, ...]
    """Fixed effects besides the constant, in words."""
    not_held: tuple[str, ...]
    """Fixed effects that were asked for and are not estimable, each with its reason."""
    priors: tuple[PriorResult, ...]
    """Priors of the spreads."""
    points: int
    """Weighted points that represent the posterior of the spreads."""
    effective_points: float | None
    """The effective number of these points; null where the posterior of the spreads is taken as normal about its mode."""
    pareto_k: float | None
    """Shape of the tail of their weights; below 0.7 they can be relied on. Null as above."""
    error_percent: float | None
    """Largest Monte-Carlo error of a limit of a ratio, in percent of the half-width of its interval. Null as above."""
    own_sharpening: RatioInterval | None
    """Edges that the tester sharpened against edges of others; null where it is not estimable."""
    matters: tuple[HowMuchResult, ...]
    """How much steels, practice, people, blades and runs differ."""
    matters_sentence: str
    """What matters more, or that these runs cannot say yet."""
