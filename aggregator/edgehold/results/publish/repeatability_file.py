"""The repeatability table as its file and its hash, for whoever has what is published of its pools."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from typing import Literal

import rfc8785

from edgehold.results.model.repeatability import Content, PoolRepeatability, PublishedRepeatability

REPEATABILITY_FORMAT: Literal["repeatability/1.1.0"] = "repeatability/1.1.0"


def table_of_pools(pools: Sequence[PoolRepeatability]) -> PublishedRepeatability:
    """The repeatability table with its hash."""
    content = Content(format=REPEATABILITY_FORMAT, pools=tuple(pools))
    return PublishedRepeatability(**dict(content), sha256=content_sha256(content))


def content_sha256(content: Content) -> str:
    """Hash over the canonical JSON of a table, without the hash that stands in it."""
    plain = content.model_dump(mode="json", exclude={"sha256"}, exclude_unset=True)  # an older file has no hash over newer fields
    return hashlib.sha256(rfc8785.dumps(plain)).hexdigest()


def repeatability_json(table: PublishedRepeatability) -> bytes:
    """The table as a file: JSON, two spaces, UTF-8."""
    return (json.dumps(table.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()
