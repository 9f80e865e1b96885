"""One finished page, and how a template becomes one."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from hashlib import blake2b

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from pydantic import BaseModel

from edgehold.results.words.sentences import ratio_text

from . import addresses, analyses, bars, choose, forests, formatting, safe_text, spread_bars
from .compiled import Compiled
from .search_index import Findable

__all__ = ["Findable", "Page", "environment", "hash_of", "render"]


@dataclass(frozen=True)
class Page:
    """A page before it becomes a file.

    Attributes
    ----------
    address : from the site's root, with a slash at both ends.
    title : for the browser's tab; anything special is taken out of it.
    section : folder of the navigation's entry this page belongs under.
    record : one of many pages of the same kind; the search finds it by title and names alone, and not part by part.
    found : how the search finds it.
    contents : whether a table of contents stands beside it.
    simulated : whether its figures are a demonstration's.
    structured : what it says of itself for machines, as JSON-LD; empty for nothing.
    """

    address: str
    title: str
    html: str
    section: str
    description: str = ""
    record: bool = False
    found: Findable = field(default_factory=Findable)
    contents: bool = False
    simulated: bool = False
    structured: str = ""

    def file(self) -> tuple[str, str]:
        """Path and text for the site generator: settings as YAML (JSON is YAML), then finished HTML."""
        settings: dict[str, object] = {
            "title": safe_text.title(self.title),
            "ready": True,
            "section": self.section,
            "hide": ["navigation"] if self.contents else ["navigation", "toc"],
        }
        if self.description:
            settings["description"] = safe_text.title(self.description, 160)
        settings["found"] = asdict(self.found) | {"record": self.record}
        if self.structured:
            settings["structured"] = safe_text.data_block(self.structured)
        html = addresses.relative_links(self.html, self.address)
        lines = "\n".join(f"{key}: {json.dumps(value, ensure_ascii=False)}" for key, value in settings.items())
        return addresses.source(self.address), f"---\n{lines}\n---\n{html}"


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates: every expression goes through the one renderer of strangers' text."""
    made = Environment(
        loader=PackageLoader("edgehold.pages"),
        autoescape=True,
        finalize=safe_text.finalize,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        bytecode_cache=Compiled(),
    )
    made.globals |= {
        "analyses": analyses,
        "at": addresses,
        "bars": bars,
        "choose": choose,
        "forests": forests,
        "linked": safe_text.linked,
        "ratio": ratio_text,
        "spread_bars": spread_bars,
        "formatting": formatting,
    }
    made.filters |= {"paragraphs": safe_text.paragraphs}
    return made


def render(template: str, **values: object) -> Markup:
    """A template filled in."""
    return Markup(environment().get_template(template).render(**values))


def hash_of(published: BaseModel) -> bytes:
    """Of all that is published about something: pages know nothing else of it (``results.json`` says it all, codes included)."""
    return blake2b(published.model_dump_json().encode(), digest_size=32).digest()
