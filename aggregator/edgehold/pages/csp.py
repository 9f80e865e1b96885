"""The content security policy that stands on every page: nothing from elsewhere, no inline style, scripts only by hash."""

from __future__ import annotations

import base64
import hashlib
import re

INLINE_SCRIPT = re.compile(r"<script(?P<attributes>(?:\s[^>]*)?)>(?P<body>.*?)</script>", re.DOTALL | re.IGNORECASE)
DATA_BLOCKS = ('"application/json"', '"application/ld+json"')
PLACE = '<meta charset="utf-8">'


def with_policy(html: str) -> str:
    """``html`` with a policy that allows exactly the inline scripts it holds now.

    Raises
    ------
    ValueError : when the page has no place for the policy.
    """
    if PLACE not in html:
        raise ValueError(f"a page must hold {PLACE!r}, where its policy goes")
    return html.replace(PLACE, f'{PLACE}<meta http-equiv="Content-Security-Policy" content="{policy(html)}">', 1)


def policy(html: str) -> str:
    """The policy for one page (Content Security Policy Level 3)."""
    scripts = " ".join(["'self'", *sorted(script_hashes(html))])
    return (
        f"default-src 'none'; script-src {scripts}; style-src 'self'; img-src 'self' data:; font-src 'self'; "
        "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'none'; base-uri 'none'; object-src 'none'"
    )


def script_hashes(html: str) -> set[str]:
    """Hash sources of the inline scripts that would run; blocks of data are no scripts."""
    bodies = (
        m["body"]
        for m in INLINE_SCRIPT.finditer(html)
        if "src=" not in m["attributes"] and not any(kind in m["attributes"] for kind in DATA_BLOCKS)
    )
    return {f"'sha256-{base64.b64encode(hashlib.sha256(b.encode()).digest()).decode()}'" for b in bodies}
