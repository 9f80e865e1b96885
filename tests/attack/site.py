"""Whole sites from drawn repositories: what the check passes is built, twice to the same bytes, and no script of anybody runs there."""

from __future__ import annotations

import copy
import json
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import yaml
from playwright.sync_api import Browser, sync_playwright

from edgehold import builds
from edgehold.records import load_repository
from edgehold.records.rules.body_limits import body_problems
from edgehold.records.rules.figures import drawing_problems
from tests.browser.chromium import SWITCHES, chromium_path
from tests.browser.crawling import crawl, pages_of
from tests.browser.payloads import LABELS, SHORT
from tests.browser.serving import served
from tests.fuzz.readers import LOST, OVER_TIME, TRACEBACK, Complaint, repository
from tests.records.builder import BODY, markdown, protocol, write
from tests.whole_path.test_builds import digests

from .cases import DIFFERING, SCRIPT, Tried, watch
from .readers import drawn_body, drawn_drawing

METHODS = 6
TEXTS_A_FILE = 4


def pages(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """A case for every site that is drawn, and for every page of it in a browser."""
    for number in range(seed, seed + cases):
        root = hostile_repository(folder / str(number), random.Random(number))
        built = _tried(root, number)
        yield built
        if not built.complaint:
            yield from _visited(root / "build" / "site", number)


def twice(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """A case for every site that is drawn and built again elsewhere, from a copy of the same files."""
    for number in range(seed, seed + cases):
        root = hostile_repository(folder / str(number), random.Random(number))
        built = _tried(root, number)
        yield built if built.complaint else Tried(f"built twice, seed {number}", _differing(root, folder / f"{number} anew"))


def _tried(root: Path, number: int) -> Tried:
    """Build it; a whole build may take its time."""
    built = watch(f"site built, seed {number}", lambda: _built(root))
    return replace(built, complaint=Complaint() if built.complaint.kind == OVER_TIME else built.complaint)


def hostile_repository(root: Path, rng: random.Random, texts: int = TEXTS_A_FILE) -> Path:
    """A repository of every kind of file, methods with drawn bodies and drawings beside, and hostile texts wherever the check lets them."""
    repository(root)
    for number in range(METHODS):
        _write_method(root, f"drawn-{number}", rng)
    for path in _refused(root):  # what is drawn beyond the limits goes the way that a maintainer sends it
        _take_out(root / path)
    for path in sorted(root.rglob("*")):
        if path.suffix in (".json", ".yaml", ".md") and path.is_file() and "registers" not in path.parts:
            _with_texts(root, path, rng, texts)
    assert not load_repository(root).errors
    return root


def _write_method(root: Path, name: str, rng: random.Random) -> None:
    """A version in nobody's review: its body and drawing are drawn until nothing is found in them, for a few tries."""
    for _ in range(20):
        body, svg = drawn_body(rng), drawn_drawing(rng)
        if not body_problems(body) and not drawing_problems(svg):
            break
    else:
        body, svg = "Nothing.", b""
    write(root / "protocols" / name / "1.0.0.md", markdown(protocol({"/id": name}), f"{BODY}\n{body}\n"))


def _take_out(path: Path) -> None:
    shutil.rmtree(path.parent) if path.parent.name.startswith("drawn-") else path.unlink()


def _refused(root: Path) -> set[str]:
    return {finding.file for finding in load_repository(root).errors}


def _with_texts(root: Path, path: Path, rng: random.Random, texts: int) -> None:
    """Put payloads in place of texts of one file; what brings an error is taken back."""
    for _ in range(texts):
        before = path.read_bytes()
        front, body = _parts(path.suffix, before.decode())
        places = list(_texts(front))
        if not places:
            return
        tree = _with(front, rng.choice(places), rng.choice((*SHORT, *LABELS)).format(mark=f"mark{rng.randrange(9999):04d}"))
        path.write_text(_joined(path.suffix, tree, body), encoding="utf-8")
        if _refused(root):
            path.write_bytes(before)


def _parts(suffix: str, text: str) -> tuple[object, str]:
    if suffix == ".md":
        _, front, body = text.split("---\n", 2)
        return yaml.safe_load(front), body
    return (json.loads(text) if suffix == ".json" else yaml.safe_load(text)), ""


def _joined(suffix: str, tree: object, body: str) -> str:
    if suffix == ".md":
        return f"---\n{yaml.safe_dump(tree, sort_keys=False, allow_unicode=True)}---\n{body}"
    return json.dumps(tree, indent=1, ensure_ascii=False) if suffix == ".json" else yaml.safe_dump(tree, allow_unicode=True)


def _texts(tree: object, place: tuple = ()) -> Iterator[tuple]:
    inside = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in inside:
        if isinstance(value, str):
            yield (*place, key)
        yield from _texts(value, (*place, key))


def _with(tree: object, place: tuple, text: str) -> object:
    tree = copy.deepcopy(tree)
    inside = tree
    for key in place[:-1]:
        inside = inside[key]
    inside[place[-1]] = text
    return tree


def _built(root: Path) -> Complaint | None:
    """The site, by the project's own path; every submission that was read is in its results."""
    read = load_repository(root)
    builds.site(root)
    results = json.loads((root / "build" / "results" / "results.json").read_text(encoding="utf-8"))
    missing = {one.record.id for one in (*read.submissions, *read.retracted)} - {
        one["id"] for one in (*results["submissions"], *results["retracted"])
    }
    return Complaint(LOST, f"{sorted(missing)}: read, and not in the results") if missing else None


OTHER = {"PYTHONHASHSEED": "random", "LC_ALL": "C", "PYTHONUTF8": "0", "TZ": "Pacific/Kiritimati"}
"""Of another process: what may change no byte."""


def _differing(root: Path, elsewhere: Path) -> Complaint:
    """Files that differ between this build and one of a copy, by another process in another setting."""
    shutil.copytree(root, elsewhere, ignore=shutil.ignore_patterns("build"))
    environment = os.environ | OTHER | {"PYTHONPATH": str(Path(__file__).parents[2])}
    ran = subprocess.run([sys.executable, "-m", "edgehold", "site"], cwd=elsewhere, env=environment, capture_output=True, timeout=600)
    if ran.returncode:
        return Complaint(TRACEBACK, ran.stderr.decode(errors="replace")[-2000:])
    here, there = digests(root / "build"), digests(elsewhere / "build")
    other = sorted(path for path in here.keys() | there.keys() if here.get(path) != there.get(path))
    return Complaint(DIFFERING, f"{len(other)} files, such as {other[:3]}") if other else Complaint()


def _visited(folder: Path, number: int) -> Iterator[Tried]:
    """Every page in a headless Chromium."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=SWITCHES)
        yield from _seen(browser, folder, number)
        browser.close()


def _seen(browser: Browser, folder: Path, number: int) -> Iterator[Tried]:
    """A case a page: whatever ran, was asked elsewhere, complained or stands there as no page of ours would have it."""
    with served(folder) as address:
        facts = crawl(browser, address, pages_of(folder))
    for page, seen in facts.items():
        ran = [*seen["handlers"], *seen["violations"], *seen["elsewhere"], *seen["errors"], *seen["foreign"]]
        ran += [seen["scriptRan"]] if seen["scriptRan"] else []
        yield Tried(f"{page}, seed {number}", Complaint(SCRIPT, "; ".join(ran)[:600]) if ran else Complaint())
