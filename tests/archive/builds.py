"""Builds and archives as tests need them: a few small files with the names that real ones have."""

from __future__ import annotations

import gzip
import hashlib
import json
from pathlib import Path

from edgehold.archive.build import Build, Facts, make_build
from edgehold.archive.folder import Archive, add_build, asset_name, read_archive, write_archive

STYLE = b"body { color: black; }\n"


def submission(name: str, *people: str) -> dict:
    """A submission as results hold it, as far as the archive looks at it."""
    return {
        "id": name,
        "path": f"submissions/measured/small-rope/{name}.json",
        "people": list(people),
        "submitted_by": people[0],
        "runs": [{"tester": person, "sharpener": person, "blade": f"{person}.galley"} for person in people],
    }


def build(*submissions: dict, month: str = "2026-06", removed: tuple[str, ...] = (), ratio: float = 1.5, commit: str = "") -> Build:
    """A build with results, two tables, a page that names nobody, and one that names submissions."""
    results = {"provenance": {"commit": commit}, "submissions": list(submissions), "removed": [{"id": one} for one in removed]}
    runs = "".join(f"{s['id']},{run['tester']},{run['blade']}\n" for s in submissions for run in s["runs"])
    links = "".join(f'<a href="../submissions/{s["id"]}/">one</a>' for s in submissions)
    files = {
        "index.html": f"<p>{commit}</p>".encode(),
        "data/results.json.gz": gzip.compress(json.dumps(results).encode(), mtime=0),
        "data/runs.csv": f"submission,tester,blade\n{runs}".encode(),
        "data/answers.csv": f"first,second,ratio\na,b,{ratio}\n".encode(),
        "results/pool/index.html": f"<p>ratio {ratio}</p>".encode(),
        "results/ledger/index.html": f"<p>{links}</p>".encode(),
    }
    unpacked = hashlib.sha256(json.dumps(results).encode()).hexdigest()
    return make_build(Facts(month, "0.1.0", commit, "12" * 32, len(submissions), removed, unpacked), files)


def kept(folder: Path, *builds: Build) -> Archive:
    """An archive on the disk with these builds, read again and verified."""
    for one in builds:
        write_archive(add_build(read_archive(folder), one, {asset_name(STYLE): STYLE}), folder)
    return read_archive(folder)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
