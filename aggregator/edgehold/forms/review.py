"""What the forms for objections, responses, outcomes and protocols need in the browser, as data: see ``form`` for submissions.

``site/pages/assets/form/review.js`` and ``protocol.js`` interpret it; ``tests/forms/review_corpus.py``
holds them to the program's findings.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from edgehold import __version__
from edgehold.engine.tasks import kept, kept_as
from edgehold.records.canonical import LoadedProtocol, ObjectionThread, Repository
from edgehold.records.layout import ANALYSIS, RESERVED_IDS, RESERVED_PROTOCOLS
from edgehold.records.model.protocol import PROTOCOL_FORMAT, version_order
from edgehold.records.model.review import OBJECTION_FORMAT
from edgehold.records.read.form import pattern_cure
from edgehold.records.read.opening import LARGEST_BYTES, UNFIT_CHARACTERS, decode, read_bytes
from edgehold.records.read.yaml_reading import split_front_matter
from edgehold.records.rules.settings_tables import asking_for_tables
from edgehold.records.rules.table import Entry
from edgehold.records.schemas import repository_url, site_url
from edgehold.records.status import events_of, status_after
from edgehold.records.threads import state_of
from edgehold.results.publish.objections import STRUCK, threads_of, versions_of
from edgehold.results.publish.text_changes import step_titles
from edgehold.review.protocol_drafts import FIRST_VERSION, skeleton
from edgehold.words import Reason, group

from .method import method_rules
from .review_table import TEXT, Thread, outcome_table, response_table, shared_table, target_table, version_table
from .submission import HINTS, LONGEST_LINK, SCHEMA_CODES, Rules, messages, part_of_schema, patterns_in, schema_of

KINDS = ("objection", "response", "outcome")
BODIES = {
    "objection": ("Statement", Reason("forms.statement_asks")),
    "response": ("Text", Reason("forms.response_asks")),
    "outcome": ("Reason", Reason("forms.reason_asks")),
}  # fmt: skip
LONGEST_SAID, LONGEST_WHY = 1500, 200  # characters of a statement that is looked through, and of a reason that is shown
OWN_ID = "my-method"
PROTOCOL_CODES = ("no-front-matter", "empty-body", "file-too-large", "reserved-id")
TEXT_CODES = ("empty-body", "file-too-large", "names-a-person")


def review_forms(repository: Repository) -> dict[str, Rules]:
    """Rules of the three forms about objections, by kind, and of the page that drafts a protocol (``"protocol"``)."""
    names = sorted({name for name, _ in repository.protocols})
    targets = {name: _target(repository, name) for name in [*names, ANALYSIS]}
    threads = [thread for thread in repository.objections if not _struck(thread)]
    found = {kind: _form(repository, kind) for kind in KINDS}
    found["objection"]["targets"] = targets
    found["objection"]["said"] = [_said(repository, thread) for thread in threads if thread.objection.duplicate_of is None]
    for kind, table in (("response", response_table), ("outcome", outcome_table)):
        found[kind]["threads"] = [_thread(repository, thread, table) for thread in threads]
    return found | {"protocol": _protocols(repository)}


def _form(repository: Repository, kind: str) -> Rules:
    definitions = part_of_schema(schema_of(OBJECTION_FORMAT, site_url(repository.root)), "$defs")
    schema = {**part_of_schema(definitions, kind.capitalize()), "$defs": definitions}
    texts = ("/title", "/proposed_change") if kind == "objection" else ()
    table = shared_table(repository, texts, evidence=kind != "outcome")
    label, text = BODIES[kind]
    return {
        "kind": kind,
        "schema": schema,
        "table": table,
        "layout": {
            "fixed": {"/format": OBJECTION_FORMAT, "/kind": kind},
            "filled": [{"at": "/month", "with": "month"}],
            "choices": {},
            "like": {"/by": "wren", "/month": "2026-05"},
        },
        "body": {"label": label, "text": text, "matches": [{"code": code, "pattern": pattern} for code, pattern in TEXT.items()]},
        "messages": messages([*SCHEMA_CODES, *TEXT_CODES, *REVIEW_CODES, *(c["code"] for c in UNFIT_CHARACTERS)]),
        "hints": [{**hint, "at": "/by"} for hint in HINTS],
        "cures": {pattern: pattern_cure(pattern) for pattern in sorted(patterns_in(schema))},
        "probes": [] if kind == "outcome" else kept(_probes),
        **_everywhere(repository, "objection"),
    }


def _probes() -> list[list[str]]:
    """Id and question of every probe."""
    from edgehold.pooling.probes.register import PROBES  # here, for it brings the whole of pooling

    return [[probe.id, probe.question] for probe in PROBES]


def _everywhere(repository: Repository, kind: str) -> Rules:
    return {
        "characters": [{"code": c["code"], "pattern": c["pattern"]} for c in UNFIT_CHARACTERS],
        "limits": {"bytes": LARGEST_BYTES[kind], "link": LONGEST_LINK},
        "repository_url": repository_url(repository.root),
        "sending": group("sending"),
        "program_version": __version__,
    }


REVIEW_CODES = (
        "month-in-future", "month-backwards", "interest-unstated", "evidence-form", "unknown-probe", "unknown-reference",
        "cites-gone", "unknown-version", "unknown-step", "duplicate-form", "no-evidence", "revision-misses", "after-struck",
        "decided-elsewhere", "nothing-new", "outcome-unfounded", "not-impartial", "not-the-objector",
)  # fmt: skip
"""What the tables of the three forms can find."""


def _target(repository: Repository, name: str) -> Rules:
    """One protocol, or the analysis, as something to object to; its versions with the newest first."""
    threads = threads_of(repository, name)
    versions = versions_of(repository, name)
    return {
        "title": "the analysis" if name == ANALYSIS else max(versions.values(), key=lambda v: version_order(v.record.version)).record.title,
        "next": 1 + max(threads, default=0),
        "table": target_table(repository, name),
        "repeatable": [[t.number, _title(t)] for t in threads.values() if t.objection.duplicate_of is None and not _struck(t)],
        "versions": [_version(repository, name, version) for version in sorted(versions, key=version_order, reverse=True)],
    }


def _title(thread: ObjectionThread) -> str:
    """An objection's title, with the word where nobody raised it."""
    return f"{thread.objection.title}, simulated" if thread.objection.simulated else thread.objection.title


def _said(repository: Repository, thread: ObjectionThread) -> Rules:
    """What an objection says, and what became of it, for whoever is about to say it again."""
    now = state_of(thread, threads_of(repository, thread.protocol))
    return {
        "protocol": thread.protocol,
        "number": thread.number,
        "title": _title(thread),
        "statement": _first(thread.statement, LONGEST_SAID),
        "state": now.state,
        "why": _first(now.reason, LONGEST_WHY),
        "at": f"{thread.protocol}/{thread.number:03d}/",
    }


def _first(text: str, longest: int) -> str:
    """A text in one line, cut after a word where it is longer."""
    line = " ".join(text.split())
    return line if len(line) <= longest else f"{line[:longest].rpartition(' ')[0]} …"


def _struck(thread: ObjectionThread) -> bool:
    return state_of(thread).state == STRUCK


def _version(repository: Repository, name: str, version: str) -> Rules:
    loaded, events = repository.protocols[(name, version)], events_of(repository, name, version)
    released = next((event for event in events if event.kind == "released"), None)
    return {
        "version": version,
        "status": status_after(events),
        "steps": [[step, title] for step, title in step_titles(loaded.body).items()],
        "endpoints": [[rule.id, rule.title] for rule in loaded.record.endpoints],
        "table": version_table(loaded, released),
    }


def _thread(repository: Repository, thread: ObjectionThread, table: Callable[[Thread], list[Entry]]) -> Rules:
    of, against = Thread(repository, thread), thread.objection.against
    return {
        "protocol": thread.protocol,
        "number": thread.number,
        "title": _title(thread),
        "state": state_of(thread, threads_of(repository, thread.protocol)).state,
        "against": [part for part in (against.version, against.step, against.endpoint) if part],
        "folder": thread.path.rpartition("/")[0],
        "next": 1 + len(thread.entries),
        "versions": list(of.versions),
        "table": kept_as(table, (thread, of.around), partial(table, of)),
    }


def _starting_text(repository: Repository, loaded: LoadedProtocol) -> str:
    """A version's text for the next one to start from: tables that its settings make are asked for, not spelt out."""
    text = decode(read_bytes(repository.root / loaded.path, "protocol")[0])[0]
    parts = split_front_matter(text)
    return text if parts is None else text.removesuffix(parts[1]) + asking_for_tables(loaded.record, parts[1])


def _protocols(repository: Repository) -> Rules:
    """Every version that is not retired with its text, to start a draft from, the newest of each protocol first; then a skeleton."""
    found = []
    for (name, version), loaded in sorted(repository.protocols.items(), key=lambda p: (p[0][0], [-n for n in version_order(p[0][1])])):
        status = status_after(events_of(repository, name, version))
        if status != "retired":
            text = _starting_text(repository, loaded)
            found.append({"id": name, "version": version, "title": loaded.record.title, "status": status, "text": text})
    empty = {"id": OWN_ID, "version": FIRST_VERSION, "title": Reason("forms.own_method"), "status": "", "text": skeleton(OWN_ID)}
    properties = part_of_schema(schema_of(PROTOCOL_FORMAT, site_url(repository.root)), "properties")
    fields = ("format", "id", "version", "title", "changes")
    own = {"properties": {name: properties[name] for name in fields}, "required": list(fields), "type": "object"}
    return {
        "kind": "protocol",
        "method": method_rules(repository),
        "schema": own,
        "cures": {pattern: pattern_cure(pattern) for pattern in sorted(patterns_in(own))},
        "reserved": sorted(RESERVED_IDS | RESERVED_PROTOCOLS),
        "known": {name: list(versions_of(repository, name)) for name, _ in repository.protocols},
        "sources": [*found, empty],
        "messages": messages([*SCHEMA_CODES, *PROTOCOL_CODES, *(c["code"] for c in UNFIT_CHARACTERS)]),
        **_everywhere(repository, "protocol"),
    }  # fmt: skip
