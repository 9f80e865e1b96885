"""A hundred and twenty-two scenes: who cut what, with whose edge, in which month. The story is fixed; only the luck is seeded.
Eleven more stand in ``card_on_thread``.

In the first year most people sharpen what they test. From March 2026 on the harbour has swap evenings: two or three people bring
edges to one table and test their own first and each other's next, while blades go from house to house. On card one knife of each
steel goes round. Two crews, one on each shore, never meet; nor does anybody meet the four pairs of people on shores of their own,
who do all this by themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from .cast import CREWS, FAR_SHORE, GAUGES, SUPPLIES, blade, blades_of, person
from .methods import Method, method

STEEL = {
    "pc": "demo-plain-carbon", "fs": "demo-fine-stainless", "ts": "demo-tough-stainless",
    "hc": "demo-high-carbon-stainless", "ps": "demo-powder-stainless", "hs": "demo-high-speed",
}  # fmt: skip


@dataclass(frozen=True)
class Arm:
    """One kind of run: this blade, sharpened by this person, dulled by that one, on this part of the edge, at this level of a treatment."""

    blade: str
    sharpener: str
    tester: str
    edge_part: str = "whole"
    level: str | None = None


@dataclass(frozen=True)
class Scene:
    """One submission before anything is cut.

    Attributes
    ----------
    number : place within its protocol, from 1.
    method, month, shore : which protocol version, when, where.
    blocks : the arms of each block; the order within a block is drawn.
    evenings : "one a block", "one" or "not noted".
    supply : key of the coil or stack.
    gauge : key of the instrument; None on card.
    tape : unit of length on card; None on rope.
    blinding : as in the file.
    trouble : what goes wrong, by order of the run.
    """

    number: int
    method: Method
    month: str
    shore: str
    blocks: tuple[tuple[Arm, ...], ...]
    evenings: str
    supply: str
    gauge: str | None
    tape: str | None
    blinding: str | None
    trouble: dict[int, str]


# sharpeners | testers | blade | blocks
_TWO_SHARPENERS = """
tern puffin | tern | oakum.galley | 3
oakum wherry | oakum | oakum.galley | 2
fid limpet | limpet | fid.galley | 3
gannet coot | gannet | capstan.rigging | 3
thole sandpiper | kittiwake | thole.galley | 2
tern kedge | tern | tern.bosun | 3
capstan bollard | bollard | thwart.galley | 2
kittiwake whelk | whelk | kittiwake.rigging | 3
halyard skiff | halyard | halyard.rigging | 3
turnstone winkle | turnstone winkle | turnstone.rigging | 2
dunlin mudlark | mudlark | dunlin.galley | 3
limpet whelk | tern | fid.galley | 2
grommet cormorant | grommet | grommet.galley | 3
thwart eider | thwart | thwart.galley | 3
kedge petrel | petrel | tern.rigging | 3
bowline curlew | curlew | oakum.rigging | 2
gannet turnstone | capstan | gannet.galley | 2
rowlock guillemot | rowlock | plover.found | 3
fid halyard | fid | fid.rigging | 2
windlass fulmar | fulmar | capstan.galley | 3
sculler dory | sculler dory | thole.rigging | 2
oakum plover | plover | plover.found | 2
kittiwake shearwater | dunlin | dunlin.rigging | 3
fairlead skua | skua | turnstone.galley | 3
"""
# sharpeners and testers | blade: both test both edges, twice
_BOTH_TEST = """
oakum puffin | bowline.rigging
tern wherry | rowlock.galley
fid sandpiper | sculler.galley
thole limpet | rowlock.rigging
kittiwake skiff | grommet.bosun
halyard mudlark | sculler.rigging
heron moorhen | heron.rigging
wagtail dipper | wagtail.rigging
bowline petrel | kedge.bosun
rowlock curlew | tern.rigging
sculler guillemot | halyard.bosun
razorbill auklet | razorbill.rigging
avocet dunnock | avocet.galley
gannet winkle | capstan.rigging
"""
# sharpeners | tester | blade | pairs of halves, cut in turn
_HALVES = """
tern puffin | oakum | fid.galley | 3
oakum wherry | fid | thole.galley | 3
fid limpet | kittiwake | oakum.rigging | 3
gannet coot | turnstone | gannet.galley | 3
halyard skiff | grommet | dunlin.galley | 4
bowline curlew | rowlock | grommet.galley | 3
kedge petrel | kedge petrel | tern.bosun | 4
turnstone winkle | capstan | thwart.galley | 3
"""
_HALVES_SHARED = 23  # this pair sharpens heel and tip of one blade, and swaps

# steels | testers | sharpeners | blocks; where there are two of each, each tester cuts with the own edges
_STEELS_EXCHANGED = """
pc hc | tern | tern | 2
pc hc | gannet | gannet | 3
pc hc hs | oakum | oakum | 2
pc fs hc | thole | thole | 2
pc hc | capstan | capstan | 3
pc hs | fid | fid | 3
pc hc hs | tern | tern | 2
fs hc | kittiwake | kittiwake | 3
pc hc hs | gannet | gannet | 2
fs pc | oakum puffin | oakum puffin | 2
hc ps | halyard | halyard | 3
pc fs hs | grommet | fid | 2
fs hc hs | turnstone | turnstone | 3
ts fs | dunlin | dunlin | 2
hc hs | kedge | tern kedge | 2
pc hc hs | plover | tern | 2
pc fs hc | thwart | thwart | 2
ps hs hc | thole | thole | 2
fs ps hc | whelk | kittiwake | 2
hc hs | capstan | gannet | 3
pc fs hc | limpet | tern | 2
ts hc | grommet | grommet | 3
pc hs | coot | capstan | 3
pc hc ps | cormorant | halyard | 2
"""

# steels | people | swap: their own edges on the first evening, each other's on the second; own: their own on both
_SWAP_EVENINGS = """
pc hc hs | tern puffin | swap
pc fs ps | oakum wherry | swap
hc ts hs | fid limpet | swap
pc ps hs | thole kedge | swap
fs hc ts | kittiwake sandpiper | swap
pc hc ps | halyard whelk | swap
pc fs hs | fairlead windlass | own
fs hs ps | dunlin skiff | swap
pc ts hc | grommet mudlark | swap
pc hs fs | bowline cormorant | swap
hc hs ps | rowlock petrel | swap
pc fs hc | sculler curlew | swap
ts hs pc | kedge guillemot | swap
pc hc hs | heron moorhen | swap
fs ps hc | puffin dory | swap
pc fs hs | wagtail dipper | swap
hc ts fs | plover thole | swap
hc hs fs | coot eider | own
pc hs | kittiwake whelk bowline | swap
pc hc | halyard skiff rowlock | swap
hs ps | dunlin sandpiper sculler | swap
pc hc hs | razorbill auklet | swap
pc fs hc | avocet dunnock | swap
ps ts hs | rowlock puffin | swap
"""

# steels | testers | sharpeners | rounds of pairs: two blades that one person sharpened, cut in turn
_BLADES_IN_TURN = """
pc hs | oakum | fid | 3
pc hc | tern puffin | puffin | 3
hc hs | kittiwake | limpet | 4
ts ps | gannet | turnstone | 3
pc fs hs | halyard | skiff | 1
hs pc | rowlock | sculler rowlock | 2
hc ps | thole | dunlin | 3
pc fs | bowline curlew | grommet | 4
"""

# steels | testers | sharpeners | blocks | unit of length
_ON_CARD = """
pc hc | tern | tern | 3 | m
pc hs | fid | fid | 3 | ft
ts ps | gannet | gannet | 3 | m
fs hc | oakum | oakum | 3 | cm
pc hc hs | kittiwake | kittiwake | 2 | cm
ps ts | capstan | capstan | 3 | m
pc hs | grommet | grommet | 3 | m
hc hs | kedge | tern | 3 | m
fs pc hs | dunlin | dunlin | 2 | m
ts ps | turnstone | gannet | 3 | m
hc hs | halyard | halyard | 3 | m
fs hc | thole puffin | thole puffin | 2 | m
pc hc hs | rowlock petrel | petrel rowlock | 2 | m
fs hc hs | sculler curlew | curlew sculler | 2 | cm
"""
_ON_CARD_GOES_ROUND = {"pc": "tern.rigging", "hc": "tern.bosun", "hs": "fid.rigging", "fs": "oakum.galley"}
# sharpeners | tester | blade | pairs of halves | unit of length: first evenings with what is in the house
_FIRST_EVENINGS = """
dory petrel | dory petrel | tern.rigging | 2 | m
thole wherry | kedge | oakum.galley | 2 | m
dunlin mudlark | dunlin mudlark | grommet.galley | 2 | ft
sculler shearwater | halyard | sculler.galley | 3 | m
oakum limpet | oakum limpet | rowlock.galley | 2 | cm
fairlead bollard | thwart | gannet.galley | 3 | m
"""
_LATER_COILS = ("oakum.coil-3", "oakum.coil-4", "oakum.coil-5", "sculler.coil-1", "bowline.coil-1")
_FIRST_TOLD = {
    "two-sharpeners-rope": 24,
    "steels-exchanged-rope": 24,
    "life-on-card": 12,
    "first-evening-paper": 0,
    "finish-in-halves-rope": 0,
    "strop-or-not-paper": 0,
}  # scenes of the first year and of the old tables

_TROUBLE = {
    "two-sharpeners-rope": {
        2: {3: "read at 22"}, 3: {2: "burr"}, 5: {1: "no reading at 0"}, 7: {4: "medium ran out"},
        9: {5: "edge touched up"}, 11: {3: "edge damaged"}, 13: {2: "lot change"}, 15: {6: "tester stopped"},
        16: {2: "two repeats"}, 18: {4: "burr"}, 20: {3: "read at 22"}, 21: {5: "tester change"},
        24: {1: "below the scale"},
    },
    "steels-exchanged-rope": {
        3: {4: "medium ran out"}, 8: {2: "tester stopped"}, 9: {3: "burr"}, 11: {1: "no reading at 0"},
        12: {5: "edge damaged"}, 14: {2: "lot change"}, 16: {6: "edge touched up"}, 19: {4: "read at 22"},
        20: {2: "two repeats"}, 30: {5: "tester stopped"}, 34: {7: "medium ran out"}, 37: {4: "edge damaged"},
        43: {9: "tester stopped"},
    },
    "life-on-card": {
        2: {3: "pass, fail, pass"}, 5: {2: "medium ran out"}, 6: {4: "tester stopped"}, 8: {1: "edge damaged"},
        10: {2: "pass, fail, pass"}, 14: {5: "medium ran out"},
    },
    "first-evening-paper": {2: {4: "tester stopped"}, 4: {3: "pass, fail, pass"}},
}  # fmt: skip


def scenes() -> tuple[Scene, ...]:
    """All of them: the older tables first, then what was added to them, so that the luck of the older ones stays."""
    told = (*_two_sharpeners(), *_steels_exchanged(), *_on_card(), *_first_evenings())

    def rank(scene: Scene) -> tuple[int, bool]:
        return 2 if scene.method.blades else int(scene.method.halves), scene.number > _FIRST_TOLD[scene.method.protocol]

    return tuple(sorted(told, key=rank))


def _rows(table: str, first: int = 1) -> Iterator[tuple[int, list[str]]]:
    for number, line in enumerate(table.strip().splitlines(), start=first):
        yield number, [cell.strip() for cell in line.split("|")]


def _two_sharpeners() -> Iterator[Scene]:
    for number, (sharpeners, testers, key, blocks) in _rows(_TWO_SHARPENERS):
        version, month = ("1.0.0", _month("2025-06", number - 1)) if number <= 8 else ("1.1.0", _spread(number - 9, 16))
        parts = ("heel", "tip") if number == _HALVES_SHARED else ("whole", "whole")
        arms = tuple(
            tuple(Arm(key, s, t, parts[(i + b) % 2]) for i, s in enumerate(sharpeners.split()) for t in testers.split())
            for b in range(int(blocks))
        )
        yield scene_of(number, "two-sharpeners-rope", version, month, arms)
    rows = list(_rows(_BOTH_TEST, 25))
    for number, (both, key) in rows:
        block = tuple(Arm(key, s, t) for s in both.split() for t in both.split())
        yield scene_of(number, "two-sharpeners-rope", "1.1.0", _spread(number - 25, len(rows), 2), (block, block))
    for number, (sharpeners, testers, key, pairs) in _rows(_HALVES, 39):
        yield scene_of(number, "two-sharpeners-rope", "2.0.0", "2026-10", _in_halves(key, sharpeners.split(), testers.split(), int(pairs)))


def _in_halves(key: str, sharpeners: list[str], testers: list[str], pairs: int) -> tuple[tuple[Arm, ...], ...]:
    """Pairs of halves that change hands from one to the next; two testers take turns."""
    parts = ("heel", "tip")
    return tuple(tuple(Arm(key, s, testers[b % len(testers)], parts[(i + b) % 2]) for i, s in enumerate(sharpeners)) for b in range(pairs))


def _steels_exchanged() -> Iterator[Scene]:
    for number, (steels, testers, sharpeners, blocks) in _rows(_STEELS_EXCHANGED):
        version, month = ("1.0.0", _month("2025-07", number)) if number <= 5 else ("2.0.0", _spread(number - 6, 19, 1))
        arms = _arms(number, steels, testers, sharpeners, blocks)
        yield scene_of(number, "steels-exchanged-rope", version, month, arms)
    rows = list(_rows(_SWAP_EVENINGS, 25))
    for number, (steels, people, kind) in rows:
        arms = _swapped(number, steels.split(), people.split(), kind == "swap")
        yield scene_of(number, "steels-exchanged-rope", "2.0.0", _spread(number - 25, len(rows), 2), arms)
    for number, (steels, testers, sharpeners, rounds) in _rows(_BLADES_IN_TURN, 49):
        pairs = _blades_in_turn(number, steels.split(), testers.split(), sharpeners.split(), int(rounds))
        yield scene_of(number, "steels-exchanged-rope", "3.0.0", "2026-10", pairs)


def _blades_in_turn(number: int, steels: list[str], testers: list[str], sharpeners: list[str], rounds: int) -> tuple[tuple[Arm, ...], ...]:
    """Pairs of neighbours in a ring of one blade of each steel; the next round is the reverse, and two testers take turns."""
    keys = [_pick(person(testers[0]).shore, code, number) for code in steels]
    ring = [(key, keys[(i + 1) % len(keys)]) for i, key in enumerate(keys if len(keys) > 2 else keys[:1])]
    both = [(s, pair if turn % 2 == 0 else pair[::-1]) for turn, s in enumerate(sharpeners) for pair in ring]
    back = [(s, pair[::-1]) for s, pair in reversed(both)]
    drawn = [one for turn in range(rounds) for one in (back if turn % 2 else both)]
    return tuple(tuple(Arm(key, s, testers[b % len(testers)]) for key in pair) for b, (s, pair) in enumerate(drawn))


def _on_card() -> Iterator[Scene]:
    for number, (steels, testers, sharpeners, blocks, tape) in _rows(_ON_CARD):
        month = _month("2025-11", number - 1) if number <= 12 else _month("2026-08", number - 13)
        arms = _arms(number, steels, testers, sharpeners, blocks, _ON_CARD_GOES_ROUND)
        yield scene_of(number, "life-on-card", "1.0.0", month, arms, tape)


def _first_evenings() -> Iterator[Scene]:
    for number, (sharpeners, testers, key, pairs, tape) in _rows(_FIRST_EVENINGS):
        halves = _in_halves(key, sharpeners.split(), testers.split(), int(pairs))
        yield scene_of(number, "first-evening-paper", "1.0.0", "2026-10", halves, tape)


def _arms(
    number: int, steels: str, testers: str, sharpeners: str, blocks: str, goes_round: Mapping[str, str] | None = None
) -> tuple[tuple[Arm, ...], ...]:
    """Every steel once a block with every pair of hands; one submission in three changes blades between blocks."""
    hands = list(zip(sharpeners.split(), testers.split() * len(sharpeners.split()), strict=False))
    shore = person(testers.split()[0]).shore
    return tuple(
        tuple(
            Arm((goes_round or {}).get(code) or _pick(shore, code, number + (0 if number % 3 else b)), s, t)
            for code in steels.split()
            for s, t in hands
        )
        for b in range(int(blocks))
    )


def _swapped(number: int, steels: list[str], people: list[str], swap: bool) -> tuple[tuple[Arm, ...], ...]:
    """Two evenings, a blade of each steel on either: everybody's own edges, then the edge of whoever sits next (or their own again)."""
    shore = person(people[0]).shore
    return tuple(
        tuple(
            Arm(_pick(shore, code, number + b), people[(i + b * swap) % len(people)], tester)
            for code in steels
            for i, tester in enumerate(people)
        )
        for b in range(2)
    )


def _pick(shore: str, code: str, turn: int) -> str:
    """Whichever blade of a steel has its turn; they go round."""
    owned = blades_of(shore, STEEL[code])
    return owned[turn % len(owned)].key


def scene_of(number: int, protocol: str, version: str, month: str, blocks: tuple[tuple[Arm, ...], ...], tape: str | None = None) -> Scene:
    """A scene with the coil, the scale and the codes that fall to its number."""
    m = method(protocol, version)
    shore = blade(blocks[0][0].blade).shore
    later = number > _FIRST_TOLD[protocol]
    return Scene(
        number, m, month, shore, blocks,
        evenings="one" if m.in_turn else "one a block" if later else ("one a block", "one", "one", "not noted")[number % 4],
        supply=_supply(shore, number, m),
        gauge=None if m.pass_fail else _gauge(shore, number, m),
        tape=tape,
        blinding=_blinding(number, m),
        trouble=_TROUBLE.get(protocol, {}).get(number, {}),
    )  # fmt: skip


def _supply(shore: str, number: int, m: Method) -> str:
    if m.pass_fail:
        return "capstan.card-1" if shore == FAR_SHORE else f"tern.card-{1 + number // 8}"
    if shore not in CREWS:
        return next(s.key for s in SUPPLIES if s.shore == shore)
    if shore == FAR_SHORE:
        return f"gannet.coil-{1 + min(1, number // 13)}"
    if number > _FIRST_TOLD[m.protocol]:
        return _LATER_COILS[number % len(_LATER_COILS)]
    return "fid.coil-1" if number % 7 == 6 else f"oakum.coil-{1 + (number - 1) // 8}"


def _gauge(shore: str, number: int, m: Method) -> str:
    fitting = [g for g in GAUGES if g.shore == shore and g.hand.unit in m.units]
    return fitting[number % len(fitting)].key


def _blinding(number: int, m: Method) -> str | None:
    """Two sharpeners are easy to code; blades are known by their looks, so steels are coded less often."""
    if m.protocol == "first-evening-paper":
        return "none" if number % 2 else "helper coded"  # with two people everybody knows
    if m.protocol == "two-sharpeners-rope":
        return ("none", "helper coded", "helper coded", "helper coded", "helper coded", None)[number % 6]
    return ("none", "helper coded", None, "none")[number % 4]


def _month(start: str, after: int) -> str:
    year, month = int(start[:4]), int(start[5:]) - 1 + after
    return f"{year + month // 12}-{month % 12 + 1:02d}"


def _spread(index: int, count: int, skip: int = 0) -> str:
    """Months spread evenly from 2026-01 (and so many later) to 2026-10."""
    return _month("2026-01", skip + index * (10 - skip) // count)
