"""Git is asked and never obeyed: what it cannot answer, or not in time, is told in plain words."""

import os

import pytest

from edgehold.errors import InputError, RepositoryError
from edgehold.records.request import git_reading
from edgehold.records.request.git_reading import ask, names
from tests.records.builder import write

from .requests import commit, git


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
