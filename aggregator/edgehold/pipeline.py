"""THE path: from the files that people wrote to the published results and to all that the site holds.

``builds`` calls it: aside, with what earlier builds kept, and switched in when it is whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from edgehold.sheets.browser import browser_rules

from .archive.build import SUMS, sums_of
from .archive.folder import Archive
from .archive.zipped import zipped
from .engine.tasks import kept, side_by_side
from .errors import FindingsError
from .forms.review import review_forms
from .forms.submission import forms
from .outcomes import outcomes
from .pages.contents import Whole, chosen_for
from .pages.deposit import deposit_files
from .pages.result_pages import draw_curves
from .pages.site import contents_of
from .records import load_repository
from .records.canonical import PoolKey, Repository
from .records.schemas import FALLBACK_URL, site_url
from .results.model.repeatability import PublishedRepeatability
from .results.model.results import Results
from .results.publish.handed_out import sent_in, sources
from .results.publish.repeatability_file import repeatability_json, table_of_pools
from .results.publish.schemas import hold_to_schemas, published_schemas
from .results.publish.whole import all_of, results_of
from .results.publish.written import Written, written
from .results.tables.tables import table_files
from .sheets.ready import ready_sheets
from .words import Reason

if TYPE_CHECKING:
    from .pooling.exchanges import ExchangePlan

Progress = Callable[[str], None]


def read(root: Path) -> Repository:
    """Read the repository; refuse to go on while errors stand in its files.

    Raises
    ------
    FindingsError : with all findings.
    """
    repository = load_repository(root, earlier=True, keep=kept)
    if repository.errors:
        raise FindingsError(repository.findings)
    return repository


def exchange(root: Path, count: int) -> dict[PoolKey, ExchangePlan]:
    """For every pool the further runs that would best help to tell sharpeners from testers."""
    from .endpoints import endpoint_rows
    from .pooling.gather.apart import further_runs

    return further_runs(endpoint_rows(read(root)), count)


def results_files(root: Path, say: Progress = lambda _: None) -> dict[str, bytes]:
    """Check and pool: the files of ``build/results``."""
    found = _found(_read(root, say), say)
    _hold(root, found)
    return found.files


def whole(root: Path, say: Progress = lambda _: None, archive: Archive | None = None) -> tuple[Whole, Archive | None]:
    """Check, pool and make all pages.

    Parameters
    ----------
    root : the repository.
    say : told of what is begun.
    archive : the builds that are kept; None: the site has no archive.

    Returns
    -------
    Everything, and the archive with this build where there is one.
    """
    repository = _read(root, say)
    with side_by_side(_size(repository), here=True) as begin:
        found = _found(repository, say)
        drawn = begin(draw_curves, found.results)
        say("building the pages")
        rules = forms(repository, found.table)
        for key in rules:
            rules[key]["sheet"] = browser_rules(repository.protocols[key].record)
        sheets, held = begin(ready_sheets, repository, rules), begin(_hold, root, found)
        schemas = {f"schemas/{name}": content for name, content in published_schemas(root).items()}
        downloads = found.files | schemas | sent_in(repository)
        downloads[SUMS] = sums_of(downloads)
        contents, after = contents_of(
            found.results,
            chosen_for(root),
            downloads,
            forms=rules,
            reviews=review_forms(repository),
            sheets=sheets(),
            drawn=drawn,
            archive=archive,
            renamed=frozenset(repository.names.aliases),
        )
        held()
    return Whole(found.files, contents), after


def deposited(root: Path, say: Progress = lambda _: None) -> bytes:
    """Check and pool: one ZIP file for a depositor with data, what they were made from, hashes and metadata."""
    found = _found(_read(root, say), say)
    _hold(root, found)
    address = site_url(root)
    base_url = "" if address == FALLBACK_URL else address
    return zipped(deposit_files(found.results, found.files, sources(found.repository), base_url, str(Reason("citing.build_title"))))


@dataclass(frozen=True)
class _Found:
    """What all pages and downloads are made from.

    Attributes
    ----------
    table : of run variances, as published.
    files : those of ``build/results``.
    written : the results' file, taken apart.
    """

    repository: Repository
    results: Results
    table: PublishedRepeatability
    files: dict[str, bytes]
    written: Written


def _read(root: Path, say: Progress) -> Repository:
    say("checking what people wrote")
    return read(root)


def _found(repository: Repository, say: Progress) -> _Found:
    say(f"pooling {len(repository.submissions)} submissions")
    parts = outcomes(repository)
    found = all_of([part.published for part in parts])
    table = table_of_pools(found.repeatability)
    results = results_of(repository, found, table)
    record = written(results, {called: text for part in parts for called, text in part.texts.items()})
    files = {"results.json": record.whole(), "repeatability.json": repeatability_json(table)}
    return _Found(repository, results, table, files | table_files([part.tables for part in parts], results), record)


def _hold(root: Path, found: _Found) -> None:
    """Hold what is about to be published against its schemas."""
    hold_to_schemas(root, found.files | {"results.json": found.written.rest}, found.written.items)


def _size(repository: Repository) -> int:
    """Runs, once for each of their endpoints."""
    methods = {key: one.record for key, one in repository.protocols.items()}
    return sum(len(s.runs) * len(methods[s.record.protocol.id, s.record.protocol.version].endpoints) for s in repository.submissions)
