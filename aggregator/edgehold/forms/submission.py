"""The rules of a form, as data: what the browser needs to ask for a file, check it and write it, and nothing of its own.

Everything comes from the schema, the protocol, the registers and the constants of ``edgehold.records``. The scripts of
``site/pages/assets/form`` interpret it; ``tests/forms`` holds them to the same findings as the program.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable

from edgehold import __version__
from edgehold.cards.address import ask_address
from edgehold.records.canonical import Repository
from edgehold.records.codes import CODES
from edgehold.records.model.protocol import Protocol, version_order
from edgehold.records.model.submission import SUBMISSION_FORMAT
from edgehold.records.read import letters
from edgehold.records.read.form import pattern_cure
from edgehold.records.read.json_reading import DEEPEST, MOST_CONTAINERS
from edgehold.records.read.opening import LARGEST_BYTES, UNFIT_CHARACTERS
from edgehold.records.registers import DROPPED_MARKS, GRIT_LETTERS, Steels, grit_spellings, load_units, steel_spellings
from edgehold.records.rules.table import handed_on, submission_table
from edgehold.records.schemas import generated_schemas, repository_url, site_url
from edgehold.records.status import events_of, status_after
from edgehold.records.steel_search import composition_rules
from edgehold.records.units import grammar
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.publish.versions import closed_by
from edgehold.words import Reason, group

from .answer import answer_rules
from .layout import fields_to_fill, submission_layout, worked_example

Rules = dict[str, object]

OPEN = ("adopted", "in review")
LONGEST_LINK = 6_000  # bytes; hosts refuse addresses of about 8 kB

SCHEMA_CODES = (
    "missing-field", "unknown-field", "unknown-word", "unknown-format", "wrong-form", "wrong-case", "text-length", "out-of-range",
    "wrong-type", "empty-list",
)  # fmt: skip
HINTS = (
    {
        "at": "/people/*/handle",
        "pattern": r"^[a-z]{3,}-[a-z]{3,}$",
        "text": Reason("forms.handle_like_a_name"),
    },
)
"""What the form says of a value that is right in form; the check says nothing of it."""


def forms(repository: Repository, published: PublishedRepeatability) -> dict[tuple[str, str], Rules]:
    """Rules by (protocol id, version) for every version that takes submissions; the newest version of each first.

    A version that a blocking objection about safety stands against has none: nobody shall be led to follow it.

    Each holds what the answer on the same page needs beside them (``answer_rules``), from the ``published`` table.
    """
    base, address = site_url(repository.root), repository_url(repository.root)
    found = {}
    for (name, version), protocol in sorted(repository.protocols.items(), key=lambda p: (p[0][0], [-n for n in version_order(p[0][1])])):
        events = events_of(repository, name, version)
        status = status_after(events)
        if status in OPEN and not closed_by(repository, name, version):
            month = events[0].month
            rules = form_rules(protocol.record, status, month, repository.steels, base_url=base, repository_url=address)
            found[(name, version)] = (
                rules | answer_rules(protocol.record, published, repository.steels) | {"ask": ask_address(base, name, version)}
            )
    return found


def form_rules(
    protocol: Protocol,
    status: str,
    released: str,
    steels: Steels,
    *,
    base_url: str,
    repository_url: str | None = None,
) -> Rules:
    """The rules of one protocol version's form, as JSON values.

    Parameters
    ----------
    protocol : its machine-readable part.
    status : where its life stands, ``adopted`` or ``in review``.
    released : month of its release; the worked example is of that month.
    steels : the registers of steels and of their classes.
    base_url : address of the published site, as in ``edgehold.records.schemas``.
    repository_url : where pull requests go; None: nowhere yet, and the form offers downloads only.
    """
    schema = schema_of(SUBMISSION_FORMAT, base_url)
    rule, table = protocol.reading, handed_on(submission_table(protocol, status))
    example = worked_example(protocol, released)
    return {
        "schema": schema,
        "protocol": protocol.model_dump(mode="json"),
        "status": status,
        "table": table,
        "layout": submission_layout(protocol),
        "messages": messages([*SCHEMA_CODES, *(str(entry["code"]) for entry in table), *(c["code"] for c in UNFIT_CHARACTERS)]),
        "cures": {pattern: pattern_cure(pattern) for pattern in sorted(patterns_in(schema))},
        "hints": list(HINTS),
        "units": _units(),
        "numbers": grammar(),
        "asks": group("questions"),
        "characters": [{"code": c["code"], "pattern": c["pattern"]} for c in UNFIT_CHARACTERS],
        "folded": DROPPED_MARKS,
        "designations": _designations(steels),
        "steel_origins": steel_spellings(steels),
        "compositions": composition_rules(steels),
        "grits": {"letters": GRIT_LETTERS, "sizes": grit_spellings()},
        "plausible": {"low": rule.plausible_low, "high": rule.plausible_high, "unit": rule.canonical_unit},
        "limits": {"bytes": LARGEST_BYTES["submission"], "depth": DEEPEST, "containers": MOST_CONTAINERS, "link": LONGEST_LINK},
        "letters": _letters(),
        "sending": group("sending"),
        "example": example,
        "to_fill": fields_to_fill(example, protocol),
        "repository_url": repository_url,
        "program_version": __version__,
    }


def example_json(rules: Rules) -> bytes:
    """The worked example as a file."""
    return (json.dumps(rules["example"], indent=2, ensure_ascii=False) + "\n").encode()


def messages(codes: Iterable[str]) -> dict[str, dict[str, str]]:
    """What each code means and what cures it, as the check says it."""
    return {
        code: {"severity": CODES[code].severity, "meaning": CODES[code].meaning, "cure": CODES[code].cure} for code in dict.fromkeys(codes)
    }


@functools.lru_cache(maxsize=4)
def _schemas(base_url: str) -> dict[str, bytes]:
    return generated_schemas(base_url)


def schema_of(format_name: str, base_url: str) -> dict[str, object]:
    """The schema of a format such as ``submission/1.0.0``."""
    schema: dict[str, object] = json.loads(_schemas(base_url)[f"{format_name}.json"])
    return schema


def part_of_schema(schema: dict[str, object], name: str) -> dict[str, object]:
    """A part of a schema that holds others by name, such as ``properties``."""
    part = schema[name]
    if not isinstance(part, dict):
        raise TypeError(f"{name!r} of a schema holds nothing by name")
    return part


def patterns_in(schema: object) -> set[str]:
    """Every pattern in a schema."""
    if isinstance(schema, list):
        return set().union(*map(patterns_in, schema), set())
    if not isinstance(schema, dict):
        return set()
    own = {value for name, value in schema.items() if name == "pattern" and isinstance(value, str)}
    named = schema.get("patternProperties")
    return own | set(named if isinstance(named, dict) else ()) | set().union(*map(patterns_in, schema.values()), set())


def _letters() -> Rules:
    """How a block of letters is written and read (``edgehold.records.read.letters``), and what is said of a damaged one."""
    patterns = {"begin": letters.BEGIN, "end": letters.END, "named": letters.NAMED, "entity": letters.ENTITY}
    patterns |= {"other": letters.OTHER, "strange": letters.STRANGE}
    return {
        "version": letters.VERSION,
        "alphabet": letters.ALPHABET,
        "line": letters.LINE,
        "bytes": letters.MOST_BYTES,
        "patterns": {name: pattern.pattern for name, pattern in patterns.items()},
        "says": group("letters"),
    }


def _units() -> list[dict[str, object]]:
    units = load_units().units
    return [u.model_dump(mode="json", exclude={"source", "note"}) for u in units]


def _designations(steels: Steels) -> list[str]:
    """Real designations to choose from, with their system; invented steels are of the demonstration only."""
    names = (f"{name.system} {name.designation}" for steel in steels.named.values() if steel.origin == "measured" for name in steel.names)
    return sorted(set(names))
