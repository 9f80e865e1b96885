"""A missing browser is a failure with a cure, never a skip."""

import os
import stat

import pytest

from .chromium import chromium_path


def test_the_browser_named_in_the_environment_is_taken(monkeypatch, tmp_path):
    program = tmp_path / "my-browser"
    program.write_text("#!/bin/sh\n")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("EDGEHOLD_CHROMIUM", str(program))
    assert chromium_path() == str(program)


def test_otherwise_the_first_usual_name_on_the_path_is_taken(monkeypatch, tmp_path):
    program = tmp_path / "chromium-browser"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    monkeypatch.delenv("EDGEHOLD_CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert chromium_path() == str(program)


@pytest.mark.parametrize(("named", "said"), [("", "none of chromium, chromium-browser is on the path"), ("/no/such", "names '/no/such'")])
def test_a_missing_browser_is_told_with_its_cure(monkeypatch, tmp_path, named, said):
    monkeypatch.setenv("EDGEHOLD_CHROMIUM", named)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(FileNotFoundError, match=f"{said}.*Install it .*EDGEHOLD_CHROMIUM"):
        chromium_path()


def test_the_installer_agrees_that_the_browser_is_there(browser):
    assert browser.version
    assert os.access(chromium_path(), os.X_OK)
