"""The one renderer of text that people wrote: whatever comes in, nothing that comes out is markup they chose.

Plain text is escaped for HTML and for Markdown both, so that it stays text wherever it is put. Bodies of protocols are
Markdown; they are converted and then sanitised against a short list of what is allowed.
"""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping
from urllib.parse import urlsplit
from xml.etree import ElementTree

import markdown
import nh3
from markupsafe import Markup

from edgehold.engine.tasks import kept
from edgehold.records.rules.body_limits import within_limits
from edgehold.words import Reason

MARKDOWN_SPECIAL = "\\`*_{}[]()#!|~<>&\"'="
ENTITIES = {ord(c): f"&#{ord(c)};" for c in MARKDOWN_SPECIAL}
LIST_MARK = re.compile(r"(\d*)(-|[+:.](?=\s|$))")  # at the start of a line Markdown reads these as lists or definitions
TITLE_UNSAFE = re.compile(r"[<>&\"'`{}\[\]\\|*_#]")

# Characters that reorder or hide the text around them (Unicode Standard Annex 9, explicit directional formatting).
HIDDEN = set("\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff")

BODY_TAGS = {
    "p",
    "br",
    "hr",
    "h2",
    "h3",
    "h4",
    "h5",
    "h6",
    "ul",
    "ol",
    "li",
    "em",
    "strong",
    "code",
    "pre",
    "blockquote",
    "a",
    "table",
    "thead",
    "tbody",
    "tr",
    "th",
    "td",
    "dl",
    "dt",
    "dd",
    "sup",
    "sub",
}
BODY_ATTRIBUTES = {"a": {"href", "title"}, "ol": {"start"}}
DROPPED_WITH_CONTENT = {"script", "style", "iframe", "object", "embed", "template", "noscript", "svg", "math"}

SVG_NAMESPACE = "{http://www.w3.org/2000/svg}"
SVG_TAGS = {
    "svg",
    "g",
    "path",
    "line",
    "polyline",
    "polygon",
    "rect",
    "circle",
    "ellipse",
    "text",
    "tspan",
    "title",
    "desc",
    "defs",
    "marker",
    "pattern",
    "clipPath",
}
SVG_ATTRIBUTES = {
    "viewBox",
    "width",
    "height",
    "x",
    "y",
    "x1",
    "y1",
    "x2",
    "y2",
    "dx",
    "dy",
    "cx",
    "cy",
    "r",
    "rx",
    "ry",
    "d",
    "points",
    "transform",
    "fill",
    "stroke",
    "stroke-width",
    "stroke-dasharray",
    "stroke-linecap",
    "stroke-linejoin",
    "stroke-miterlimit",
    "stroke-opacity",
    "fill-opacity",
    "fill-rule",
    "opacity",
    "font-size",
    "font-weight",
    "font-style",
    "font-family",
    "text-anchor",
    "dominant-baseline",
    "letter-spacing",
    "marker-start",
    "marker-end",
    "marker-mid",
    "markerWidth",
    "markerHeight",
    "refX",
    "refY",
    "orient",
    "id",
    "patternUnits",
    "preserveAspectRatio",
    "clip-path",
}
LOCAL_REFERENCE = re.compile(r"url\(\s*#([A-Za-z][\w-]*)\s*\)")


def visible(text: str) -> str:
    """``text`` in one line, without control characters or characters that reorder or hide what stands beside them."""
    line = " ".join(text.split())
    if line.isprintable() and HIDDEN.isdisjoint(text):
        return line
    kept = (" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text if c not in HIDDEN)
    return " ".join("".join(c for c in kept if unicodedata.category(c) != "Cs").split())


def plain(text: str) -> Markup:
    """Plain text as inert HTML that Markdown leaves alone as well."""
    line = visible(text)
    mark = LIST_MARK.match(line)
    if mark:
        return Markup(f"{mark.group(1)}&#{ord(mark.group(2))};{_entities(line[mark.end() :])}")
    return Markup(_entities(line))


def _entities(line: str) -> str:
    return line.translate(ENTITIES)


def paragraphs(text: str) -> Markup:
    """Plain text of several lines: blank lines part paragraphs, every other line break stays."""
    blocks = re.split(r"(?:\r?\n[ \t]*){2,}", text.strip())
    joined = ("<br>".join(plain(line) for line in block.splitlines()) for block in blocks if block.strip())
    return Markup("".join(f"<p>{block}</p>" for block in joined))


def verbatim(text: str) -> Markup:
    """Text of several lines for a ``pre``: every line and blank stays as it is."""
    return Markup("\n".join(_entities(line) for line in text.split("\n")))


def data_block(text: str) -> str:
    """JSON for a block of data in a page: the same JSON, and nothing in it can end the block or begin a comment.

    As "Data blocks" of the HTML standard ask for; escapes of JSON (RFC 8259, section 7) stand for the signs.
    """
    return "".join(f"\\u{ord(c):04x}" if c in "<>&\u2028\u2029" else c for c in text)


def link(text: str, address: str) -> Markup:
    """A link for an http or https address; for anything else, and for an address that hides its host, just the text."""
    try:
        parts = urlsplit(address.strip())
        host = parts.hostname
    except ValueError:
        return plain(text)
    if parts.scheme not in ("http", "https") or not host or parts.username or visible(address) != address:
        return plain(text)
    return Markup(f'<a href="{_entities(address)}" rel="nofollow noopener">{plain(text)}</a>')


def linked(source: str) -> Markup:
    """A published source: a link where it is nothing but an address."""
    return link(source, source)


def title(text: str, most: int = 90) -> str:
    """Text for a page's title: templates of themes do not always escape those, so nothing special is left in it."""
    cleaned = " ".join(TITLE_UNSAFE.sub(" ", visible(text)).split())
    return cleaned if len(cleaned) <= most else cleaned[: most - 1].rstrip() + "…"


def finalize(value: object) -> object:
    """What every expression in every template passes through: markup made here stays, all else is plain text."""
    if value is None:
        return Markup("")
    return value if isinstance(value, Markup) else plain(str(value))


HEADING = re.compile(r"<h([2-6])>(.*?)</h\1>", re.DOTALL)
ANCHORED = re.compile(r'<h([2-6]) id="([^"]+)">.*?</h\1>', re.DOTALL)
STEP_ID = re.compile(r"(s[0-9]{1,3}(?:-[a-z0-9-]{1,40})?)(?![a-z0-9-])(?:\s*[·:–—])?\s*")
IMAGE = re.compile(r"!\[([^\]\n]{0,300})\]\((figures/[a-z0-9-]{1,80}\.svg)\)")


def protocol_body(body: str, drawings: dict[str, Markup], below: Mapping[str, Markup] | None = None) -> Markup:
    """A protocol's Markdown as sanitised HTML.

    A heading that begins with a step's id (``s3-strokes``) gets that id, every other heading one made from its words
    with ``m-`` in front, so that no id from outside can meet one of the page's own. An image that names one of
    ``drawings`` (path beside the protocol to finished markup) is replaced by it; every other image is dropped.
    ``below`` is finished markup by step, to stand below its heading. A body that no check lets pass is shown as it was typed.
    """
    if not within_limits(body):
        return Markup(f"<pre>{verbatim(body)}</pre>")
    images: list[Markup] = []

    def hold(match: re.Match[str]) -> str:
        images.append(drawings.get(match.group(2), plain(match.group(1))))
        return f"\n\nEDGEHOLDDRAWING{len(images) - 1}END\n\n"

    held = IMAGE.sub(hold, body.replace("EDGEHOLDDRAWING", ""))
    html = _keep_links(_anchor_headings(kept(_sanitised, held)))
    html = ANCHORED.sub(lambda found: found.group() + str((below or {}).get(found.group(2), "")), html)
    for number, image in enumerate(images):
        token = f"EDGEHOLDDRAWING{number}END"
        html = html.replace(f"<p>{token}</p>", image).replace(token, image)
    return Markup(_wrap_tables(html))


@functools.lru_cache(maxsize=64)
def headings(body: str) -> frozenset[str]:
    """Ids of the headings that a protocol's Markdown has once it is a page."""
    return frozenset(name for _, name in ANCHORED.findall(protocol_body(body, {})))


def _sanitised(body: str) -> str:
    """A body as HTML of harmless elements; within the limits of `body_limits` in a time that grows with its length."""
    lowered = re.sub(r"^# ", "## ", body, flags=re.MULTILINE)
    return nh3.clean(
        _converted(lowered),
        tags=BODY_TAGS,
        clean_content_tags=DROPPED_WITH_CONTENT,
        attributes=BODY_ATTRIBUTES,
        url_schemes={"http", "https"},
        link_rel="nofollow noopener",
        strip_comments=True,
    )


def _anchor_headings(html: str) -> str:
    seen: dict[str, int] = {}

    def anchor(match: re.Match[str]) -> str:
        level, inside = match.groups()
        step = STEP_ID.match(inside)
        name = step.group(1) if step else "m-" + _slug(inside)
        name = _free_name(name, seen)
        if step:
            inside = f'<a class="step" href="#{name}">{name.split("-")[0]}</a> {inside[step.end() :]}'
        return f'<h{level} id="{name}">{inside}</h{level}>'

    return HEADING.sub(anchor, html)


def _converted(text: str) -> str:
    """Markdown as HTML. Tags of HTML are text in it: no method has any, and looking for their ends takes the square of their number."""
    converter = markdown.Markdown(extensions=["tables", "sane_lists"])
    converter.preprocessors.deregister("html_block")
    converter.inlinePatterns.deregister("html")
    return converter.convert(text)


def _free_name(name: str, seen: dict[str, int]) -> str:
    """An id that no heading has yet: its name, ``-again`` behind it, then numbers; ``seen`` counts how often each was asked for."""
    while name in seen:
        seen[name] += 1
        name += "-again" if seen[name] < 4 else f"-{seen[name]}"
    seen[name] = 1
    return name


def _slug(html: str) -> str:
    words = re.sub(r"<[^>]*>|&[a-z#0-9]+;", "", html).lower()
    return re.sub(r"[^a-z0-9]+", "-", words).strip("-")[:60]


def _keep_links(html: str) -> str:
    """Links stay when they lead to a heading of this page or to an http(s) address; the others lose their target."""
    names = set(re.findall(r'<h[2-6] id="([^"]+)">', html))

    def keep(match: re.Match[str]) -> str:
        address = match.group(1)
        if re.match(r"https?://", address):
            return match.group()
        for name in (address[1:], "m-" + address[1:]):
            if address.startswith("#") and name in names:
                return f'<a href="#{name}"'
        return "<a"

    return re.sub(r'<a href="([^"]*)"', keep, html)


def _wrap_tables(html: str) -> str:
    return html.replace("<table>", '<div tabindex="0" class="table"><table>').replace("</table>", "</table></div>")


def drawing(svg: str, prefix: str, label: str) -> Markup:
    """A protocol's drawing as inline SVG, rebuilt from the elements and attributes that a drawing needs.

    ``prefix`` keeps ids of several drawings on one page apart. What cannot be read as SVG becomes a note that says so.
    """
    if "<!DOCTYPE" in svg.upper() or "<!ENTITY" in svg.upper():
        return _no_drawing(label)
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError:
        return _no_drawing(label)
    if root.tag.removeprefix(SVG_NAMESPACE) != "svg":
        return _no_drawing(label)
    attributes = f' role="img" aria-label="{plain(label)}"'
    return Markup(_svg_element(root, prefix, attributes, depth=0))


def _no_drawing(label: str) -> Markup:
    return Markup(Reason("pages.drawing_not_shown", label=plain(label)))


def _svg_element(element: ElementTree.Element, prefix: str, extra: str, depth: int) -> str:
    name = element.tag.removeprefix(SVG_NAMESPACE) if isinstance(element.tag, str) else ""
    if name not in SVG_TAGS or depth > 30:
        return ""
    attributes = "".join(_svg_attribute(k, v, prefix) for k, v in element.attrib.items())
    inside = "".join(_svg_element(child, prefix, "", depth + 1) + _entities(child.tail or "") for child in element)
    return f"<{name}{attributes}{extra}>{_entities(element.text or '')}{inside}</{name}>"


def _svg_attribute(name: str, value: str, prefix: str) -> str:
    if name not in SVG_ATTRIBUTES:
        return ""
    if name == "id":
        value = prefix + value
    local = LOCAL_REFERENCE.fullmatch(value.strip())
    if local:
        value = f"url(#{prefix}{local.group(1)})"
    elif "(" in value and name != "transform":
        return ""
    return f' {name}="{_entities(value)}"'
