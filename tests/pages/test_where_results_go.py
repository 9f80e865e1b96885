"""Where results go and what it takes stands on every page that speaks of sending, and its absence is told to whoever builds the site."""

import json
import re
import shutil
from pathlib import Path

import pytest

from edgehold.cli import FINE, main
from edgehold.pages import shell
from edgehold.pages.where_results_go import MARK, where_results_go
from edgehold.words import group
from tests.records.builder import make_repository, submission
from tests.words.says import says

ROOT = Path(__file__).parents[2]
PAGES = ("tonight", "submit", "contributing")


def text_of(site, page):
    html = (site / page / "index.html").read_text(encoding="utf-8")
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", html.split("<article", 1)[1]))


@pytest.mark.parametrize("page", PAGES)
def test_with_an_address_the_pages_name_it_and_what_it_takes(site, page):
    told, html = text_of(site, page), (site / page / "index.html").read_text(encoding="utf-8")
    assert says(told, "sending.somewhere", where="code.example/edgehold")
    assert says(told, "sending.with_account") and says(told, "sending.without_account")
    assert '<a href="https://code.example/edgehold">' in html and not says(told, "sending.nowhere")
    assert MARK not in html


@pytest.mark.parametrize("address", ["", "https://code.example/'><script>", "javascript:alert(1)", "http://code.example"])
def test_without_an_address_or_with_what_is_none_they_say_so(address):
    shown = where_results_go(address)
    assert says(shown, "sending.nowhere") and says(shown, "sending.nowhere_now")
    assert "<a " not in shown and "script" not in shown


def test_the_hand_written_pages_leave_the_place_for_it_once():
    for page in ("submit", "contributing"):
        assert (ROOT / "site" / "pages" / f"{page}.md").read_text(encoding="utf-8").count(f"\n{MARK}\n") == 1


@pytest.mark.parametrize("setting", ["", "extra:\n  repository_url: https://code.example/edgehold\n"], ids=["unset", "set"])
def test_whoever_builds_a_site_without_an_address_is_warned_and_the_site_is_built(tmp_path, monkeypatch, capsys, setting):
    make_repository(tmp_path, submissions=[submission()])
    shutil.copytree(ROOT / "schemas", tmp_path / "schemas")
    (tmp_path / "mkdocs.yml").write_text(f"site_url: https://edgehold.example/\n{setting}", encoding="utf-8")
    (tmp_path / ".github").mkdir()
    (tmp_path / ".github" / "CODEOWNERS").write_text("* @harbour/board\n", encoding="utf-8")
    monkeypatch.setattr(shell, "lay_site", lambda contents, chosen, target, *_: target.mkdir())
    assert main(["site", "--root", str(tmp_path)]) == FINE
    provenance = json.loads((tmp_path / "build" / "results" / "results.json").read_text(encoding="utf-8"))["provenance"]
    said = capsys.readouterr().err
    warning = f"edgehold: warning: {group('sending')['no_repository']}\n"
    assert (warning in said) == (not provenance["repository_url"]) == (not setting)
    assert ("@harbour/board" in said) == bool(setting)
