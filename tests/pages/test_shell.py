"""What the shell around a page is kept by: all that templates ask of a page, and marks for what is other in every build."""

import re
from pathlib import Path

import material
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import Environment, FileSystemLoader
from jinja2.meta import find_referenced_templates
from sample import results

from edgehold.pages.contents import MARKS, PROJECT
from edgehold.pages.links import broken_among, found_in
from edgehold.pages.shell import _Marks
from edgehold.pages.site import contents_of

THEME = Path(material.__file__).parent / "templates"
OF_A_PAGE = {
    *(
        "abs_url",
        "ancestors",
        "canonical_url",
        "content",
        "edit_url",
        "file",
        "is_homepage",
        "meta",
        "next_page",
        "parent",
        "previous_page",
    ),
    *("title", "toc", "url"),
}
"""What `_decided` takes of a page; of its parent, what the menus have."""
OF_AN_ITEM = {"active", "children", "is_index", "meta", "title", "url"}
NEVER_THERE = {"encrypted", "pages", "typeset"}
"""What plug-ins would add to an item of the menus, of which this site has none."""


def templates():
    """Name and text of every template that a page is made with: what the first of them extends or includes, and so on."""
    known = Environment(loader=FileSystemLoader([PROJECT / "site" / "overrides", THEME]), extensions=["jinja2.ext.loopcontrols"])
    found, waiting = {}, ["main.html", "404.html"]
    while waiting:
        name = waiting.pop()
        if name not in found and not name.endswith(".svg"):
            found[name], _, _ = known.loader.get_source(known, name)
            waiting += filter(None, find_referenced_templates(known.parse(found[name])))
    return found.items()


def test_templates_ask_of_a_page_nothing_by_which_it_is_not_kept():
    """Whatever a page's shell shows decides what is kept of it; a template that asks for more has to be seen here."""
    asked = {(name, what) for name, text in templates() for what in re.findall(r"(?<![\w.\"'/-])page\.([a-z_]+)", text)}
    assert {"content", "canonical_url", "toc"} <= {what for _, what in asked}
    assert {one for one in asked if one[1] not in OF_A_PAGE} == set()
    items = {(name, what) for name, text in templates() for what in re.findall(r"\bnav_item\.([a-z_]+)", text)}
    assert {one for one in items if one[1] not in OF_AN_ITEM | NEVER_THERE} == set()
    listing = {name for name, text in templates() if re.search(r"\{%-?\s*for\s+\w+\s+in\s+pages\b|\bpages\s*\|", text)}
    assert listing == set(), "the list of all pages is handed to no page's template"


@given(st.lists(st.text(min_size=1), unique=True, max_size=4), st.text())
def test_what_is_hidden_is_shown_again(varying, text):
    marks = _Marks([one for one in varying if not set(one) & {*MARKS, *"0123456789"}])
    text = "".join(c for c in text if c not in MARKS) + "".join(varying)
    text = "".join(c for c in text if c not in MARKS)
    assert marks.show(marks.hide(text)) == text


def test_the_longest_is_hidden_first_and_nothing_of_it_is_left():
    marks = _Marks(["abc", "abcdef"])
    hidden = marks.hide("hash abcdef, short abc")
    assert "abc" not in hidden and marks.show(hidden) == "hash abcdef, short abc"
    assert marks.hide_in({"a": ["abc", {"b": ("abc", 1, None)}]}) == {"a": [marks.hide("abc"), {"b": (marks.hide("abc"), 1, None)}]}


def test_nothing_is_marked_where_somebody_wrote_such_a_mark(tmp_path):
    found = results(measured=2, simulated=2)
    assert contents_of(found, PROJECT, {})[0].varying[0] == found.provenance.inputs_sha256
    pools = tuple(pool.model_copy(update={"headline": f"{MARKS[0]}0{MARKS[1]}"}) for pool in found.pools)
    assert contents_of(found.model_copy(update={"pools": pools}), PROJECT, {})[0].varying == ()


def test_links_are_found_in_what_is_kept_of_a_page_as_in_the_page():
    pages = {"a/index.html": found_in('<a href="../b/#x">1</a><a href="../c/">2</a>'), "b/index.html": found_in('<p id="y">')}
    assert broken_among(pages, {*pages}) == ["a/index.html: ../b/#x", "a/index.html: ../c/"]
