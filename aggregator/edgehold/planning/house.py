"""A plan from a repository's own protocols and published repeatability table, and where its files go."""

from __future__ import annotations

import datetime
import json
import re
import secrets
from collections.abc import Mapping, Sequence
from pathlib import Path

from edgehold.disk import there, write_files
from edgehold.errors import FindingsError, InputError
from edgehold.records import load_repository
from edgehold.records.canonical import LoadedProtocol, PoolKey, Repository
from edgehold.records.model.base import HANDLE_FORM, MONTH_FORM, SLUG_FORM, Origin
from edgehold.records.model.plan import Plan, PlanSeal, SharedPlan
from edgehold.records.model.protocol import Protocol, major, version_order
from edgehold.results.publish.repeatability import assumption, form_repeatability, read_published, table_of
from edgehold.results.publish.versions import closed_by

from .advice import Advice, Known, advise
from .chances import Progress
from .occasion import Occasion, Stock
from .plans import fresh_seed, published_seal
from .tables import Shared, Table, share
from .tables_output import table_text

TABLE = "build/results/repeatability.json"
_ID, _HANDLE, _MONTH = re.compile(SLUG_FORM), re.compile(HANDLE_FORM), re.compile(MONTH_FORM)
ID_LETTERS = "bcdfghjkmnpqrstvwxz"


def open_protocol(root: Path, name: str, version: str | None = None) -> Protocol:
    """A protocol of the repository: the newest version that takes submissions, or the one asked for.

    Raises
    ------
    FindingsError
        Errors stand in the protocols.
    InputError
        There is no such protocol or version, none of it takes submissions, or an objection about safety has closed its form.
    """
    repository = load_repository(root, chosen=())
    if repository.errors:
        raise FindingsError(repository.findings)
    versions = {v: loaded for (id, v), loaded in repository.protocols.items() if id == name}
    if not versions:
        raise InputError(f"got the protocol {name!r}, wanted one of {', '.join(sorted({id for id, _ in repository.protocols}))}")
    if version is not None and version not in versions:
        raise InputError(f"got version {version!r} of {name}, wanted one of {', '.join(sorted(versions, key=version_order))}")
    chosen = version or _newest_open(name, versions, repository)
    closing = closed_by(repository, name, chosen)
    if closing:
        raise InputError(
            f"objection {closing[0]}, about safety, stands against {name} {chosen}: no test is planned by it until that is settled"
        )
    return versions[chosen].record


def _newest_open(name: str, versions: Mapping[str, LoadedProtocol], repository: Repository) -> str:
    state = {event.version: event.kind for event in repository.events.get(name, ())}
    taking = [v for v in versions if state.get(v) in ("opened for review", "adopted")]
    if not taking:
        raise InputError(f"no version of {name} takes submissions; name one with --protocol-version to plan by it all the same")
    return max(taking, key=version_order)


def known_repeatability(protocol: Protocol, origin: str, file: Path | None) -> Known:
    """What runs of each endpoint differ by.

    Parameters
    ----------
    file : a published table; None: the protocol's assumptions.

    Raises
    ------
    InputError
        The file is not a repeatability table, or its hash is not that of its content.
    """
    if file is None:
        return Known({rule.id: assumption(rule) for rule in protocol.endpoints}, None, None)
    published = read_published(file)
    plain = form_repeatability(published, protocol, origin)
    pool = PoolKey(protocol.id, major(protocol.version), origin)
    table = table_of(plain, pool, protocol)
    entries = {rule.id: table.entry((pool, rule.id)) for rule in protocol.endpoints}
    return Known(entries, plain["reading_variance"], published.sha256)


def plan_at(
    root: Path,
    asked: Occasion,
    *,
    id: str | None = None,
    month: str | None = None,
    seed: int | None = None,
    sealed: bool = False,
    origin: Origin = "measured",
    table: Path | None = None,
    evenings: int | None = None,
    say: Progress = lambda _: None,
) -> Advice:
    """Plan by the repository's table where there is one.

    Parameters
    ----------
    root : the repository.
    asked : who, with what, for how long.
    id, month, seed : None: a fresh one, this month, one that nobody can guess.
    sealed, origin, evenings, say : as in `advise`.
    table : a published repeatability table; None: the repository's last build, or else the protocol's assumption.
    """
    _refuse_form(id, month)
    known = _known_at(root, asked.protocol, origin, table)
    when = month or _this_month()
    return advise(
        asked,
        known,
        id=id or _fresh_id(asked.coder or asked.testers[0], when),
        month=when,
        seed=fresh_seed() if seed is None else seed,
        sealed=sealed,
        origin=origin,
        evenings=evenings,
        say=say,
    )


def share_at(
    root: Path,
    protocol: Protocol,
    at_hand: Stock,
    tables: Sequence[Table],
    *,
    id: str | None = None,
    month: str | None = None,
    seed: int | None = None,
    sealed: bool = False,
    origin: Origin = "measured",
    table: Path | None = None,
    last_checkpoint: float | None = None,
    worthwhile_ratio: float | None = None,
) -> Shared:
    """A shared plan by the repository's table of repeatability where there is one; parameters as in `share` and `plan_at`."""
    _refuse_form(id, month)
    when = month or _this_month()
    return share(
        protocol,
        at_hand,
        tables,
        _known_at(root, protocol, origin, table),
        id=id or _fresh_id(tables[0].coder or tables[0].sharpener, when),
        month=when,
        seed=fresh_seed() if seed is None else seed,
        sealed=sealed,
        origin=origin,
        last_checkpoint=last_checkpoint,
        worthwhile_ratio=worthwhile_ratio,
    )


def _known_at(root: Path, protocol: Protocol, origin: str, table: Path | None) -> Known:
    built = root / TABLE
    return known_repeatability(protocol, origin, table or (built if there(built) else None))


def _refuse_form(id: str | None, month: str | None) -> None:
    if id is not None and not _ID.fullmatch(id):
        raise InputError(f"got {id!r} as the plan's id, wanted lower-case letters, digits and hyphens, at most 63")
    if month is not None and not _MONTH.fullmatch(month):
        raise InputError(f"got {month!r} as the month, wanted one like 2026-05")


def _this_month() -> str:
    return datetime.date.today().strftime("%Y-%m")


def _fresh_id(who: str, month: str) -> str:
    letters = "".join(secrets.choice(ID_LETTERS) for _ in range(4))
    return f"{who}-plan-{month}-{letters}"


def plan_json(plan: Plan | PlanSeal | SharedPlan) -> str:
    """A record of a plan or a seal as a file."""
    return json.dumps(plan.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n"


def write_plan(root: Path, plan: Plan, out: Path | None, by: str | None) -> tuple[Path, ...]:
    """Write the plan, and beside the submissions its seal if it has one; nothing is written over.

    Parameters
    ----------
    root : the repository, for the seal.
    plan : as it was drawn.
    out : where the plan goes; None: its id in the current folder.
    by : who publishes the seal; None: the coder.

    Returns
    -------
    The files written.

    Raises
    ------
    InputError
        A file of that name is there already.
    """
    return _new_files(_with_seal(root, plan, plan, out, by))


def write_shared(root: Path, shared: Shared, out: Path | None, folder: Path, by: str | None) -> tuple[Path, ...]:
    """Write a shared plan, its seal if it has one, and for each table its part and its order; nothing is written over.

    Parameters
    ----------
    root, out, by : as in `write_plan`.
    folder : where each table has a folder of its own.

    Returns
    -------
    The files written.

    Raises
    ------
    InputError
        A file of that name is there already.
    """
    plan = shared.plan
    files = _with_seal(root, plan, plan.tables[0], out, by)
    for number, part in enumerate(plan.tables, 1):
        files[table_folder(folder, number) / "plan.json"] = plan_json(part)
        files[table_folder(folder, number) / "order.txt"] = table_text(shared, number)
    return _new_files(files)


def _with_seal(root: Path, whole: Plan | SharedPlan, sealed: Plan, out: Path | None, by: str | None) -> dict[Path, str]:
    """A plan's file, and that of its seal if it has one: the seal of its first table's part where it is for several."""
    files = {out or Path(f"{whole.id}.json"): plan_json(whole)}
    if sealed.sha256 is not None:
        if by is not None and not _HANDLE.fullmatch(by):
            raise InputError(f"got {by!r} to publish the seal, wanted a handle: 2 to 31 lower-case letters, digits and hyphens")
        publisher = by or sealed.coder
        assert publisher is not None  # nothing is sealed without somebody who keeps its codes: see `draw_plan` and `share`
        files[root / "submissions" / "plans" / f"{whole.id}.json"] = plan_json(published_seal(sealed, publisher))
    return files


def table_folder(folder: Path, number: int) -> Path:
    """Where what is for one table goes."""
    return folder / f"table-{number}"


def _new_files(files: Mapping[Path, str]) -> tuple[Path, ...]:
    for path in files:
        if there(path):
            raise InputError(f"got {path} to write a plan to, wanted a name that is free: nothing is written over")
    write_files({path: text.encode() for path, text in files.items()}, new=True, folders=True)
    return tuple(files)
