"""Where a card's reader goes with what is wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol
from urllib.parse import quote

from edgehold.records.schemas import FALLBACK_URL, site_url


class Named(Protocol):
    """A version of a protocol as a file names it."""

    @property
    def id(self) -> str: ...

    @property
    def version(self) -> str: ...


def ask_address(base_url: str, protocol: str, version: str) -> str:
    """The form for an objection to a version, filled in so far; empty where the site has no address yet.

    Parameters
    ----------
    base_url : of the published site, with a slash at its end.
    protocol, version : the method.
    """
    return "" if base_url == FALLBACK_URL else f"{base_url}objections/new/?protocol={quote(protocol)}&version={quote(version)}"


def ask_for(root: Path, method: Named) -> str:
    """The same of a method that a plan or a result names, at the address that a repository's site has."""
    return ask_address(site_url(root), method.id, method.version)
