"""A build from what earlier builds kept gives the same bytes as one that computes everything, whatever happened in between."""

import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from mkdocs.exceptions import Abort

from edgehold import builds
from edgehold.engine.cache import FILE, Cache
from edgehold.errors import FindingsError
from edgehold.inputs import inputs_of
from edgehold.records.change.writing import correct, retract
from edgehold.words import code_of

from .repositories import ROOT, level_endpoint, protocol_text, write_repository
from .test_command_line import two_blades

NAMES = ("tern", "cleat", "fid", "gull", "kedge")
FREE = ("tern", "cleat", "gull", "kedge")  # none of them is the pilot that the protocol's adoption rests on
STEPS = st.one_of(
    st.tuples(st.just("add"), st.sampled_from(FREE)),
    st.tuples(st.just("correct"), st.sampled_from(FREE), st.sampled_from([3.5, 4.25, 5.0])),
    st.tuples(st.just("retract"), st.sampled_from(FREE)),
    st.tuples(st.just("ratio"), st.sampled_from([1.2, 1.3])),
    st.tuples(st.just("object"), st.sampled_from(["An edge with a burr reads as sharp.", "So it has been twice."])),
    st.tuples(st.just("write"), st.sampled_from(["A line more.", "## A part\n\nWith [a link](safety.md)."])),
    st.tuples(st.just("menu"), st.sampled_from(["Privacy: ", "Your data: "])),
    st.tuples(st.just("shell"), st.sampled_from(["<p>One thing.</p>", "<p>Another.</p>"])),
)


OBJECTION = """---
format: objection/1.0.0
kind: objection
against:
  protocol: two-sharpeners-rope
  version: "1.0.0"
title: A burr reads as sharp
threat: instrument
severity: minor
proposed_change: Take the first reading after two cuts.
interest: none
by: kittiwake
month: "2025-09"
---

{}
"""


def protocol(ratio: float) -> str:
    return protocol_text(endpoints=[level_endpoint(10, worthwhile_ratio=ratio)])


def repository(root: Path, names: tuple[str, ...] = NAMES[:3]) -> Path:
    return write_repository(root, protocol(1.25), [two_blades(f"{name}-1", name) for name in names])


def with_pages(root: Path) -> Path:
    """The repository with hand-written pages and a shell of its own, as this project's has them."""
    for name in ("mkdocs.yml", "schemas", "site/pages", "site/overrides"):
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, root / name)
    return root


def take(root: Path, step: tuple) -> None:
    """What a step does to the files; nothing where it does not fit what is there."""
    what, *rest = step
    if what in ("write", "menu", "shell"):
        place, before, after = {
            "write": ("site/pages/privacy.md", r"\Z", f"\n{rest[0]}\n"),
            "menu": ("mkdocs.yml", r"(?<=- )[A-Z][a-z ]+: (?=privacy\.md)", rest[0]),
            "shell": ("site/overrides/partials/footer.html", r"(?=</footer>)", rest[0]),
        }[what]
        text, changes = re.subn(before, after, (root / place).read_text(encoding="utf-8"))
        assert changes == 1
        (root / place).write_text(text, encoding="utf-8")
        return
    if what == "object":
        (of_protocol,) = (root / "protocols").iterdir()
        place = of_protocol / "objections" / "001-a-burr" / "00-objection.md"
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(OBJECTION.format(rest[0]), encoding="utf-8")
        return
    if what == "ratio":
        (path,), (event,) = (root / "protocols").glob("*/*.md"), (root / "protocols").glob("*/events/*released*")
        before = hashlib.sha256(path.read_bytes()).hexdigest()
        path.write_text(protocol(rest[0]), encoding="utf-8")
        event.write_text(event.read_text(encoding="utf-8").replace(before, hashlib.sha256(path.read_bytes()).hexdigest()), encoding="utf-8")
        return
    (folder,) = (path for path in (root / "submissions" / "measured").iterdir() if path.is_dir())
    there, changed = folder / f"{rest[0]}-1.json", folder / "changes" / f"{rest[0]}-1"
    if what == "add" and not there.exists():
        there.write_text(json.dumps(two_blades(f"{rest[0]}-1", rest[0])), encoding="utf-8")
    elif there.exists() and not any("retraction" in path.name for path in changed.glob("*")):
        if what == "correct":
            value = {"written": rest[1]}
            assert correct(root, there.stem, [("/runs/0/readings/0/values/0", value)], why="misread", by=rest[0], month="2026-11").kept
        elif what == "retract":
            assert retract(root, there.stem, why="spoiled", by=rest[0], month="2026-11").kept


def published(root: Path) -> dict[str, bytes]:
    """Results and site."""
    builds.site(root)
    return files_of(root)


def anew(root: Path, aside: Path) -> dict[str, bytes]:
    """What a build that finds no cache and no earlier build publishes."""
    shutil.rmtree(aside, ignore_errors=True)
    shutil.copytree(root, aside, ignore=shutil.ignore_patterns("build"))
    return published(aside)


@pytest.mark.parametrize(
    "steps",
    [
        [
            ("object", "A burr."),
            ("add", "gull"),
            ("correct", "tern", 3.5),
            ("ratio", 1.2),
            ("retract", "cleat"),
            ("write", "More."),
            ("shell", "<p>One.</p>"),
        ],
        [("write", "## A part\n\nWith [a link](safety.md)."), ("menu", "Your data: ")],
    ],
    ids=["all but the menu", "page and menu"],
)
def test_whatever_was_added_corrected_taken_back_written_or_set_otherwise(tmp_path, steps):
    """Every file of the results and every page are the same to the byte, though pages that did not change are taken from the cache."""
    root = with_pages(repository(tmp_path / "repository"))
    published(root)
    for step in steps:
        take(root, step)
    assert published(root) == anew(root, tmp_path / "anew")


@pytest.mark.long
@given(steps=st.lists(STEPS, min_size=1, max_size=4))
@settings(max_examples=10, phases=[Phase.generate])
def test_whatever_steps_are_drawn(steps):
    with TemporaryDirectory() as folder:
        test_whatever_was_added_corrected_taken_back_written_or_set_otherwise(Path(folder), steps)


@pytest.fixture
def names(monkeypatch):
    """Under what name each key of the cache stands."""
    found = {}
    key = Cache.key

    def noted(self, function, arguments):
        made = key(self, function, arguments)
        found[made] = function.__name__
        return made

    monkeypatch.setattr(Cache, "key", noted)
    return found


@pytest.fixture
def computed(monkeypatch, names):
    """What is computed and not found, by name."""
    found = []
    put = Cache.put

    def noted(self, key, pickled):
        found.append(names[key])
        return put(self, key, pickled)

    monkeypatch.setattr(Cache, "put", noted)
    return found


def test_a_site_is_the_same_from_a_cache_with_damage_and_only_the_damaged_is_computed(tmp_path, names, computed):
    """All of the site, drawings, pages and search too; nothing at all is computed again where nothing changed."""
    root = repository(tmp_path / "one", NAMES)
    told = []
    builds.site(root, told.append)
    first = files_of(root)
    damaged = ("_entries", "_hold", "_Template", "_whole", "_written", "_WrittenPage")
    assert {*damaged} <= {*computed} and len({*computed}) > 8
    computed.clear()
    builds.site(root, told.append)
    assert computed == [] and files_of(root) == first
    with closing(sqlite3.connect(root / "build" / "cache" / FILE, isolation_level=None)) as file:
        for key in [next(key for key, name in names.items() if name == one) for one in damaged]:
            ((sealed,),) = file.execute("SELECT sealed FROM entries WHERE key = ?", (key,)).fetchall()
            file.execute("UPDATE entries SET sealed = ? WHERE key = ?", (sealed[:-9] + bytes(9), key))
    assert "cache.damaged" not in map(code_of, told)
    builds.site(root, told.append)
    assert sorted(computed) == sorted(damaged) and files_of(root) == first
    (said,) = [one for one in told if code_of(one) == "cache.damaged"]
    assert said.arguments["entries"] == len(damaged)


def test_what_changed_is_written_and_all_else_stays_the_file_that_it_was(tmp_path, computed):
    """A hand-written page costs that page; what was published before is no source, whatever became of it."""
    root = with_pages(repository(tmp_path / "one"))
    builds.site(root)
    first, times = files_of(root), {path: written_at(root, path) for path in files_of(root)}
    computed.clear()
    take(root, ("write", "A line more."))
    spoiled = "site/safety/index.html"
    (root / "build" / spoiled).write_text("spoiled", encoding="utf-8")
    builds.site(root)
    second = files_of(root)
    changed = {path for path in second if second[path] != first[path]}
    assert changed == {"site/privacy/index.html", "site/assets/search/index.json"} and second.keys() == first.keys()
    assert {path for path in second if written_at(root, path) != times[path]} == changed | {spoiled}
    assert sorted(computed) == ["_Template", "_WrittenPage", "_entries"]


def test_what_somebody_says_about_a_method_computes_nothing_of_its_results(tmp_path, computed):
    """Nor does a file that is only added check the others again."""
    root = repository(tmp_path / "one", NAMES)
    take(root, ("object", "A burr."))
    builds.site(root)
    assert {"_one", "_answers", "_estimates", "readings_by", "_of_pool", "_submission", "outcome_table"} <= {*computed}
    computed.clear()
    take(root, ("object", "An edge with a burr reads as sharp."))
    builds.site(root)
    assert {*computed} <= {"_whole", "_Template", "_entries", "_hold", "_sanitised", "response_table", "outcome_table"}
    computed.clear()
    take(root, ("add", "rook"))
    builds.site(root)
    assert computed.count("readings_by") == computed.count("_submission") - len(NAMES) == 1


def test_a_submission_computes_nothing_of_what_comes_out_of_another_folder(tmp_path, computed):
    """Here of invented ones to the same protocol; what was computed and what was found make the same results as all computed anew."""
    invented = [two_blades(f"{name}-1", name) | {"origin": "simulated"} for name in ("smew", "teal")]
    root = write_repository(tmp_path / "one", protocol(1.25), [*invented, *(two_blades(f"{name}-1", name) for name in NAMES)])
    builds.site(root)
    assert computed.count("outcomes") == 2
    computed.clear()
    take(root, ("correct", "tern", 3.5))
    assert published(root) == anew(root, tmp_path / "anew")
    assert computed.count("outcomes") == 1 + 2


READING = """
import sys
from pathlib import Path
root = str(Path(sys.argv[1]).resolve()) + "/"
read = set()
sys.addaudithook(lambda event, given: read.add(str(given[0])) if event in ("open", "os.listdir", "os.scandir") else None)
from edgehold.pipeline import whole
whole(Path(root))
print(*sorted(path for path in read if path.startswith(root)), sep="\\n")
"""


def test_whatever_the_path_reads_of_a_repository_decides_what_is_kept(tmp_path):
    """A file that is opened and not hashed could change without a trace."""
    root = with_pages(repository(tmp_path / "one")).resolve()
    take(root, ("correct", "tern", 3.5))
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    told = subprocess.run([sys.executable, "-c", READING, root], env=environment, check=True, capture_output=True, text=True)
    read = {Path(line) for line in told.stdout.splitlines()}
    assert len(read) > 8 and {"1.0.0.md", "tern-1.json", "mkdocs.yml"} <= {path.name for path in read}
    assert read - {*inputs_of(root, root / "mkdocs.yml")} <= {root}


def test_a_folder_more_is_something_new(tmp_path):
    """An empty folder may be none that a repository has: its finding stops a build, kept or not."""
    root = repository(tmp_path / "one")
    builds.site(root)
    (root / "protocols" / "two-sharpeners-rope" / "stray").mkdir()
    with pytest.raises(FindingsError):
        builds.site(root)


def test_a_link_to_what_is_gone_is_told_though_its_page_is_kept(tmp_path):
    root = with_pages(repository(tmp_path / "one"))
    builds.site(root)
    for path in ("mkdocs.yml", "site/pages/objecting.md", "site/pages/worked-example.md"):
        before = (root / path).read_text(encoding="utf-8")
        (root / path).write_text(re.sub(r".*privacy\.md.*", "", before), encoding="utf-8")
    (root / "site" / "pages" / "privacy.md").unlink()
    told = [path.name for path in (root / "site" / "pages").glob("*.md") if "privacy.md" in path.read_text(encoding="utf-8")]
    assert told
    with pytest.raises(Abort, match="in strict mode"):
        builds.site(root)


def written_at(root: Path, path: str) -> int:
    return (root / "build" / path).stat().st_mtime_ns


def test_the_check_of_a_request_opens_no_cache(tmp_path):
    """Neither to read nor to write: whoever sends a request may bring files of any name along."""
    root = repository(tmp_path / "one", NAMES)
    (root / "build" / "cache").mkdir(parents=True)
    (root / "build" / "cache" / FILE).write_bytes(b"brought along")
    git = ["git", "-C", str(root), "-c", "user.name=tern", "-c", "user.email=tern@example.org"]
    for words in (["init", "-q"], ["add", "-A"], ["commit", "-qm", "base"]):
        subprocess.run([*git, *words], check=True)
    take(root, ("add", "rook"))
    words = [sys.executable, "-m", "edgehold", "check", "--against", "HEAD", "--pool", "--summary", str(tmp_path / "summary.md")]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    subprocess.run(words, cwd=root, env=environment, check=True, capture_output=True)
    assert (root / "build" / "cache" / FILE).read_bytes() == b"brought along"
    assert [path.name for path in (root / "build" / "cache").iterdir()] == [FILE]


def files_of(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root / "build").as_posix(): path.read_bytes()
        for part in ("results", "site")
        for path in (root / "build" / part).rglob("*")
        if path.is_file()
    }
