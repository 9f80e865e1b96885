"""The schemas of everything published, the results' own beside those of what people write.

``python -m edgehold.results.publish.schemas`` writes ``schemas/`` of the current folder anew, ``… --release`` declares what lies there
released: ``schemas/released.json`` keeps the hash of each, and from then on it never changes.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import rfc8785

from edgehold.disk import read_file, read_text, there, write_file, write_files
from edgehold.engine.tasks import each
from edgehold.errors import InputError
from edgehold.records.schemas import generated_schemas, schema_document, site_url
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.model.results import RESULTS_FORMAT, Results
from edgehold.words import Reason

from .repeatability_file import REPEATABILITY_FORMAT

if TYPE_CHECKING:  # below, where something is held: a build of which nothing is new holds nothing
    import jsonschema


def all_schemas(base_url: str) -> dict[str, bytes]:
    """Every schema by its path below ``schemas/``; ``base_url`` as in ``edgehold.records.schemas``."""
    return generated_schemas(base_url) | _own_schemas(base_url)


def _own_schemas(base_url: str) -> dict[str, bytes]:
    """Those of what the program publishes."""
    own = (
        (RESULTS_FORMAT, Reason("schemas.results"), Results),
        (REPEATABILITY_FORMAT, Reason("schemas.repeatability"), PublishedRepeatability),
    )
    return {f"{name}.json": schema_document(name, text, (model,), base_url) for name, text, model in own}


def published_schemas(root: Path) -> dict[str, bytes]:
    """Every schema that a site offers, by path below ``schemas/``: the present ones, and older versions as they lie in ``root/schemas``."""
    older = {name: read_file(root / "schemas" / name) for name in released(root)}
    return older | all_schemas(site_url(root))


def hold_to_schemas(root: Path, files: Mapping[str, bytes], items: Mapping[str, Iterable[str]] | None = None) -> None:
    """Hold what is about to be published against its schema: another program's reading of the same file.

    What stands in a list of the whole, such as a pool or a submission, is held against its own part of the schema, so that one that was
    held before is not held again.

    Parameters
    ----------
    root : the repository.
    files : by name.
    items : what stands in lists of the results, where that was taken out of their file.

    Raises
    ------
    jsonschema.ValidationError, jsonschema.SchemaError
        It does not fit, or its schema is none: a fault of the program, and nothing is published.
    """
    schemas, parts = _own_schemas(site_url(root)), []
    for name, form in (("results.json", RESULTS_FORMAT), ("repeatability.json", REPEATABILITY_FORMAT)):
        schema, document = schemas[f"{form}.json"], json.loads(files[name])
        lists = {one: document[one] for one in _plain_lists(schema) if isinstance(document.get(one), list)}
        parts += [(schema, "", _bytes_of(document | {one: [] for one in lists}))]
        parts += [(schema, one, _bytes_of(item)) for one, own in lists.items() for item in own]
        written = (items or {}) if name == "results.json" else {}
        parts += [(schema, one, text.encode()) for one, texts in written.items() for text in texts]
    each(_check_schema, [(schema,) for schema in schemas.values()], [WORK_OF_SCHEMA] * len(schemas))
    each(_hold, parts, [len(content) * WORK_OF_BYTE for *_, content in parts])


WORK_OF_SCHEMA, WORK_OF_BYTE = 200.0, 3e-4  # milliseconds
PLAIN = {"type", "items", "title", "description", "default"}
"""What a schema says of a list that asks nothing of it but of its items, each by itself."""


def _plain_lists(schema: bytes) -> list[str]:
    """Properties of the whole that are such lists."""
    properties = json.loads(schema).get("properties", {})
    return [name for name, told in properties.items() if told.get("type") == "array" and {"items"} <= told.keys() <= PLAIN]


def _bytes_of(value: object) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()


def _hold(schema: bytes, name: str, content: bytes) -> None:
    """Hold an item of the list of that name, or the whole where the name is empty."""
    from jsonschema.exceptions import best_match

    error = best_match(_validator(schema, name).iter_errors(json.loads(content)))
    if error is not None:
        raise error


@cache
def _validator(schema: bytes, name: str) -> jsonschema.Draft202012Validator:
    """What holds a file, or an item of one of its lists, to a schema."""
    import jsonschema

    document = json.loads(schema)
    if name:
        document = {"$schema": document["$schema"], "$defs": document["$defs"], **document["properties"][name]["items"]}
    return jsonschema.Draft202012Validator(document)


def _check_schema(schema: bytes) -> None:
    """Hold a schema against what a schema is."""
    import jsonschema

    jsonschema.Draft202012Validator.check_schema(json.loads(schema))


def schema_hash(content: bytes) -> str:
    """SHA-256 of a schema's canonical JSON (RFC 8785) without ``$id``, which is an address and may move with the site."""
    document = json.loads(content)
    document.pop("$id", None)
    return hashlib.sha256(rfc8785.dumps(document)).hexdigest()


def released(root: Path) -> dict[str, str]:
    """Hashes of the schemas that never change any more, by path below ``schemas/``."""
    path = root / "schemas" / "released.json"
    return json.loads(read_text(path)) if there(path) else {}


def write(root: Path) -> None:
    """Write every schema below ``root/schemas``.

    Raises
    ------
    InputError
        One of them is released and would change; nothing is written then.
    """
    schemas, fixed = all_schemas(site_url(root)), released(root)
    for name, content in schemas.items():
        if name in fixed and fixed[name] != schema_hash(content):
            raise InputError(f"schemas/{name} is released and never changes: give the format a new version")
    write_files({root / "schemas" / name: content for name, content in schemas.items()}, folders=True)


def release(root: Path) -> None:
    """Add the hash of every schema below ``root/schemas`` that has none yet."""
    paths = sorted((root / "schemas").glob("*/*.json"))
    found = {path.relative_to(root / "schemas").as_posix(): schema_hash(read_file(path)) for path in paths}
    text = json.dumps(found | released(root), indent=2, sort_keys=True)
    write_file(root / "schemas" / "released.json", f"{text}\n".encode())


if __name__ == "__main__":
    write(Path.cwd())
    if sys.argv[1:] == ["--release"]:
        release(Path.cwd())
