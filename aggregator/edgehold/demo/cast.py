"""The cast: invented volunteers of a small-harbour boatyard, a second crew across the water, four pairs elsewhere, and what they own.

The shores never meet: no person, blade, batch, coil or instrument of one appears in a file of another.
Handles are sea-birds and gear. One key has the same facts in every file.
"""

from __future__ import annotations

from dataclasses import dataclass

from .methods import CARD, ROPE
from .writing import Hand

HARBOUR = "harbour"
FAR_SHORE = "far shore"
UP_RIVER, LOCK, LIGHTHOUSE, SALTINGS = "up river", "lock", "lighthouse", "saltings"
CREWS = (HARBOUR, FAR_SHORE)  # on the other shores there are two people each


@dataclass(frozen=True)
class Person:
    """A handle, the shore it lives on, and how used it is to sharpening (None: nobody knows)."""

    handle: str
    shore: str
    sharpening: str | None

    @property
    def novice(self) -> bool:
        """Whether its edges are a novice's."""
        return self.sharpening == "novice"


@dataclass(frozen=True)
class Specimen:
    """One blade: what it truly is, and what its owner knows of it."""

    key: str
    shore: str
    true_steel: str
    batch: str | None
    steel_known: bool = True
    hrc: float | None = None
    known_by: str | None = None
    profile: str | None = None
    grind: str | None = None
    thickness_mm: float | str | None = None
    interest: str | None = "owner"
    maker: str | None = None

    @property
    def owner(self) -> str:
        """The handle before the dot."""
        return self.key.split(".")[0]


@dataclass(frozen=True)
class Supply:
    """One coil of rope or stack of card."""

    key: str
    shore: str
    medium: str
    note: str | None = None


@dataclass(frozen=True)
class Gauge:
    """One instrument for force, and the hand that reads it."""

    key: str
    shore: str
    kind: str
    hand: Hand
    scale_end: float | None = None


def _people(shore: str, sharpening: str | None, handles: str) -> tuple[Person, ...]:
    return tuple(Person(h, shore, sharpening) for h in handles.split())


PEOPLE = (
    *_people(HARBOUR, "professional", "kedge"),
    *_people(HARBOUR, "practised", "tern oakum fid thole kittiwake halyard dunlin grommet bowline rowlock sculler"),
    *_people(HARBOUR, "novice", "puffin wherry limpet sandpiper whelk skiff mudlark cormorant petrel curlew"),
    *_people(HARBOUR, "novice", "guillemot dory shearwater"),
    *_people(HARBOUR, None, "plover"),
    *_people(FAR_SHORE, "practised", "gannet capstan turnstone thwart windlass fairlead"),
    *_people(FAR_SHORE, "novice", "coot bollard winkle eider fulmar skua"),
    *_people(UP_RIVER, "practised", "heron"),
    *_people(UP_RIVER, "novice", "moorhen"),
    *_people(LOCK, "practised", "wagtail"),
    *_people(LOCK, "novice", "dipper"),
    *_people(LIGHTHOUSE, "practised", "razorbill"),
    *_people(LIGHTHOUSE, "novice", "auklet"),
    *_people(SALTINGS, "practised", "avocet"),
    *_people(SALTINGS, "novice", "dunnock"),
)

_PC, _FS, _TS = "demo-plain-carbon", "demo-fine-stainless", "demo-tough-stainless"
_HC, _PS, _HS = "demo-high-carbon-stainless", "demo-powder-stainless", "demo-high-speed"

BLADES = (
    Specimen(
        "tern.rigging",
        HARBOUR,
        _PC,
        "kedge.carbon-1",
        hrc=60.0,
        known_by="maker states",
        profile="straight",
        grind="flat",
        thickness_mm=0.3,
        maker="kedge",
    ),
    Specimen(
        "oakum.rigging",
        HARBOUR,
        _PC,
        "kedge.carbon-2",
        hrc=61.0,
        known_by="maker states",
        profile="straight",
        grind="flat",
        thickness_mm="0,35",
        maker="kedge",
    ),
    Specimen("fid.galley", HARBOUR, _PC, "kedge.carbon-1", hrc=59.5, known_by="measured", profile="curved belly"),
    Specimen("oakum.galley", HARBOUR, _FS, "oakum.galley-set", hrc=57.0, known_by="maker states"),
    Specimen("thole.galley", HARBOUR, _FS, None, hrc=56.0, known_by="estimated", grind="convex"),
    Specimen("halyard.rigging", HARBOUR, _FS, "oakum.galley-set", profile="straight", grind="sabre"),
    Specimen("tern.bosun", HARBOUR, _HC, "tern.order-4", hrc=61.5, known_by="maker states", thickness_mm="0.4 (0.05)"),
    Specimen("kittiwake.rigging", HARBOUR, _HC, "tern.order-4", hrc=61.0, known_by="maker states", profile="straight"),
    Specimen("dunlin.galley", HARBOUR, _HC, "dunlin.order-1", hrc=60.0, known_by="maker states", grind="hollow"),
    Specimen("fid.rigging", HARBOUR, _HS, "fid.hacksaw-stock", hrc=64.0, known_by="estimated", grind="flat"),
    Specimen("grommet.rigging", HARBOUR, _HS, "fid.hacksaw-stock", hrc=63.5, known_by="measured", grind="flat"),
    Specimen("kittiwake.galley", HARBOUR, _HS, None, profile="straight"),
    Specimen("halyard.galley", HARBOUR, _PS, "halyard.order-2", hrc=62.0, known_by="maker states"),
    Specimen("thole.rigging", HARBOUR, _PS, "halyard.order-2", hrc=62.5, known_by="maker states", grind="one-sided"),
    Specimen("grommet.galley", HARBOUR, _TS, "grommet.sail-loft", hrc=55.0, known_by="maker states"),
    Specimen("dunlin.rigging", HARBOUR, _TS, "grommet.sail-loft", hrc=55.5, known_by="estimated", profile="hooked"),
    Specimen("bowline.rigging", HARBOUR, _PC, "kedge.carbon-2", hrc=60.5, known_by="maker states", profile="straight"),
    Specimen("rowlock.galley", HARBOUR, _PC, None, hrc=58.0, known_by="estimated", grind="flat"),
    Specimen("sculler.galley", HARBOUR, _FS, "sculler.chandlery", hrc=57.5, known_by="maker states"),
    Specimen("rowlock.rigging", HARBOUR, _HC, "rowlock.order-2", hrc=60.5, known_by="maker states", thickness_mm=0.4),
    Specimen("kedge.bosun", HARBOUR, _HC, "tern.order-4", hrc=61.0, known_by="measured", profile="straight"),
    Specimen("bowline.galley", HARBOUR, _HS, "bowline.planer-irons", hrc=63.0, known_by="estimated", grind="flat"),
    Specimen("sculler.rigging", HARBOUR, _PS, "halyard.order-2", hrc=62.0, known_by="maker states"),
    Specimen("halyard.bosun", HARBOUR, _PS, "halyard.order-2", hrc=61.5, known_by="measured", profile="curved belly"),
    Specimen("grommet.bosun", HARBOUR, _TS, "grommet.sail-loft", hrc=55.0, known_by="maker states"),
    Specimen("petrel.galley", HARBOUR, _TS, "grommet.sail-loft", grind="convex"),
    Specimen("plover.found", HARBOUR, _FS, None, steel_known=False, interest=None),
    Specimen("gannet.rigging", FAR_SHORE, _PC, "gannet.forge-1", hrc=60.5, known_by="measured", profile="straight"),
    Specimen("capstan.galley", FAR_SHORE, _PC, "gannet.forge-1"),
    Specimen("capstan.rigging", FAR_SHORE, _FS, "capstan.chandlery", hrc=57.0, known_by="maker states", interest="seller"),
    Specimen("thwart.galley", FAR_SHORE, _FS, "capstan.chandlery", hrc=56.5, known_by="estimated", profile="recurve"),
    Specimen("turnstone.rigging", FAR_SHORE, _HC, "turnstone.order-3", hrc=60.5, known_by="maker states"),
    Specimen("gannet.galley", FAR_SHORE, _HC, None, hrc=61.0, known_by="measured", interest="none"),
    Specimen("thwart.rigging", FAR_SHORE, _HS, "thwart.files", hrc=63.0, known_by="estimated", grind="flat"),
    Specimen("turnstone.galley", FAR_SHORE, _HS, "thwart.files", hrc=64.0, known_by="estimated", grind="convex"),
    Specimen("windlass.bosun", FAR_SHORE, _PS, "windlass.order-1", hrc=62.0, known_by="maker states"),
    Specimen("fairlead.bosun", FAR_SHORE, _TS, None, hrc=55.0, known_by="estimated", profile="straight"),
    Specimen("heron.rigging", UP_RIVER, _PC, "heron.smithy", hrc=60.0, known_by="maker states", profile="straight"),
    Specimen("heron.bosun", UP_RIVER, _HC, None, hrc=60.5, known_by="estimated"),
    Specimen("moorhen.galley", UP_RIVER, _HS, "moorhen.order-1", hrc=63.0, known_by="maker states", grind="flat"),
    Specimen("wagtail.rigging", LOCK, _PC, None, hrc=59.0, known_by="estimated", grind="flat"),
    Specimen("wagtail.bosun", LOCK, _HS, "wagtail.order-1", hrc=64.0, known_by="maker states"),
    Specimen("dipper.galley", LOCK, _FS, "dipper.chandlery", hrc=57.0, known_by="maker states", profile="curved belly"),
    Specimen("razorbill.rigging", LIGHTHOUSE, _PC, "razorbill.forge-2", hrc=61.0, known_by="measured", profile="straight"),
    Specimen("razorbill.galley", LIGHTHOUSE, _HS, None, hrc=63.5, known_by="estimated", grind="convex"),
    Specimen("auklet.galley", LIGHTHOUSE, _HC, "auklet.order-1", hrc=61.0, known_by="maker states"),
    Specimen("avocet.rigging", SALTINGS, _PC, "avocet.order-1", hrc=60.0, known_by="maker states", interest="none"),
    Specimen("avocet.bosun", SALTINGS, _HC, "avocet.order-2", hrc=61.0, known_by="maker states"),
    Specimen("avocet.galley", SALTINGS, _FS, None, hrc=56.0, known_by="estimated", grind="hollow"),
)

SUPPLIES = (
    Supply("oakum.coil-1", HARBOUR, ROPE, "three-strand hemp, 220 m, bought at the chandlery"),
    Supply("oakum.coil-2", HARBOUR, ROPE, "three-strand hemp, 220 m"),
    Supply("oakum.coil-3", HARBOUR, ROPE, "three-strand hemp, 3/8 in, 720 ft"),
    Supply("oakum.coil-4", HARBOUR, ROPE, "three-strand hemp, 220 m"),
    Supply("oakum.coil-5", HARBOUR, ROPE),
    Supply("sculler.coil-1", HARBOUR, ROPE, "three-strand hemp, 110 m, kept in the sail loft"),
    Supply("bowline.coil-1", HARBOUR, ROPE, "three-strand hemp, 220 m, bought at the chandlery"),
    Supply("fid.coil-1", HARBOUR, ROPE, "three-strand manila, end of a mooring warp, never wet"),
    Supply("gannet.coil-1", FAR_SHORE, ROPE, "three-strand manila, 9.5 mm"),
    Supply("gannet.coil-2", FAR_SHORE, ROPE),
    Supply("heron.coil-1", UP_RIVER, ROPE, "three-strand sisal, 100 m"),
    Supply("wagtail.coil-1", LOCK, ROPE, "three-strand hemp, 100 m"),
    Supply("razorbill.coil-1", LIGHTHOUSE, ROPE, "three-strand manila, 9.5 mm, 220 m"),
    Supply("avocet.coil-1", SALTINGS, ROPE),
    Supply("tern.card-1", HARBOUR, CARD, "delivery boxes, all from one chandler"),
    Supply("tern.card-2", HARBOUR, CARD),
    Supply("capstan.card-1", FAR_SHORE, CARD, "flat sheets, 1.2 m"),
)

LATER_SUPPLIES = (
    Supply("heron.card-1", UP_RIVER, CARD, "removal boxes, one batch"),
    Supply("razorbill.card-1", LIGHTHOUSE, CARD),
)
"""Those that came when the rest was drawn: drawn by themselves, so that no other file moves."""

GAUGES = (
    Gauge("tern.kitchen-scale", HARBOUR, "kitchen scale", Hand("gf", "1")),
    Gauge("oakum.kitchen-scale", HARBOUR, "kitchen scale", Hand("gf", "1", "uncertain")),
    Gauge("halyard.luggage-scale", HARBOUR, "luggage scale", Hand("kgf", "0.005")),
    Gauge("kittiwake.spring-balance", HARBOUR, "spring balance", Hand("N", "0.05", "comma")),
    Gauge("dunlin.letter-scale", HARBOUR, "letter scale", Hand("ozf", "1/8", "fraction")),
    Gauge("grommet.hanging-scale", HARBOUR, "hanging scale", Hand("lbf", "0.01")),
    Gauge("thole.kitchen-scale", HARBOUR, "kitchen scale up to 1 kg", Hand("gf", "1"), scale_end=1000.0),
    Gauge("gannet.kitchen-scale", FAR_SHORE, "kitchen scale", Hand("gf", "1")),
    Gauge("capstan.spring-balance", FAR_SHORE, "spring balance", Hand("N", "0.05")),
    Gauge("turnstone.hanging-scale", FAR_SHORE, "hanging scale", Hand("lbf", "1/16", "fraction")),
    Gauge("heron.kitchen-scale", UP_RIVER, "kitchen scale", Hand("gf", "1")),
    Gauge("dipper.spring-balance", LOCK, "spring balance", Hand("N", "0.05", "comma")),
    Gauge("auklet.luggage-scale", LIGHTHOUSE, "luggage scale", Hand("kgf", "0.005")),
    Gauge("avocet.kitchen-scale", SALTINGS, "kitchen scale", Hand("gf", "1", "uncertain")),
)

TAPES = {
    "m": Hand("m", "1"),
    "cm": Hand("cm", "1"),
    "ft": Hand("ft", "1/4", "fraction"),
}
"""How lengths of card are written, by unit."""


def person(handle: str) -> Person:
    """The person with this handle."""
    return next(p for p in PEOPLE if p.handle == handle)


def blade(key: str) -> Specimen:
    """The blade with this key."""
    return next(b for b in BLADES if b.key == key)


def supply(key: str) -> Supply:
    """The coil or stack with this key."""
    return next(s for s in (*SUPPLIES, *LATER_SUPPLIES) if s.key == key)


def gauge(key: str) -> Gauge:
    """The instrument with this key."""
    return next(g for g in GAUGES if g.key == key)


def blades_of(shore: str, steel: str) -> tuple[Specimen, ...]:
    """The blades of one steel on one shore whose steel is known."""
    return tuple(b for b in BLADES if b.shore == shore and b.true_steel == steel and b.steel_known)
