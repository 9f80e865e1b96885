"""Git is asked and never obeyed: what it cannot answer, or not in time, is told in plain words."""

import os
import subprocess

import pytest

from edgehold.errors import InputError, RepositoryError
from edgehold.records.request import git_reading
from edgehold.records.request.against import check_proposal
from edgehold.records.request.git_reading import ask, names
from tests.records.builder import TODAY, second, submission, write, write_submission

from .requests import BASE, commit, git, make_base


@pytest.fixture
def root(tmp_path):
    git(tmp_path, "init", "-q", "-b", "main")
    commit(tmp_path)
    return tmp_path


def fake_git(folder, monkeypatch, script: str) -> None:
    write(folder / "git", f"#!/bin/sh\n{script}\n").chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:/usr/bin:/bin")


def test_an_answer_is_bytes_as_git_wrote_them(root):
    assert ask(root, "rev-parse", "--is-inside-work-tree") == b"true\n"


def test_input_is_handed_over(root):
    assert ask(root, "hash-object", "--stdin", given=b"x\n").strip() == b"587be6b4c3f93f93c489c0111bba5596147a26cb"


def test_a_refusal_is_told_in_git_s_own_words(root):
    with pytest.raises(InputError, match=r"git cat-file failed \(128\): .*nowhere"):
        ask(root, "cat-file", "blob", "nowhere")


def test_a_git_that_never_ends_is_ended(root, tmp_path_factory, monkeypatch):
    fake_git(tmp_path_factory.mktemp("slow"), monkeypatch, "exec sleep 60")
    monkeypatch.setattr(git_reading, "LONGEST_SECONDS", 0.2)
    with pytest.raises(RepositoryError, match=r"git status took more than 0\.2 seconds"):
        ask(root, "status")


def test_a_machine_without_git_is_told_so(root, tmp_path_factory, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path_factory.mktemp("empty")))
    with pytest.raises(RepositoryError, match="git is not installed"):
        ask(root, "status")


def test_no_variable_of_git_s_reaches_it_and_its_settings_are_left_out(root, tmp_path_factory, monkeypatch):
    fake_git(tmp_path_factory.mktemp("told"), monkeypatch, "env | grep '^GIT_' | sort; echo \"$@\"")
    monkeypatch.setenv("GIT_DIR", "/elsewhere")
    monkeypatch.setenv("GIT_SSH_COMMAND", "touch /tmp/x")
    told = ask(root, "status").decode().splitlines()
    assert not [line for line in told if line.startswith(("GIT_DIR", "GIT_SSH"))]
    assert {"GIT_CONFIG_NOSYSTEM=1", f"GIT_CONFIG_GLOBAL={os.devnull}", "GIT_TERMINAL_PROMPT=0"} <= set(told)
    assert "--no-pager" in told[-1] and f"core.hooksPath={os.devnull}" in told[-1]


def test_names_are_kept_byte_for_byte():
    assert names(b"a b\0\xffx\0line\nbreak\0") == ["a b", "\udcffx", "line\nbreak"]


@pytest.fixture
def planted(tmp_path, monkeypatch):
    """A request whose repository, machine and person name a program in every place that git knows; it tells when it ran."""
    root = make_base(tmp_path / "repository", submissions=[submission()])
    ran = tmp_path / "ran"
    write(tmp_path / "program", f'#!/bin/sh\necho "$0 $*" >> {ran}\ncat\n').chmod(0o755)
    line = f"{tmp_path}/program"
    for name in (
        "filter.own.clean", "filter.own.smudge", "filter.own.process", "filter.a=b.clean", "diff.own.textconv", "diff.own.command",
        "diff.external", "core.fsmonitor", "core.sshCommand", "core.pager", "core.editor", "core.alternateRefsCommand", "credential.helper",
        "alias.diff", "merge.own.driver",
    ):  # fmt: skip
        git(root, "config", name, line)
    git(root, "config", "filter.own.required", "true")
    git(root, "config", "core.hooksPath", str(tmp_path / "hooks"))
    git(root, "config", "core.attributesFile", str(write(tmp_path / "attributes", "* filter=own diff=own\n")))
    git(root, "config", "core.excludesFile", str(write(tmp_path / "excludes", "*\n")))
    for hook in ("post-index-change", "fsmonitor-watchman", "pre-auto-gc", "reference-transaction"):
        write(tmp_path / "hooks" / hook, f'#!/bin/sh\necho "$0" >> {ran}\n').chmod(0o755)
    write(root / ".git" / "info" / "attributes", "* filter=own diff=own\nsubmissions/** filter=a=b\n")
    write(tmp_path / "home" / ".gitconfig", f'[core]\n\tfsmonitor = "{line}"\n[filter "own"]\n\tclean = "{line}"\n')
    write(tmp_path / "home" / "git" / "attributes", "* filter=own\n")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "home"))
    for name in ("GIT_EXTERNAL_DIFF", "GIT_SSH_COMMAND", "GIT_PAGER", "GIT_ASKPASS", "GIT_EDITOR", "GIT_PROXY_COMMAND"):
        monkeypatch.setenv(name, line)
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_CONFIG_KEY_0", "filter.own.clean")
    monkeypatch.setenv("GIT_CONFIG_VALUE_0", line)
    return root, ran


def test_no_program_of_the_person_s_own_runs_and_nothing_is_hidden(planted):
    root, ran = planted
    write_submission(root, second())
    changed = next((root / "submissions" / "measured").rglob("wren-1.json"))
    changed.write_text(changed.read_text().replace("wren-1", "wren-1 "))
    found = check_proposal(root, BASE, today=TODAY)
    assert not ran.exists(), ran.read_text()
    assert {change.kind for change in found.proposal.changes} == {"added", "changed"}


def test_the_planted_program_does_run_when_git_is_asked_plainly(planted):
    """Otherwise the test above would show nothing."""
    root, ran = planted
    changed = next((root / "submissions" / "measured").rglob("wren-1.json"))
    changed.write_text(changed.read_text().replace("wren-1", "wren-1 "))
    subprocess.run(["git", "-C", root, "diff"], env={**os.environ, "GIT_CONFIG_COUNT": "0"}, capture_output=True, check=False)
    assert ran.exists()
