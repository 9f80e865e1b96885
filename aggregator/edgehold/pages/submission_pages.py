"""A page a submission, below the list of all: the only pages where handles stand."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import partial

from edgehold.engine.tasks import kept_as
from edgehold.results.model.results import OwnAnswer, Pool, Results, SubmissionResult
from edgehold.results.model.versions import ProtocolResult
from edgehold.words import Reason

from . import addresses, bars, formatting
from .page import Findable, Page, hash_of, render
from .submission_lists import in_order, retraction, submission_lists


def submission_pages(results: Results, downloads: Collection[str] = ()) -> Iterator[Page]:
    """The list and everything below it; ``downloads`` are names of files to download, submissions among them."""
    yield from submission_lists(results)
    protocols = {(p.id, p.version): p for p in results.protocols}
    pools = {(p.protocol, p.major, p.origin): p for p in results.pools}
    hashes = {key: hash_of(one) for key, one in (*protocols.items(), *pools.items())}
    for submission in in_order(results):
        of_protocol = (submission.protocol, submission.version)
        of_pool = (submission.protocol, int(submission.version.split(".")[0]), submission.origin)
        offered = {path for path in (submission.path, *(change.path for change in submission.changes)) if path in downloads}
        given = (results.provenance.repository_url, offered, bool(downloads))
        told = (hash_of(submission), hashes.get(of_protocol), hashes.get(of_pool), *given)
        yield kept_as(_submission, told, partial(_submission, submission, protocols.get(of_protocol), pools.get(of_pool), *given))


def _submission(
    submission: SubmissionResult,
    protocol: ProtocolResult | None,
    pool: Pool | None,
    repository_url: str,
    offered: Collection[str],
    handing_out: bool,
) -> Page:
    endpoints = {e.id: e for e in pool.endpoints} if pool else {}
    met = [e for e in endpoints if any(e in run.values for run in submission.runs)]
    html = render(
        "submission.html",
        submission=submission,
        finding=_finding(submission),
        contrasts=_contrasts(submission.answers),
        protocol=protocol,
        pool=pool,
        endpoints=endpoints,
        columns=met or sorted({e for run in submission.runs for e in run.values}),
        axes={e: bars.axis([a.result for a in submission.answers if a.endpoint == e], endpoints[e].worthwhile_ratio) for e in endpoints},
        unit=pool.work_unit if pool else "",
        repository_url=repository_url,
        reason=retraction(submission),
        offered=offered,
        offered_any=handing_out,
    )
    method = str(protocol.front.get("title", submission.protocol)) if protocol else submission.protocol
    told = Reason("search.submission_told", method=method, month=formatting.month(submission.month), runs=len(submission.runs))
    found = Findable("submission", (), told)
    return Page(addresses.submission(submission), f"Submission {submission.id}", html, "Results", record=True, found=found)


def _contrasts(answers: Iterable[OwnAnswer]) -> list[list[OwnAnswer]]:
    """Answers, those together that are one ratio by two names: of two people and of their practice, of two blades and of their steels."""
    found: dict[tuple[object, ...], list[OwnAnswer]] = {}
    for number, one in enumerate(answers):
        found.setdefault((one.endpoint, one.verdict, one.result or number), []).append(one)
    return [*found.values()]


def _finding(submission: SubmissionResult) -> str:
    """The sentence in front: one with a ratio if there is one, and about two people only if there is no other."""
    if submission.state == "retracted":
        return Reason("pages.retracted")
    ordered = sorted(submission.answers, key=lambda a: (a.factor == "sharpener", a.result is None))
    return ordered[0].sentence if ordered else Reason("pages.no_comparison")
