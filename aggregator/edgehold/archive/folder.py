"""An archive as a folder: read and verified, extended by a build, and never changed otherwise.

``archive.json`` lists the builds in the order in which they were published, what had been taken out, and every file that was withdrawn. A
build lies in a folder of its name; ``assets/`` holds what pages of several builds share, by hash.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from edgehold.disk import LARGEST_BUILT_BYTES, names_in, read_file, there, write_files
from edgehold.errors import EdgeholdError, InputError

from .build import FACTS, NAME, SUMS, Build, Facts, build_name, read_facts, read_sums
from .withdrawal import RESULTS, Wanted, gap, holds, only_of

INDEX = "archive.json"
ASSETS = "assets"
TELL_PROVENANCE = frozenset({FACTS, "index.html"})
"""Files of a build that hold its provenance and no figure."""
ASSET = re.compile(r"[0-9a-f]{12}\.css")


class ArchiveError(EdgeholdError):
    """A file of the archive is not what was published, or would not be after this build. Nothing is built then."""


@dataclass(frozen=True)
class Withdrawn:
    """A file that was taken out of a kept build: its path there, when, why (privacy, legal or alias), and the SHA-256 of the gap."""

    path: str
    month: str
    reason: str
    sha256: str


@dataclass(frozen=True)
class Kept:
    """A build that lies in the archive.

    Attributes
    ----------
    name, facts : as in ``Build``.
    paths : of its files, its list of hashes left out.
    size : bytes of all its files.
    withdrawn : those of them that were taken out since.
    sums_sha256 : SHA-256 of its list of hashes, of which its name has the beginning.
    """

    name: str
    facts: Facts
    paths: tuple[str, ...]
    size: int
    withdrawn: tuple[Withdrawn, ...] = ()
    sums_sha256: str = ""


@dataclass(frozen=True)
class Archive:
    """An archive that was read and verified, and what a build adds to it.

    Attributes
    ----------
    folder : where it lies; need not be there yet.
    builds : in the order in which they were published.
    taken_out : ids of submissions that no build may hold any more.
    renamed : SHA-256 of handles that no build may name any more.
    writes : files to be written, by path within the archive.
    """

    folder: Path
    builds: tuple[Kept, ...] = ()
    taken_out: frozenset[str] = frozenset()
    renamed: frozenset[str] = frozenset()
    writes: Mapping[str, bytes] = field(default_factory=dict)


def read_archive(folder: Path) -> Archive:
    """Read an archive and hold every file against its hash.

    Raises
    ------
    ArchiveError
        A file is missing, is another than was published, or was not published at all; or there is no folder but something else.
    """
    try:
        if not there(folder) or not names_in(folder):
            return Archive(folder)
        index = json.loads(read_file(folder / INDEX, LARGEST_BUILT_BYTES))
        withdrawn = {name: tuple(Withdrawn(**one) for one in lines) for name, lines in index["withdrawn"].items()}
        builds = tuple(_verified(folder, name, withdrawn.get(name, ())) for name in index["builds"])
        archive = Archive(folder, builds, frozenset(index["taken_out"]), frozenset(index["renamed"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise ArchiveError(f"{folder} is no archive that can be read: {error}") from error
    _nothing_else(archive)
    return archive


def _verified(folder: Path, name: str, withdrawn: tuple[Withdrawn, ...]) -> Kept:
    if not NAME.fullmatch(name):
        raise ArchiveError(f"{INDEX} names the build {name!r}, which is no name of one")
    gaps = {one.path: one.sha256 for one in withdrawn}
    sums = _read(folder, f"{name}/{SUMS}")
    if build_name("", sums).rpartition("-")[2] != name.rpartition("-")[2]:
        raise ArchiveError(f"archive/{name}/{SUMS} is not what was published: its hash does not give the name of the build")
    size = len(sums)
    for path, sha256 in read_sums(sums).items():
        content = _read(folder, f"{name}/{path}")
        size += len(content)
        wanted = gaps.get(path, sha256)
        if hashlib.sha256(content).hexdigest() != wanted:
            raise ArchiveError(f"archive/{name}/{path} is not what was published; put back the file whose SHA-256 is {wanted}")
    facts = read_facts(_read(folder, f"{name}/{FACTS}"))
    if name != build_name(facts.month, sums):
        raise ArchiveError(f"archive/{name} was published as {build_name(facts.month, sums)}")
    return Kept(name, facts, tuple(read_sums(sums)), size, withdrawn, hashlib.sha256(sums).hexdigest())


def _read(folder: Path, path: str) -> bytes:
    if not there(folder / path):
        raise ArchiveError(f"archive/{path} is missing, and was published")
    return read_file(folder / path, LARGEST_BUILT_BYTES)


def _nothing_else(archive: Archive) -> None:
    """Refuse files that no build published, and shared ones that are not what their name says."""
    published = {INDEX} | {f"{b.name}/{path}" for b in archive.builds for path in (*b.paths, SUMS)}
    for path in sorted(p for p in archive.folder.rglob("*") if p.is_file() or p.is_symlink()):
        name = path.relative_to(archive.folder).as_posix()
        if path.is_symlink():
            raise ArchiveError(f"archive/{name} is a link, and no file of a build")
        if name.startswith(f"{ASSETS}/") and ASSET.fullmatch(path.name):
            if asset_name(read_file(path, LARGEST_BUILT_BYTES)) != name:
                raise ArchiveError(f"archive/{name} is not what was published: its hash gives another name")
        elif name not in published:
            raise ArchiveError(f"archive/{name} belongs to no build that was published")


def asset_name(content: bytes) -> str:
    """Where a style sheet that several builds share lies in the archive."""
    return f"{ASSETS}/{hashlib.sha256(content).hexdigest()[:12]}.css"


def add_build(archive: Archive, build: Build, assets: Mapping[str, bytes]) -> Archive:
    """The archive with one more build; the same one where it has that already, or where its newest build differs in nothing but provenance.

    Raises
    ------
    ArchiveError
        It holds a submission that was taken out, and would bring it back; or a file of the archive would change.
    """
    gone = Wanted(archive.taken_out - set(build.facts.removed), frozenset())
    if gone.submissions and any(holds(path, content, gone) for path, content in build.files.items()):
        raise ArchiveError("this build holds a submission that was taken out of the archive: its tombstone is missing in these files")
    writes = {f"{build.name}/{path}": content for path, content in build.files.items()}
    known = standing_for(archive, build)
    for name, content in assets.items():
        if asset_name(content) != name:
            raise InputError(f"got {name!r} for a shared file, wanted {asset_name(content)!r}")
        if there(archive.folder / name) and read_file(archive.folder / name, LARGEST_BUILT_BYTES) != content:
            raise ArchiveError(f"archive/{name} would change")
    if known is not None:
        if known.name == build.name:
            _same(archive.folder, known, build)
        return archive
    size = sum(map(len, build.files.values()))
    paths = tuple(path for path in build.files if path != SUMS)
    kept = Kept(build.name, build.facts, paths, size, (), hashlib.sha256(build.files[SUMS]).hexdigest())
    return _indexed(replace(archive, builds=(*archive.builds, kept), writes={**archive.writes, **writes, **assets}))


def standing_for(archive: Archive, build: Build) -> Kept | None:
    """The kept build that has all figures and words of this one: its own, or else the newest where only the provenance differs.

    A change of the program that changes no figure leaves pages and tables as they were; a second copy of them would be of no use.
    """
    own = next((one for one in archive.builds if one.name == build.name), None)
    if own is not None or not archive.builds:
        return own
    newest = archive.builds[-1]
    if not all(there(archive.folder / newest.name / path) for path in newest.paths):  # it is to be written yet
        return None
    before = {path: read_file(archive.folder / newest.name / path, LARGEST_BUILT_BYTES) for path in newest.paths}
    after = {path: content for path, content in build.files.items() if path != SUMS}
    alike = before.keys() == after.keys() and all(
        before[path] == after[path] or (path == RESULTS and _without_provenance(before[path]) == _without_provenance(after[path]))
        for path in before
        if path not in TELL_PROVENANCE
    )
    return newest if alike and not newest.withdrawn else None


def _without_provenance(results: bytes) -> object:
    return json.loads(gzip.decompress(results)) | {"provenance": None}


def _same(folder: Path, known: Kept, build: Build) -> None:
    """Refuse to change a file of a build that is kept: same name, other bytes."""
    gaps = {one.path for one in known.withdrawn}
    for path, content in build.files.items():
        kept = folder / known.name / path
        if path not in gaps and (not there(kept) or read_file(kept, LARGEST_BUILT_BYTES) != content):
            raise ArchiveError(f"archive/{known.name}/{path} would change, and what is archived never does")


def withdraw(archive: Archive, taken_out: Mapping[str, tuple[str, str]], renamed: frozenset[str], month: str) -> Archive:
    """The archive without what must not be seen: files that hold it become gaps.

    Parameters
    ----------
    archive : as read.
    taken_out : month and reason (privacy or legal) of every submission that was taken out, by id.
    renamed : handles that are shown as others.
    month : when an alias came to be known here, for the gaps.
    """
    fresh = {one: why for one, why in taken_out.items() if one not in archive.taken_out}
    handles = frozenset(one for one in renamed if _hashed(one) not in archive.renamed)
    if not fresh and not handles:
        return archive
    for one, (when, reason) in sorted(fresh.items()):
        archive = _without(archive, frozenset({one}), frozenset(), when, reason)
    if handles:
        archive = _without(archive, frozenset(), handles, month, "alias")
    return _indexed(
        replace(archive, taken_out=archive.taken_out | fresh.keys(), renamed=archive.renamed | {_hashed(one) for one in handles})
    )


def _hashed(handle: str) -> str:
    return hashlib.sha256(handle.encode()).hexdigest()


def _without(archive: Archive, submissions: frozenset[str], people: frozenset[str], month: str, reason: str) -> Archive:
    writes, builds = dict(archive.writes), []
    for kept in archive.builds:
        of_build = Wanted(submissions - set(kept.facts.removed), people)
        lines = list(kept.withdrawn)
        if of_build.submissions or people:
            gone = {one.path for one in lines}
            if of_build.submissions and RESULTS in kept.paths and RESULTS not in gone:
                of_build = replace(of_build, people=people | only_of(_read(archive.folder, f"{kept.name}/{RESULTS}"), submissions))
            for path in kept.paths:
                if path not in gone and path != FACTS and holds(path, _read(archive.folder, f"{kept.name}/{path}"), of_build):
                    left = gap(path, month, reason)
                    lines.append(Withdrawn(path, month, reason, hashlib.sha256(left).hexdigest()))
                    writes[f"{kept.name}/{path}"] = left
        builds.append(replace(kept, withdrawn=tuple(lines)))
    return replace(archive, builds=tuple(builds), writes=writes)


def _indexed(archive: Archive) -> Archive:
    """The archive with its index among what is to be written."""
    index = {
        "builds": [one.name for one in archive.builds],
        "taken_out": sorted(archive.taken_out),
        "renamed": sorted(archive.renamed),
        "withdrawn": {one.name: [vars(line) for line in one.withdrawn] for one in archive.builds if one.withdrawn},
    }
    return replace(archive, writes={**archive.writes, INDEX: (json.dumps(index, indent=2) + "\n").encode()})


def write_archive(archive: Archive, target: Path) -> None:
    """Write what is new, the index last; what lies there already is not touched otherwise."""
    ordered = sorted(archive.writes, key=lambda one: (one == INDEX, one))
    write_files({target / path: archive.writes[path] for path in ordered}, folders=True)
