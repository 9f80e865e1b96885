"""The card of a version that stands in a repository."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote

from edgehold.errors import FindingsError, InputError
from edgehold.records import load_repository
from edgehold.records.model.protocol import version_order
from edgehold.records.report import harmless
from edgehold.records.schemas import FALLBACK_URL, site_url
from edgehold.records.status import events_of, newest_version, status_after

from .address import ask_address
from .method import method_card


def card_of(root: Path, name: str, version: str | None = None) -> str:
    """A version in a post, with the site's address where one is set.

    Parameters
    ----------
    root : the repository.
    name : the protocol's id.
    version : which; None: the newest adopted one.

    Raises
    ------
    FindingsError
        Errors stand in the protocols.
    InputError
        There is no such version.
    """
    repository = load_repository(root, chosen=())
    if repository.errors:
        raise FindingsError(repository.findings)
    found = {v: loaded for (id, v), loaded in repository.protocols.items() if id == name}
    if not found or (version is not None and version not in found):
        there = ", ".join(sorted(found, key=version_order)) or ", ".join(sorted({id for id, _ in repository.protocols}))
        raise InputError(f"got {harmless(f'{name} {version or str()}'.strip())!r}, wanted one of {there}")
    which = version or newest_version(repository, name)
    chosen, status = found[which], status_after(events_of(repository, name, which))
    base = site_url(root)
    here = "" if base == FALLBACK_URL else f"{base}protocols/{quote(name)}/{which}/"
    return method_card(chosen.record, status, chosen.sha256, here, ask_address(base, name, which))
