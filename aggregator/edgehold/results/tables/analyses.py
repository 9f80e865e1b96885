"""The tables of the analyses: spreads and contrasts of the crossed model, network, curves against each other, probes."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.results.model.analyses import BandPoint
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import EndpointResult, Pool, Results

from .cells import POOL_COLUMNS, Cell, Table

ENDPOINT_COLUMNS = POOL_COLUMNS | {"endpoint": "string: endpoint id"}
STEEL_PAIR = {"first": "string: numerator of the ratio", "second": "string: denominator of the ratio"}
RATIO_COLUMNS = {
    "ratio": "number: ratio, above 1 favours the first",
    "low": "number: lower end; empty where unbounded",
    "high": "number: upper end; empty where unbounded",
    "level": "number: coverage of the interval",
    "method": "string: how the interval was made",
}


def _endpoints(results: Results) -> Iterator[tuple[Pool, EndpointResult, tuple[Cell, ...]]]:
    """Every endpoint with its pool and the cells that name it."""
    for pool in results.pools:
        for endpoint in pool.endpoints:
            yield pool, endpoint, (pool.origin, pool.protocol, pool.major, endpoint.id)


def _ratio(result: RatioInterval | None) -> tuple[Cell, ...]:
    return (result.ratio, result.low, result.high, result.level, result.method) if result is not None else (None,) * 5


def _ends(result: RatioInterval | None) -> tuple[Cell, ...]:
    return (result.low, result.high) if result is not None else (None, None)


def answers(results: Results) -> Table:
    """The one answer on every comparison."""
    columns = (
        ENDPOINT_COLUMNS
        | {"factor": "string: steel or practice"}
        | STEEL_PAIR
        | {
            "state": "string: estimated, not estimable or not fitted",
            "about": "string: steels, blades, classes or sharpeners",
        }
        | RATIO_COLUMNS
        | {
            "verdict": "string: against the worthwhile ratio; empty for single blades or sharpeners",
            "probability_better": "number: posterior probability beyond the worthwhile ratio",
            "probability_within": "number: between one over it and it",
            "probability_worse": "number: short of one over it",
            "probability_above_one": "number: posterior probability of a ratio above 1",
            "ruled_out_beyond": "number: a difference larger than this ratio either way is ruled out",
            "general_low": "number: where it speaks of single blades or sharpeners, lower end for the steels or classes",
            "general_high": "number: its upper end",
            "new_hands_low": "number: lower end for somebody new with new blades",
            "new_hands_high": "number: its upper end",
            "new_hands_measured_low": "number: lower end for what that somebody would read",
            "new_hands_measured_high": "number: its upper end",
            "evidence": "string: direct, linked or both",
            "direct_percent": "number: share of the information from submissions that hold both",
            "units_first": "integer: blades (sharpeners) of the first",
            "units_second": "integer: blades (sharpeners) of the second",
            "direct_submissions": "integer: submissions that hold both",
            "testers": "integer: people who tested either",
            "weak": "string: what weakens it; empty where nothing does",
            "reason": "string: why there is no ratio",
            "sentence": "string: the answer in words",
        }
    )
    rows = [
        (
            *named, c.factor, c.first, c.second, c.state, c.about, *_ratio(c.result), c.verdict, c.probability_better,
            c.probability_within, c.probability_worse, c.probability_above_one, c.ruled_out_beyond, *_ends(c.general), *_ends(c.new_hands),
            *_ends(c.new_hands_measured), c.evidence, c.direct_percent, c.units_first, c.units_second, c.direct_submissions, c.testers,
            c.weak, c.reason, c.sentence,
        )
        for _, endpoint, named in _endpoints(results)
        for c in (*endpoint.steels, *([endpoint.practice] if endpoint.practice else []))
    ]  # fmt: skip
    return columns, rows


def answer_methods(results: Results) -> Table:
    """Every comparison by every method, the headline first."""
    columns = (
        ENDPOINT_COLUMNS
        | {"factor": "string: steel or practice"}
        | STEEL_PAIR
        | {"by": "string: the method"}
        | RATIO_COLUMNS
        | {"reason": "string: why there is no ratio"}
    )
    rows = [
        (*named, c.factor, c.first, c.second, line.method, *_ratio(line.result), line.reason)
        for _, endpoint, named in _endpoints(results)
        for c in (*endpoint.steels, *([endpoint.practice] if endpoint.practice else []))
        for line in c.methods
    ]
    return columns, rows


def how_much(results: Results) -> Table:
    """How much steels, practice, people, blades and runs differ, from the posterior behind the answers."""
    columns = ENDPOINT_COLUMNS | {
        "what": "string: steel, practice, a random term, or run-to-run",
        "state": "string: given, or withheld where it would be the prior alone",
        "typical_ratio": "number: two of them typically differ by this ratio",
        "typical_low": "number: lower end of its 95 % interval",
        "typical_high": "number: upper end",
        "most_ratio": "number: 95 % of pairs differ by less than this",
        "from_prior_percent": "number: posterior over prior spread of the logarithm of the standard deviation",
        "levels": "integer: how many of them were met",
        "reason": "string: why withheld",
    }
    rows = [
        (*named, m.what, m.state, m.typical_ratio, m.typical_low, m.typical_high, m.most_ratio, m.from_prior_percent, m.levels, m.reason)
        for _, endpoint, named in _endpoints(results)
        if endpoint.model is not None
        for m in endpoint.model.matters
    ]
    return columns, rows


def spreads(results: Results) -> Table:
    """How much testers, sharpeners, blades and the rest vary."""
    columns = ENDPOINT_COLUMNS | {
        "what": "string: the random term",
        "state": "string: given, upper limit only, or no number",
        "holds": "string: what the figure stands for where other terms could not be told from it",
        "ln_sd": "number: standard deviation, ln scale",
        "ln_sd_low": "number: lower profile limit",
        "ln_sd_high": "number: upper profile limit",
        "typical_ratio": "number: two of them typically differ by this ratio, exp(0.954 SD)",
        "typical_low": "number: its lower limit",
        "typical_high": "number: its upper limit",
        "most_ratio": "number: 95 % of pairs differ by less than this, exp(2.77 SD)",
        "share_percent": "number: share of the random variance of one run",
        "levels": "integer: how many of them the runs hold",
        "reason": "string: why there is less than a number with its interval",
    }
    rows = [
        (
            *named, s.what, s.state, s.holds, s.ln_sd, s.ln_sd_low, s.ln_sd_high, s.typical_ratio, s.typical_low, s.typical_high,
            s.most_ratio, s.share_percent, s.levels, s.reason,
        )
        for _, endpoint, named in _endpoints(results)
        if endpoint.crossed is not None
        for s in endpoint.crossed.spreads
    ]  # fmt: skip
    return columns, rows


def crossed_contrasts(results: Results) -> Table:
    """Steels against each other in the model of all runs."""
    columns = (
        ENDPOINT_COLUMNS
        | STEEL_PAIR
        | {"told": "string: whether the runs can tell it: yes, weak or no"}
        | RATIO_COLUMNS
        | {
            "ln_standard_error": "number: standard error of the ln ratio",
            "df": "number: degrees of freedom",
            "simultaneous_low": "number: lower end of the interval that holds for all pairs at once",
            "simultaneous_high": "number: its upper end",
            "new_hands_low": "number: lower end for somebody new with new blades",
            "new_hands_high": "number: its upper end",
            "new_hands_measured_low": "number: lower end for what that somebody would read",
            "new_hands_measured_high": "number: its upper end",
            "within_ratio": "number: ratio from comparisons within submissions alone",
            "within_low": "number: its lower end",
            "within_high": "number: its upper end",
            "headline": "string: which to believe: all runs, or within submissions",
            "reason": "string: why there is no ratio, or what weakens it",
        }
    )
    rows = [
        (
            *named, c.first, c.second, c.told, *_ratio(c.result), c.standard_error, c.df, *_ends(c.simultaneous),
            *_ends(c.new_hands), *_ends(c.new_hands_measured), c.within.ratio if c.within else None, *_ends(c.within),
            c.headline, c.reason,
        )
        for _, endpoint, named in _endpoints(results)
        if endpoint.crossed is not None
        for c in endpoint.crossed.contrasts
    ]  # fmt: skip
    return columns, rows


def network(results: Results) -> Table:
    """Every pair of steels, met or linked through others."""
    columns = (
        ENDPOINT_COLUMNS
        | STEEL_PAIR
        | {
            "evidence": "string: direct, indirect or not linked",
            "path": "string: for indirect evidence the shortest chain of steels, parted by >",
            "direct_studies": "integer: studies that hold both",
        }
        | RATIO_COLUMNS
        | {"split_p": "number: p value of direct against indirect evidence", "reason": "string: why there is no ratio"}
    )
    rows = [
        (*named, n.first, n.second, n.evidence, " > ".join(n.path), n.direct_studies, *_ratio(n.result), n.split_p, n.reason)
        for _, endpoint, named in _endpoints(results)
        if endpoint.network is not None
        for n in endpoint.network.lines
    ]
    return columns, rows


def curve_comparisons(results: Results) -> Table:
    """Two steels along the whole course of work, place by place."""
    columns = (
        POOL_COLUMNS
        | STEEL_PAIR
        | {
            "view": "string: same work, same sharpness, or same sharpness from a common start",
            "at": "number: work in the protocol's unit, or sharpness relative to the pool's mean at 0",
            "ratio": "number: ratio of sharpness at the same work, or of work to the same sharpness",
            "low": "number: lower pointwise limit; empty where unbounded",
            "high": "number: upper pointwise limit; empty where unbounded",
            "band_low": "number: lower limit that holds at all places at once; empty where unbounded",
            "band_high": "number: its upper limit; empty where unbounded",
        }
    )
    rows = [
        (pool.origin, pool.protocol, pool.major, c.first, c.second, view, *_point(p))
        for pool in results.pools
        for c in pool.curve_comparisons
        for view, points in (
            ("same work", c.same_work),
            ("same sharpness", c.same_sharpness),
            ("same sharpness from a common start", c.same_sharpness_from_start),
        )
        for p in points
    ]
    return columns, rows


def _point(p: BandPoint) -> tuple[Cell, ...]:
    return (p.at, p.ratio, p.low, p.high, p.band_low, p.band_high)


def probes(results: Results) -> Table:
    """Questions to all runs about what may bend the results."""
    columns = (
        ENDPOINT_COLUMNS
        | {
            "probe": "string: its id",
            "question": "string: the question",
            "estimand": "string: what the figure is a ratio of; never the headline's",
            "state": "string: answered, too little, or not told apart",
        }
        | (RATIO_COLUMNS | {"ratio": "number: ratio named under estimand"})
        | {
            "p": "number: p value against a ratio of 1",
            "runs": "integer: runs that inform it",
            "submissions": "integer: submissions that inform it",
            "reason": "string: why there is no figure",
        }
    )
    rows = [
        (*named, p.id, p.question, p.estimand, p.state, *_ratio(p.result), p.p, p.runs, p.submissions, p.reason)
        for _, endpoint, named in _endpoints(results)
        for p in endpoint.probes
    ]
    return columns, rows
