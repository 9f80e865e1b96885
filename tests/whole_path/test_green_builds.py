"""Whatever the check passes, the pages build: over bodies, drawings and records together."""

import random
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edgehold.everything import find_everything
from edgehold.pages import safe_text
from edgehold.pages.csp import PLACE, with_policy
from edgehold.pages.hands import stressed
from edgehold.pages.safe_text import drawing, protocol_body
from edgehold.records import load_repository
from edgehold.records.rules.body_limits import DEEPEST, MOST_MARKS, body_problems, within_limits
from edgehold.records.rules.figures import drawing_problems
from edgehold.results.publish.assemble import assemble
from tests.fuzz.mutations import mutated
from tests.fuzz.readers import TARGETS
from tests.fuzz.readers import repository as make_fuzzed
from tests.generated import generate_pages
from tests.records.builder import BODY, TODAY, make_repository, protocol, second, submission, write_protocol

PIECES = (
    "[", "]", "(", ")", "![", "](", "[a](b)", "[a][b]", "[b]: c\n", "*", "**", "_", "`", "``", "```\n", "~~", "<", ">", "<b>",
    "</", "<!--", "-->", "&", "&#1;", "&amp;", "\\", "|", "|a|b|\n|-|-|\n", "- ", "1. ", "> ", "# ", "## s1-a\n", "=====\n",
    "-----\n", "    ", "\t", "\n", "\n\n", " ", "\u00a0", "\u2028", "word", "é", "\U0001f600", "{table: needs}",
    "EDGEHOLDDRAWING0END", "![d](figures/d.svg)", "http://a.b", "<http://a.b>", "javascript:x", "\x02", "\x03", "$", "onclick=x",
    "style=", "stx", ":", "%", "^", "+", "'", '"',
)  # fmt: skip
texts = st.lists(st.tuples(st.sampled_from(PIECES), st.integers(1, 40)), max_size=25).map(lambda parts: "".join(p * n for p, n in parts))

ELEMENTS = ("g", "path", "text", "defs", "marker", "script", "svg", "title", "a", "unknown")
ATTRIBUTES = ("d", "id", "fill", "onload", "style", "href", "transform", "viewBox", "x")
VALUES = ("url(#a)", "M0 0", "1", "javascript:x", "&quot;", "none", "url( #b )", "é", "x" * 500)
leaves = st.builds(
    lambda name, key, value, inside: f"<{name} {key}='{value}'>{inside}</{name}>",
    st.sampled_from(ELEMENTS), st.sampled_from(ATTRIBUTES), st.sampled_from(VALUES), st.sampled_from(("", "text", "&lt;", "&#120;")),
)  # fmt: skip
drawn = st.builds(
    lambda parts, depth, end: f"<svg xmlns='http://www.w3.org/2000/svg'>{'<g>' * depth}{''.join(parts)}{'</g>' * depth}</svg>{end}",
    st.lists(leaves, max_size=6), st.sampled_from((0, 1, 5, 40, 2_000)), st.sampled_from(("", "", "<", "&", "\n")),
)  # fmt: skip


@settings(max_examples=150)
@given(texts, drawn)
def test_a_body_and_a_drawing_without_findings_become_a_page(body, svg):
    problems = [*body_problems(body), *drawing_problems(svg.encode())]
    began = time.process_time()
    image = drawing(svg, "d-", "a drawing")
    html = protocol_body(body, {"figures/d.svg": image})
    tuple(stressed(body))
    assert time.process_time() - began < 3, "in a time that grows with the length, with findings or without"
    if not problems:
        with_policy(f"<head>{PLACE}</head>{html}")


# Worst within the limits: (what stands in a block, how often).
WORST = {
    "brackets": ("[", MOST_MARKS),
    "pictures": ("![", MOST_MARKS // 2),
    "links": ("[a](", MOST_MARKS - 1),
    "parentheses": ("[a](((((", MOST_MARKS // 5),
    "emphasis": ("*a **b ", MOST_MARKS),
    "under": ("_*", 2 * MOST_MARKS),
    "code": ("`a` ", MOST_MARKS // 2),
    "escapes": ("\\a", MOST_MARKS),
    "entities": ("&a;", MOST_MARKS),
    "tags": ("<a ", 20),
    "words": ("word ", 3_900),
    "lists": ("".join("    " * level + "- a\n" for level in range(DEEPEST)), 20),
    "quotations": ("> " * (DEEPEST - 1) + "a\n", 20),
    "rows": ("|x|y|z\n", 400),
}


@pytest.mark.parametrize("name", WORST)
def test_sanitising_takes_a_time_that_grows_with_the_length(name):
    piece, times = WORST[name]
    block = (piece * times).rstrip() + "\n\n"
    spent = {}
    for length in (10_000, 40_000):
        body = block * max(1, length // len(block))
        assert within_limits(body)
        spent[length] = min(_seconds(body) for _ in range(2))
    assert spent[40_000] < 4 * 2 * spent[10_000] + 0.1, spent  # four times the length: fourfold for a line, sixteenfold for a square


def _seconds(body):
    began = time.process_time()
    safe_text._sanitised(body)
    return time.process_time() - began


@pytest.mark.parametrize("length", [20_000, 300_000])
@pytest.mark.parametrize(
    "piece", ["[", "![", "[a](", "<a ", "1. ", "> ", "`` ` ", " ", "\t\n", "## a\n\n", "- a\n\n", "\\", "=\n", "*", "|"]
)
def test_a_text_beyond_the_limits_is_refused_and_shown_as_typed_at_once(piece, length):
    body, began = piece * (length // len(piece)), time.process_time()
    within_limits(body), body_problems(body)
    assert time.process_time() - began < 2
    if not within_limits(body):
        assert protocol_body(body, {}).startswith("<pre>") and time.process_time() - began < 4


def test_headings_of_one_name_have_ids_of_their_own():
    html = protocol_body("## Same\n\n" * 400, {})
    ids = [part.split('"')[0] for part in html.split('<h2 id="')[1:]]
    assert len(set(ids)) == 400 and ids[:4] == ["m-same", "m-same-again", "m-same-again-again", "m-same-4"]
    assert max(map(len, ids)) < 40


@settings(max_examples=3, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(st.lists(texts, min_size=2, max_size=2), st.integers(0, 10**6), st.sampled_from(TARGETS))
def test_what_the_check_passes_builds_with_the_records_that_lie_beside_it(tmp_path_factory, bodies, seed, target):

    root = make_fuzzed(tmp_path_factory.mktemp("together"))
    file = root / target.path
    file.write_bytes(mutated(file.read_bytes(), target.kind, random.Random(seed)))
    for number, body in enumerate(bodies):
        write_protocol(root, protocol({"/id": f"drawn-{number}"}), body=f"{BODY}\n{body}\n")
    _build(root)


def _build(root):
    """The pages of what was read without an error; what has one takes no part, as a maintainer would leave it out."""
    results = assemble(find_everything(load_repository(root, today=TODAY)))
    for _, text in generate_pages(results):
        with_policy(f"<head>{PLACE}</head>{text}")


def test_a_sound_repository_builds(tmp_path):
    _build(make_repository(tmp_path, submissions=[submission(), second()]))
