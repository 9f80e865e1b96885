"""Draw a plan, draw it again, seal it."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Iterator, Sequence

from edgehold.errors import InputError
from edgehold.records.model.base import EdgePart, Origin, ProtocolReference
from edgehold.records.model.plan import PLAN_FORMAT, PLAN_SEAL_FORMAT, Plan, PlannedRun, PlanSeal, TableOfPlan
from edgehold.records.pairs import half_of, partner_of
from edgehold.records.sealing import plan_sha256
from edgehold.records.sharpeners import planned_by, taken_apart
from edgehold.records.whole_numbers import LARGEST_EXACT_INTEGER

from .capacity import Capacity
from .draws import Draws
from .occasion import Arm, Occasion
from .orders import Order, draw_order, pair_order, round_order

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"  # no vowels, so that no code is a word that anybody reads something into
NONCE_BYTES = 16  # 128 bits


def fresh_seed() -> int:
    """A seed that nobody can guess: whoever could, would know the order."""
    return secrets.randbelow(LARGEST_EXACT_INTEGER)


def draw_plan(asked: Occasion, fits: Capacity, *, id: str, month: str, seed: int, sealed: bool, origin: Origin = "measured") -> Plan:
    """Draw the order, who tests which block, and the codes.

    Parameters
    ----------
    asked, fits : what is compared, and the runs that fit: one or more.
    id, month, origin : as in `Plan`.
    seed : the same seed draws the same order from the same blocks and arms.
    sealed : add a nonce and the hash.

    Raises
    ------
    InputError
        A seal without a helper who keeps the codes, or no run that fits.
    """
    if sealed and asked.coder is None:
        raise InputError("got no coder, wanted one: a seal proves that codes were not opened, and somebody else must keep them")
    if not fits.runs:
        raise InputError("got a plan of 0 runs, wanted one run of each arm or more")
    plan = plan_of(asked, asked.coder, tuple(_runs(asked, fits, seed)), id=id, month=month, seed=seed, sealed=sealed, origin=origin)
    return plan.model_copy(update={"sha256": plan_sha256(plan)}) if sealed else plan


def plan_of(
    asked: Occasion,
    coder: str | None,
    runs: tuple[PlannedRun, ...],
    *,
    id: str,
    month: str,
    seed: int,
    sealed: bool,
    origin: Origin,
    table: TableOfPlan | None = None,
) -> Plan:
    """The record of drawn runs, with its nonce where it is to be sealed; its hash is for whoever knows all that is sealed.

    Parameters
    ----------
    asked, id, month, seed, sealed, origin : as in `draw_plan`.
    coder : who keeps the codes; None: nobody.
    runs : as drawn.
    table : which table of a shared plan they are for.
    """
    protocol = asked.protocol
    return Plan(
        format=PLAN_FORMAT,
        id=id,
        protocol=ProtocolReference(id=protocol.id, version=protocol.version),
        origin=origin,
        month=month,
        endpoint=asked.rule.id,
        worthwhile_ratio=asked.worthwhile_ratio,
        planned_last_checkpoint=asked.last_checkpoint,
        seed=seed,
        blinding="none" if coder is None else "sealed" if sealed else "helper coded",
        coder=coder,
        runs=runs,
        table=table,
        nonce=secrets.token_hex(NONCE_BYTES) if sealed else None,
    )


def _runs(asked: Occasion, fits: Capacity, seed: int) -> Iterator[PlannedRun]:
    """Runs in their order, each with its place on the coil if every run before goes to its last checkpoint."""
    arms = asked.arms
    order = _left_first(asked) or _order(asked, [block.size for block in fits.blocks], Draws("order", str(seed)))
    first_tester = Draws("testers", str(seed)).below(len(asked.testers))
    codes = draw_codes(len(order), seed) if asked.coded else [None] * len(order)
    places = [(number, block, evening) for number, block in enumerate(fits.blocks, 1) for evening in block.evenings]
    parts = _parts(asked, len(order), seed)
    used: Counter[int] = Counter()
    for number, (treatment, (block_number, block, evening)) in enumerate(zip(order, places, strict=True)):
        before = used[block.lot] - (used[block.lot] % 2 if asked.in_turn else 0)
        handle, stated = taken_apart(arms[treatment].sharpener)
        yield PlannedRun(
            order=number + 1,
            block=block_number,
            evening=evening,
            lot=block.lot,
            coil_position_m=round(before * fits.run_m, 6),
            blade=arms[treatment].blade,
            sharpener=handle,
            condition=None if asked.levels else stated,
            level=stated if asked.levels else None,
            edge_part=parts[number],
            partner=partner_of(number + 1) if asked.in_turn else None,
            tester=asked.testers[(block.tester + first_tester) % len(asked.testers)],
            code=codes[number],
        )
        used[block.lot] += 1


def _parts(asked: Occasion, runs: int, seed: int) -> list[EdgePart]:
    """Which part of the edge each run cuts with. Rounds come with their mirror images, so that halves change hands from one to the next;
    a draw decides which half the first of a round has."""
    if not asked.halves:
        return ["whole"] * runs
    first = Draws("halves", str(seed)).below(2)
    return [half_of(order, first) for order in range(1, runs + 1)]


def _order(asked: Occasion, sizes: Sequence[int], draws: Draws) -> Order:
    if asked.blades_in_turn:
        return pair_order(len(asked.blades), len(asked.sharpeners), len(sizes), draws)
    if asked.in_rounds:
        return round_order(len(asked.blades), len(asked.sharpeners), len(sizes), draws)
    return draw_order(len(asked.arms), sizes, asked.coded, draws)


def _left_first(asked: Occasion) -> tuple[int, ...]:
    """The only order there is where somebody's edge is cut as it was left: before its blade is sharpened again."""
    if not asked.as_left:
        return ()
    if asked.blades_in_turn:
        return _left_pairs(asked)
    if asked.halves:  # cut in turn, so that neither comes later; on every second blade the other one begins, and has the other half
        return tuple(i for n in range(len(asked.blades)) for i in ((2 * n, 2 * n + 1) if n % 2 == 0 else (2 * n + 1, 2 * n)))
    return tuple(sorted(range(len(asked.arms)), key=lambda i: asked.arms[i] not in asked.as_left))


def _left_pairs(asked: Occasion) -> tuple[int, ...]:
    """The pair of two blades as each sharpener left them, then that of whoever is there; the blades begin by turns."""
    hands = len(asked.sharpeners)
    ranked = sorted(range(hands), key=lambda hand: asked.arms[hand] not in asked.as_left)
    return tuple(blade * hands + hand for turn, hand in enumerate(ranked) for blade in ((0, 1) if turn % 2 == 0 else (1, 0)))


def draw_codes(count: int, seed: int) -> list[str]:
    """Codes of two letters, none twice, in no order."""
    pairs = [a + b for a in LETTERS for b in LETTERS if a != b]
    if count > len(pairs):
        raise InputError(f"got {count} runs, wanted at most {len(pairs)}: there are no more codes")
    return Draws("codes", str(seed)).shuffled(pairs)[:count]


def in_pairs(plan: Plan) -> bool:
    """Whether the runs go in pairs whose edges are cut in turn."""
    return any(run.partner is not None for run in plan.runs)


def in_halves(plan: Plan) -> bool:
    """Whether these are the halves of edges."""
    return any(run.partner is not None and run.edge_part != "whole" for run in plan.runs)


def half_balance(plan: Plan) -> int:
    """In how many pairs more the first sharpener had the heel than the tip."""
    first = min(planned_by(run) for run in plan.runs)
    return sum((1 if run.edge_part == "heel" else -1) for run in plan.runs if planned_by(run) == first)


def arms_in_order(plan: Plan) -> tuple[Arm, ...]:
    """What the runs of a plan cut, in their order."""
    return tuple(Arm(run.blade, planned_by(run)) for run in plan.runs)


def published_seal(plan: Plan, by: str) -> PlanSeal:
    """What is published before the test.

    Raises
    ------
    InputError
        A plan that is not sealed.
    """
    if plan.sha256 is None:
        raise InputError(f"got the plan {plan.id!r} without a hash, wanted a sealed one")
    return PlanSeal(
        format=PLAN_SEAL_FORMAT, id=plan.id, protocol=plan.protocol, origin=plan.origin, sha256=plan.sha256, month=plan.month, by=by
    )


def treatment_numbers(arms: Sequence[Arm]) -> list[int]:
    """Arms as numbers, in their sorted order."""
    known = sorted(set(arms), key=lambda arm: (arm.blade, arm.sharpener))
    return [known.index(arm) for arm in arms]
