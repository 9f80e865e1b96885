"""What people and the host are shown of a request: the summary, the annotations, and the command itself."""

import html
import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import html5lib
import markdown
import numpy as np
import pytest

from edgehold.cli import main
from edgehold.errors import Finding
from edgehold.records.report import findings_text
from edgehold.records.request.report import annotations
from edgehold.request import own_answers, summarised
from edgehold.results.publish.request_summary import plain, request_summary, span
from tests.records.builder import protocol, second, submission, write, write_person, write_submission

from .requests import BASE, checked, commit, git, make_base, on_base

SECOND = "submissions/measured/small-rope/tern-1.json"
HOSTILE = [
    "<script>alert(1)</script>",
    "](javascript:alert(1)) ![x](https://example.org/x.png)",
    "`` ` ``` ~~~ &lt;img src=x onerror=alert(1)&gt;",
    "@everybody #1 https://example.org www.example.org a@example.org",
    "# heading\n\n- list\n\n| a | b |\n|---|---|\n",
    "````\n<b>out of the fence</b>",
    "::error file=x::y\n::stop-commands::z\n##[warning]w",
]


def rendered(text: str) -> ElementTree.Element:
    page = markdown.markdown(text, extensions=["fenced_code"])
    return html5lib.parse(page, namespaceHTMLElements=False)


@pytest.fixture
def root(tmp_path):
    root = make_base(tmp_path)
    write_submission(root, second())
    return root


def test_the_summary_says_what_is_added_and_that_nothing_stands_in_the_way(root):
    commit(root)
    text = summarised(root, BASE)[1]
    assert "**Nothing stands in the way**; 0 warnings" in text
    assert f"- added: `{SECOND}`" in text


def test_it_gives_the_submission_s_own_answer_as_its_page_does(root):
    commit(root)
    found, text = summarised(root, BASE)
    (result,) = own_answers(found.repository, frozenset({SECOND}))
    assert result.id == "tern-1" and result.answers
    shown = html.unescape(text)
    assert all(answer.sentence in shown for answer in result.answers)
    assert "lone" not in text and "wren-1" not in text.split("says by itself")[1]


def elsewhere(number: int, **changes: object) -> dict:
    """A submission by other people with other blades, to the other protocol unless told otherwise."""
    text = json.dumps(submission({"/id": f"far{number}-1", "/protocol/id": "other-rope"} | changes))
    return json.loads(re.sub(r"\b(wren|tern)\b", lambda found: f"{found[0]}{number}", text))


def test_what_it_says_needs_no_other_pool_and_is_the_same_as_if_everything_were_read(tmp_path):
    """The others in the pool count, and whatever the tester did in the month, although the request does not touch them."""
    lone = elsewhere(0, **{"/protocol/id": "small-rope", "/runs/0/readings": read_off(5), "/runs/1/readings": read_off(6)})
    busy = elsewhere(1, **{"/month": "2026-06", "/people/0/handle": "wren"})
    busy = json.loads(json.dumps(busy).replace('"wren1"', '"gannet"'))  # another handle of wren's
    root = make_base(
        tmp_path, submissions=[submission(), lone, busy, elsewhere(2)], protocols=[protocol(), protocol({"/id": "other-rope"})]
    )
    for one, other in (("wren", "gannet"), ("gannet", "wren")):
        on_base(root, lambda one=one, other=other: write_person(root, one, same_person=[other]))
    git(root, "merge", "-q", BASE)
    write_submission(root, second({"/runs/0/readings": read_off(3), "/runs/1/readings": read_off(3)}))
    commit(root)
    (few, text), (every, same) = summarised(root, BASE), summarised(root, BASE, whole=True)
    assert text == same and "Questions to ask" in text and "says by itself" in text
    assert {s.record.id for s in few.repository.submissions} == {"wren-1", "tern-1", "far0-1", "far1-1"} and not few.whole
    assert len(every.repository.submissions) == 5 and every.whole


def test_where_many_new_people_come_everybody_is_looked_at(tmp_path):
    root = make_base(tmp_path, submissions=[submission(), elsewhere(2)], protocols=[protocol(), protocol({"/id": "other-rope"})])
    for number in range(4, 10):
        write_submission(root, elsewhere(number, **{"/protocol/id": "small-rope"}))
    commit(root)
    checked, text = summarised(root, BASE)
    assert checked.whole and "6 of its senders" in html.unescape(text)


def read_off(seed: int) -> list[dict]:
    """Readings of a run as a scale that shows hundredths would give them."""
    rng = np.random.default_rng(seed)
    values = [[f"{(2 + work / 10) * np.exp(rng.normal(0, 0.06)):.2f}" for _ in range(2)] for work in (0, 5, 10, 20, 40)]
    return [{"work": work, "values": [{"written": one} for one in pair]} for work, pair in zip((0, 5, 10, 20, 40), values, strict=True)]


def test_what_chance_seldom_gives_is_asked_and_stops_nothing(tmp_path):
    root = make_base(tmp_path)
    on_base(root, lambda: write_submission(root, submission({"/runs/0/readings": read_off(1), "/runs/1/readings": read_off(2)})))
    git(root, "merge", "-q", BASE)
    copied = read_off(1)
    copied[2]["values"][0]["written"] = "9.99"
    write_submission(root, second({"/runs/0/readings": read_off(3), "/runs/1/readings": copied}))
    commit(root)
    request, text = summarised(root, BASE)
    assert request.errors == ()
    asked = html.unescape(text.split("### Questions to ask before merging")[1])
    assert "`tern-1`: Run “run-2” and run “run-1” of wren-1 agree in 9 of 10 values" in asked
    write_submission(root, second({"/runs/0/readings": read_off(3), "/runs/1/readings": read_off(4)}))
    commit(root)
    assert "Questions to ask" not in summarised(root, BASE)[1]


def test_findings_stand_by_file_with_line_and_cure(root):
    write_submission(root, second({"/runs/0/tester": "auk"}))
    commit(root)
    text = summarised(root, BASE)[1]
    assert "**1 error to cure before this can be merged**" in text
    assert re.search(r"```text\nerror: line \d+, /runs/0/tester\n    unknown-person: 'auk' is not in people\n    right: ", text)


def test_an_empty_request_says_so(tmp_path):
    root = make_base(tmp_path)
    commit(root)
    assert "Nothing differs from the base." in summarised(root, BASE)[1]


@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_of_a_stranger_becomes_markup(root, text):
    finding = Finding(text, 1, text, "unknown-field", "error", text, text)
    made = request_summary(replace(checked(root), findings=(finding,)), ())
    page = rendered(made)
    allowed = {"html", "head", "body", "h2", "h3", "p", "strong", "ul", "li", "code", "pre"}
    assert {element.tag for element in page.iter()} <= allowed
    assert not [e for e in page.iter() if e.attrib and set(e.attrib) != {"class"}]
    assert len(list(page.iter("h3"))) == 2


@pytest.mark.parametrize("text", HOSTILE)
def test_text_is_shown_as_it_was_typed(text):
    line = text.replace("\n", "\N{REPLACEMENT CHARACTER}")
    assert "".join(rendered(plain(text)).itertext()).strip() == line.strip()
    assert "".join(rendered(span(text)).itertext()).strip() == line.strip()


@pytest.mark.parametrize("text", HOSTILE)
def test_an_annotation_is_one_line_and_one_command_whatever_stands_in_it(text):
    made = annotations([Finding(text, 3, text, "unknown-field", "error", text, text)])
    assert len(made.splitlines()) == 1
    properties, _, _ = made.removeprefix("::error ").partition("::")
    assert re.fullmatch(r"file=[^,:]*,line=3,title=unknown-field", properties)


def test_annotations_name_file_and_line_and_put_errors_first():
    error = Finding("b.json", 4, "/x", "wrong-unit", "error", "100 % odd", "use another")
    warning = Finding("a.json", 2, "", "pilot", "warning", "in review", "nothing")
    assert annotations([warning, error]).splitlines() == [
        "::error file=b.json,line=4,title=wrong-unit::/x: 100 %25 odd. Right: use another",
        "::warning file=a.json,line=2,title=pilot::in review. Right: nothing",
    ]


def test_where_the_site_has_an_address_codes_link_to_their_line():
    found = [
        Finding("b.json", 4, "/x", "wrong-unit", "error", "odd", "use another"),
        Finding("c", 1, "", "no-such-code", "error", "a", "b"),
    ]
    first, second = annotations(found, "https://knives.example/").splitlines()
    assert first.endswith("Right: use another (https://knives.example/check/#wrong-unit)")
    assert second.endswith("Right: b")
    assert findings_text(found, "https://knives.example/").count("https://knives.example/check/#wrong-unit") == 1


def test_the_address_is_the_bases_whatever_the_request_says(root, tmp_path_factory, capsys):
    on_base(root, lambda: write(root / "mkdocs.yml", "site_url: https://knives.example\n"))
    git(root, "merge", "-q", BASE)
    write(root / "mkdocs.yml", "site_url: https://elsewhere.example/\n")
    write_submission(root, second({"/runs/0/tester": "auk"}))
    commit(root)
    summary = tmp_path_factory.mktemp("summary") / "summary.md"
    assert main(["check", "--root", str(root), "--against", BASE, "--annotate", "--summary", str(summary)]) == 1
    said = capsys.readouterr().out + summary.read_text(encoding="utf-8")
    assert "https://knives.example/check/#" in said and "elsewhere" not in said
    assert "](<https://knives.example/check/#data-and-code>)" in said


# the command


def test_the_command_ends_with_0_when_fine_and_1_with_errors(root, capsys):
    commit(root)
    assert main(["check", "--root", str(root), "--against", BASE]) == 0
    assert "1 added" in capsys.readouterr().out
    write_submission(root, submission({"/note": "changed"}))
    assert main(["check", "--root", str(root), "--against", BASE, "--json"]) == 1
    answer = json.loads(capsys.readouterr().out)
    assert [f["code"] for f in answer["findings"]] == ["record-changed"]
    assert [c["kind"] for c in answer["changes"]] == ["added", "changed"]
    assert answer["base"] == answer["common"]


def test_it_annotates_and_writes_the_summary(root, tmp_path_factory, capsys):
    write(root / "Makefile", "other:\n")
    commit(root)
    summary = tmp_path_factory.mktemp("summary") / "summary.md"
    assert main(["check", "--root", str(root), "--against", BASE, "--annotate", "--summary", str(summary)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("::error file=Makefile,line=1,title=data-and-code::") and len(lines) == 2
    assert summary.read_text(encoding="utf-8").startswith("## The check of this request")


def test_annotations_of_a_plain_check(root, capsys):
    write_submission(root, second({"/runs/0/tester": "auk"}))
    assert main(["check", "--root", str(root), "--annotate"]) == 1
    assert capsys.readouterr().out.startswith(f"::error file={SECOND},line=")


def test_misuse_is_told(root, capsys):
    assert main(["check", "--root", str(root), "--summary", "x.md"]) == 2
    assert main(["check", "--root", str(root), "--against", BASE, str(root)]) == 2
    assert main(["check", "--root", str(root), "--against", "nowhere"]) == 2
    assert "needs --against" in capsys.readouterr().err
