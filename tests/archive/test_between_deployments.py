"""The steps of the workflow that keep builds on a branch, run as they stand there, over real git repositories on this machine."""

import gzip
import hashlib
import os
import re
import subprocess
from pathlib import Path

import pytest
import yaml

from edgehold.archive.folder import read_archive, withdraw, write_archive
from tests.proposals.requests import git

from .builds import build, contents, kept, submission

ROOT = Path(__file__).parents[2]
JOBS = yaml.safe_load((ROOT / ".github" / "workflows" / "publish.yml").read_text(encoding="utf-8"))["jobs"]
ONE, TWO = submission("wren-1", "wren"), submission("tern-1", "tern")


def step(job: str, words: str) -> str:
    """The commands of the one step of a job that hold these words."""
    (found,) = [s["run"] for s in JOBS[job]["steps"] if words in s.get("run", "")]
    return found


FETCH, KEEP = step("build", ".ci/archive fetch"), step("keep", ".ci/archive keep")


@pytest.fixture
def host(tmp_path):
    """A host with the project's repository, which has no archive yet."""
    git(tmp_path, "init", "-q", "--bare", "-b", "main", str(tmp_path / "host" / "edgehold"))
    return tmp_path / "host"


def on_runner(host: Path, machine: Path, commands: str) -> subprocess.CompletedProcess:
    """Run a step on a machine of its own, in a checkout that has the script and nothing else."""
    machine.mkdir(parents=True, exist_ok=True)
    if not (machine / ".ci").exists():
        (machine / ".ci").symlink_to(ROOT / ".ci")
    environment = {"PATH": os.environ["PATH"], "HOME": str(machine), "TOKEN": "secret", "LC_ALL": "C.UTF-8"}
    environment |= {"GITHUB_SERVER_URL": f"file://{host}", "GITHUB_REPOSITORY": "edgehold", "GIT_CONFIG_NOSYSTEM": "1"}
    return subprocess.run(["bash", "-eo", "pipefail", "-c", commands], cwd=machine, env=environment, capture_output=True, text=True)


def published(host: Path, machine: Path, *builds) -> subprocess.CompletedProcess:
    """One run of the workflow: fetch, build (which adds to the archive), keep."""
    fetched = on_runner(host, machine, FETCH)
    assert fetched.returncode == 0, fetched.stderr
    kept(machine / "kept", *builds)
    return on_runner(host, machine, KEEP)


def test_every_run_finds_what_all_before_it_kept(host, tmp_path):
    first, second = build(ONE), build(ONE, TWO, month="2026-07")
    assert published(host, tmp_path / "a", first).returncode == 0
    assert published(host, tmp_path / "b", second).returncode == 0
    assert on_runner(host, tmp_path / "c", FETCH).returncode == 0
    laid_out = contents(tmp_path / "c" / "kept")
    assert laid_out == contents(tmp_path / "b" / "kept")
    assert {n: c for n, c in laid_out.items() if first.name in n} == {f"{first.name}/{path}": c for path, c in first.files.items()}
    assert [one.name for one in read_archive(tmp_path / "c" / "kept").builds] == [first.name, second.name]
    assert git(host / "edgehold", "log", "--format=%s", "archive").splitlines() == ["Keep what was published"] * 2
    assert git(host / "edgehold", "branch", "--format=%(refname:short)") == "archive", "main is not touched"


def test_a_run_that_adds_nothing_commits_nothing(host, tmp_path):
    published(host, tmp_path / "a", build(ONE))
    again = published(host, tmp_path / "b", build(ONE))
    assert again.returncode == 0 and "nothing new" in again.stdout
    assert git(host / "edgehold", "rev-list", "--count", "archive") == "1"


@pytest.mark.parametrize("harm", ["change", "take away", "swap for a link"])
def test_a_kept_file_that_would_change_or_go_is_refused_by_git_alone(host, tmp_path, harm):
    first = build(ONE)
    published(host, tmp_path / "a", first)
    machine = tmp_path / "b"
    on_runner(host, machine, FETCH)
    kept(machine / "kept", build(ONE, TWO))
    place = machine / "kept" / first.name / "data" / "runs.csv"
    place.unlink()
    if harm == "change":
        place.write_text("other\n")
    elif harm == "swap for a link":
        place.symlink_to("answers.csv")
    refused = on_runner(host, machine, KEEP)
    assert refused.returncode == 1 and re.search(rf"archive/{first.name}/data/runs\.csv would (change|go)", refused.stderr)
    assert git(host / "edgehold", "rev-list", "--count", "archive") == "1"


def test_what_was_withdrawn_may_change_and_nothing_beside_it(host, tmp_path):
    first = build(ONE, TWO)
    published(host, tmp_path / "a", first)
    machine = tmp_path / "b"
    on_runner(host, machine, FETCH)
    folder = machine / "kept"
    write_archive(withdraw(read_archive(folder), {"wren-1": ("2026-08", "privacy")}, frozenset(), "2026-08"), folder)
    done = on_runner(host, machine, KEEP)
    assert done.returncode == 0, done.stderr
    on_runner(host, tmp_path / "c", FETCH)
    assert read_archive(tmp_path / "c" / "kept").builds[0].withdrawn
    held = b"".join(content for name, content in contents(tmp_path / "c" / "kept").items() if name.endswith(".csv"))
    assert b"wren" not in held and b"withdrawn" in held


def test_two_runs_at_once_never_lose_a_build(host, tmp_path):
    published(host, tmp_path / "a", build(ONE))
    slow = tmp_path / "slow"
    on_runner(host, slow, FETCH)
    kept(slow / "kept", build(ONE, TWO, ratio=1.6))
    assert published(host, tmp_path / "b", build(ONE, TWO)).returncode == 0
    late = on_runner(host, slow, KEEP)
    assert late.returncode != 0 and "would go" in late.stderr
    assert git(host / "edgehold", "rev-list", "--count", "archive") == "2"


def test_a_host_that_cannot_be_asked_is_no_empty_archive(host, tmp_path):
    failed = on_runner(tmp_path / "nowhere", tmp_path / "a", FETCH)
    assert failed.returncode != 0 and "cannot ask" in failed.stderr


def test_the_job_that_builds_cannot_write_and_the_one_that_writes_does_not_build():
    assert JOBS["build"]["permissions"] == {"contents": "read"} and JOBS["keep"]["permissions"] == {"contents": "write"}
    assert JOBS["keep"]["needs"] == "build" and JOBS["deploy"]["needs"] == "keep"
    assert not any("pip" in s.get("run", "") or "edgehold " in s.get("run", "") for s in JOBS["keep"]["steps"])
    assert "edgehold site --archive kept" in [s.get("run") for s in JOBS["build"]["steps"]]


def test_the_hashes_that_are_attested_are_those_of_the_newest_build(tmp_path):
    builds = build(ONE), build(ONE, TWO, month="2026-07")
    archive = kept(tmp_path / "kept", *builds)
    newest = archive.builds[-1]
    assert on_runner(tmp_path, tmp_path, step("attest", "digests")).returncode == 0
    said = dict(reversed(line.split("  ")) for line in (tmp_path / "digests.txt").read_text(encoding="utf-8").splitlines())
    packed = builds[1].files["data/results.json.gz"]
    assert said == {
        f"{newest.name}/SHA256SUMS": hashlib.sha256(builds[1].files["SHA256SUMS"]).hexdigest(),
        f"{newest.name}/data/results.json.gz": hashlib.sha256(packed).hexdigest(),
        f"{newest.name}/data/results.json": hashlib.sha256(gzip.decompress(packed)).hexdigest(),
    }
    listed = tuple(said[f"{newest.name}/{name}"] for name in ("SHA256SUMS", "data/results.json"))
    assert (newest.sums_sha256, newest.facts.results_sha256) == listed
    asked = next(s for s in JOBS["attest"]["steps"] if s.get("uses", "").startswith("actions/attest@"))
    assert asked["with"] == {"subject-checksums": "digests.txt"}
