"""Read the registers: steels, classes of steels, units and grits.

Units and grits are the program's own. Steels come from ``aggregator/registers/steels.json`` and ``steel_classes.json`` of the
repository where it has one, so that a pull request can bring a new steel together with its first result; otherwise from the program.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from pydantic import ValidationError

from edgehold.disk import Unread, bounded, unread
from edgehold.errors import WrittenError

from .compositions import limits_of, meet
from .model.registers import GritRegister, GritSize, SteelClass, SteelClassRegister, SteelEntry, SteelRegister, UnitRegister

LARGEST_REGISTER_BYTES = 1_000_000  # about forty times today's register; checked before a byte is parsed
STEELS_FILE = "aggregator/registers/steels.json"
CLASSES_FILE = "aggregator/registers/steel_classes.json"
_PACKAGE = Path(__file__).parents[1]
PROGRAMS_OWN = next(folder for folder in (_PACKAGE / "registers", _PACKAGE.parent / "registers") if folder.is_dir())
"""The program's own registers: inside an installed package, beside it in a checkout."""
DEMO_PREFIX = "demo-"
GRIT_LETTERS = {"FEPA F": "f", "FEPA P": "p"}

DROPPED_MARKS = " \t\u00a0\u202f-\u2010\u2011\u2012\u2013\u2014\u2212"
"""Characters that make no difference in a designation."""
_DROPPED = {ord(mark): None for mark in DROPPED_MARKS}


@dataclass(frozen=True)
class Steels:
    """Every steel that a blade can be of, by id: those that a standard names, and classes of those that none does."""

    named: dict[str, SteelEntry]
    classes: dict[str, SteelClass]

    @cached_property
    def by_id(self) -> dict[str, SteelEntry | SteelClass]:
        """Both together, in the order of their ids."""
        found: dict[str, SteelEntry | SteelClass] = {**self.named}
        found.update(self.classes)
        return dict(sorted(found.items()))

    @cached_property
    def by_name(self) -> dict[str, SteelEntry]:
        """Named steels by every folded name that `find_steel` knows."""
        return {key: steel for steel in self.named.values() for key in sorted(_keys(steel))}


NO_STEELS = Steels({}, {})


@cache
def load_units() -> UnitRegister:
    """The closed list of units (aggregator/registers/units.json)."""
    return UnitRegister.model_validate_json((PROGRAMS_OWN / "units.json").read_bytes())


@cache
def load_grits() -> GritRegister:
    """Grit designations and particle sizes (aggregator/registers/grits.json)."""
    return GritRegister.model_validate_json((PROGRAMS_OWN / "grits.json").read_bytes())


def load_steels(root: Path | None = None) -> Steels:
    """The registers of steels and of their classes.

    Parameters
    ----------
    root : a repository; of its own registers each is read that is there. None: the program's.

    Raises
    ------
    WrittenError
        A file of the repository is too large, not the right form, or calls two steels by one name.
    """
    return Steels(load_named(root), load_classes(root))


def load_named(root: Path | None = None) -> dict[str, SteelEntry]:
    """The register of steels by id, as `load_steels` reads it."""
    text = _own_text(root, STEELS_FILE)
    return dict(_programs_steels()) if text is None else parse_steels(text)


def load_classes(root: Path | None = None) -> dict[str, SteelClass]:
    """Classes of steels by id, as `load_steels` reads them."""
    text = _own_text(root, CLASSES_FILE)
    return dict(_programs_classes()) if text is None else parse_classes(text)


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


def parse_classes(text: bytes | str) -> dict[str, SteelClass]:
    """Classes by id from a register's text; see `load_steels` for what it refuses."""
    try:
        classes = SteelClassRegister.model_validate_json(text).classes
    except ValidationError as error:
        raise WrittenError(f"{CLASSES_FILE}: {first_problem(error)}", "keep to the form of the classes around it") from None
    for one in classes:
        _refuse_odd_windows(one)
    for place, one in enumerate(classes):
        for other in classes[:place]:
            if one.origin == other.origin and meet(limits_of(one), limits_of(other)):
                raise WrittenError(
                    f"{CLASSES_FILE}: a steel can be both {other.label!r} and {one.label!r}",
                    "give the two classes windows of one element that do not meet, other than one that short data sheets leave out",
                )
    return {one.id: one for one in classes}


def find_steel(steels: Steels, text: str) -> SteelEntry | None:
    """The entry that ``text`` names, or None.

    Any listed designation, with or without its system in front ("1095", "AISI 1095", "uns t30402"), or the entry's id.
    Capitals, spaces and hyphens do not matter; points do ("1.4116" is not "14116").
    """
    return steels.by_name.get(folded_name(text))


def find_grit(system: str, grit: str) -> GritSize | None:
    """The size that a designation stands for in one grit system, or None; the system's letter or # may be left out."""
    wanted = _grit_number(system, grit)
    sizes = (size for series in load_grits().series if series.system == system for size in series.sizes)
    return next((size for size in sizes if _grit_number(system, size.grit) == wanted), None)


def steel_spellings(steels: Steels) -> dict[str, str]:
    """Every folded name that `find_steel` knows, with the origin of the steel it names."""
    return {key: steel.origin for key, steel in steels.by_name.items()}


def steel_ids(steels: Steels) -> dict[str, str]:
    """Every folded name that `find_steel` knows, with the id of the steel it names."""
    return {key: steel.id for key, steel in steels.by_name.items()}


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
def _programs_steels() -> dict[str, SteelEntry]:
    return parse_steels((PROGRAMS_OWN / "steels.json").read_bytes())


@cache
def _programs_classes() -> dict[str, SteelClass]:
    return parse_classes((PROGRAMS_OWN / "steel_classes.json").read_bytes())


def _own_text(root: Path | None, file: str) -> bytes | None:
    """Bytes of a repository's own register; None where it has none."""
    path = None if root is None else Path(root) / file
    return None if path is None or not (path.exists() or path.is_symlink()) else _bounded_bytes(path, file)


def _bounded_bytes(path: Path, file: str) -> bytes:
    found = bounded(path, LARGEST_REGISTER_BYTES, links=False)
    if not isinstance(found, Unread):
        return found
    if found.code == "too_large":
        raise WrittenError(f"{file} is over {LARGEST_REGISTER_BYTES} bytes", "list the steels only")
    if found.code == "unreadable":
        raise WrittenError(unread(Path(file), found, LARGEST_REGISTER_BYTES), "make it readable")
    raise WrittenError(f"{file} is a link or no ordinary file", "make it an ordinary file")


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


def _refuse_odd_windows(one: SteelClass) -> None:
    """A window an element, none turned round; the label's first, in its order, each holding its figure."""
    symbols, shares = one.label.split(" ")[::2], map(float, one.label.split(" ")[1::2])
    elements = [window.element for window in one.windows]
    ordered = elements[: len(symbols)] == symbols and len(set(elements)) == len(elements)
    turned = [window for window in one.windows if None not in (window.min, window.max) and not (window.min or 0) < (window.max or 0)]
    held = all(
        window.min is not None and window.max is not None and window.min <= share <= window.max
        for window, share in zip(one.windows, shares, strict=False)
    )
    if turned or not (ordered and held):
        raise WrittenError(
            f"{CLASSES_FILE}: the windows of {one.label!r} do not fit its label",
            "begin with the label's elements in its order, each with a lowest and a highest share around its figure, and name none twice",
        )
