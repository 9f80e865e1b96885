"""What the runs of one submission add to its pool: the pool's own answers, computed without them and with them.

Both are the published answers of all runs (``pooling.gather.all_answers``), each from the repository as it is read without the file and
with it, so that whatever a file lends others (a blade's steel, the reading error of the pool) goes and comes with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from edgehold.endpoints import beside_runs, curve_points, endpoint_rows
from edgehold.pooling.gather.all_answers import all_answers
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool, primary_of
from edgehold.records import load_repository
from edgehold.records.canonical import LoadedSubmission, PoolKey, Repository, pool_key
from edgehold.records.linkage import linkage
from edgehold.records.model.protocol import EndpointRule, version_order
from edgehold.records.model.submission import Submission
from edgehold.records.rules.duplicates import content_hash
from edgehold.results.model.answers import Answer
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.publish.answers import answers, model_result
from edgehold.results.words.sentences import lead_answer, ratio_text, sides, when
from edgehold.words import Reason

from .opening import Opened

OWN = "own sharpening"
SINGLE = frozenset({"blades", "sharpeners"})


@dataclass(frozen=True)
class Addition:
    """One comparison that the pool publishes, without these runs and with them.

    Attributes
    ----------
    endpoint, kind, worthwhile_ratio : at which endpoint, of which kind it is, and what is worth acting on.
    factor, first, second : steel, level, practice or own sharpening, and both sides.
    without, joined : the pool's ratio and 95 % interval without these runs and with them; None where there is none.
    sentence : the whole in words.
    """

    endpoint: str
    kind: str
    worthwhile_ratio: float
    factor: str
    first: str
    second: str
    without: RatioInterval | None
    joined: RatioInterval | None
    sentence: str


@dataclass(frozen=True)
class Adds:
    """What some runs add to the pool of their question.

    Attributes
    ----------
    counted : id under which these runs are in the pool already; empty where they are not.
    others : submissions of the pool without these runs.
    additions : comparison by comparison.
    sentences : how they were counted, or why there is nothing to say.
    """

    counted: str
    others: int
    additions: tuple[Addition, ...]
    sentences: tuple[str, ...]


def adds(root: Path, opened: Opened) -> Adds:
    """What one submission adds to the pool of a repository's submissions.

    Runs that are in the repository already, by id, by their file's hash or by their content, are taken out for the one figure and counted
    once in the other.

    Parameters
    ----------
    root : the repository that is pooled.
    opened : the submission, of this repository or a file elsewhere.
    """
    whole = load_repository(root)
    if whole.errors:
        return _nothing(Reason("report.adds_errors", errors=len(whole.errors)))
    here = _counted(whole, opened)
    path = here.path if here else _path_of(opened.record)
    alike = here is not None and _says_the_same(whole, here, opened)
    joined = whole if alike else load_repository(root, elsewhere={path: opened.file})
    if joined.errors:
        return _nothing(Reason("report.adds_refused", message=joined.errors[0].message))
    own = next((s for s in joined.submissions if s.path == path), None)
    if own is None:
        return _nothing(Reason("report.adds_gone", id=opened.record.id))
    without = load_repository(root, chosen={s.path for s in whole.submissions} - {path}) if here else whole
    return _compared(without, joined, own, here.record.id if here else "")


def _nothing(why: Reason) -> Adds:
    return Adds("", 0, (), (why,))


def _path_of(record: Submission) -> str:
    """Where a submission would lie in a repository."""
    return f"submissions/{record.origin}/{record.protocol.id}/{record.id}.json"


def _counted(whole: Repository, opened: Opened) -> LoadedSubmission | None:
    """The submission of the repository that holds these runs: of the same id, or else of the same file or content."""
    of_its_id = next((s for s in whole.submissions if s.record.id == opened.record.id), None)
    return of_its_id or next((s for s in whole.submissions if _says_the_same(whole, s, opened)), None)


def _says_the_same(whole: Repository, other: LoadedSubmission, opened: Opened) -> bool:
    """Whether a submission of the repository is this file, or tells the same evening under another id."""
    if other.sha256 == opened.sha256:
        return True
    mine, its = opened.record, other.record
    if (mine.protocol, mine.origin, mine.month, len(mine.runs)) != (its.protocol, its.origin, its.month, len(its.runs)):
        return False
    return content_hash(its) == content_hash(whole.names.submission(mine))


# ---- the pool, twice -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asked:
    """What the pool publishes at one endpoint.

    Attributes
    ----------
    submissions : in the pool.
    answers : by factor and both names.
    own : edges that the tester sharpened against those of others; None where that is not estimable.
    reason : why there is nothing at all; empty otherwise.
    """

    submissions: int
    answers: Mapping[tuple[str, str, str], Answer]
    own: RatioInterval | None
    reason: str


def _asked(repository: Repository, pool: PoolKey, rule: EndpointRule, unit: str) -> _Asked:
    """The published answers of one pool at one endpoint."""
    alike = replace(repository, submissions=tuple(s for s in repository.submissions if pool_key(s) == pool))
    asked = (by_endpoint(alike, asked_of), by_pool(alike, asked_of_pool))
    joint = {endpoint for (_, endpoint), one in asked[0].items() if one.rule.kind != "life"}  # what is read off one posterior
    rows = [row for row in endpoint_rows(alike) if row.endpoint in {rule.id, *(joint if rule.id in joint else ())}]
    origins = linkage(repository)
    found = all_answers(rows, curve_points(alike), *asked, beside_runs(alike), sensitivity=False, origins=origins).answers.get(
        (pool, rule.id)
    )
    told: dict[tuple[str, str, str], Answer] = {
        (one.factor, one.first, one.second): one for one in answers(found, rule, unit, {}, None, None)
    }
    model = model_result(found, rule, unit)
    reason = Reason("report.adds_no_values") if model is None else model.reason
    return _Asked(len(alike.submissions), told, model.own_sharpening if model else None, reason)


def _compared(without: Repository, joined: Repository, own: LoadedSubmission, counted: str) -> Adds:
    """Every comparison of the pool that these runs have something to do with."""
    pool = pool_key(own)
    others = [s for s in without.submissions if pool_key(s) == pool]
    if not others:
        return Adds(counted, 0, (), (Reason("report.adds_first"),))
    newest = max((*others, own), key=lambda s: version_order(s.record.protocol.version))
    protocol = joined.protocol_of(newest).record
    primary = by_pool(joined, primary_of)[pool]
    rule, unit = next(rule for rule in protocol.endpoints if rule.id == primary), protocol.work.unit
    before, after = (_asked(repository, pool, rule, unit) for repository in (without, joined))
    found = tuple(_additions(before, after, own, rule, unit, protocol.question.factor))
    how = Reason("report.adds_counted", id=counted) if counted else Reason("report.adds_new")
    told = [Reason("report.adds_others", submissions=before.submissions), how]
    if not found:
        told.append(Reason("report.adds_not_fitted", reason=after.reason) if after.reason else Reason("report.adds_nothing"))
    return Adds(counted, before.submissions, found, tuple(told))


def _additions(before: _Asked, after: _Asked, own: LoadedSubmission, rule: EndpointRule, unit: str, factor: str) -> Iterator[Addition]:
    """Those whose both sides stand in these runs, of the protocol's own factor first; the pool's leading answer where there are none.

    A file of one steel with a reference edge is compared with steels of other tables, so that one side is enough.
    """
    steels = {run.steel for run in own.runs}
    levels = {run.level for run in own.runs} - {None}
    classes = any(run.sharpening is not None for run in own.runs)
    both = dict(before.answers) | dict(after.answers)
    least = 1 if len(steels) == 1 and own.record.references else 2

    def held(factor: str, *pair: str) -> bool:
        if factor == "practice":
            return classes
        return set(pair) <= levels if factor == "level" else len(steels.intersection(pair)) >= least

    keys = [key for key in both if held(*key)]
    own_edges = any(run.own_sharpening for run in own.runs) and (before.own is not None or after.own is not None)
    if not keys and not own_edges:
        lead = lead_answer(both.values())
        keys = [(lead.factor, lead.first, lead.second)] if lead else []
    own_factor = {"sharpener": "practice", "level": "level"}.get(factor, "steel")
    for key in sorted(keys, key=lambda key: (key[0] != own_factor, key)):
        yield _addition(key, before, after, rule, unit)
    if own_edges:
        yield _own_edges(before, after, rule, unit)


def _addition(key: tuple[str, str, str], before: _Asked, after: _Asked, rule: EndpointRule, unit: str) -> Addition:
    factor, first, second = key
    was, now = before.answers.get(key), after.answers.get(key)
    not_met = Reason("report.adds_not_met")
    lacking = (before.reason or (was.reason if was else not_met), after.reason or (now.reason if now else not_met))
    results = (was.result if was else None, now.result if now else None)
    subject = Reason("report.adds_subject", opening=when(rule, unit), **sides(factor, first, second))
    told = _sentence(subject, *results, *lacking, one_of_each=any(one is not None and one.about in SINGLE for one in (was, now)))
    return Addition(rule.id, rule.kind, rule.worthwhile_ratio, factor, first, second, *results, told)


def _own_edges(before: _Asked, after: _Asked, rule: EndpointRule, unit: str) -> Addition:
    """Edges that the tester sharpened against edges of others, which the pool takes apart as an effect of its own."""
    lacking = Reason("report.adds_no_own")
    first, second = Reason("report.adds_own"), Reason("report.adds_anothers")
    subject = Reason("report.adds_subject", opening=when(rule, unit), first=first, second=second)
    told = _sentence(subject, before.own, after.own, before.reason or lacking, after.reason or lacking, one_of_each=False)
    return Addition(rule.id, rule.kind, rule.worthwhile_ratio, OWN, first, second, before.own, after.own, told)


def _sentence(
    subject: Reason, without: RatioInterval | None, joined: RatioInterval | None, why_not: str, why_still_not: str, one_of_each: bool
) -> Reason:
    """Without these runs, with them; where a side is a single blade or sharpener the sentence says what it speaks of."""
    single = Reason("report.adds_single") if one_of_each else ""
    code = {
        (True, True): "both",
        (False, True): "only_with",
        (True, False): "only_without",
        (False, False): "neither",
    }[(without is not None, joined is not None)]
    ends = {"low": _low(without), "high": _high(without), "with_low": _low(joined), "with_high": _high(joined)}
    return Reason(f"report.adds_{code}", subject=subject, single=single, reason=why_not if without is None else why_still_not, **ends)


def _low(result: RatioInterval | None) -> str:
    return ratio_text(result.low if result else None)


def _high(result: RatioInterval | None) -> str:
    return ratio_text(result.high if result else None)
