"""THE path: from the files that people wrote to the published results and to all that the site holds.

``builds`` calls it: aside, with what earlier builds kept, and switched in when it is whole.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from edgehold.sheets.browser import browser_rules

from .archive.build import SUMS, sums_of
from .archive.folder import Archive
from .archive.zipped import zipped
from .endpoints import endpoint_rows
from .engine.tasks import kept, side_by_side
from .errors import FindingsError
from .everything import find_everything
from .forms.review import review_forms
from .forms.submission import forms
from .pages.contents import Whole, chosen_for
from .pages.deposit import deposit_files
from .pages.result_pages import draw_curves
from .pages.site import contents_of
from .pooling.exchanges import ExchangePlan
from .pooling.gather.apart import further_runs
from .records import load_repository
from .records.canonical import PoolKey, Repository
from .records.schemas import FALLBACK_URL, site_url
from .results.model.results import Results
from .results.publish.assemble import EverythingFound, assemble
from .results.publish.handed_out import sent_in, sources
from .results.publish.repeatability import repeatability_json
from .results.publish.schemas import hold_to_schemas, published_schemas
from .results.tables.tables import tables
from .sheets.ready import ready_sheets
from .words import Reason

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
    return further_runs(endpoint_rows(read(root)), count)


def results_files(root: Path, say: Progress = lambda _: None) -> dict[str, bytes]:
    """Check and pool: the files of ``build/results``."""
    found = _found(root, say)
    files = _files(found, assemble(found))
    hold_to_schemas(root, files)
    return files


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
    found = _found(root, say)
    repository = found.repository
    rules = forms(repository, found.published)
    for key in rules:
        rules[key]["sheet"] = browser_rules(repository.protocols[key].record)
    with side_by_side(len(found.rows), here=True) as begin:
        sheets = begin(ready_sheets, repository, rules)
        results = assemble(found)
        drawn = begin(draw_curves, results)
        files = _files(found, results)
        held = begin(hold_to_schemas, root, files)
        say("building the pages")
        schemas = {f"schemas/{name}": content for name, content in published_schemas(root).items()}
        downloads = files | schemas | sent_in(repository)
        downloads[SUMS] = sums_of(downloads)
        reviews = review_forms(repository)
        drawn()
        contents, after = contents_of(
            results,
            chosen_for(root),
            downloads,
            forms=rules,
            sheets=sheets(),
            reviews=reviews,
            archive=archive,
            renamed=frozenset(repository.names.aliases),
        )
        held()
    return Whole(files, contents), after


def deposited(root: Path, say: Progress = lambda _: None) -> bytes:
    """Check and pool: one ZIP file for a depositor with data, what they were made from, hashes and metadata."""
    found = _found(root, say)
    results = assemble(found)
    files = _files(found, results)
    hold_to_schemas(root, files)
    address = site_url(root)
    base_url = "" if address == FALLBACK_URL else address
    return zipped(deposit_files(results, files, sources(found.repository), base_url, str(Reason("citing.build_title"))))


def _found(root: Path, say: Progress) -> EverythingFound:
    say("checking what people wrote")
    repository = read(root)
    say(f"pooling {len(repository.submissions)} submissions")
    return find_everything(repository)


def _files(found: EverythingFound, results: Results) -> dict[str, bytes]:
    return {"results.json": results_json(results), "repeatability.json": repeatability_json(found.published), **tables(found, results)}


def results_json(results: Results) -> bytes:
    """The results as published: JSON, two spaces, UTF-8, keys in the order of the schema."""
    text = json.dumps(results.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()
