"""Forest and cumulative plots: what a comparison by studies and the answers of one endpoint look like, row by row."""

from __future__ import annotations

from markupsafe import Markup

from edgehold.results.model.answers import Answer
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Comparison, EndpointResult, Pool, StudyLine
from edgehold.results.model.studies import CumulativeMonth
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

from . import addresses
from .formatting import better, count, interval, thing
from .plots import Plot, Row, drawn


def file_name(pool: Pool, *parts: str) -> str:
    """What downloads of a plot are called, without their ending."""
    return "-".join(["plot", *(addresses.segment(part) for part in (pool.protocol, f"v{pool.major}", *parts))])


def forest(pool: Pool, endpoint: EndpointResult, comparison: Comparison, name: str) -> Markup:
    """Submission by submission, with the pooled ratio and its prediction below; empty where no submission has a ratio or a bound.

    ``name`` is unlike that of every other plot of the page.
    """
    lines = [(n, line) for n, line in enumerate(comparison.lines, 1) if line.result is not None or (line.bound and line.bound_ratio)]
    first, second = thing(comparison, comparison.first), thing(comparison, comparison.second)
    shows = Reason("plots.forest", endpoint=endpoint.title, first=first, second=second)
    told = Reason("plots.forest_told", drawn=len(lines), all=count(len(comparison.lines), "submission"), sentence=comparison.sentence)
    rows = (*(_line(n, line) for n, line in lines), *_pooled(comparison)) if lines else ()
    return _drawn(pool, endpoint, name, shows, told, rows, (first, second))


def cumulative(pool: Pool, endpoint: EndpointResult, comparison: Comparison, name: str) -> Markup:
    """The pooled ratio at the end of each month; empty where fewer than two months have one."""
    months = [(month, month.result) for month in comparison.cumulative if month.result is not None]
    first, second = thing(comparison, comparison.first), thing(comparison, comparison.second)
    shows = Reason("plots.cumulative", endpoint=endpoint.title, first=first, second=second)
    told = Reason("plots.cumulative_told", drawn=count(len(months), "month"))
    rows = tuple(_month(month, result) for month, result in months) if len(months) > 1 else ()
    return _drawn(pool, endpoint, name, shows, told, rows, (first, second))


def answers(pool: Pool, endpoint: EndpointResult, compared: tuple[Answer, ...], name: str) -> Markup:
    """Every pair of one endpoint, a row each; empty where none has a ratio."""
    rows = tuple(
        Row(c.first, _figure(c.result), c.result, second=Reason("plots.against", name=c.second), thin=c.new_hands, pooled=True)
        for c in compared
        if c.result is not None
    )
    shows = Reason("plots.answers", endpoint=endpoint.title)
    told = Reason("plots.answers_told", drawn=len(rows), all=count(len(compared), "pair"))
    return _drawn(pool, endpoint, name, shows, told, rows, (Reason("plots.first_named"), Reason("plots.second_named")))


def _drawn(
    pool: Pool, endpoint: EndpointResult, name: str, shows: str, tells: str, rows: tuple[Row, ...], sides: tuple[str, str]
) -> Markup:
    """A plot of ratios of one endpoint; above ×1 the first of ``sides`` is ahead."""
    above, below = (Reason("plots.ahead", name=side, better=better(endpoint)) for side in sides)
    return drawn(
        Plot(
            name=name,
            shows=shows,
            tells=tells,
            rows=rows,
            worthwhile=endpoint.worthwhile_ratio,
            below=below,
            above=above,
            simulated=pool.origin == "simulated",
        )
    )


def _month(of: CumulativeMonth, result: RatioInterval) -> Row:
    return Row(of.month, _figure(result), result, count(of.submissions, "submission"), pooled=True)


def _line(number: int, line: StudyLine) -> Row:
    known = line.result is not None
    return Row(
        label=Reason("plots.submission", number=number),
        more=Reason("plots.of_study", study=line.cluster, month=line.month),
        figure=_figure(line.result) if line.result else _bound(line),
        result=line.result,
        bound=None if known else line.bound,
        bound_ratio=None if known else line.bound_ratio,
        weight=line.weight_percent if known else None,
    )


def _pooled(comparison: Comparison) -> tuple[Row, ...]:
    if comparison.result is None:
        return ()
    thin = comparison.prediction.result if comparison.prediction is not None else None
    more = count(comparison.studies, "study")
    return (Row(Reason("plots.pooled"), _figure(comparison.result), comparison.result, more, thin=thin, pooled=True),)


def _bound(line: StudyLine) -> str:
    return Reason("plots.one_sided", bound=line.bound or "", ratio=ratio_text(line.bound_ratio))


def _figure(result: RatioInterval) -> str:
    return Reason("plots.with_interval", ratio=ratio_text(result.ratio), interval=interval(result))
