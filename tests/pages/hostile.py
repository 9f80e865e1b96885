"""Payloads in every text of a bundle that is not an address, a hash, a number or one of a closed list of words."""

from __future__ import annotations

from typing import get_args

from pydantic import BaseModel

PAYLOADS = (
    "<script>window.hit=1</script>",
    '"><img src=x onerror=window.hit=1>',
    "[click](javascript:window.hit=1)",
    "</title></textarea></style><svg onload=window.hit=1>",
    "![x](x){: onerror=window.hit=1 }",
    "&lt;script&gt;window.hit=1&lt;/script&gt;",
    "<a href='java\tscript:window.hit=1'>x</a>",
    "{{ 7*7 }}{% raw %}\u202egnp.exe",
    "| a | b |\n|---|---|\n# big\n<details open ontoggle=window.hit=1>",
)

# What becomes part of an address, or is compared with such: checked in stage 1 against a pattern that admits no markup.
KEYS = {
    "id",
    "protocol",
    "version",
    "step",
    "versions",
    "submission",
    "first",
    "second",
    "steel",
    "endpoint",
    "month",
    "sha256",
    "inputs_sha256",
    "repeatability_sha256",
    "first_month",
    "last_month",
    "format",
    "file",
    "factor",
    "family",
    "pilot",
    "probe",
    "probes",
    "revised_in",
    "stands_against",
    "older",
    "steps",
}


def hostile(record: BaseModel, counter: list[int] | None = None) -> BaseModel:
    """A copy of ``record`` in which every free text is a payload."""
    counter = counter if counter is not None else [0]
    changed = {}
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        closed = bool(get_args(field.annotation)) and all(isinstance(a, str) for a in get_args(field.annotation))
        changed[name] = value if name in KEYS or closed else _hostile(value, counter)
    return record.model_copy(update=changed)


def _hostile(value: object, counter: list[int]) -> object:
    if isinstance(value, BaseModel):
        return hostile(value, counter)
    if isinstance(value, tuple | list):
        return type(value)(_hostile(v, counter) for v in value)
    if isinstance(value, dict):
        return {key: _hostile(v, counter) for key, v in value.items()}
    if isinstance(value, str):
        counter[0] += 1
        return PAYLOADS[counter[0] % len(PAYLOADS)]
    return value
