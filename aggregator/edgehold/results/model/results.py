"""The results bundle as pydantic models: what is published, and all that the pages know.

Ratios are always so that above 1 favours ``first``: sharper, or longer lived. ``None`` means "not computed"; the reason
stands beside it in words.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgehold.records.model.base import Record

from .analyses import CrossedResult, CurveComparison, NetworkResult, ProbeResult
from .answers import Answer, ModelResult
from .arguments import Arguments
from .families import FamiliesResult
from .grades import GradeResult
from .history import ChangeResult, RemovedResult, State
from .moves import PoolLog
from .objections import ObjectionResult
from .plans import PlanCount
from .ratio import RatioInterval
from .references import ReferencesResult
from .studies import CumulativeMonth, StudyChecksResult
from .versions import ProtocolResult

RESULTS_FORMAT = "results/2.5.0"


class Counts(Record):
    """How much a result is based on."""

    submissions: int
    """Submissions."""
    runs: int
    """Runs."""
    testers: int
    """People who cut and read."""
    sharpeners: int
    """People who sharpened."""
    blades: int
    """Physical blades."""
    steels: int
    """Steels, as far as known."""
    batches: int
    """Batches, as far as known."""


class Range(Record):
    """Smallest and largest value, and for how many blades or preparations it was known."""

    low: float
    """Smallest."""
    high: float
    """Largest."""
    known: int
    """For how many it is known."""
    of: int
    """Out of how many."""


class StudyLine(Record):
    """What one submission says in one comparison."""

    submission: str
    """Its id."""
    cluster: int
    """Number of the study it counts in, the same at every endpoint of the pool: submissions joined by a tester, a sharpener or a blade are
    one study."""
    month: str
    """Month."""
    result: RatioInterval | None
    """Its own ratio; null when it has none."""
    bound: Literal["at least", "at most"] | None
    """For a one-sided result: which side is known."""
    bound_ratio: float | None
    """For a one-sided result: the bound."""
    ln_estimate: float | None
    """Ratio on the ln scale."""
    ln_variance: float | None
    """Sampling variance on the ln scale, from the common repeatability."""
    weight_percent: float | None
    """Share of this line in the pooled estimate."""
    reason: str
    """Why there is no ratio, or what limits it; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""
    verdict: str
    """The submission's own verdict; empty where it has none."""
    runs_first: int
    """Runs on the first."""
    runs_second: int
    """Runs on the second."""
    blades_first: int
    """Blades of the first."""
    blades_second: int
    """Blades of the second."""
    interest: str
    """Strongest interest anybody named in it has in a blade: none, owner, maker, seller, or "not stated"."""


class Prediction(Record):
    """Where the next comparable study would fall."""

    result: RatioInterval
    """The interval."""
    plug_in: RatioInterval | None
    """The plug-in interval, for comparison."""
    caveat: str
    """What limits it; empty with five studies or more."""
    caveat_code: str = ""
    """Code of the caveat in the catalogue of texts; empty where there is none, or where several are joined."""
    caveat_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class Comparison(Record):
    """One comparison by studies: a check beside the answer of the hierarchical model."""

    factor: Literal["steel", "practice", "sharpener", "level"]
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    state: Literal["pooled", "listed", "single", "not estimable", "not fitted"]
    """pooled with three or more studies; listed with fewer; single: one submission; not estimable; not fitted: the computation failed."""
    sentence: str
    """The answer in plain English."""
    verdict: str
    """better, worse, no difference worth having, different (size undecided), undecided; empty where not pooled."""
    studies: int
    """Studies (clusters of submissions)."""
    one_sided: int
    """Submissions that give only a bound."""
    result: RatioInterval | None
    """The pooled ratio."""
    claim: str
    """How far the claim reaches, such as these blades only, and what limits it; empty where nothing does."""
    versions: str
    """Whether contrasts made under different MINOR versions agree; empty with one version or too few studies."""
    ln_estimate: float | None
    """Pooled ln ratio."""
    ln_standard_error: float | None
    """Its standard error."""
    df: float | None
    """Degrees of freedom of the interval."""
    tau: float | None
    """Between-study standard deviation on the ln scale."""
    tau_low: float | None
    """Lower limit; null where no spread is estimable, the studies agreeing better than their variances say."""
    tau_high: float | None
    """Upper limit; null where no spread is estimable."""
    tau_within: float | None = None
    """Standard deviation between submissions of one study on the ln scale; null where no study holds two."""
    tau_within_low: float | None = None
    """Lower limit."""
    tau_within_high: float | None = None
    """Upper limit."""
    i2_percent: float | None
    """Share of the variance that lies between studies."""
    q: float | None
    """Cochran's Q."""
    q_df: int | None
    """Its degrees of freedom."""
    q_p: float | None
    """Its p value."""
    prediction: Prediction | None
    """Where the next study would fall; null below three studies."""
    bounds_included: RatioInterval | None
    """Sensitivity: a common effect with one-sided results weighed in; null where there are none or they fix no ratio."""
    interests: str
    """Where half or more of the submissions involve makers or sellers: what the others say; empty otherwise."""
    without_interested: RatioInterval | None
    """The pooled ratio without them; null where they are fewer than half, or fewer than three studies are left."""
    ruled_out_beyond: float | None
    """These data rule out a difference larger than this ratio either way."""
    blades_first: int
    """Distinct blades of the first."""
    blades_second: int
    """Distinct blades of the second."""
    testers: int
    """People who tested in it."""
    checks: StudyChecksResult | None
    """How far it depends on single studies, on symmetry and on the independence of studies; null where nothing is pooled."""
    cumulative: tuple[CumulativeMonth, ...] = ()
    """The pooled ratio at the end of each month with a new submission, oldest first; empty where nothing is pooled."""
    lines: tuple[StudyLine, ...]
    """Submission by submission."""
    not_fitted: tuple[str, ...] = ()
    """What else has no figures because its computation failed, with the reason."""


class RepeatabilityEntry(Record):
    """Run-to-run spread used for one endpoint."""

    ln_sd: float
    """Standard deviation between runs on the ln scale."""
    df: float
    """Degrees of freedom of the pooled part."""
    prior_ln_sd: float
    """The spread towards which those of single submissions are drawn."""
    prior_df: float | None
    """Degrees of freedom of that prior; null: infinitely many (no evidence that spreads differ)."""
    source: Literal["pooled", "assumed"]
    """From pooled runs, or the protocol's assumption."""
    submissions: int
    """Submissions with replicate runs."""
    reason: str = ""
    """Why differences in spread between submissions were not fitted and are taken as none; empty otherwise."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class LaboratoryCell(Record):
    """One tester's runs on one circulating blade; testers by code number."""

    code: int
    """Code number of the tester, new in every table."""
    n: int
    """Runs."""
    mean: float
    """Mean."""
    s: float | None
    """Standard deviation."""
    h: float | None
    """Between-tester consistency statistic (ISO 5725-2)."""
    k: float | None
    """Within-tester consistency statistic (ISO 5725-2)."""
    flags: tuple[str, ...]
    """What stands out. Nothing is dropped."""


class Interlaboratory(Record):
    """Repeatability and reproducibility on one circulating blade (ISO 5725-2)."""

    item: str
    """The blade."""
    scale: Literal["reading unit", "ln"]
    """The scale of the figures."""
    unit: str
    """Unit of the figures; "ln" on the ln scale."""
    testers: int
    """Testers."""
    runs: int
    """Runs."""
    mean: float | None
    """Grand mean; null where the figures of this blade were not fitted, and ``note`` says why."""
    s_r: float | None
    """Repeatability standard deviation."""
    s_R: float | None
    """Reproducibility standard deviation."""
    s_L: float | None
    """Between-tester standard deviation."""
    h_critical: float | None
    """Critical value of h at 0.5 %."""
    k_critical: float | None
    """Critical value of k at 0.5 %; null where testers made different numbers of runs."""
    note: str
    """What limits it, such as too few testers to flag anything."""
    tests: tuple[str, ...]
    """Cochran's and Grubbs' tests in words, from six testers on."""
    cells: tuple[LaboratoryCell, ...]
    """Tester by tester."""


class EndpointResult(Record):
    """All results for one endpoint of one pool."""

    id: str
    """Endpoint id."""
    title: str
    """What it is called."""
    kind: Literal["level", "window", "loss", "life"]
    """Kind."""
    role: Literal["early", "late", "overall"]
    """Which part of the dulling."""
    primary: bool
    """Whether it is the protocol's primary endpoint."""
    quantity: Literal["sharpness", "work"]
    """What its ratios compare."""
    worthwhile_ratio: float
    """The smallest ratio worth acting on."""
    exact: int
    """Runs with an exact value."""
    interval: int
    """Runs with an interval."""
    censored: int
    """Runs with a one-sided value."""
    missing: int
    """Runs without a value."""
    repeatability: RepeatabilityEntry | None
    """Run-to-run spread."""
    steels: tuple[Answer, ...]
    """The answer on every pair of steels in the pool, by name."""
    practice: Answer | None
    """Practised against novice sharpeners; null where the pool has only one class."""
    levels: tuple[Answer, ...] = ()
    """The answer on every pair of levels of the treatment that the protocol compares, by name."""
    model: ModelResult | None
    """The hierarchical model of all runs behind these answers; null where no run has a value."""
    families: FamiliesResult | None = None
    """Families of steels compared, from the posterior of the steels; null where that is not fitted."""
    pairwise: tuple[Comparison, ...]
    """The same comparisons by studies, where some submission has both: a check beside the answers."""
    sharpening: str
    """How much sharpening mattered, in one plain sentence."""
    interlaboratory: tuple[Interlaboratory, ...]
    """Circulating blades."""
    crossed: CrossedResult | None
    """All runs in one model: how much steels, sharpeners, testers and blades differ; null where no run has a value."""
    network: NetworkResult | None
    """Steels compared directly and through others, study by study; null below three steels."""
    probes: tuple[ProbeResult, ...]
    """Questions to all runs about what may bend the results."""
    probes_sentence: str
    """How many of the probes found something, and how many would by chance; empty without probes."""

    @property
    def answers(self) -> tuple[Answer, ...]:
        """The answer on every comparison: steels, practice, levels."""
        return (*self.steels, *([self.practice] if self.practice else []), *self.levels)


class CurvePointResult(Record):
    """Sharpness at one checkpoint, from the model of all readings."""

    work: float
    """Work in the protocol's unit."""
    ratio: float
    """Sharpness relative to the reference: the mean of all runs in the pool at 0."""
    low: float | None
    """Lower end of the 95 % interval."""
    high: float | None
    """Upper end."""
    runs: int
    """How many runs reach this amount of work."""


class SteelCurve(Record):
    """How edges of one steel, or level, dulled: what an average sharpener and tester would read; only with two or more submissions."""

    factor: Literal["steel", "level"] = "steel"
    """What the curve is of: a level where the pool compares levels."""
    steel: str
    """Steel id, or the level in the protocol's word."""
    points: tuple[CurvePointResult, ...]
    """By work."""


class Crossover(Record):
    """Two steels, or levels, of which one is better early and the other late."""

    first: str
    """The one better early."""
    second: str
    """The one better late."""
    sentence: str
    """The same in plain English; there is no winner."""


class ToldApart(Record):
    """Whether one thing can be told from the others in a pool's runs."""

    what: Literal["steel", "sharpener", "tester", "level", "split"]
    """Steels, sharpeners, testers or levels, told from the rest; split: how much sharpeners differ and how much testers."""
    verdict: Literal["yes", "weak", "no"]
    """yes; weak: in part, or upper limits only; no: no number is given."""
    sentence: str
    """The same in plain English."""


class Quoted(Record):
    """Which answer a headline quotes."""

    endpoint: str
    """Endpoint id."""
    factor: Literal["steel", "practice", "level"]
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""


class Pool(Record):
    """All results of one protocol MAJOR and one origin."""

    protocol: str
    """Protocol id."""
    major: int
    """MAJOR."""
    origin: Literal["measured", "simulated"]
    """measured and simulated are never pooled together."""
    title: str
    """The protocol's title."""
    factor: str
    """What the protocol asks about."""
    treatment: str = ""
    """What the levels are levels of, such as finish; empty where the protocol compares none."""
    medium: str
    """The medium."""
    work_unit: str
    """Unit of work."""
    versions: tuple[str, ...]
    """Versions pooled."""
    first_month: str
    """First month."""
    last_month: str
    """Last month."""
    counts: Counts
    """How much stands behind it."""
    hardness_hrc: Range | None
    """Hardness range of the blades."""
    angle_deg: Range | None
    """Range of the edge angle per side."""
    interests: dict[str, int]
    """Submissions by the strongest interest of anybody named."""
    own_sharpening_percent: float | None
    """Share of runs in which the tester had sharpened the edge."""
    told_apart: tuple[ToldApart, ...]
    """What the runs can tell apart, judged from who did what, before any reading."""
    endpoints: tuple[EndpointResult, ...]
    """Endpoint by endpoint."""
    crossovers: tuple[Crossover, ...]
    """Pairs of steels that change places between early and late."""
    curves: tuple[SteelCurve, ...]
    """Steel by steel; empty for pass/fail."""
    curve_comparisons: tuple[CurveComparison, ...]
    """Every pair of steels that some submission compares, along the whole course of work; empty for pass/fail."""
    references: ReferencesResult | None = None
    """What reference edges and known weights show; null where the pool has none on a scale."""
    headline: str
    """The answer in one or two plain sentences."""
    quoted: Quoted | None
    """The answer that the headline quotes; null where there is nothing to compare."""


class ReadingResult(Record):
    """One checkpoint of one run."""

    work: float
    """Work in the protocol's unit."""
    written: str
    """The repeats as written, with their unit."""
    mean: float | None
    """Mean in the reading's canonical unit; null for pass/fail or where censored."""
    outcome: str
    """For pass/fail: such as "pass, pass, fail"; else "below", "above" or empty."""


class RunResult(Record):
    """One run on a submission's page."""

    id: str
    """Run id."""
    order: int
    """Place in the running order."""
    blade: str
    """Blade."""
    steel: str
    """Steel, or "not known"."""
    sharpener: str
    """Handle of the sharpener."""
    tester: str
    """Handle of the tester."""
    ended: str
    """How it ended."""
    readings: tuple[ReadingResult, ...]
    """Readings."""
    values: dict[str, str]
    """Endpoint id to its value or reason, in words."""


class OwnAnswer(Record):
    """One contrast of one submission, by itself."""

    endpoint: str
    """Endpoint id."""
    factor: Literal["steel", "blade", "sharpener", "practice", "level"]
    """What is compared."""
    first: str
    """The one in the numerator."""
    second: str
    """The one in the denominator."""
    result: RatioInterval | None
    """Its ratio; null when it has none."""
    sentence: str
    """The answer, the bound or the reason in plain English."""
    verdict: str
    """The verdict; empty where it has none."""


class SubmissionResult(Record):
    """One submission, as listed and on its page."""

    id: str
    """Id."""
    path: str
    """Path of the file."""
    sha256: str
    """Hash of the file, which never changes."""
    state: State
    """Whether it counts as it was sent in, with corrections, or no longer. All other fields give what counts, or last counted."""
    changes: tuple[ChangeResult, ...]
    """Corrections and retraction in their order."""
    protocol: str
    """Protocol id."""
    version: str
    """Protocol version."""
    origin: Literal["measured", "simulated"]
    """measured or simulated."""
    month: str
    """Month."""
    submitted_by: str
    """Handle."""
    note: str
    """The submitter's note; empty if none."""
    interest: str
    """Strongest interest anybody named in it has in a blade."""
    blinding: Literal["every run", "some runs", "no run", "not stated"] = "not stated"
    """In which of its runs the tester did not know whose edge it was; not stated: the file says so of no run."""
    evidence: GradeResult | None = None
    """The grade of its evidence; null where it was retracted."""
    sender: str = ""
    """Whom it comes from: the submitter, or whoever carried it in until its owner confirms it; empty of what no longer counts."""
    linked: bool | None = None
    """Whether its sender is linked with other people by exchanges, so that it counts in full; null of what no longer counts."""
    blades: int
    """Blades."""
    people: tuple[str, ...]
    """Handles."""
    runs: tuple[RunResult, ...]
    """Runs in their order."""
    answers: tuple[OwnAnswer, ...]
    """What this submission says by itself, contrast by contrast."""
    warnings: tuple[str, ...]
    """Warnings of the check about it, with the submitter's answers."""


class ElementLimit(Record):
    """How much of one element a steel may hold."""

    element: str
    """Chemical symbol."""
    least: float | None
    """Least mass per cent; null: no lower limit."""
    most: float | None
    """Most mass per cent; null: no upper limit."""


class NearSteel(Record):
    """A steel of another standard whose limits are near; the two are not pooled."""

    id: str
    """Register id."""
    sentence: str
    """Why they are not pooled."""


class SteelResult(Record):
    """A steel that some submission names, or a class of steels that contains a blade's composition."""

    id: str
    """Register id; a class has its label as one word, such as C1.4-Cr14-V4."""
    names: tuple[str, ...]
    """Its designations; for a class, its label."""
    simulated: bool
    """Whether it is invented."""
    note: str
    """What is known about it."""
    kind: Literal["named", "class"] = "named"
    """named: a standard names it. class: steels that no standard names, held together by a declared window of composition."""
    family: str = ""
    """Its alloy group."""
    composition: tuple[ElementLimit, ...] = ()
    """Limits by element; empty where none are known."""
    source: str = ""
    """The standard that sets the limits, or who declared them."""
    near: tuple[NearSteel, ...] = ()
    """Steels of other standards with limits near to these."""


class Provenance(Record):
    """Where every number comes from."""

    program_version: str
    """Version of the program."""
    inputs_sha256: str
    """Hash over the path and hash of every file read."""
    input_files: int
    """How many files were read."""
    repeatability_sha256: str
    """Hash of the repeatability table."""
    repository_url: str
    """Where everybody can find the files; empty where no address is set."""
    data_month: str = ""
    """The newest month that a file names, and so the date of the data; empty where none does. The day of the build plays no part."""
    commit: str = ""
    """The newest commit of the repository that changed a protocol, a submission or the program; empty where none is known: no git, a
    history that is cut off, or files that differ from what was committed."""


class NotFittedResult(Record):
    """A fit without figures because its computation failed; everything else is as it would be without it."""

    protocol: str
    """Protocol id of the pool."""
    major: int
    """MAJOR."""
    origin: Literal["measured", "simulated"]
    """measured or simulated."""
    endpoint: str
    """Endpoint id; empty where it concerns all endpoints."""
    what: str
    """What was not fitted."""
    reason: str
    """Why."""
    reason_code: str = ""
    """Code of the reason in the catalogue of texts; empty where there is none, or where several are joined."""
    reason_arguments: Arguments = Field(default_factory=dict)
    """The values filled into that text, by name."""


class Results(Record):
    """The results bundle."""

    format: Literal["results/2.5.0"]
    """Name and version of this format."""
    provenance: Provenance
    """Where the numbers come from."""
    pools: tuple[Pool, ...]
    """Results, by protocol, MAJOR and origin."""
    submissions: tuple[SubmissionResult, ...]
    """Submissions that count."""
    retracted: tuple[SubmissionResult, ...]
    """Submissions that were retracted: readable, but in no result."""
    removed: tuple[RemovedResult, ...]
    """What is left of submissions that were taken out."""
    protocols: tuple[ProtocolResult, ...]
    """Protocols as published."""
    objections: tuple[ObjectionResult, ...]
    """Objections, by protocol and number; those to the analysis first."""
    steels: tuple[SteelResult, ...]
    """Steels named in submissions."""
    plans: tuple[PlanCount, ...] = ()
    """Sealed plans that were published, and how many came back, by protocol, MAJOR and origin."""
    moves: tuple[PoolLog, ...] = ()
    """How the leading estimates moved month by month, and why, made anew from all files by the present program: by protocol, MAJOR and
    origin. Every month uses today's repeatability."""
    not_fitted: tuple[NotFittedResult, ...] = ()
    """What has no figures because the computation failed, by pool and endpoint."""
