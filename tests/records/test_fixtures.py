"""Every format and version that was ever in use still reads, through the loader that reads everybody's files."""

import json
import re
import shutil
from pathlib import Path

import jsonschema
import pytest

from edgehold.records import load_repository
from edgehold.records.model.plan import Plan, SharedPlan
from edgehold.records.read.form import read_record
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.model.results import RESULTS_FORMAT, Results
from edgehold.results.publish.repeatability_file import REPEATABILITY_FORMAT

ROOT = Path(__file__).parents[2]
FIXTURES = Path(__file__).parent / "fixtures"
BELOW_ALL = ("event", "protocol", "submission")
NEWEST = "1.6.0"
PUBLISHED = {RESULTS_FORMAT: Results, REPEATABILITY_FORMAT: PublishedRepeatability}


def fixture_files(name: str) -> list[Path]:
    return sorted(path for path in (FIXTURES / name).rglob("*") if path.is_file())


def assembled(root: Path, *names: str) -> Path:
    """A repository in which the named fixtures lie over a protocol, its events and a submission of the same version."""
    version = names[0].rpartition("-")[2] if names else NEWEST
    for name in dict.fromkeys((*(of_version(kind, version) for kind in BELOW_ALL), *names)):
        shutil.copytree(FIXTURES / name, root, dirs_exist_ok=True)
    return root


def of_version(kind: str, version: str) -> str:
    """The fixture of a format's version, or of its newest before."""
    return max(name for name in FOLDERS if re.fullmatch(rf"{kind}-[0-9.]+", name) and name <= f"{kind}-{version}")


def in_repository(name: str) -> list[str]:
    return [path.relative_to(FIXTURES / name).as_posix() for path in fixture_files(name)]


FOLDERS = sorted(path.name for path in FIXTURES.iterdir() if path.is_dir())
LOADED = [name for name in FOLDERS if any(path.startswith(("protocols/", "submissions/")) for path in in_repository(name))]


def test_every_version_of_every_schema_has_a_fixture():
    versions = {f"{path.parent.name}-{path.stem}" for path in ROOT.glob("schemas/*/*.json")}
    assert versions <= {name for name in FOLDERS if fixture_files(name)}


@pytest.mark.parametrize("name", LOADED)
def test_the_loader_reads_it_without_an_error(name, tmp_path):
    found = load_repository(assembled(tmp_path, name))
    assert [(f.file, f.code, f.message) for f in found.errors] == []
    read = {p.path for p in found.protocols.values()} | {s.path for s in (*found.submissions, *found.retracted)}
    read |= {change.path for s in (*found.submissions, *found.retracted) for change in s.changes} | {path for path, _ in found.side_files}
    read |= {thread.path for thread in found.objections}
    kept = len(found.events["small-rope"]), sum(len(thread.entries) for thread in found.objections)
    entries = [path for path in in_repository(name) if "/events/" in path or path.endswith(("-response.md", "-outcome.md"))]
    assert set(in_repository(name)) - set(entries) <= read
    assert kept == (4, 2 if name.startswith("objection-") else 0)


def test_the_fullest_submission_reads_back_as_it_was_written(tmp_path):
    (loaded,) = load_repository(assembled(tmp_path)).submissions
    written = json.loads((tmp_path / loaded.path).read_text())
    assert json.loads(loaded.record.model_dump_json(exclude_unset=True)) == written
    assert loaded.runs[1].readings[4].limits == ("above", None) and loaded.runs[0].readings[3].work == 22


@pytest.mark.parametrize(
    "path", [path for name in FOLDERS if re.fullmatch(r"plan-[0-9.]+", name) for path in fixture_files(name)], ids=lambda p: p.parent.name
)
def test_a_plan_reads_as_one(path):
    record, problems = read_record(Plan, json.loads(path.read_text()))
    assert problems == [] and len(record.runs) == 2


@pytest.mark.parametrize("version", ["1.0.0", "1.1.0", "1.2.0"])
def test_a_shared_plan_reads_with_every_table(version):
    record, problems = read_record(SharedPlan, json.loads((FIXTURES / f"shared-plan-{version}" / "plan-1.json").read_text()))
    assert problems == [] and [part.table.number for part in record.tables] == [1, 2]


@pytest.mark.parametrize("name", [name for name in FOLDERS if name.split("-")[0] in {one.split("/")[0] for one in PUBLISHED}])
def test_what_was_published_reads_as_what_it_was(name):
    (path,) = fixture_files(name)
    kind, _, version = name.partition("-")
    found = json.loads(path.read_bytes())
    jsonschema.Draft202012Validator(json.loads((ROOT / "schemas" / kind / f"{version}.json").read_bytes())).validate(found)
    assert found["format"] == f"{kind}/{version}"
    if model := PUBLISHED.get(found["format"]):
        assert model.model_validate(found, strict=False).format == found["format"]


def test_what_is_published_now_has_a_fixture():
    assert {one.replace("/", "-") for one in PUBLISHED} <= set(FOLDERS)


def test_results_of_2_0_0_have_all_that_2_1_0_needs():
    older = json.loads((FIXTURES / "results-2.0.0" / "results.json").read_text(encoding="utf-8"))
    read = Results.model_validate_json(json.dumps(older | {"format": RESULTS_FORMAT}))
    assert read.model_dump_json() != "" and read.protocols and read.format == RESULTS_FORMAT
