"""What has no figures because numbers failed: every such place, with its pool, its endpoint and the reason.

A reason of failed numbers is a ``NotFitted``, wherever it stands; here each kind of finding is asked for those it holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, replace
from typing import TypeVar

from edgehold.endpoints.rows import EndpointRow
from edgehold.estimates.repeatability import RepeatabilityTable
from edgehold.estimates.results import ContrastEstimated, SubmissionEstimate
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.pooling.crossed.runs_model import RunsModelNotFitted, SteelsNotEstimated, VarianceEstimated
from edgehold.pooling.crossed.two_roles import TwoRoles
from edgehold.pooling.curves.contrast import curve_contrast
from edgehold.pooling.curves.pairs import CurvePair
from edgehold.pooling.gather.all_answers import Answered
from edgehold.pooling.gather.all_runs import AllRuns
from edgehold.pooling.gather.months import PoolCourse
from edgehold.pooling.headline import why_none
from edgehold.pooling.network.steel_network import NoNetwork, SteelNetwork
from edgehold.pooling.pairwise.comparisons import ComparisonNotPooled, PooledComparison
from edgehold.pooling.probes.effects import Unanswered
from edgehold.pooling.probes.probes import ProbeAnswer
from edgehold.pooling.probes.runs import NOT_FITTED
from edgehold.records.canonical import PoolKey
from edgehold.words import Reason

Line = tuple[PoolKey, str, str, str]
"""Pool, endpoint (empty: all of them), what was not fitted, and why."""


Finding = TypeVar("Finding")
Told = TypeVar("Told")


def told(
    publish: Callable[[Finding], Told], found: Finding, without: Callable[[Finding, str], Finding], note: Callable[[str], None]
) -> Told:
    """What is published of a finding; where its numbers cannot be, what is published of it without figures, and a note of the reason."""

    def instead(why: NotFitted) -> Told:
        note(why)
        return publish(without(found, why))

    return attempt(lambda: publish(found), instead)


def comparison_without(c: PooledComparison, why: str) -> PooledComparison:
    """A comparison without figures."""
    shared = {one.name: getattr(c, one.name) for one in fields(ComparisonNotPooled) if one.name not in ("state", "reason")}
    return ComparisonNotPooled(**shared | {"versions": None, "bounds_included": None}, state="not fitted", reason=why)


def all_runs_without(found: AllRuns, why: str) -> AllRuns:
    """A model of all runs without figures."""
    was = found.model
    steels = tuple(SteelsNotEstimated(one.first, one.second, one.told, one.reason) for one in was.steels)
    model = RunsModelNotFitted(was.runs, was.one_sided, was.fixed, was.not_held, why, was.apart, steels)
    return replace(found, model=model, within=(), practice=(), levels=(), roles=TwoRoles(0, None, None, None, why))


def network_without(network: SteelNetwork | NoNetwork, why: str) -> SteelNetwork | NoNetwork:
    """A network without figures."""
    return NoNetwork(network.pool, network.endpoint, network.steels, why)


def probe_without(answer: ProbeAnswer, why: str) -> ProbeAnswer:
    """A question without an answer."""
    return replace(answer, found=Unanswered(NOT_FITTED, why, answer.found.runs, answer.found.submissions))


def curves_without(pair: CurvePair, why: str) -> CurvePair:
    """Two steels without curves."""
    return replace(pair, contrast=curve_contrast((), why))


def failed(lines: Iterable[Line]) -> Iterator[Line]:
    """Those whose reason is that numbers failed."""
    return (line for line in lines if isinstance(line[3], NotFitted))


def of_rows(rows: Iterable[EndpointRow]) -> Iterator[Line]:
    """Values of runs."""
    return failed(
        (row.pool, row.endpoint, Reason("published.run_value", run=row.run, submission=row.submission), row.reason) for row in rows
    )


def of_table(table: RepeatabilityTable) -> Iterator[Line]:
    """Run variances of submissions, and what is pooled of them."""
    for (pool, endpoint), own in table.failed.items():
        yield from failed((pool, endpoint, Reason("published.run_variance", submission=submission), why) for submission, why in own)
    whose = Reason("published.repeatability_spread")
    yield from failed((*key, whose, entry.reason) for key, entry in table.entries.items())


def of_estimates(estimates: Iterable[SubmissionEstimate]) -> Iterator[Line]:
    """Contrasts of submissions; one line where all of a submission failed alike."""
    for e in estimates:
        if isinstance(e.method, NotFitted):
            yield (e.pool, e.endpoint, Reason("published.contrasts", submission=e.submission), e.method)
        else:
            yield from failed(
                (e.pool, e.endpoint, f"{c.first} against {c.second} of {e.submission}", c.reason)
                for c in e.contrasts
                if not isinstance(c, ContrastEstimated)
            )


def of_comparisons(comparisons: Iterable[PooledComparison]) -> Iterator[Line]:
    """Pooled ratios and what is asked beside them."""
    for c in comparisons:
        named = f"{c.first} against {c.second}"
        yield from failed(
            (c.pool, c.endpoint, what, why)
            for what, why in (
                (named, c.reason if isinstance(c, ComparisonNotPooled) else ""),
                *((f"{named}: {w}", y) for w, y in c.not_fitted.items()),
            )
        )


def of_all_runs(found: Iterable[AllRuns]) -> Iterator[Line]:
    """The model of all runs and what is asked beside it."""
    for one in found:
        said: list[tuple[str, str]] = [(Reason("published.roles"), one.roles.reason)]
        if isinstance(one.model, RunsModelNotFitted):
            said = [(Reason("published.crossed_model"), one.model.reason), *said]
        else:
            said += [
                (Reason("published.crossed_spread", name=name), told.reason)
                for name, told in one.model.variances.items()
                if not isinstance(told, VarianceEstimated)
            ]
        for what, pairs in (("within submissions", one.within), (Reason("published.by_practice"), one.practice), ("by level", one.levels)):
            said += [(f"{pair.first} against {pair.second} {what}", pair.reason) for pair in pairs]
        yield from failed((one.pool, one.endpoint, what, why) for what, why in said)


def of_answers(answers: Iterable[Answered]) -> Iterator[Line]:
    """The hierarchical model, the same of linked evidence alone, and what hangs on whose results."""
    for one in answers:
        said = [(Reason("published.hierarchical_model"), why_none(one.headline)), (Reason("published.linked_model"), one.linked_reason)]
        if isinstance(one.headline.hanging, NotFitted):
            said.append((Reason("published.hanging"), one.headline.hanging))
        yield from failed((one.pool, one.endpoint, what, why) for what, why in said)


def of_courses(courses: Iterable[PoolCourse]) -> Iterator[Line]:
    """Pooled ratios month by month."""
    for found in courses:
        for c in found.courses:
            yield from failed(
                (
                    found.pool,
                    c.endpoint,
                    Reason("published.pair_as_it_stood", first=c.first, second=c.second, month=standing.month),
                    standing.reason,
                )
                for standing in c.standings
            )
