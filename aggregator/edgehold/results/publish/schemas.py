"""The schemas of everything published, the results' own beside those of what people write.

``python -m edgehold.results.publish.schemas`` writes ``schemas/`` of the current folder anew, ``… --release`` declares what lies there
released: ``schemas/released.json`` keeps the hash of each, and from then on it never changes.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import jsonschema
import rfc8785
from jsonschema.exceptions import best_match

from edgehold.disk import read_file, read_text, there, write_file, write_files
from edgehold.engine.tasks import kept
from edgehold.errors import InputError
from edgehold.records.schemas import generated_schemas, schema_document, site_url
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.model.results import RESULTS_FORMAT, Results
from edgehold.words import Reason

from .repeatability import REPEATABILITY_FORMAT


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


def hold_to_schemas(root: Path, files: Mapping[str, bytes]) -> None:
    """Hold what is about to be published against its schema: another program's reading of the same file.

    Raises
    ------
    jsonschema.ValidationError, jsonschema.SchemaError
        It does not fit, or its schema is none: a fault of the program, and nothing is published.
    """
    schemas = _own_schemas(site_url(root))
    for name, form in (("results.json", RESULTS_FORMAT), ("repeatability.json", REPEATABILITY_FORMAT)):
        kept(_hold, schemas[f"{form}.json"], files[name])


def _hold(schema: bytes, content: bytes) -> None:
    error = best_match(_validator(schema).iter_errors(json.loads(content)))
    if error is not None:
        raise error


@cache
def _validator(schema: bytes) -> jsonschema.Draft202012Validator:
    """What holds a file to a schema, which is one itself."""
    document = json.loads(schema)
    jsonschema.Draft202012Validator.check_schema(document)
    return jsonschema.Draft202012Validator(document)


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
