"""Where every page lies: one place, so that a link and its target cannot disagree.

Addresses begin with ``/``, the site's root. ``relative_links`` turns them into relative ones when a page is finished, so
that the site works from any folder of any server.
"""

from __future__ import annotations

import hashlib
import posixpath
import re
from functools import lru_cache
from urllib.parse import urlencode

from edgehold.records.layout import ANALYSIS
from edgehold.results.model.answers import Answer
from edgehold.results.model.moves import PoolLog
from edgehold.results.model.results import Comparison, Pool, SubmissionResult
from edgehold.results.model.versions import ProtocolResult

SAFE_SEGMENT = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,98}[A-Za-z0-9])?")
COMPARE = "/compare/"
JOINED = "-and-"
OBJECTION_FORM = "/objections/new/"
RESPONSE_FORM = "/objections/respond/"
OUTCOME_FORM = "/objections/decide/"
WAITING = "/objections/waiting/"
PROTOCOL_FORM = "/protocols/new/"
EXPLORER = "/results/explore/"
OWN_METHOD = "/protocols/compare/"
REPOSITORY = re.compile(r"https://[A-Za-z0-9.-]+(?::[0-9]+)?(?:/[A-Za-z0-9._~-]+)*")
ROOT_LINK = re.compile(r'(<[a-zA-Z][^<>]*?\s(?:href|src)=")(/[^"]*)"')  # in a tag only: text may say href= too


def segment(value: str) -> str:
    """``value``, if it can stand in an address.

    Raises
    ------
    ValueError : for anything but letters, digits, hyphens and inner full stops.
    """
    if not SAFE_SEGMENT.fullmatch(value) or ".." in value:
        raise ValueError(f"a part of an address must be letters, digits, hyphens or inner full stops; got {value!r}")
    return value


def pool(of: Pool | PoolLog) -> str:
    """A pool's own page."""
    return f"/results/{segment(of.protocol)}-v{of.major}-{of.origin}/"


def endpoint(of: Pool, endpoint_id: str) -> str:
    """All comparisons of one endpoint."""
    return f"{pool(of)}{segment(endpoint_id)}/"


def pair(of: Pool, comparison: Comparison | Answer) -> str:
    """Two steels, early and late side by side."""
    return f"{pool(of)}compare/{segment(comparison.first)}-and-{segment(comparison.second)}/"


def compared(factor: str, first: str, second: str, protocol_id: str = "") -> str:
    """All that is known of two steels, of two levels of one protocol's treatment, or of practised against novice sharpeners."""
    folder = f"{COMPARE}{segment(protocol_id)}/" if factor == "level" else COMPARE
    return f"{folder}{named_part(first)}{JOINED}{named_part(second)}/"


def named_part(name: str) -> str:
    """A name as one side of an address: itself, or where it holds other signs or what joins both sides, what is left with the start of
    its hash behind, so that no two pairs of names share an address."""
    if SAFE_SEGMENT.fullmatch(name) and ".." not in name and JOINED not in f"-{name}-":
        return name
    kept = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:40].rstrip("-")
    return f"{kept}-{hashlib.sha256(name.encode()).hexdigest()[:8]}".lstrip("-")


def chosen(*both: str) -> str:
    """The chooser's page with two chosen, by their keys."""
    return f"{COMPARE}?{urlencode(dict(zip('ab', both, strict=True)))}"


def key(factor: str, name: str, protocol_id: str = "") -> str:
    """How the chooser's address names a thing: a level with its protocol in front, anything else by its name alone."""
    return f"{protocol_id}:{name}" if factor == "level" else name


def planner(protocol_id: str) -> str:
    """The planner with a method's question chosen."""
    return f"/tonight/?question={segment(protocol_id)}"


def levels(of: Pool) -> str:
    """The levels that a pool compares, early and late side by side."""
    return f"{pool(of)}levels/"


def explorer(pool_id: str, pair_id: str) -> str:
    """Where a reader chooses among the submissions of one pair, all of them kept."""
    return f"{EXPLORER}?pool={segment(pool_id)}&pair={segment(pair_id)}"


def sharpening(of: Pool) -> str:
    """Practised against novice sharpeners in one pool."""
    return f"{pool(of)}sharpening/"


def in_pool(of: Pool, comparison: Comparison | Answer) -> str:
    """What one pool says of two steels, of its levels, or of sharpeners, study by study."""
    if comparison.factor == "steel":
        return pair(of, comparison)
    return levels(of) if comparison.factor == "level" else sharpening(of)


def log(of: PoolLog) -> str:
    """How one pool's estimates moved."""
    return f"/results/log/{segment(of.protocol)}-v{of.major}-{of.origin}/"


def steel(steel_id: str) -> str:
    """A steel's page."""
    return f"/steels/{segment(steel_id)}/"


def family(name: str) -> str:
    """The place on the page of all steels where a family's are listed."""
    return segment(re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "family")


def submission(of: SubmissionResult) -> str:
    """A submission's page."""
    return submission_in(of.origin, of.protocol, of.id)


def submissions_of(origin: str, protocol_id: str, part: int = 0) -> str:
    """A part of the list of one protocol's submissions, where they have lists of their own; the first is where their pages lie."""
    older = "older/" if part else ""
    return f"/submissions/{older}{origin}/{segment(protocol_id)}/" + (f"{part + 1}/" if part else "")


def submission_in(origin: str, protocol_id: str, submission_id: str) -> str:
    """A submission's page, from what a pool and a line of it know."""
    return f"/submissions/{origin}/{segment(protocol_id)}/{segment(submission_id)}/"


def repository_file(repository_url: str, path: str) -> str:
    """A file where the repository lies for everybody; empty where no address is set, or either could be more than an address."""
    parts = path.split("/")
    safe = REPOSITORY.fullmatch(repository_url) and all(SAFE_SEGMENT.fullmatch(part) and ".." not in part for part in parts)
    return f"{repository_url}/blob/HEAD/{path}" if safe else ""


def protocol(protocol_id: str) -> str:
    """The newest version."""
    return f"/protocols/{segment(protocol_id)}/"


def version(of: ProtocolResult) -> str:
    """One version for good."""
    return f"/protocols/{segment(of.id)}/{segment(of.version)}/"


def changes(of: ProtocolResult) -> str:
    """What one version changes against the one before it."""
    return f"{version(of)}changes/"


def objection(protocol_id: str, number: int) -> str:
    """An objection with its thread; an empty protocol stands for the analysis."""
    return f"/objections/{segment(protocol_id or ANALYSIS)}/{number:03d}/"


def objection_form(protocol_id: str, protocol_version: str, step: str = "") -> str:
    """The form for an objection, with what it is against filled in."""
    against = {"protocol": segment(protocol_id), "version": segment(protocol_version), "step": step and segment(step)}
    return OBJECTION_FORM + "?" + "&".join(f"{name}={value}" for name, value in against.items() if value)


def thread_form(address: str, protocol_id: str, number: int) -> str:
    """The form for a response or an outcome, with the objection filled in; an empty protocol stands for the analysis."""
    return f"{address}?protocol={segment(protocol_id or ANALYSIS)}&number={number}"


def protocol_form(protocol_id: str, protocol_version: str) -> str:
    """The page that drafts a protocol, with a version to start from."""
    return f"{PROTOCOL_FORM}?protocol={segment(protocol_id)}&version={segment(protocol_version)}"


def methods(first: str, second: str) -> str:
    """Two methods side by side."""
    return f"/protocols/compare/{segment(first)}-and-{segment(second)}/"


def form(protocol_id: str, protocol_version: str) -> str:
    """The form of one protocol version."""
    return f"/tonight/{segment(protocol_id)}-{segment(protocol_version)}/"


def sheet(protocol_id: str, protocol_version: str) -> str:
    """The ready-drawn sheet of one protocol version, to print."""
    return f"{form(protocol_id, protocol_version)}sheet/"


def sheet_file(protocol_id: str, protocol_version: str, kind: str) -> str:
    """The same sheet as a download, ``csv`` or ``xlsx``."""
    return f"/{download_path(sheet_name(protocol_id, protocol_version, kind))}"


def sheet_name(protocol_id: str, protocol_version: str, kind: str) -> str:
    """A ready-drawn sheet's name among the downloads."""
    return f"sheets/{segment(protocol_id)}-{segment(protocol_version)}.{segment(kind)}"


def example(protocol_id: str, protocol_version: str) -> str:
    """The worked example of a form, a download."""
    return f"/{download_path(example_name(protocol_id, protocol_version))}"


def example_name(protocol_id: str, protocol_version: str) -> str:
    """A worked example's name among the downloads."""
    return f"examples/{segment(protocol_id)}-{segment(protocol_version)}.json"


def source(address: str) -> str:
    """The page's path for the site generator: ``/a/b/`` is ``a/b/index.md``."""
    return f"{address.strip('/')}/index.md".lstrip("/")


@lru_cache(maxsize=100_000)
def relative(here: str, target: str) -> str:
    """``target`` as seen from the page at ``here``."""
    path, mark, fragment = target.partition("#")
    found = posixpath.relpath(path, here)
    return (found + "/" if path.endswith("/") else found) + mark + fragment


def relative_links(html: str, here: str) -> str:
    """All ``href`` and ``src`` from the site's root, made relative to the page at ``here``."""
    return ROOT_LINK.sub(lambda m: f'{m.group(1)}{relative(here, m.group(2))}"', html)


def download_path(name: str) -> str:
    """Where a download lies in the site, without the leading slash: schemas at their own address, all else under data/."""
    return name if name.startswith("schemas/") else f"data/{name}"
