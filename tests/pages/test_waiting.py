"""The page of what waits for a maintainer: its commands, copied from there, work over a real repository."""

import re
from html import unescape

import pytest
from sample import results

from edgehold.cli import main
from edgehold.pages.waiting_pages import cases, waiting_page
from edgehold.records import load_repository
from edgehold.records.threads import closes_form, state_of
from edgehold.results.publish.objections import objection_results
from tests.proposals.house import NEW, base, bind, on_base, say
from tests.proposals.requests import commit, git
from tests.proposals.test_floods import danger
from tests.proposals.test_identity import outcome, response
from tests.records.builder import changed
from tests.records.test_objections import OBJECTION
from tests.test_runbook import run

COMMAND = re.compile(r'<code class="waiting-command"[^>]*>(.*?)</code>', re.DOTALL)
ASKED = {"response": "more evidence wanted", "evidence": []}


@pytest.fixture
def root(tmp_path):
    """A base with a case of every kind: 1 rebutted, 2 unanswered, 3 dangerous, 4 asked about, 5 upheld, 6 repeats 1, 7 struck."""

    def cases_of(made):
        bind(made, "rook", NEW)
        say(made, "001-stone-wears", 1, response("dove", month="2026-06"))
        say(made, "003-slips", 0, danger("rook"))
        for number, folder in enumerate(("004-thread", "005-rope", "006-stone", "007-lamp"), 4):
            more = {"/duplicate_of": 1} if number == 6 else {}
            say(made, folder, 0, changed(OBJECTION, {"/by": "rook", "/title": folder, "/month": "2026-06"} | more), folder)
        say(made, "004-thread", 1, response("dove", month="2026-06", **ASKED))
        say(made, "005-rope", 1, outcome("keeper", "upheld and unresolved"))
        say(made, "007-lamp", 1, outcome("keeper", "struck"))

    made = base(tmp_path)
    on_base(made, cases_of)
    git(made, "config", "edgehold.handle", "keeper")
    return made


def shown(root) -> list[str]:
    """The commands of the page, in its order."""
    repository = load_repository(root)
    assert repository.errors == ()
    objections = objection_results(repository)
    unheard = {(t.protocol, t.number) for t in repository.objections if not t.by_itself}
    published = results().model_copy(update={"objections": objections})
    versions = [p.model_copy(update={"id": "small-rope", "blocking": (3,), "closed_by": ()}) for p in published.protocols[:1]]
    html = waiting_page(published.model_copy(update={"protocols": tuple(versions)})).html
    found = [unescape(command) for command in COMMAND.findall(html)]
    assert found == [case.command for case in cases(objections, unheard)]
    return found


def test_every_command_of_the_page_goes_through_as_it_stands_there(root):
    commands = shown(root)
    assert len(commands) == 4 and commands[0].startswith("edgehold draft response small-rope 3 ")
    for command in commands:
        run(f"printf 'Because of what the thread shows.' | {command}", root)
    commit(root)
    assert main(["check", "--root", str(root), "--against", "main"]) == 0
    threads = {thread.number: thread for thread in load_repository(root).objections}
    assert {number: state_of(threads[number]).state for number in (1, 2, 4)} == {
        1: "rebutted",
        2: "upheld and unresolved",
        4: "upheld and unresolved",
    }
    assert closes_form(threads[3]) and threads[3].entries[-1][0].response == "more evidence wanted"


def test_what_was_dealt_with_waits_no_longer(root):
    for command in shown(root):
        run(f"printf 'Because of what the thread shows.' | {command}", root)
    found = cases(objection_results(load_repository(root)), set())
    assert [(case.objection.number, case.kind) for case in found] == [(3, "asked")]


def test_an_upheld_one_waits_again_once_a_revision_is_said_to_cure_it(root):
    objections = {o.number: o for o in objection_results(load_repository(root))}
    upheld = objections[5]
    revision = objections[1].entries[0].model_copy(update={"says": "revision", "revised_in": "1.1.0"})
    (case,) = cases([upheld.model_copy(update={"entries": (*upheld.entries, revision)})], set())
    assert case.kind == "revision" and '--outcome "revised"' in case.command and case.told.arguments == {"version": "1.1.0"}
