"""The host's workflows: read-only for proposals, every action pinned by its commit, and passed by two independent checkers.

zizmor (docs.zizmor.sh) knows the ways in which such files go wrong; check-jsonschema (check-jsonschema.readthedocs.io) holds them
against the published schema of the format, which it brings along. Both run without a network.
"""

import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / ".github" / "workflows"
WORKFLOWS = sorted(FOLDER.glob("*.yml"))
TOOLS = Path(sys.executable).parent


def loaded(path: Path) -> dict:
    tree = yaml.safe_load(path.read_text(encoding="utf-8"))
    return tree | {"on": tree.get(True)}  # YAML 1.1 reads the key "on" as true


def run(*command: str) -> subprocess.CompletedProcess:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_there_is_a_check_and_a_publication():
    assert [path.name for path in WORKFLOWS] == ["check.yml", "publish.yml", "release.yml", "versions.yml"]


def test_zizmor_has_nothing_to_say():
    done = run(str(TOOLS / "zizmor"), "--offline", "--no-progress", "--persona=pedantic", str(FOLDER))
    assert done.returncode == 0, done.stdout + done.stderr


def test_zizmor_would_have_something_to_say(tmp_path):
    (tmp_path / "bad.yml").write_text((FOLDER / "check.yml").read_text().replace("pull_request:", "pull_request_target:"))
    assert run(str(TOOLS / "zizmor"), "--offline", "--no-progress", "--persona=pedantic", str(tmp_path / "bad.yml")).returncode != 0


def test_they_have_the_form_that_the_host_publishes():
    done = run(str(TOOLS / "check-jsonschema"), "--builtin-schema", "vendor.github-workflows", *map(str, WORKFLOWS))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", WORKFLOWS, ids=lambda path: path.name)
def test_every_action_is_pinned_by_its_whole_commit_with_the_version_beside_it(path):
    used = re.findall(r"uses: *(.*)", path.read_text(encoding="utf-8"))
    assert used and all(re.fullmatch(r"actions/[a-z-]+@[0-9a-f]{40} # v[0-9]+\.[0-9]+\.[0-9]+", line) for line in used)


@pytest.mark.parametrize("path", WORKFLOWS, ids=lambda path: path.name)
def test_nothing_is_allowed_but_what_a_job_names_and_every_job_ends(path):
    tree = loaded(path)
    assert tree["permissions"] == {}
    assert "concurrency" in tree
    for job in tree["jobs"].values():
        assert job["timeout-minutes"] <= 60
        for step in job["steps"]:
            if step.get("uses", "").startswith("actions/checkout"):
                assert step["with"]["persist-credentials"] is False


def test_a_proposal_starts_no_privileged_run_and_sees_no_secret():
    text = (FOLDER / "check.yml").read_text(encoding="utf-8")
    tree = loaded(FOLDER / "check.yml")
    assert list(tree["on"]) == ["pull_request"] and "paths" not in tree["on"]["pull_request"]
    assert all(job["permissions"] == {"contents": "read"} for job in tree["jobs"].values())
    assert "secrets" not in text and "workflow_run" not in text


def test_the_base_s_program_checks_and_the_proposal_is_only_a_folder_to_it():
    steps = loaded(FOLDER / "check.yml")["jobs"]["proposal"]["steps"]
    commands = [step["run"] for step in steps if "run" in step]
    install = [line for line in commands[0].splitlines() if line.strip()]
    assert all(line.startswith("python -m pip install --quiet ") and re.search(r"\bbase\b", line) for line in install)
    assert commands[1].startswith("edgehold check --root proposal --against ")
    assert all("proposal" not in command.replace("--root proposal", "") for command in commands)
    checked = next(step for step in steps if step.get("run") == commands[1])
    assert checked["env"] == {"AUTHOR": "${{ github.event.pull_request.user.id }}"} and '--author "$AUTHOR"' in commands[1]
    assert not any("${{" in command for command in commands)  # what an event says is never part of a script
    checkouts = [step["with"] for step in steps if step.get("uses", "").startswith("actions/checkout")]
    assert checkouts[0]["ref"] == "${{ github.event.pull_request.base.ref }}" and checkouts[0]["path"] == "base"
    assert "ref" not in checkouts[1] and checkouts[1]["fetch-depth"] == 0


def test_the_site_is_deployed_only_after_everything_was_checked():
    jobs = loaded(FOLDER / "publish.yml")["jobs"]
    assert jobs["build"]["permissions"] == {"contents": "read"}
    assert (jobs["keep"]["needs"], jobs["deploy"]["needs"]) == ("build", "keep")
    assert set(jobs["deploy"]["permissions"]) == {"pages", "id-token"}
    assert jobs["attest"]["needs"] == "keep" and jobs["attest"]["permissions"] == {
        "contents": "read", "id-token": "write", "attestations": "write",
    }  # fmt: skip
    assert not any("attestations" in job["permissions"] for name, job in jobs.items() if name != "attest")
    commands = [step.get("run", "") for step in jobs["build"]["steps"]]
    assert commands.index("edgehold check --annotate") < commands.index("edgehold site --archive kept")
