"""A shared plan for two to six tables: who sharpens which half, who sends what to whom, what each cuts.

Each table has one sharpener, who owns the blades that travel. A blade leaves with one half sharpened; its host sharpens the other half,
cuts both in turn and so meets the sender's edge beside the own one on every evening. Whom a blade visits goes round: the next table
first, which joins all tables in a ring (a cyclic block design with blocks of two), then those farther on.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from edgehold.errors import InputError
from edgehold.records.model.base import Origin
from edgehold.records.model.plan import SHARED_PLAN_FORMAT, PlannedRun, SharedPlan, TableOfPlan
from edgehold.records.model.protocol import Protocol
from edgehold.records.pairs import half_of, partner_of
from edgehold.records.sealing import part_sha256, plan_sha256
from edgehold.words import Reason

from .advice import Known
from .capacity import evening_runs
from .chances import SIGHTS, spread_of
from .designs import Design, doable
from .draws import Draws
from .occasion import Occasion, Stock, occasion
from .plans import draw_codes, plan_of
from .precision import TOLERANCE, Cut, cuts_of, least_precise
from .remedies import Outlook

LEAST, MOST = 2, 6


@dataclass(frozen=True)
class Table:
    """Who and what is at one table.

    Attributes
    ----------
    sharpener : the one whose edges leave from here, and who sharpens beside those that arrive.
    tester, coder : who cuts and reads; who keeps the codes, None: nobody.
    blades : keys of the blades that travel.
    """

    sharpener: str
    tester: str
    coder: str | None
    blades: tuple[str, ...]


@dataclass(frozen=True)
class Visit:
    """A blade that travels for one evening.

    Attributes
    ----------
    evening : 1, 2 …
    blade : its key.
    sender, host : numbers of the tables.
    """

    evening: int
    blade: str
    sender: int
    host: int


@dataclass(frozen=True)
class Shared:
    """A shared plan and what to expect of it.

    Attributes
    ----------
    asked, changes : what every table does, and how it differs from what was asked for.
    tables : who and what is where.
    plan : every table's part.
    visits : blades that travel, in order.
    pairs : pairs that one table's evening would hold.
    run_m : metres of medium that a run uses.
    half_width : of the 95 % interval of the two sharpeners known least, ln scale; None where it never tells.
    seen : by true ratio, the chance that it is seen.
    apart : what the project's own judge of pools says of sharpeners and testers.
    joined : whether all tables are joined by their runs.
    """

    asked: Occasion
    changes: tuple[Reason, ...]
    tables: tuple[Table, ...]
    plan: SharedPlan
    visits: tuple[Visit, ...]
    pairs: int
    run_m: float
    half_width: float | None
    seen: dict[float, float]
    apart: tuple[str, ...]
    joined: bool


def tables_of(
    number: int, blades: Sequence[str], sharpeners: Sequence[str], testers: Sequence[str], coders: Sequence[str]
) -> tuple[Table, ...]:
    """Put everybody at a table: the first sharpener, tester and coder at the first, and each blade where its owner sharpens.

    Parameters
    ----------
    number : of tables.
    testers, coders : one a table, or none: whoever sharpens tests, and nobody codes.

    Raises
    ------
    InputError
        Names or blades that leave a table without, or with another one's.
    """
    if not LEAST <= number <= MOST:
        raise InputError(f"got {number} tables, wanted {LEAST} to {MOST}")
    for name, given, least in (("sharpener", sharpeners, number), ("tester", testers, 0), ("coder", coders, 0)):
        if len(given) not in (number, least) or len(set(given)) < len(given):
            wanted = f"{number}, one for each table" if least else f"{number}, one for each table, or none"
            people = f"1 {name}" if len(set(given)) == 1 else f"{len(set(given))} {name}s"
            raise InputError(f"got {people} for {number} tables, wanted {wanted}")
    owners = [blade.partition(".")[0] for blade in blades]
    for blade, owner in zip(blades, owners, strict=True):
        if owner not in sharpeners:
            raise InputError(f"got the blade {blade!r}, wanted one of {', '.join(sharpeners)}: whoever owns a blade sends it")
    without = [name for name in sharpeners if name not in owners]
    if without:
        raise InputError(f"got no blade of {', '.join(without)}, wanted one or more for each table, <sharpener>.<name>")
    crossed = sorted((set(testers) | set(coders)) & set(sharpeners) - {s for s, t in zip(sharpeners, testers, strict=False) if s == t})
    if crossed or set(testers) & set(coders):
        raise InputError(f"got {', '.join(crossed or sorted(set(testers) & set(coders)))} at two places, wanted everybody at one table")
    keepers: Sequence[str | None] = coders or [None] * number
    found = zip(sharpeners, testers or sharpeners, keepers, strict=True)
    return tuple(Table(s, t, c, tuple(b for b in blades if b.startswith(f"{s}."))) for s, t, c in found)


def share(
    protocol: Protocol,
    at_hand: Stock,
    tables: Sequence[Table],
    known: Known,
    *,
    id: str,
    month: str,
    seed: int,
    sealed: bool = False,
    origin: Origin = "measured",
    last_checkpoint: float | None = None,
    worthwhile_ratio: float | None = None,
) -> Shared:
    """Draw a shared plan.

    Parameters
    ----------
    at_hand : what each table has: at most one lot each.
    tables : of `tables_of`.
    known, id, month, seed, sealed, origin : as in `advise`; ``id`` is that of every table's part.
    last_checkpoint, worthwhile_ratio : as in `occasion`.

    Raises
    ------
    InputError
        A protocol that does not cut halves of one edge in turn, several lots, or a seal without coders.
    """
    if protocol.question.factor != "sharpener" or protocol.design.side_by_side != "halves":
        raise InputError(
            f"got {protocol.id} {protocol.version}, wanted a protocol whose two sharpeners share an edge in halves: tables share it"
        )
    if len(at_hand.lots_m) > 1:
        raise InputError(f"got {len(at_hand.lots_m)} lots, wanted one at every table: --metres once")
    if sealed and any(table.coder is None for table in tables):
        raise InputError("got no coder at some table, wanted one at each: a seal proves that codes were not opened")
    base = occasion(
        protocol,
        at_hand,
        blades=[tables[0].blades[0]],
        sharpeners=[table.sharpener for table in tables[:2]],
        testers=[tables[0].tester],
        last_checkpoint=last_checkpoint,
        worthwhile_ratio=worthwhile_ratio,
    )
    design = doable(base)
    asked = design.asked
    visits = tuple(_visits(tables, design))
    plan = _drawn(asked, design, tables, visits, id=id, month=month, seed=seed, sealed=sealed, origin=origin)
    cuts = [cut for number, part in enumerate(plan.tables, 1) for cut in cuts_of(part, number)]
    least = least_precise(cuts, "sharpener", [table.sharpener for table in tables])
    entry = known.entries[asked.rule.id]
    outlook, told = Outlook(entry, spread_of(entry), seed), math.isfinite(least.unscaled)
    from edgehold.pooling import separability  # here, for it brings the whole of pooling, and a plan for one table needs none

    judged = separability({"sharpener": [cut.sharpener for cut in cuts], "tester": [cut.tester for cut in cuts]})
    return Shared(
        asked=asked,
        changes=design.changes,
        tables=tuple(tables),
        plan=plan,
        visits=visits,
        pairs=evening_runs(asked) // 2,
        run_m=design.fits.run_m,
        half_width=outlook.half_width(least.unscaled, least.df) if told else None,
        seen={true: outlook.seen(least.unscaled, least.df, true) if told else 0.0 for true in SIGHTS},
        apart=tuple(judged.contrasts[role].sentence for role in ("sharpener", "tester")),
        joined=len(judged.components) == 1,
    )


def _visits(tables: Sequence[Table], design: Design) -> Iterator[Visit]:
    """Blades on their way: one visit an evening each, as many at a table as its evening, medium and the blade's steel allow."""
    asked, others = design.asked, len(tables) - 1
    a_table = Counter[int]()
    limits = {limit.name: limit.runs // 2 for limit in design.fits.limits if limit.name in ("medium", "wish", "steel")}
    most = min((runs for name, runs in limits.items() if name != "steel"), default=math.inf)
    for evening in range(1, min(asked.stock.evenings, limits["steel"]) + 1):
        tonight = Counter[int]()
        for rank in range(max(len(table.blades) for table in tables)):
            for number, table in enumerate(tables):
                if rank >= len(table.blades):
                    continue
                host = (number - 1 - (rank + (evening - 1) * len(table.blades)) % others) % len(tables)
                if tonight[host] < evening_runs(asked) // 2 and a_table[host] < most:
                    tonight[host] += 1
                    a_table[host] += 1
                    yield Visit(evening, table.blades[rank], number + 1, host + 1)


def _drawn(
    asked: Occasion,
    design: Design,
    tables: Sequence[Table],
    visits: Sequence[Visit],
    *,
    id: str,
    month: str,
    seed: int,
    sealed: bool,
    origin: Origin,
) -> SharedPlan:
    draws = Draws("tables", str(seed))
    at = [[visit for visit in visits if visit.host == number] for number in range(1, len(tables) + 1)]
    empty = [str(number) for number, here in enumerate(at, 1) if not here]
    if empty:
        raise InputError(f"got no blade that comes to table {', '.join(empty)}, wanted as many blades at every table")
    codes = iter(draw_codes(2 * len(visits), seed))
    halves = _halves(tables, at, draws)
    parts = []
    for number, (table, here) in enumerate(zip(tables, at, strict=True), 1):
        runs = list(_runs(tables, number, here, halves[number - 1], design, draws))
        if table.coder is not None:
            runs = [run.model_copy(update={"code": next(codes)}) for run in runs]
        place = TableOfPlan(number=number, of=len(tables))
        parts.append(plan_of(asked, table.coder, tuple(runs), id=id, month=month, seed=seed, sealed=sealed, origin=origin, table=place))
    if not sealed:
        return SharedPlan(format=SHARED_PLAN_FORMAT, id=id, tables=tuple(parts))
    hashes = tuple(part_sha256(part) for part in parts)
    opened = [part.model_copy(update={"table": TableOfPlan(number=n, of=len(parts), parts=hashes)}) for n, part in enumerate(parts, 1)]
    seal = plan_sha256(opened[0])
    whole = tuple(part.model_copy(update={"sha256": seal}) for part in opened)
    return SharedPlan(format=SHARED_PLAN_FORMAT, id=id, tables=whole, sha256=seal)


def _runs(
    tables: Sequence[Table], number: int, here: Sequence[Visit], host_half: int, design: Design, draws: Draws
) -> Iterator[PlannedRun]:
    """The runs of a table, in pairs: the visiting half and its host's. Halves and places change over from pair to pair."""
    host, visitor_first = tables[number - 1], draws.below(2)
    for place, visit in enumerate(here):
        visiting = (place + visitor_first) % 2  # place of the visitor in its pair
        for turn in (0, 1):
            order = 2 * place + turn + 1
            guest = turn == visiting
            yield PlannedRun(
                order=order,
                block=place + 1,
                evening=visit.evening,
                lot=1,
                coil_position_m=round(2 * place * design.fits.run_m, 6),
                blade=visit.blade,
                sharpener=tables[visit.sender - 1].sharpener if guest else host.sharpener,
                edge_part=half_of(order, (host_half + 1 + visitor_first) % 2),
                partner=partner_of(order),
                tester=host.tester,
                from_table=visit.sender if guest else None,
            )


def _halves(tables: Sequence[Table], at: Sequence[Sequence[Visit]], draws: Draws) -> tuple[int, ...]:
    """Which half each host has first: of all choices one, drawn, of those that leave the two sharpeners known least known best."""
    names = [table.sharpener for table in tables]
    scored = []
    for halves in product((0, 1), repeat=len(tables)):
        cuts = [
            cut
            for host, here in enumerate(at)
            for place, visit in enumerate(here)
            for cut in _pair(tables, host, place, visit, halves[host])
        ]
        scored.append((least_precise(cuts, "sharpener", names).unscaled, halves))
    best = min(score for score, _ in scored)
    good = [halves for score, halves in scored if score <= best * (1 + TOLERANCE)]
    return good[draws.below(len(good))]


def _pair(tables: Sequence[Table], host: int, place: int, visit: Visit, half: int) -> tuple[Cut, Cut]:
    """The two runs of a visit as labels, the host's with its half."""
    own = Cut(
        host + 1, tables[host].sharpener, visit.blade, tables[host].tester, visit.evening, 1, 2 * place, half_of(1, (half + place) % 2)
    )
    return own, replace(own, sharpener=tables[visit.sender - 1].sharpener, edge_part=half_of(2, (half + place) % 2))
