"""JSON Schemas of everything people write, generated from the models.

``edgehold.results.publish.schemas`` writes them, the results' own beside them. A test that always runs holds the committed files
equal to what the models say.
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

from pydantic import BaseModel, TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from edgehold.disk import read_text, there
from edgehold.errors import InputError
from edgehold.words import Reason

from .model.carried import CARRIED_FORMAT, Carried, Confirmation
from .model.changes import CHANGE_FORMAT, PERSON_FORMAT, TOMBSTONE_FORMAT, Correction, PersonFile, Retraction, Tombstone
from .model.described import descriptions
from .model.plan import PLAN_FORMAT, PLAN_SEAL_FORMAT, SHARED_PLAN_FORMAT, Plan, PlanSeal, SharedPlan
from .model.protocol import PROTOCOL_FORMAT, Protocol
from .model.review import EVENT_FORMAT, OBJECTION_FORMAT, Event, Objection, Outcome, Response
from .model.roles import ROLES_FORMAT, Roles
from .model.submission import SUBMISSION_FORMAT, Submission

DIALECT = "https://json-schema.org/draft/2020-12/schema"
FALLBACK_URL = "https://edgehold.example/"

_SITE_URL = re.compile(r"^site_url:[ \t]*[\"']?(https?://[^\s\"'#]+)", re.MULTILINE)
_REPOSITORY = re.compile(r"^[ \t]*repository_url:[ \t]*[\"']?(https://[^\s\"'#]+)", re.MULTILINE)
_KINDS: tuple[tuple[str, str, tuple[type, ...]], ...] = (
    (PROTOCOL_FORMAT, Reason("schemas.protocol"), (Protocol,)),
    (EVENT_FORMAT, Reason("schemas.event"), (Event,)),
    (OBJECTION_FORMAT, Reason("schemas.objection"), (Objection, Response, Outcome)),
    (SUBMISSION_FORMAT, Reason("schemas.submission"), (Submission,)),
    (PLAN_FORMAT, Reason("schemas.plan"), (Plan,)),
    (SHARED_PLAN_FORMAT, Reason("schemas.tables_plan"), (SharedPlan,)),
    (PLAN_SEAL_FORMAT, Reason("schemas.seal"), (PlanSeal,)),
    (CHANGE_FORMAT, Reason("schemas.change"), (Correction, Retraction)),
    (TOMBSTONE_FORMAT, Reason("schemas.tombstone"), (Tombstone,)),
    (PERSON_FORMAT, Reason("schemas.person"), (PersonFile,)),
    (ROLES_FORMAT, Reason("schemas.roles"), (Roles,)),
    (CARRIED_FORMAT, Reason("schemas.carried"), (Carried, Confirmation)),
)


class _Closed(GenerateJsonSchema):
    """pydantic's schema with the text of every field, and with objects of free names closed: others are refused, as by the models."""

    schema_dialect = DIALECT

    def dict_schema(self, schema: core_schema.DictSchema) -> JsonSchemaValue:
        described = super().dict_schema(schema)
        if "patternProperties" in described:
            described["additionalProperties"] = False
        return described

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        described = super().model_schema(schema)
        model: type[BaseModel] = schema["cls"]
        for name, text in descriptions(model).items():
            field = described["properties"][name]
            meant = self.get_schema_from_definitions(field["$ref"]) if "$ref" in field else None
            if meant is None or meant.get("description") != text:  # what the field's own record says of itself is not said twice
                field["description"] = text
        return described


def generated_schemas(base_url: str = FALLBACK_URL) -> dict[str, bytes]:
    """Every schema by its path below schemas/, such as ``submission/1.0.0.json``; the same bytes every time.

    Parameters
    ----------
    base_url : address of the published site, with a slash at its end; ``$id`` is built from it.

    Raises
    ------
    InputError
        ``base_url`` does not end with a slash.
    """
    if not base_url.endswith("/"):
        raise InputError(f"got the base address {base_url!r}, wanted one that ends with a slash")
    return {f"{name}.json": schema_document(name, text, models, base_url) for name, text, models in _KINDS}


@cache  # a build asks for some of them three times
def schema_document(name: str, text: str, models: tuple[type, ...], base_url: str) -> bytes:
    """One format's schema as published: JSON, two spaces, UTF-8, in the order of the models.

    Parameters
    ----------
    name : kind and version, such as ``submission/1.0.0``.
    text : what the format is.
    models : one model, or the alternatives told apart by their ``kind``.
    base_url : as in ``generated_schemas``.
    """
    body = _body(models)
    head = {"$schema": DIALECT, "$id": f"{base_url}schemas/{name}.json", "title": f"Edgehold {name}", "description": text}
    document = head | {key: value for key, value in body.items() if key not in head}
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def _body(models: tuple[type, ...]) -> dict[str, object]:
    if len(models) == 1:
        return TypeAdapter(models[0]).json_schema(schema_generator=_Closed)
    branches, definitions = TypeAdapter.json_schemas(
        [(model, "validation", TypeAdapter(model)) for model in models], schema_generator=_Closed
    )
    return {"oneOf": [branches[(model, "validation")] for model in models], **definitions}


def site_url(root: Path) -> str:
    """The published site's address from mkdocs.yml, with a slash at its end; a placeholder where none is set."""
    return _site_url(_settings(root))


def _settings(root: Path) -> str:
    """The text of mkdocs.yml; empty where there is none."""
    file = root / "mkdocs.yml"
    return read_text(file) if there(file) else ""


def known_site(settings: str) -> str:
    """The published site's address from the text of a mkdocs.yml, with a slash at its end; empty where none is set."""
    found = _site_url(settings)
    return "" if found == FALLBACK_URL else found


def _site_url(settings: str) -> str:
    found = _SITE_URL.search(settings)
    return FALLBACK_URL if found is None else found[1].rstrip("/") + "/"


def repository_url(root: Path) -> str | None:
    """Where pull requests go, from mkdocs.yml; None where nothing is set."""
    found = _REPOSITORY.search(_settings(root))
    return found[1].rstrip("/") if found else None
