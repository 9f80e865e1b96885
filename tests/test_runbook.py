"""Every command that the pages for contributors and maintainers print works, in their order, in a repository as they describe it."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from edgehold.cli import main
from edgehold.forms.layout import worked_example
from edgehold.records import load_repository
from edgehold.records.codes import CODES
from edgehold.records.model.changes import PersonFile
from edgehold.records.model.protocol import Question
from edgehold.records.model.review import Event, Objection, Outcome
from edgehold.records.read.form import read_record
from edgehold.records.read.letters import to_letters
from edgehold.records.request.additions import is_data
from edgehold.records.schemas import repository_url
from edgehold.records.threads import state_of
from edgehold.review.writing import yaml_text
from tests.forms.method_corpus import WHOLE
from tests.proposals.requests import commit, git
from tests.published import copy_protocols
from tests.records.builder import write_person

ROOT = Path(__file__).parents[1]
PAGES = ROOT / "site" / "pages"
PROTOCOL = ("two-sharpeners-rope", "2.0.0")
GUIDES = [PAGES / f"{name}.md" for name in ("contributing", "conduct", "objecting", "privacy", "publishing", "submit", "runbook")] + [
    ROOT / ".github" / "CONTRIBUTING.md",
    ROOT / ".github" / "pull_request_template.md",
]


def blocks(page: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(encoding="utf-8"), re.M | re.S)


@pytest.fixture
def root(tmp_path):
    """A clone with the two submissions that the pages speak of, a branch of one's own, and a host's ``origin/main``."""
    copy_protocols(tmp_path)
    for folder in sorted(path for path in (ROOT / "submissions" / "simulated").iterdir() if path.is_dir()):  # what they were adopted for
        copied = tmp_path / folder.relative_to(ROOT)
        copied.mkdir(parents=True)
        shutil.copy(min(folder.glob("*.json")), copied)
    shutil.copy(ROOT / ".gitignore", tmp_path)  # what the pages' commands build is no part of a request
    protocol = load_repository(tmp_path).protocols[PROTOCOL].record
    appoint_keeper(tmp_path)
    for name, scale in (("wren-2026-05-k3f", 1.0), ("tern-2026-06-b2c", 1.1)):
        write_measured(tmp_path, protocol, name, scale)
    git(tmp_path, "init", "-q", "-b", "main")
    commit(tmp_path)
    git(tmp_path, "remote", "add", "origin", str(tmp_path))
    git(tmp_path, "update-ref", "refs/remotes/origin/main", "main")
    git(tmp_path, "config", "user.name", "somebody")
    git(tmp_path, "config", "user.email", "somebody@example.org")
    git(tmp_path, "switch", "-q", "-c", "request")
    return tmp_path


def appoint_keeper(root):
    """The maintainer of the examples: bound to an account, with every role."""
    write_person(root, "keeper", format="person/1.1.0", account="1234567")
    path = root / "protocols" / "roles.json"
    found = json.loads(path.read_text(encoding="utf-8"))
    may = ["decide", "strike", "adopt", "retire", "take down"]
    found["roles"].append({"handle": "keeper", "may": may, "since": "2025-01"})
    path.write_text(json.dumps(found), encoding="utf-8")


def write_measured(root, protocol, name, scale):
    """A submission like the worked example, its forces scaled."""
    record = worked_example(protocol, name[-11:-4]) | {"id": name, "origin": "measured"}
    for value in (value for run in record["runs"] for reading in run["readings"] for value in reading["values"]):
        value["written"] = round(value["written"] * scale, 3)
    folder = root / "submissions" / "measured" / protocol.id
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.json").write_text(json.dumps(record), encoding="utf-8")


def run(block: str, root: Path) -> str:
    """Run a block as somebody types it; ``edgehold`` is this one."""
    program = f"edgehold() {{ '{sys.executable}' -m edgehold \"$@\"; }}\n"
    environment = {"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT / "aggregator"), "HOME": str(root), "LC_ALL": "C.UTF-8"}
    done = subprocess.run(["bash", "-euc", program + block], cwd=root, env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, f"{block}{done.stdout}{done.stderr}"
    return done.stdout


def test_contributors_commands_check_correct_and_retract(root):
    for block in blocks(PAGES / "contributing.md", "sh"):
        run(block, root)
    commit(root)
    assert main(["check", "--root", str(root), "--against", "main"]) == 0
    (retracted,) = load_repository(root).retracted
    assert [change.record.kind for change in retracted.changes] == ["correction", "retraction"]
    assert retracted.record.runs[0].humidity_percent == 61


def before(block, root):
    """What a block of the runbook takes for given, besides what the blocks before it did."""
    if "--kind adopted" in block:
        for earlier in blocks(PAGES / "publishing.md", "sh"):
            if "--answers ../answers.yaml" in earlier:
                (root.parent / "answers.yaml").write_text(yaml_text(WHOLE), encoding="utf-8")
            run(earlier, root)
        write_measured(root, load_repository(root).protocols[PROTOCOL[0], "2.1.0"].record, "heron-2026-07-q7m", 0.9)
    if "intake message.txt" in block:
        record = worked_example(load_repository(root).protocols[PROTOCOL].record, "2026-05") | {
            "id": "petrel-2026-05-x8d",
            "origin": "measured",
        }
        for number, run_ in enumerate(record["runs"]):
            run_["readings"][0]["values"][0]["written"] += 0.01 * (number + 1)
        sent = to_letters((json.dumps(record, indent=2) + "\n").encode())
        quoted = "\n".join(f"> {line}" for line in sent.splitlines())
        (root / "message.txt").write_text(f"Hello, this is from our kitchen.\n\n{quoted}\n\nBye", encoding="utf-8")
    if "001-the-stone-loads-up" in block:
        for title in ("A last bevel stays", "The stone loads up"):
            run(block_of_an_objection(title), root)
        git(root, "add", "protocols")
        threads = root / "protocols" / PROTOCOL[0] / "objections"
        git(root, "mv", str(threads / "001-a-last-bevel-stays"), str(threads / "000"))
        git(root, "mv", str(threads / "002-the-stone-loads-up"), str(threads / "001-the-stone-loads-up"))
        git(root, "mv", str(threads / "000"), str(threads / "001-a-last-bevel-stays"))


def block_of_an_objection(title):
    words = f'--against two-sharpeners-rope@2.0.0 --title "{title}" --threat order --severity minor'
    return f'edgehold draft objection {words} --statement "It does." --interest none --by whelk'


def test_maintainers_commands_go_through_and_the_taken_out_leaves_only_its_tombstone(root):
    said = {}
    for block in blocks(PAGES / "runbook.md", "sh"):
        before(block, root)
        said[block] = run(block, root)
    (taken_out,) = [text for block, text in said.items() if "tombstone" in block]
    assert "taken-out" in taken_out and "0 errors" in taken_out
    repository = load_repository(root)
    assert repository.errors == ()
    assert [stone.id for stone in repository.tombstones] == ["wren-2026-05-k3f"]
    submissions = (*repository.submissions, *repository.retracted)
    measured = {s.record.id for s in submissions if s.record.origin == "measured"}
    assert measured == {
        "tern-2026-06-b2c",
        "heron-2026-07-q7m",
        "petrel-2026-05-x8d",
    }
    assert "wren-2026-05-k3f.json" in git(root, "log", "--all", "--name-only", "--format=")  # what git cannot forget
    kinds = [(event.kind, event.version) for event in repository.events[PROTOCOL[0]]]
    assert kinds[-2:] == [("adopted", "2.1.0"), ("retired", "1.0.0")]
    assert [(thread.number, state_of(thread).state) for thread in repository.objections] == [(1, "struck"), (2, "open")]


def test_critics_commands_make_a_thread_that_is_decided(root):
    for block in blocks(PAGES / "objecting.md", "sh"):
        run(block, root)
    (thread,) = load_repository(root).objections
    assert [entry.kind for entry, _ in thread.entries] == ["response", "outcome"] and state_of(thread).state == "rebutted"
    (example,) = blocks(PAGES / "objecting.md", "yaml")
    written = thread.objection.model_dump(exclude_defaults=True, exclude={"month"}, mode="json")
    assert written == {name: value for name, value in yaml.safe_load(example).items() if name != "month"}


def test_the_examples_in_the_guides_are_of_their_formats():
    (person,) = blocks(PAGES / "privacy.md", "json")
    assert PersonFile.model_validate_json(person).shown_as == "dunnock"
    for page, model in (("objecting", Objection), ("publishing", Event), ("runbook", Outcome)):
        for example in map(yaml.safe_load, blocks(PAGES / f"{page}.md", "yaml")):
            of, told = (Question, example["question"]) if "question" in example else (model, example)
            record, problems = read_record(of, told)
            assert (problems, type(record)) == ([], of)


def test_every_warning_in_the_runbook_exists_and_every_one_about_a_request_is_there():
    named = set(re.findall(r"^\| (`.*?`) \|", (PAGES / "runbook.md").read_text(encoding="utf-8"), re.M))
    codes = {code for cell in named for code in re.findall(r"`([a-z-]+)`", cell)}
    assert {code: CODES[code].severity for code in codes} == dict.fromkeys(codes, "warning")
    for_maintainers = {code for code, entry in CODES.items() if entry.severity == "warning" and "maintainer" in entry.cure}
    assert for_maintainers <= codes and {"taken-out", "demonstration-changed", "executable-bit", "handle-in-id"} <= codes


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_what_a_guide_names_is_there(guide):
    text = guide.read_text(encoding="utf-8")
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.M))
    assert set(re.findall(r"`make ([a-z]+)`", text)) <= targets
    for command in set(re.findall(r"`edgehold ([a-z]+)", text)):
        with pytest.raises(SystemExit) as left:
            main([command, "--help"])
        assert left.value.code == 0
    places = re.findall(r"`((?:\.github|aggregator|protocols|schemas|submissions|tests|site|\.ci)/[a-z0-9_/.-]*)`", text)
    assert [place for place in places if not (ROOT / place).exists()] == []


def test_what_the_runbook_calls_code_is_code():
    for path in (".github/workflows/check.yml", "aggregator/edgehold/cli.py", "Makefile", "mkdocs.yml", ".ci/run"):
        assert not is_data(path)


def test_without_a_repository_address_nothing_is_linked(tmp_path):
    (tmp_path / "mkdocs.yml").write_text("site_url: https://edgehold.example/\n", encoding="utf-8")
    assert repository_url(tmp_path) is None
