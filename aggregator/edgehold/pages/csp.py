"""The content security policy that stands on every page: nothing from elsewhere, no inline style, scripts only by hash.

Which inline scripts may run is a fixed list: those of the theme, as they were read when they were put here. A page that holds another
one, or markup by which a page runs, frames or leads to something without one, is no page of this program, and the build stops.
"""

from __future__ import annotations

import base64
import hashlib
import re

from edgehold.errors import EdgeholdError
from edgehold.words import Reason

INLINE_SCRIPT = re.compile(r"<script(?P<attributes>(?:\s[^>]*)?)>(?P<body>.*?)</script>", re.DOTALL | re.IGNORECASE)
DATA_BLOCKS = ('"application/json"', '"application/ld+json"')
PLACE = '<meta charset="utf-8">'

THEME_SCRIPTS = frozenset(
    {
        "frNoT9rNKIH2e5QomDJzop2HdNi8gmIq+bZajsEDKpA=",
        "DrEMJJ29sL7vIloQzly+VUGMxKcBTMII+OfW7Y8AkG4=",
        "/8wPdzX9q0NNJXyA5lzsLojXFpkeaXVxhbfkUOQaWy8=",
    }
)
"""SHA-256 of the theme's inline scripts (mkdocs-material 9.8): where its settings are kept in the browser, the colour scheme that was
chosen, and the tab that an address opens. The first names the way to the site's root, which `_WAY_TO_ROOT` takes out."""
_WAY_TO_ROOT = re.compile(r'\A__md_scope=new URL\("(?:\.|(?:\.\./)*\.\.|/(?!/)[\w./~-]*)",location\)')

_SUSPECT = (
    *(f"<{name}" for name in ("iframe", "frame", "object", "embed", "applet", "portal", "base")),
    *("style=", "style =", "srcdoc", "formaction", "http-equiv", "javascript:", "vbscript:"),
)
_HANDLERS = tuple(re.compile(rf"{before}on[a-z]+\s*=") for before in (" ", "\n", "\t", "/", '"', "'"))
_TAG = re.compile(r"""<([a-z][^\s"'<>/]*)((?:[^"'<>]|"[^"]*"|'[^']*')*)>""")
_VALUES = re.compile(r"""\s*=\s*("[^"]*"|'[^']*'|[^\s"'<>]+)""")
_NAMES = re.compile(r"[^\s/=]+")
_ACTIVE_TAGS = frozenset({"iframe", "frame", "object", "embed", "applet", "portal", "base"})
_ACTIVE_NAMES = re.compile(r"on[a-z]+|style|srcdoc|formaction|http-equiv")
_ACTIVE_VALUE = re.compile(r"[\s\"']*(?:java|vb)script:")
_SCRIPT = re.compile(r"<script\b.*?</script\s*>", re.DOTALL | re.IGNORECASE)


class UnsafePage(EdgeholdError):
    """A page holds a script or markup that is not this program's; nothing is built."""


def with_policy(html: str) -> str:
    """``html`` with a policy that allows the theme's inline scripts that it holds, and no others.

    Raises
    ------
    UnsafePage : when it holds another inline script, or markup that acts by itself.
    ValueError : when the page has no place for the policy.
    """
    if PLACE not in html:
        raise ValueError(f"a page must hold {PLACE!r}, where its policy goes")
    return html.replace(PLACE, f'{PLACE}<meta http-equiv="Content-Security-Policy" content="{policy(html)}">', 1)


def policy(html: str) -> str:
    """The policy for one page (Content Security Policy Level 3); raises as `with_policy`."""
    bodies = inline_scripts(html)
    _refuse_unknown(bodies)
    _refuse_active(html)
    scripts = " ".join(["'self'", *sorted(map(_source, bodies))])
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'self'; img-src 'self' data:; font-src 'self'; "
        "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'none'; base-uri 'none'; object-src 'none'"
    )


def _refuse_unknown(bodies: set[str]) -> None:
    for body in sorted(bodies):
        found = _hash(_WAY_TO_ROOT.sub('__md_scope=new URL("",location)', body))
        if found not in THEME_SCRIPTS:
            raise UnsafePage(Reason("policy.unknown_script", begins=" ".join(body.split())[:60], hash=found))


def _refuse_active(html: str) -> None:
    """Refuse markup that acts by itself. Text from people is escaped, so that what looks like a tag is one."""
    lowered = html.lower()
    if not any(part in lowered for part in _SUSPECT) and not any(handler.search(lowered) for handler in _HANDLERS):
        return
    for tag in _TAG.finditer(_SCRIPT.sub("", lowered)):
        values = _VALUES.findall(tag[2])
        names = _NAMES.findall(_VALUES.sub(" ", tag[2]))
        if tag[1] in _ACTIVE_TAGS or any(map(_ACTIVE_NAMES.fullmatch, names)) or any(map(_ACTIVE_VALUE.match, values)):
            raise UnsafePage(Reason("policy.active_markup", found=" ".join(tag[0].split())[:80]))


def script_hashes(html: str) -> set[str]:
    """Hash sources of the inline scripts that would run; blocks of data are no scripts."""
    return set(map(_source, inline_scripts(html)))


def inline_scripts(html: str) -> set[str]:
    """The inline scripts that would run."""
    return {
        m["body"]
        for m in INLINE_SCRIPT.finditer(html)
        if "src=" not in m["attributes"] and not any(kind in m["attributes"] for kind in DATA_BLOCKS)
    }


def _source(body: str) -> str:
    return f"'sha256-{_hash(body)}'"


def _hash(body: str) -> str:
    return base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
