"""No text from a stranger becomes markup, script or an address."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Iterator
from pathlib import Path
from xml.etree.ElementTree import Element

import pytest
from hostile import PAYLOADS, hostile
from reading import parsed
from sample import results

from edgehold.pages import safe_text
from edgehold.pages.csp import script_hashes
from edgehold.pages.site import build_site
from edgehold.results.tables.cells import csv_bytes
from edgehold.results.tables.objections import objections
from tests.generated import generate_pages

XHTML = "{http://www.w3.org/1999/xhtml}"
CHOOSER = ({"id": "choose-rules", "type": "application/json"}, {"type": "module", "src": "../assets/compare/main.js"})
"""The script of "A or B?" and the data that it reads: of each there is one, whatever anybody writes."""


def elements(html: str) -> Iterator[Element]:
    return (e for e in parsed(html).tree.iter() if isinstance(e.tag, str))


def dangers(html: str) -> list[str]:
    """Scripts, event handlers and addresses that run something."""
    found = []
    for element in elements(html):
        name = element.tag.rpartition("}")[2]
        if name == "script" and dict(element.attrib) in CHOOSER:
            continue
        if name in ("script", "iframe", "object", "embed", "style", "base", "textarea"):
            found.append(name)
        for attribute, value in element.attrib.items():
            bare = attribute.rpartition("}")[2].lower()
            if bare.startswith("on") or bare in ("style", "srcdoc", "formaction"):
                found.append(f"{name} {bare}")
            if bare in ("href", "src", "action") and "script:" in "".join(value.split()).lower():
                found.append(f"{name} {bare}={value}")
    return found


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("attacked")
    build_site(hostile(results(measured=3, simulated=3)), target / "no-repository", target, {})
    return target


def test_the_test_would_see_a_payload_that_got_through() -> None:
    for payload in (PAYLOADS[0], PAYLOADS[1], PAYLOADS[3], PAYLOADS[6], PAYLOADS[8]):
        assert dangers(f"<p>{payload}</p>")


def test_every_generated_page_is_inert_under_hostile_texts() -> None:
    pages = generate_pages(hostile(results(measured=3, simulated=3)))
    found = {path: dangers(html.split("---\n", 2)[2]) for path, html in pages}
    assert found.pop("results/explore/index.md") == ["script", "script"]  # its block of data and its own script
    assert found == {path: [] for path in found}


def test_payloads_stay_readable_as_text() -> None:
    pages = dict(generate_pages(hostile(results(measured=3))))
    words = "".join(parsed(pages["submissions/measured/steels-rope/2026-02-harbour-1/index.md"]).tree.itertext())
    assert "<script>window.hit=1</script>" in words


def test_finished_pages_hold_only_the_themes_own_scripts(site: Path, attacked: Path) -> None:
    def scripts(of: Path) -> int:
        page = (of / "submissions/measured/steels-rope/2026-02-harbour-1/index.html").read_text(encoding="utf-8")
        return len([e for e in elements(page) if e.tag.endswith("script")])

    assert scripts(attacked) == scripts(site)
    for page in attacked.rglob("*.html"):
        html = page.read_text(encoding="utf-8")
        assert "window.hit=1</script>" not in html
        assert [d for d in dangers(html) if d != "script"] == [], page


def test_no_cell_of_the_table_of_objections_starts_a_formula() -> None:
    attacked = hostile(results(measured=3, simulated=3))
    assert len(attacked.objections) > 3
    starts = ["=1+1", "+1", "-1", "@SUM(1)", "\t=1", " =1", "|x", "%x"]
    titled = [o.model_copy(update={"title": start}) for o, start in zip(itertools.cycle(attacked.objections), starts, strict=False)]
    columns, rows = objections(attacked.model_copy(update={"objections": tuple(titled)}))
    cells = [cell for row in csv.reader(io.StringIO(csv_bytes(columns, rows).decode())) for cell in row]
    assert [cell for cell in cells if cell.strip()[:1] in set("=+-@|%")] == []
    assert {f"'{start}" for start in starts} <= set(cells)


def test_titles_cannot_break_out_of_the_head(attacked: Path) -> None:
    for page in attacked.rglob("*.html"):
        (title,) = (e for e in elements(page.read_text(encoding="utf-8")) if e.tag == XHTML + "title")
        assert "<" not in (title.text or "") and (title.text or "").endswith(("Edgehold", "pooled"))


def test_the_search_index_holds_no_markup_of_strangers(attacked: Path) -> None:
    index = (attacked / "assets" / "search" / "index.json").read_text(encoding="utf-8")
    assert "<script" not in index and "<img" not in index and "<svg" not in index


@pytest.mark.parametrize("payload", PAYLOADS)
def test_plain_text_stays_plain_in_html_and_in_markdown(payload: str) -> None:
    import markdown

    for html in (
        safe_text.plain(payload),
        safe_text.paragraphs(payload),
        markdown.markdown(safe_text.plain(payload), extensions=["attr_list"]),
    ):
        assert {e.tag.removeprefix(XHTML) for e in elements(html)} <= {"html", "head", "body", "p", "br"}


@pytest.mark.parametrize("line", ["- a", "+ a", "1. a", "> a", "# a", "    a", "a\n===", "***", "---", ": a", "`a`", "[a]: b"])
def test_no_line_is_markdown(line: str) -> None:
    import markdown

    body = next(e for e in elements(markdown.markdown(safe_text.plain(line), extensions=["def_list", "tables"])) if e.tag == XHTML + "body")
    assert [e.tag.removeprefix(XHTML) for e in body.iter()] == ["body", "p"]
    assert "".join(body.itertext()) == " ".join(line.split())


@pytest.mark.parametrize(
    "address",
    [
        "javascript:alert(1)",
        "java\nscript:alert(1)",
        " data:text/html,x",
        "//host/x",
        "https://",
        "ftp://host/",
        "https://a@host/",
        "vbscript:x",
        "https://host\u202e/x",
        "http://[::1",
    ],
)
def test_only_plain_web_addresses_become_links(address: str) -> None:
    assert "<a" not in safe_text.link("words", address)


def test_a_web_address_becomes_a_link_that_vouches_for_nothing() -> None:
    html = safe_text.link("a & b", "https://example.org/?a=1&b=2")
    (anchor,) = (e for e in elements(html) if e.tag == XHTML + "a")
    assert anchor.attrib == {"href": "https://example.org/?a=1&b=2", "rel": "nofollow noopener"}


@pytest.mark.parametrize(
    "body",
    [
        "<script>x</script>",
        "<img src=x onerror=y>",
        "[a](javascript:x)",
        "[a](&#106;avascript:x)",
        "[a]( java\tscript:x)",
        "## a {: onclick=x }",
        "<a href='data:text/html,x'>b</a>",
        "<svg onload=x>",
        "<style>p{}</style>",
        "![a](https://host/x.png)",
        "<form action='https://host/'><input name=q></form>",
        "[a][b]\n\n[b]: javascript:x",
        "<h2 id='cautions' style='x'>a</h2>",
        '<base href="https://host/">',
        "<math><mtext><script>x</script></mtext></math>",
    ],
)
def test_a_protocols_body_is_sanitised(body: str) -> None:
    html = safe_text.protocol_body(body, {})
    assert dangers(html) == []
    tags = {e.tag.rpartition("}")[2] for e in elements(html)}
    assert not tags & {"img", "form", "input", "svg", "math", "base"}
    assert 'id="cautions"' not in html


def test_steps_and_headings_can_be_linked_to() -> None:
    html = safe_text.protocol_body("## s3-strokes · Strokes\n\n## Alone tonight\n\n[x](#alone-tonight) [y](#s3-strokes) [z](#gone)", {})
    assert '<h2 id="s3-strokes">' in html and '<h2 id="m-alone-tonight">' in html
    assert 'href="#m-alone-tonight"' in html and 'href="#s3-strokes"' in html and "#gone" not in html


@pytest.mark.parametrize(
    "svg",
    [
        '<svg xmlns="http://www.w3.org/2000/svg"><script>x</script></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg" onload="x"><path d="M0 0" onclick="x" style="y"/></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><foreignObject><body/></foreignObject></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:x="http://www.w3.org/1999/xlink"><use x:href="https://host/a.svg#b"/></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><rect fill="url(https://host/x)"/></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><text>&lt;/svg&gt;&lt;script&gt;x&lt;/script&gt;</text></svg>',
        '<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>',
        "<svg><not closed",
        '<html xmlns="http://www.w3.org/1999/xhtml"><script>x</script></html>',
    ],
)
def test_drawings_are_rebuilt_from_harmless_parts(svg: str) -> None:
    html = safe_text.drawing(svg, "d-", 'the "rig" <b>')
    assert dangers(html) == []
    assert "host" not in html and "style=" not in html
    assert "the &#34;rig&#34;" in html


def test_hashes_cover_what_would_run_and_nothing_else() -> None:
    html = '<script>a()</script><script src="b.js"></script><script type="application/json">{}</script>'
    # sha256 of "a()" by coreutils: printf 'a()' | sha256sum | cut -d' ' -f1 | xxd -r -p | base64
    assert script_hashes(html) == {"'sha256-qVpDBgj7bpq5hMAcGp3AOc79J3Y1Z4HvySTwKrWDoy4='"}
