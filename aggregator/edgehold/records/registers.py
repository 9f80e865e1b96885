"""Read the registers: steels, units and grits.

Units and grits are the program's own. Steels come from ``aggregator/registers/steels.json`` of the repository where
it has one, so that a pull request can bring a new steel together with its first result; otherwise from the program.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from pydantic import ValidationError

from edgehold.errors import WrittenError

from .model.registers import GritRegister, GritSize, SteelEntry, SteelRegister, UnitRegister

LARGEST_REGISTER_BYTES = 1_000_000  # about forty times today's register; checked before a byte is parsed
STEELS_FILE = "aggregator/registers/steels.json"
_PACKAGE = Path(__file__).parents[1]
PROGRAMS_OWN = next(folder for folder in (_PACKAGE / "registers", _PACKAGE.parent / "registers") if folder.is_dir())
"""The program's own registers: inside an installed package, beside it in a checkout."""
FindSteel = Callable[[str], SteelEntry | None]
"""The entry of the register that a designation names, or None."""
DEMO_PREFIX = "demo-"
GRIT_LETTERS = {"FEPA F": "f", "FEPA P": "p"}

DROPPED_MARKS = " \t\u00a0\u202f-\u2010\u2011\u2012\u2013\u2014\u2212"
"""Characters that make no difference in a designation."""
_DROPPED = {ord(mark): None for mark in DROPPED_MARKS}


@cache
def load_units() -> UnitRegister:
    """The closed list of units (aggregator/registers/units.json)."""
    return UnitRegister.model_validate_json((PROGRAMS_OWN / "units.json").read_bytes())


@cache
def load_grits() -> GritRegister:
    """Grit designations and particle sizes (aggregator/registers/grits.json)."""
    return GritRegister.model_validate_json((PROGRAMS_OWN / "grits.json").read_bytes())


def load_steels(root: Path | None = None) -> dict[str, SteelEntry]:
    """The register of steels by id.

    Parameters
    ----------
    root : a repository; its own aggregator/registers/steels.json is read when there is one. None: the program's.

    Raises
    ------
    WrittenError
        The repository's file is too large, not the right form, or calls two steels by one name.
    """
    path = None if root is None else Path(root) / STEELS_FILE
    if path is None or not (path.exists() or path.is_symlink()):
        return _own_steels().copy()
    return parse_steels(_bounded_bytes(path))


def parse_steels(text: bytes | str) -> dict[str, SteelEntry]:
    """Entries by id from a register's text; see `load_steels` for what it refuses."""
    try:
        steels = SteelRegister.model_validate_json(text).steels
    except ValidationError as error:
        raise WrittenError(f"{STEELS_FILE}: {first_problem(error)}", "keep to the form of the entries around it") from None
    _refuse_shared_names(steels)
    for steel in steels:
        _refuse_mixed_origin(steel)
    _refuse_lost_neighbours(steels)
    return {steel.id: steel for steel in steels}


def find_steel(steels: dict[str, SteelEntry], text: str) -> SteelEntry | None:
    """The entry that ``text`` names, or None.

    Any listed designation, with or without its system in front ("1095", "AISI 1095", "uns t30402"), or the entry's id.
    Capitals, spaces and hyphens do not matter; points do ("1.4116" is not "14116").
    """
    wanted = folded_name(text)
    return next((steel for steel in steels.values() if wanted in _keys(steel)), None)


def find_grit(system: str, grit: str) -> GritSize | None:
    """The size that a designation stands for in one grit system, or None; the system's letter or # may be left out."""
    wanted = _grit_number(system, grit)
    sizes = (size for series in load_grits().series if series.system == system for size in series.sizes)
    return next((size for size in sizes if _grit_number(system, size.grit) == wanted), None)


def steel_spellings(steels: dict[str, SteelEntry]) -> dict[str, str]:
    """Every folded name that `find_steel` knows, with the origin of the steel it names."""
    return {key: steel.origin for steel in steels.values() for key in sorted(_keys(steel))}


def steel_ids(steels: dict[str, SteelEntry]) -> dict[str, str]:
    """Every folded name that `find_steel` knows, with the id of the steel it names."""
    return {key: steel.id for steel in steels.values() for key in sorted(_keys(steel))}


def grit_spellings() -> dict[str, dict[str, float]]:
    """Micrometres by grit system and folded designation without its letter or #, as `find_grit` looks them up."""
    found: dict[str, dict[str, float]] = {}
    for series in load_grits().series:
        for size in series.sizes:
            found.setdefault(series.system, {}).setdefault(_grit_number(series.system, size.grit), size.micrometres)
    return found


def folded_name(text: str) -> str:
    """A designation without capitals, spaces and hyphens, so that spellings of one name compare equal."""
    return text.translate(_DROPPED).casefold()


def _grit_number(system: str, grit: str) -> str:
    return folded_name(grit).removeprefix("#").removeprefix(GRIT_LETTERS.get(system, ""))


@cache
def _own_steels() -> dict[str, SteelEntry]:
    return parse_steels((PROGRAMS_OWN / "steels.json").read_bytes())


def _bounded_bytes(path: Path) -> bytes:
    if path.is_symlink() or not path.is_file():
        raise WrittenError(f"{STEELS_FILE} is a link or no ordinary file", "make it an ordinary file")
    with path.open("rb") as stream:
        text = stream.read(LARGEST_REGISTER_BYTES + 1)
    if len(text) > LARGEST_REGISTER_BYTES:
        raise WrittenError(f"{STEELS_FILE} is over {LARGEST_REGISTER_BYTES} bytes", "list the steels only")
    return text


def first_problem(error: ValidationError) -> str:
    """The first thing that is wrong with a register, and its place."""
    first = error.errors(include_url=False, include_input=False)[0]
    place = "/".join(str(part) for part in first["loc"])
    return f"{first['msg']} at /{place}"


@cache
def _keys(steel: SteelEntry) -> frozenset[str]:
    found = {folded_name(steel.id)}
    for name in steel.names:
        own = folded_name(name.designation)
        systems = name.system.casefold().split("/")
        found |= {own, *(system + own for system in systems), "".join(systems) + own, "/".join(systems) + own}
    return frozenset(found)


def _refuse_shared_names(steels: tuple[SteelEntry, ...]) -> None:
    owner: dict[str, int] = {}
    for place, steel in enumerate(steels):
        for key in sorted(_keys(steel)):
            if owner.setdefault(key, place) != place:
                other = steels[owner[key]].id
                raise WrittenError(
                    f"{STEELS_FILE}: {key!r} names both {other!r} and {steel.id!r} (entries {owner[key]} and {place})",
                    "leave a designation with the one entry it belongs to",
                )


def _refuse_mixed_origin(steel: SteelEntry) -> None:
    invented = steel.origin == "simulated"
    named_demo = {steel.id.startswith(DEMO_PREFIX)} | {name.system == "demo" for name in steel.names}
    if named_demo != {invented}:
        raise WrittenError(
            f"{STEELS_FILE}: {steel.id!r} mixes invented and real (origin {steel.origin!r})",
            f"an invented steel has origin simulated, an id in {DEMO_PREFIX}… and demo names only; a real one has none",
        )


def _refuse_lost_neighbours(steels: tuple[SteelEntry, ...]) -> None:
    """A near steel is another entry of the same origin, and a pair is stated once."""
    origins, stated = {steel.id: steel.origin for steel in steels}, set()
    for steel in steels:
        for other in steel.near:
            pair = frozenset((steel.id, other))
            if other == steel.id or origins.get(other) != steel.origin or pair in stated:
                raise WrittenError(
                    f"{STEELS_FILE}: {steel.id!r} is said to be near {other!r}",
                    "name the id of another entry of the same origin, and each pair in one of the two entries only",
                )
            stated.add(pair)
