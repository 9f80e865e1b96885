"""THE path: from the files that people wrote to the published results and the site."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from edgehold.sheets.browser import browser_rules

from .archive.build import SUMS, sums_of
from .archive.folder import Archive, read_archive, write_archive
from .archive.zipped import zipped
from .disk import refuse_unwritable, write_file
from .endpoints import endpoint_rows
from .engine.tasks import kept_in, on_cluster
from .errors import FindingsError
from .everything import find_everything
from .forms.review import review_forms
from .forms.submission import forms
from .pages.deposit import deposit_files
from .pages.site import build_site
from .pooling.exchanges import ExchangePlan
from .pooling.gather.apart import further_runs
from .records import load_repository
from .records.canonical import PoolKey, Repository
from .records.code_owners import strange_teams
from .records.schemas import FALLBACK_URL, site_url
from .results.model.results import Results
from .results.publish.assemble import EverythingFound, assemble
from .results.publish.handed_out import sent_in, sources
from .results.publish.repeatability import repeatability_json
from .results.publish.schemas import hold_to_schemas, published_schemas
from .results.publish.write import staged_build
from .results.tables.tables import tables
from .sheets.ready import ready_sheets
from .words import Reason

Progress = Callable[[str], None]
LARGE_MEGABYTES = 700
"""Above this the maintainer is warned of the archive's size: many hosts take no site above a gigabyte."""


def read(root: Path) -> Repository:
    """Read the repository; refuse to go on while errors stand in its files.

    Raises
    ------
    FindingsError : with all findings.
    """
    repository = load_repository(root, earlier=True)
    if repository.errors:
        raise FindingsError(repository.findings)
    return repository


def exchange(root: Path, count: int) -> dict[PoolKey, ExchangePlan]:
    """For every pool the further runs that would best help to tell sharpeners from testers."""
    return further_runs(endpoint_rows(read(root)), count)


def pool(root: Path, say: Progress = lambda _: None, cluster: str | None = None) -> Path:
    """Check and pool, and write ``build/results``; the site, if there was one, stays as it was.

    Parameters
    ----------
    root : the repository.
    say : told of what is begun.
    cluster : the address of a cluster whose workers are to compute; None: this machine.

    Returns
    -------
    The folder of the results.
    """
    with staged_build(root) as stage, _computing(root, say, cluster):
        _write_results(_results_files(root, say)[2], stage / "results")
    return root / "build" / "results"


def site(
    root: Path,
    say: Progress = lambda _: None,
    warn: Progress = lambda _: None,
    archive: Path | None = None,
    cache: Path | None = None,
    cluster: str | None = None,
) -> Path:
    """Check, pool and build the pages: ``build/results`` and ``build/site``.

    Parameters
    ----------
    root : the repository.
    say : told of what is begun.
    warn : told of what the maintainer has left unset.
    archive : the folder in which every published build is kept; this one is added to it, and all of them to the site. None: the site
        has no archive.
    cache : the folder in which parts that were computed are kept; None: ``build/cache`` of the repository.
    cluster : as in `pool`.

    Returns
    -------
    The site's first page.

    Raises
    ------
    ArchiveError
        A kept file is not what was published, or would change. Nothing is built then.
    """
    kept = read_archive(archive) if archive is not None else None
    with staged_build(root) as stage, _computing(root, say, cluster, cache):
        found, results, files = _results_files(root, say)
        _write_results(files, stage / "results")
        if not results.provenance.repository_url:
            warn(Reason("sending.no_repository"))
        for team in strange_teams(root):
            warn(Reason("sending.strange_team", team=team))
        say("building the pages")
        repository = found.repository
        rules = forms(repository, found.published)
        for key in rules:
            rules[key]["sheet"] = browser_rules(repository.protocols[key].record)
        sheets, reviews = ready_sheets(repository, rules), review_forms(repository)
        schemas = {f"schemas/{name}": content for name, content in published_schemas(root).items()}
        downloads = files | schemas | sent_in(repository)
        downloads[SUMS] = sums_of(downloads)
        after = build_site(
            results,
            root,
            stage / "site",
            downloads,
            forms=rules,
            sheets=sheets,
            reviews=reviews,
            archive=kept,
            renamed=frozenset(repository.names.aliases),
        )
    if archive is not None and kept is not None and after is not None:
        write_archive(after, archive)
        _tell_of_archive(kept, after, say, warn)
    return root / "build" / "site" / "index.html"


def deposit(root: Path, target: Path, say: Progress = lambda _: None, cluster: str | None = None) -> None:
    """Check and pool, and write one file for a depositor: data, what they were made from, hashes and metadata.

    Parameters
    ----------
    root : the repository.
    target : the ZIP file to write; an older one is replaced once the new one is whole.
    say : told of what is begun.
    cluster : as in `pool`.
    """
    refuse_unwritable(target)
    with _computing(root, say, cluster):
        found, results, files = _results_files(root, say)
    address = site_url(root)
    base_url = "" if address == FALLBACK_URL else address
    title = str(Reason("citing.build_title"))
    made = zipped(deposit_files(results, files, sources(found.repository), base_url, title))
    write_file(target, made)


@contextmanager
def _computing(root: Path, say: Progress, cluster: str | None = None, cache: Path | None = None) -> Iterator[None]:
    """By this machine or a cluster; parts that an earlier build computed from the same are not computed again."""
    with on_cluster(cluster, say) if cluster is not None else nullcontext(), kept_in(cache or root / "build" / "cache", say):
        yield


def _tell_of_archive(before: Archive, after: Archive, say: Progress, warn: Progress) -> None:
    added = len(after.builds) > len(before.builds)
    if added:
        say(Reason("archive.kept", build=after.builds[-1].name))
    else:
        say(Reason("archive.kept_already"))
    megabytes = sum(one.size for one in after.builds) // 1_000_000
    if megabytes > LARGE_MEGABYTES:
        warn(Reason("archive.large", megabytes=megabytes))


def _results_files(root: Path, say: Progress) -> tuple[EverythingFound, Results, dict[str, bytes]]:
    say("checking what people wrote")
    repository = read(root)
    say(f"pooling {len(repository.submissions)} submissions")
    found = find_everything(repository)
    results = assemble(found)
    files = {"results.json": results_json(results), "repeatability.json": repeatability_json(found.published), **tables(found, results)}
    hold_to_schemas(root, files)
    return found, results, files


def results_json(results: Results) -> bytes:
    """The results as published: JSON, two spaces, UTF-8, keys in the order of the schema."""
    text = json.dumps(results.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def _write_results(files: dict[str, bytes], folder: Path) -> None:
    folder.mkdir(parents=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
