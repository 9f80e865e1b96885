"""What a plan can be expected to say: evenings drawn and put through the very estimator of the report.

Each drawn evening has its own run-to-run spread: σ² = s₀²·D/χ²_D, where s₀² and D are what the repeatability table (or the
protocol's assumption) gives and how many degrees of freedom it is worth. So a spread that rests on four degrees of freedom promises
less than the same figure known well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from edgehold.endpoints.draws import key_of, normal_draws
from edgehold.endpoints.rows import EXACT, INTERVAL, LEFT, RIGHT, EndpointRow
from edgehold.engine.progress import begun
from edgehold.errors import InputError
from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, RepeatabilityTable, estimate_submissions
from edgehold.estimates.codes import FROM_CENSORED_RUNS
from edgehold.estimates.repeatability import Repeatability
from edgehold.estimates.verdict import BETTER, NONE, NOTHING_WORTH_HAVING, ONE_SIDED, SIZE_UNDECIDED, UNDECIDED, WORSE
from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import chi2_ppf
from edgehold.records.canonical import LoadedProtocol, PoolKey
from edgehold.records.model.plan import Plan, PlannedRun
from edgehold.records.model.protocol import EndpointRule, Protocol, major
from edgehold.records.pairs import pair_label
from edgehold.records.sharpeners import in_condition, planned_by
from edgehold.words import Reason, code_of

from .occasion import compares_edges

VERDICTS = (BETTER, WORSE, NOTHING_WORTH_HAVING, SIZE_UNDECIDED, UNDECIDED, ONE_SIDED, NONE)
EXACT_EVENINGS, CENSORED_EVENINGS = 1000, 200  # the likelihood of censored lives takes twenty times as long
SIGHTS = (1.5, 2.0)  # true ratios at which it is asked how often a difference is seen at all
BATCH = 100  # evenings between two reports of progress

Progress = Callable[[str], None]
POWERS = (1, 2)  # of the worthwhile ratio, at which evenings are drawn besides that of no difference


@dataclass(frozen=True)
class Chance:
    """How often each verdict came out at one true ratio.

    Attributes
    ----------
    true_ratio : of the first against the second.
    share : by verdict; they add up to 1.
    standard_error : Monte-Carlo error of each share, √(p(1 − p)/n), with p at least 1/(n + 2) off 0 and 1.
    evenings : n.
    """

    true_ratio: float
    share: dict[str, float]
    standard_error: dict[str, float]
    evenings: int


@dataclass(frozen=True)
class Expected:
    """What the plan can be expected to say about its own question.

    Attributes
    ----------
    factor, first, second : the comparison; of several, the one with the widest interval.
    half_width : root mean square of the half width of the 95 % interval, ln scale; None where no evening gave one. With the spread
        known this is t·√(c·σ²).
    half_width_error : its Monte-Carlo error.
    narrow, wide : half widths that one evening in ten stays below, and goes beyond.
    unbounded : share of evenings without an interval closed on both sides.
    chances : at the true ratios 1, m and m², m the worthwhile ratio.
    seen : by true ratio, ×1.5 and ×2: the chance that the interval lies wholly on the right side of no difference.
    ln_sd, spread_df, source, submissions : the spread s₀ between runs, what it is worth, where it comes from.
    evenings : drawn at each ratio.
    unscaled : variance of the estimate divided by the variance between runs; the median over evenings where it varies.
    reason : why the plan cannot tell at all; ``""`` where it can.
    """

    factor: str
    first: str
    second: str
    half_width: float | None
    half_width_error: float | None
    narrow: float | None
    wide: float | None
    unbounded: float
    chances: tuple[Chance, ...]
    seen: dict[float, float]
    ln_sd: float
    spread_df: float
    source: str
    submissions: int
    evenings: int
    unscaled: float | None
    reason: str


@dataclass(frozen=True, eq=False)
class Setting:
    """All that does not change between evenings.

    Attributes
    ----------
    plan, protocol, rule : what is done and computed; the rule with the worthwhile ratio of the plan.
    entry : what the estimator moderates with.
    truth : (s₀, D) of the spread that evenings are drawn with; D may be infinite.
    steels : by blade, where told.
    """

    plan: Plan
    protocol: Protocol
    rule: EndpointRule
    entry: Repeatability
    truth: tuple[float, float]
    steels: dict[str, str | None]

    @property
    def pool(self) -> PoolKey:
        """Where the result would be pooled."""
        return PoolKey(self.protocol.id, major(self.protocol.version), self.plan.origin)


def setting(
    plan: Plan,
    protocol: Protocol,
    entry: Repeatability,
    steels: dict[str, str | None] | None = None,
    truth: tuple[float, float] | None = None,
) -> Setting:
    """Put together what evenings are drawn from.

    Parameters
    ----------
    plan, protocol : the plan and the version that it follows.
    entry : repeatability of the plan's endpoint.
    steels : by blade.
    truth : (ln SD between runs, degrees of freedom it is worth); None: as ``entry`` has it.

    Raises
    ------
    InputError
        The protocol has no such endpoint.
    """
    rule = next((r for r in protocol.endpoints if (r.primary if plan.endpoint is None else r.id == plan.endpoint)), None)
    if rule is None:
        raise InputError(f"got a plan for the endpoint {plan.endpoint!r}, wanted one of {', '.join(r.id for r in protocol.endpoints)}")
    if plan.worthwhile_ratio is not None:
        rule = rule.model_copy(update={"worthwhile_ratio": plan.worthwhile_ratio})
    worth = spread_of(entry) if truth is None else truth
    alone = protocol.model_copy(update={"endpoints": (rule,)})
    return Setting(plan, alone, rule, entry, worth, steels or {})


def spread_of(entry: Repeatability) -> tuple[float, float]:
    """ln SD between runs, and the degrees of freedom that it is worth."""
    return math.sqrt(entry.prior_s2), entry.finite_prior_df


def expected(made: Setting, evenings: int | None = None, say: Progress = lambda _: None) -> Expected:
    """Draw evenings at three true ratios, and count what the report would say.

    Parameters
    ----------
    made : of `setting`.
    evenings : how many at each ratio; None: 1,000, or 200 where lives are censored.
    say : told how far it has come.
    """
    count = evenings or (CENSORED_EVENINGS if made.rule.kind == "life" else EXACT_EVENINGS)
    with begun("progress.evenings", [1.0] * (count * (len(POWERS) + 1 + len(SIGHTS)))) as step:

        def told(text: str, drawn: int) -> None:
            say(text)
            for _ in range(drawn):
                step(1.0)

        return _expected(made, count, told)


def _expected(made: Setting, count: int, say: Callable[[str, int], object]) -> Expected:
    """``say`` is told how far it has come, and how many evenings were drawn since it was last told."""
    ratio = made.rule.worthwhile_ratio
    answers = [_contrasts(made, count, None, 0.0, say)]
    asked = _widest(answers[0], _factor(made))
    if asked is None:
        return _nothing(made, count, answers[0])
    first, second = asked
    for power in POWERS:
        answers.append(_contrasts(made, count, first, power * math.log(ratio), say))
    picked = [[found[asked] for found in batch] for batch in answers]
    sights = {ratio: _contrasts(made, count, first, math.log(ratio), say) for ratio in SIGHTS}
    halves = np.array([_half(c) for c in picked[0]])
    closed = halves[np.isfinite(halves)]
    s0, worth = made.truth
    plain = Expected(
        factor=_factor(made),
        first=first,
        second=second,
        half_width=None,
        half_width_error=None,
        narrow=None,
        wide=None,
        unbounded=float(1 - len(closed) / count),
        chances=tuple(_chance(ratio**power, batch) for power, batch in enumerate(picked)),
        seen={true: float(np.mean([_sees(found[asked]) for found in batch])) for true, batch in sights.items()},
        ln_sd=s0,
        spread_df=worth,
        source=made.entry.source,
        submissions=made.entry.submissions,
        evenings=count,
        unscaled=_unscaled(picked[0]),
        reason="",
    )
    if not len(closed):
        return plain
    mean_square = float((closed**2).mean())
    error = float((closed**2).std(ddof=1) / (2 * math.sqrt(mean_square * len(closed)))) if len(closed) > 1 else math.inf
    narrow, wide = np.quantile(closed, (0.1, 0.9))
    return replace(plain, half_width=math.sqrt(mean_square), half_width_error=error, narrow=float(narrow), wide=float(wide))


def _factor(made: Setting) -> str:
    """What is asked for: sharpener, level, steel (with two blades of each or more), or these blades."""
    asked = made.protocol.question.factor
    if compares_edges(made.protocol):
        return asked
    blades = {run.blade for run in made.plan.runs}
    steels = [made.steels.get(blade) for blade in blades]
    return "steel" if asked == "steel" and None not in steels and all(steels.count(s) > 1 for s in steels) else "blade"


Pair = tuple[str, str]


def _widest(batch: list[dict[Pair, Contrast]], factor: str) -> Pair | None:
    """Of all pairs that are estimable or bounded, the one known least precisely."""
    found: dict[Pair, float] = {}
    for pair, contrast in batch[0].items():
        told = not isinstance(contrast, ContrastNotEstimable) or code_of(contrast.reason) in FROM_CENSORED_RUNS
        if contrast.factor == factor and told:
            found[pair] = float(np.mean([min(_half(each[pair]), 1e6) ** 2 for each in batch]))
    return max(found, key=lambda pair: (round(found[pair], 9), pair), default=None)


def _half(contrast: Contrast) -> float:
    return contrast.interval.half_width if isinstance(contrast, ContrastEstimated) else math.inf


def _sees(contrast: Contrast) -> bool:
    """Whether a contrast says that the first is ahead, by its interval or, of censored lives, by its bound."""
    if isinstance(contrast, ContrastEstimated):
        return contrast.interval.low > 0
    return isinstance(contrast, ContrastBounded) and contrast.bound.kind == "at least" and contrast.bound.ratio > 0


def _unscaled(contrasts: Sequence[Contrast]) -> float | None:
    known = [c.unscaled_variance for c in contrasts if isinstance(c, ContrastEstimated)]
    return float(np.median(known)) if known else None


def _chance(true_ratio: float, contrasts: Sequence[Contrast]) -> Chance:
    n = len(contrasts)
    kinds = [NONE if isinstance(c, ContrastNotEstimable) else c.verdict.kind for c in contrasts]
    share = {kind: kinds.count(kind) / n for kind in VERDICTS}
    off = 1 / (n + 2)
    error = {kind: math.sqrt(min(max(p, off), 1 - off) * (1 - min(max(p, off), 1 - off)) / n) for kind, p in share.items()}
    return Chance(true_ratio, share, error, n)


def _nothing(made: Setting, count: int, batch: list[dict[Pair, Contrast]]) -> Expected:
    reasons = [c.reason for c in batch[0].values() if c.factor == _factor(made) and isinstance(c, ContrastNotEstimable)]
    s0, worth = made.truth
    why = reasons[0] if reasons else Reason("plan.nothing_to_compare")
    return Expected(
        factor=_factor(made),
        first="",
        second="",
        half_width=None,
        half_width_error=None,
        narrow=None,
        wide=None,
        unbounded=1.0,
        chances=(),
        seen={},
        ln_sd=s0,
        spread_df=worth,
        source=made.entry.source,
        submissions=made.entry.submissions,
        evenings=count,
        unscaled=None,
        reason=why,
    )


def _contrasts(
    made: Setting, count: int, first: str | None, effect: float, say: Callable[[str, int], object]
) -> list[dict[Pair, Contrast]]:
    """The contrasts of each drawn evening, by pair of the asked factor."""
    table = RepeatabilityTable(
        entries={(made.pool, made.rule.id): made.entry},
        contributions={(made.pool, made.rule.id): ()},
        assumed={(made.pool, made.rule.id): (math.sqrt(made.entry.prior_s2), made.entry.finite_prior_df)},
    )
    protocols = {(made.protocol.id, made.protocol.version): LoadedProtocol(made.protocol, "", "", "")}
    factor, drawn, found = _factor(made), _drawn(made, count, first, effect), []
    for start in range(0, count, BATCH):
        rows = [row for number in range(start, min(start + BATCH, count)) for row in _rows(made, number, drawn[number])]
        for estimate in estimate_submissions(rows, table, protocols):
            found.append({(c.first, c.second): c for c in estimate.contrasts if c.factor == factor})
        say(f"{len(found)} of {count} evenings at a true ratio of {math.exp(effect):.3g}", min(BATCH, count - start))
    return found


def _drawn(made: Setting, count: int, first: str | None, effect: float) -> Array:
    """(count, n) endpoint values, ln scale; the first arm's lie higher by the effect. Every ratio meets the same evenings."""
    s0, worth = made.truth
    names = ("chances", str(made.plan.seed))
    z = normal_draws(key_of(*names, "runs"), count, len(made.plan.runs))
    sd = np.full(count, s0)
    if math.isfinite(worth):
        shares = ndtr(normal_draws(key_of(*names, "spread"), count, 1)[:, 0])
        sd = s0 * np.sqrt(worth / chi2_ppf(shares, worth))
    label: dict[str, Callable[[PlannedRun], str | None]] = {
        "sharpener": planned_by,
        "level": lambda run: run.level,
        "blade": lambda run: run.blade,
        "steel": lambda run: made.steels.get(run.blade),
    }
    lifted: Array = np.array([label[_factor(made)](run) == first for run in made.plan.runs], dtype=float)
    return _middle(made) + effect * (lifted - 0.5) + sd[:, None] * z


def _middle(made: Setting) -> float:
    """Where values lie does not matter but for lives, which checkpoints censor: half way, on the ln scale, between early and late."""
    return math.log(made.protocol.early_checkpoint * made.protocol.late_checkpoint) / 2 if made.rule.kind == "life" else 0.0


def _rows(made: Setting, number: int, values: Array) -> list[EndpointRow]:
    return [_row(made, number, run, float(value)) for run, value in zip(made.plan.runs, values, strict=True)]


def _row(made: Setting, number: int, run: PlannedRun, value: float) -> EndpointRow:
    low, high, status = seen(made, value)
    return EndpointRow(
        pool=made.pool,
        version=made.protocol.version,
        submission=f"evening-{number}",
        month=made.plan.month,
        endpoint=made.rule.id,
        role=made.rule.role,
        run=f"run-{run.order}",
        order=run.order,
        evening=run.evening,
        blade=run.blade,
        steel=made.steels.get(run.blade),
        batch=None,
        sharpener=in_condition(run.sharpener, run.condition),
        tester=run.tester,
        lot=None if run.lot is None else f"lot-{run.lot}",
        own_sharpening=run.sharpener == run.tester,
        sharpening=None,
        split_tester=False,
        low=low,
        high=high,
        status=status,
        edge_part=run.edge_part,
        level=run.level,
        pair=None if run.partner is None else pair_label(f"run-{run.order}", f"run-{run.partner}"),
        reason="",
        reading_se=math.nan,
        raw=math.nan,
        failed_preparation=False,
        damaged=False,
        flags=(),
    )


def seen(made: Setting, value: float) -> tuple[float, float, str]:
    """What checkpoints leave of an endpoint's value: lives end between two of them, or beyond them.

    A life that is read as a value is interpolated between checkpoints; one that is read as pass or fail lies anywhere between two.
    """
    if made.rule.kind != "life":
        return value, value, EXACT
    last = made.plan.planned_last_checkpoint or made.protocol.work.checkpoints[-1]
    marks = np.log([w for w in made.protocol.work.checkpoints if 0 < w <= last])
    if value <= marks[0]:
        return -math.inf, float(marks[0]), LEFT
    if value > marks[-1]:
        return float(marks[-1]), math.inf, RIGHT
    if made.protocol.reading.kind != "pass/fail":
        return value, value, EXACT
    at = int(np.searchsorted(marks, value))
    return float(marks[at - 1]), float(marks[at]), INTERVAL
