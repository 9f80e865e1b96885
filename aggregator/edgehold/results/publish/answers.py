"""The one answer on every comparison, published beside what other methods say of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, TypedDict

from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_differences import MOST
from edgehold.pooling.answer import SINGLE, Compared, Estimated
from edgehold.pooling.answer import Answer as Found
from edgehold.pooling.curves.contrast import WorkTo
from edgehold.pooling.gather.all_answers import Answered
from edgehold.pooling.headline import RUNS, HeadlineFitted, why_none
from edgehold.pooling.posterior_verdict import UNDECIDED
from edgehold.pooling.what_matters import HowMuch, Withheld
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.analyses import CrossedResult, NetworkResult
from edgehold.results.model.answers import Answer, HangsOn, HowMuchResult, MethodLine, ModelResult, PriorResult, StandsOn
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.ratio import RatioInterval, ratio_interval
from edgehold.results.model.results import Comparison
from edgehold.results.words.answers import (
    RESIDUAL_NAME,
    agreement_sentence,
    answer_sentence,
    matters_sentence,
    matters_words,
    no_ratio_sentence,
)
from edgehold.results.words.crossed import fixed_words
from edgehold.results.words.sentences import when
from edgehold.words import Reason, together

from .evidence import evidence, hanging, judged, ratio_of
from .fields import ANSWERED, one_of
from .reasons import Reasoned, again, reasoned, weakness

Factor = Literal["steel", "practice", "level"]
About = Literal["steels", "blades", "classes", "sharpeners", "levels", "tables"]
ABOUT: tuple[About, ...] = ("steels", "blades", "classes", "sharpeners", "levels", "tables")
EVIDENCE: tuple[Literal["direct", "linked", "both", "reference", ""], ...] = ("direct", "linked", "both", "reference", "")
Method = Literal[
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


def answers(
    found: Answered | None,
    rule: EndpointRule,
    unit: str,
    pairwise: Mapping[Compared, Comparison],
    crossed: CrossedResult | None,
    network: NetworkResult | None,
    levels: Sequence[str] = (),
    curves: Mapping[Compared, WorkTo | str] | None = None,
) -> tuple[Answer, ...]:
    """Every comparison: pairs of steels, practised against novice sharpeners, pairs of levels, by factor and names.

    Parameters
    ----------
    found : what pooling found; None where no run has a value.
    rule, unit : the endpoint and the unit of work, for the sentences.
    pairwise : comparisons by studies, by factor and names.
    crossed, network : the other methods' results.
    levels : words of the treatment's levels in the order in which the protocol declares them, in which their pairs then stand.
    curves : of a life, the work that pairs of mean curves do until they are as dull, or why that is not known, by factor and names;
        None where the endpoint is not read off curves otherwise than by the headline.
    """
    if found is None:
        return ()
    opening = when(rule, unit)
    made = {
        one.compared: _answer(found, one, opening, rule, _methods(one, pairwise.get(one.compared), crossed, network, curves))
        for one in found.headline.answers
    }
    place = {word: n for n, word in enumerate(levels)}
    return tuple(
        answer for key, answer in sorted(made.items(), key=lambda one: (one[0][0], *(place.get(name, 0) for name in one[0][1:]), one[0]))
    )


class _Asked(TypedDict):
    factor: Factor
    first: str
    second: str
    about: About
    new_hands_runs: int
    units_first: int
    units_second: int
    direct_submissions: int
    testers: int


def _answer(found: Answered, one: Found, opening: str, rule: EndpointRule, methods: list[MethodLine]) -> Answer:
    direct, testers = found.direct[one.compared]
    asked = _Asked(
        factor=one_of(one.factor, ANSWERED),
        first=one.first,
        second=one.second,
        about=one_of(one.about, ABOUT),
        new_hands_runs=RUNS,
        units_first=one.units_first,
        units_second=one.units_second,
        direct_submissions=direct,
        testers=testers,
    )
    if isinstance(one, Estimated):
        return _estimated(asked, found, one, opening, rule, methods)
    return Answer(
        **asked,
        state="not estimable" if isinstance(found.headline, HeadlineFitted) else "not fitted",
        sentence=no_ratio_sentence(opening, one),
        **judged(None),
        **reasoned(one.reason),
        **weakness(""),
        result=None,
        probability_above_one=None,
        general=None,
        new_hands=None,
        new_hands_measured=None,
        evidence="",
        direct_percent=None,
        methods=(),
        methods_sentence="",
    )


def _estimated(asked: _Asked, found: Answered, one: Estimated, opening: str, rule: EndpointRule, methods: list[MethodLine]) -> Answer:
    result = ratio_of(one.posterior)
    general = ratio_of(one.general) if one.about in SINGLE else None
    stands_on = evidence(found.weighed.get(one.compared), one)
    hangs_on = hanging(found.headline.hanging, one, rule.worthwhile_ratio, stands_on)
    methods = [*_bounds(stands_on, hangs_on), *methods]
    return Answer(
        **asked,
        state="estimated",
        sentence=together(answer_sentence(opening, one, rule.kind, result, general), _not_by_itself(one)),
        **judged(one.verdict),
        **reasoned(""),
        **weakness(one.weak),
        result=result,
        probability_above_one=published(one.posterior.above(0.0)),
        general=general,
        new_hands=ratio_of(one.new_hands),
        new_hands_measured=ratio_of(one.new_hands_measured),
        evidence=one_of(one.evidence, EVIDENCE),
        direct_percent=published(100 * one.direct_share),
        methods=(_line("hierarchical model", result), *_scales(one), *methods),
        methods_sentence=agreement_sentence(result, methods),
        stands_on=stands_on,
        hangs_on=hangs_on,
    )


def _not_by_itself(one: Estimated) -> str:
    """That linked evidence alone does not decide what all evidence would."""
    undecided = one.verdict is not None and one.verdict.kind == UNDECIDED
    return Reason("linkage.undecided_alone") if undecided and not one.interval.low <= 0 <= one.interval.high else ""


def _bounds(stands_on: StandsOn | None, hangs_on: HangsOn | None) -> list[MethodLine]:
    """The same comparison from other evidence, and with other weight on those who lie far off; what there is of it."""
    named: dict[Method, RatioInterval | None] = {
        "linked evidence alone": stands_on.alone if stands_on else None,
        "all evidence in full": stands_on.everything if stands_on else None,
        "senders with heavy tails": hangs_on.heavy_tails if hangs_on else None,
    }
    return [_line(method, found) for method, found in named.items() if found is not None]


# ---- other methods -----------------------------------------------------------------------------------------------------------


def _line(method: Method, result: RatioInterval | None, reason: str | Reasoned = "") -> MethodLine:
    why = "" if result is not None else reason
    return MethodLine(method=method, result=result, **(reasoned(why) if isinstance(why, str) else why))


def _scales(one: Estimated) -> list[MethodLine]:
    """The headline with other scales of all priors."""
    named: dict[Method, Interval | None] = {
        "hierarchical model, prior scales halved": one.halved,
        "hierarchical model, prior scales doubled": one.doubled,
    }
    return [_line(method, _about(limits), Reason("published.not_checked")) for method, limits in named.items()]


def _about(limits: Interval | None) -> RatioInterval | None:
    """An interval with the ratio in its middle on the ln scale."""
    return None if limits is None else ratio_interval((limits.low + limits.high) / 2, limits)


def _methods(
    one: Found,
    pair: Comparison | None,
    crossed: CrossedResult | None,
    network: NetworkResult | None,
    curves: Mapping[Compared, WorkTo | str] | None,
) -> list[MethodLine]:
    lines = [_by_studies(pair), *_off_curves(one, curves)]
    if one.factor == "steel":
        line = next((x for x in network.lines if (x.first, x.second) == (one.first, one.second)), None) if network else None
        lines.append(_line("network of steels", line.result if line else None, again(line) if line else Reason("published.no_network")))
        contrast = next((x for x in crossed.contrasts if (x.first, x.second) == (one.first, one.second)), None) if crossed else None
        lacking = crossed if crossed and crossed.state == "not fitted" else contrast
        why = again(lacking) if lacking and lacking.reason else Reason("published.not_fitted")
        lines.append(_line("crossed model, restricted likelihood", contrast.result if contrast else None, why))
        lines.append(_line("within submissions alone", contrast.within if contrast else None, contrast.within_note if contrast else why))
    return lines


def _off_curves(one: Found, curves: Mapping[Compared, WorkTo | str] | None) -> list[MethodLine]:
    """A life as the mean curves of the pool's joint model show it."""
    if curves is None or one.factor == "practice":
        return []
    told = curves.get(one.compared, Reason("published.none_holds_both"))
    if isinstance(told, str):
        return [_line("curves of all readings", None, told)]
    return [_line("curves of all readings", ratio_interval(told.ln_ratio, told.interval))]


def _by_studies(pair: Comparison | None) -> MethodLine:
    if pair is None:
        return _line("random effects over studies", None, Reason("published.none_holds_both"))
    reasons = {
        "listed": Reason("published.listed", studies=pair.studies),
        "single": Reason("published.single"),
        "not estimable": Reason("published.none_tells"),
        "not fitted": Reason("published.numbers_failed"),
    }
    return _line("random effects over studies", pair.result, reasons.get(pair.state, ""))


# ---- the model ---------------------------------------------------------------------------------------------------------------


def model_result(found: Answered | None, rule: EndpointRule, unit: str) -> ModelResult | None:
    """The model behind the answers; None where no run has a value."""
    if found is None:
        return None
    headline = found.headline
    record, fitted = headline.fit.convergence, isinstance(headline, HeadlineFitted)
    matters = tuple(how_much_result(row) for row in found.matters.rows)
    return ModelResult(
        state="fitted" if fitted else "not fitted",
        **reasoned(why_none(headline)),
        runs=headline.runs,
        one_sided=headline.one_sided,
        submissions=found.submissions,
        readings=found.readings,
        left_out=found.left_out + sum(headline.left_out.values()) + sum(headline.levels_left_out.values()),
        fixed=fixed_words(headline.fixed),
        not_held=tuple(f"{name}: {reason}" for name, reason in headline.not_held.items()),
        priors=tuple(
            PriorResult(what=_named(name), df=needed(published(prior.df)), scale=needed(published(prior.scale)), source=prior.source)
            for name, prior in headline.fit.priors.items()
        ),
        points=record.points,
        effective_points=published(record.effective) if fitted else None,
        pareto_k=published(record.pareto_k) if fitted else None,
        error_percent=published(100 * record.largest_error) if fitted else None,
        own_sharpening=ratio_of(headline.own) if isinstance(headline, HeadlineFitted) and headline.own else None,
        matters=matters,
        matters_sentence=matters_sentence(matters, found.matters, when(rule, unit), why_none(headline)),
    )


def _named(name: str) -> str:
    return RESIDUAL_NAME if name == "residual" else name


def how_much_result(row: HowMuch | Withheld) -> HowMuchResult:
    """How much two of one kind differ, with its sentence."""
    given = row if isinstance(row, HowMuch) else None
    result = HowMuchResult(
        what=_named(row.name),
        state="given" if given else "withheld",
        **reasoned(row.reason if isinstance(row, Withheld) else ""),
        typical_ratio=ratio(given.typical) if given else None,
        typical_low=ratio(given.interval.low) if given else None,
        typical_high=ratio(given.interval.high) if given else None,
        most_ratio=ratio(given.most) if given else None,
        ln_sd=published(given.most / MOST) if given and given.most is not None else None,
        from_prior_percent=published(min(100.0, 100 * given.from_prior)) if given and given.from_prior is not None else None,
        levels=row.levels,
        sentence="",
    )
    return result.model_copy(update={"sentence": matters_words(result)})
