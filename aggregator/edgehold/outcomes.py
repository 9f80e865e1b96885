"""What comes out of the submissions to each protocol, kept under one hash of all that decides it.

Nothing is pooled across protocols, or across what was measured and what was simulated. So a build computes anew what comes out of a
folder of submissions only where one of them, its protocol or something that others say about its people and blades has changed; the
stages between records and results are not even imported where nothing has.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from .engine.tasks import found_as, keep_as
from .records.canonical import LoadedSubmission, Repository
from .records.grades import Graded, graded
from .records.linkage import Linkage, linkage
from .results.publish.whole import OfPools
from .results.publish.written import Texts, texts_of
from .results.tables.lines import Lines

Folder = tuple[str, str]
"""Origin and protocol."""


@dataclass(frozen=True)
class Outcome:
    """All that is published of the submissions to one protocol, of one origin.

    Attributes
    ----------
    published : for the results.
    texts : pools and submissions as they stand in the results' file.
    tables : their lines of the tables, by name.
    """

    published: OfPools
    texts: Texts
    tables: Mapping[str, Lines]


def outcomes(repository: Repository) -> list[Outcome]:
    """What comes out of every folder of submissions, in the order of their paths; of none, where there are none."""
    everybody = (*repository.submissions, *repository.retracted)
    origins, grades = linkage(repository), graded(repository)
    decided = {folder: _decided(repository, {folder}, origins, grades) for folder in sorted({*map(_folder, everybody)}) or [("", "")]}
    hashed = {folder: _hashed(*given) for folder, given in decided.items()}
    found = {folder: found_as(outcomes, told) for folder, told in hashed.items()}
    anew = {folder: given for folder, given in decided.items() if found[folder] is None}
    if anew:
        together = _decided(repository, anew, origins, grades)
        found |= dict(zip(anew, _computed(*together, [alone for alone, *_ in anew.values()]), strict=True))
        for folder in anew:
            keep_as(outcomes, hashed[folder], found[folder])
    return [one for one in found.values() if isinstance(one, Outcome)]


def _computed(repository: Repository, origins: Linkage, grades: Mapping[str, Graded], folders: Iterable[Repository]) -> Iterator[Outcome]:
    """What comes out of some folders, which a repository holds together: what takes longest is begun first, whichever it belongs to."""
    from .everything import find_everything, of_some
    from .results.publish.assemble import of_pools
    from .results.tables.pool_tables import lines_of_pools

    everything = find_everything(repository, origins, grades)
    for alone in folders:
        found = of_some(everything, alone)
        published = of_pools(found)
        texts = texts_of((*published.pools, *published.submissions, *published.retracted))
        yield Outcome(published, texts, lines_of_pools(found, published))


def _decided(
    repository: Repository, folders: Collection[Folder], origins: Linkage, grades: Mapping[str, Graded]
) -> tuple[Repository, Linkage, dict[str, Graded]]:
    """All that decides what comes out of some folders: the records and their neighbourhood, and nothing else of the repository."""
    submissions, retracted = (
        tuple(one for one in some if _folder(one) in folders) for some in (repository.submissions, repository.retracted)
    )
    everybody = (*submissions, *retracted)
    names = {one.record.id for one in everybody}
    files = {path for one in everybody for path in (one.path, *(change.path for change in one.changes))}
    methods = {method for _, method in folders}
    alone = Repository(
        root=Path(),
        protocols={key: one for key, one in repository.protocols.items() if key[0] in methods},
        submissions=submissions,
        events={},
        objections=(),
        steels=repository.steels,
        findings=tuple(one for one in repository.findings if one.file in files),
        retracted=retracted,
        names=repository.names,
    )
    return alone, origins.of(names), {name: one for name, one in grades.items() if name in names}


def _hashed(alone: Repository, origins: Linkage, grades: Mapping[str, Graded]) -> tuple[object, ...]:
    """All of that again, with the hashes of files for what is read from these files and names alone."""
    return (
        [_told(one) for one in alone.submissions],
        [_told(one) for one in alone.retracted],
        [(*key, one.path, one.sha256) for key, one in alone.protocols.items()],
        (alone.steels, alone.findings, alone.names, origins, grades),
    )


def _told(one: LoadedSubmission) -> tuple[object, ...]:
    """A submission by its files, and what files beside it say of its blades, lots and plan."""
    changes = [(change.path, change.sha256) for change in one.changes]
    earlier = [None if state is None else _told(state) for state in one.earlier]
    return one.path, one.sha256, changes, one.runs, one.references, one.weights, one.seal_held, earlier


def _folder(submission: LoadedSubmission) -> Folder:
    return submission.record.origin, submission.record.protocol.id
