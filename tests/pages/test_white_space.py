"""Indentation is taken out of pages, and nothing else: the same elements, attributes and words, and to the byte what is set as written."""

import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgehold.pages.white_space import without_indentation

AS_WRITTEN = {"pre", "textarea", "script", "style"}
TEXTS = st.text(alphabet="ab \n\t\xa0\u2003=\"'&;", max_size=12).map(lambda text: text.replace("&", "&amp;"))
VALUES = st.text(alphabet="ab \n\t\xa0='>", max_size=8)
NAMES = st.sampled_from(["p", "span", "li", "td", *sorted(AS_WRITTEN)])


def inner(name: str, parts: list[str]) -> str:
    """What stands in an element; no element in one that is set as written."""
    return parts[0].replace("<", "").replace("&", "") if name in AS_WRITTEN else "".join(parts)


PIECES = st.recursive(
    TEXTS,
    lambda inside: st.builds(
        lambda name, value, parts: f'<{name} title="{value}">{inner(name, parts)}</{name}>',
        NAMES,
        VALUES,
        st.lists(inside, min_size=1, max_size=4),
    ),
    max_leaves=12,
)


class Read(HTMLParser):
    """What a browser gets: tags with their attributes, and texts, with white space as it shows."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.seen: list[object] = []
        self.inside = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, *attrs))
        self.inside = tag if tag in AS_WRITTEN else self.inside

    def handle_endtag(self, tag: str) -> None:
        self.seen.append(f"/{tag}")
        self.inside = ""

    def handle_comment(self, data: str) -> None:
        self.seen.append(f"!{data}")

    def handle_data(self, data: str) -> None:
        self.seen.append(data if self.inside else re.sub(r"[ \t\n\r\f]+", " ", data))


@given(st.lists(PIECES, max_size=6).map("".join))
def test_a_browser_shows_the_same(html):
    shorter = without_indentation(html)
    assert Read(shorter).seen == Read(html).seen
    assert without_indentation(shorter) == shorter


def test_lines_lose_what_stands_before_them_and_empty_ones_go():
    assert without_indentation("<ul>\n    <li>\n      a  b\n\n\n    </li>\n  </ul>\n") == "<ul>\n<li>\na  b\n</li>\n</ul>\n"


@pytest.mark.parametrize(
    "kept",
    [
        "<pre><code>a\n    b\n\n  c</code></pre>",
        "<textarea rows=2>\n  a\n\n  b</textarea>",
        '<script type="application/json">\n  {"a":\n    1}\n</script>',
        "<SCRIPT>\n  a()\n</SCRIPT >",
        "<style>\n  a {\n    b: c }\n</style>",
        '<p title="a\n   b">',
        "<p title='a\n   b'>",
        "<!-- a\n   b -->",
        "a\n\xa0\xa0b",
        "a    b",
    ],
)
def test_what_counts_stays_to_the_byte(kept):
    assert without_indentation(f"<p>\n  {kept}\n  </p>") == f"<p>\n{kept}\n</p>"


def test_a_word_that_only_begins_like_such_an_element_is_none():
    assert without_indentation("<preview>\n   a</preview>\n  <p>") == "<preview>\na</preview>\n<p>"
