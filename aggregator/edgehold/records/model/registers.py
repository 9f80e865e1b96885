"""The registers as models: steels, units and grits, the data files in aggregator/registers/."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from .base import Label, Origin, Percent, Positive, Record, ShortText, Slug

ExactNumber = Annotated[str, Field(pattern=r"^-?[0-9]+(?:\.[0-9]+|/[1-9][0-9]*)?(?!\n)$")]
"""A decimal or a fraction, as text, so that no digit is lost."""

UnitKind = Literal["force", "length", "count", "temperature", "fraction", "angle"]


class UnitEntry(Record):
    """One unit: value in the kind's base unit = factor × value + offset, exactly."""

    id: Label
    """The symbol that pages and canonical files use. Capitals matter."""
    kind: UnitKind
    """What it measures."""
    factor: ExactNumber
    """Multiplies the value."""
    offset: ExactNumber = "0"
    """Added afterwards; only temperatures need it."""
    symbols: tuple[Label, ...] = ()
    """Other symbols and marks; capitals matter."""
    names: tuple[Label, ...] = ()
    """Other spellings; capitals do not matter."""
    source: ShortText
    """The published source of the factor."""
    note: ShortText | None = None
    """Anything a reader should know."""


class UnitRegister(Record):
    """The closed list of units."""

    note: ShortText
    """What the list is and how it is used."""
    units: Annotated[tuple[UnitEntry, ...], Field(min_length=1)]
    """Every unit."""


class GritSize(Record):
    """One designation of a grit system."""

    grit: Label
    """The designation as the standard writes it, such as "F220" or "P400"."""
    micrometres: Positive
    """The statistic that the series names, in micrometres."""
    from_memory: bool
    """Whether the figure was written down from memory, without a source in sight."""


class GritSeries(Record):
    """One system, or the part of it that one statistic describes."""

    system: Literal["FEPA F", "FEPA P", "JIS", "ANSI", "CAMI", "mesh", "micrometres"]
    """The grit system, as in a submission's abrasive stages: ANSI is bonded abrasives and loose grain, CAMI coated ones."""
    part: ShortText
    """Which part of the system."""
    statistic: ShortText
    """What the micrometres are, such as the median of the size distribution and how it is measured."""
    standard: ShortText
    """The published standard."""
    source: ShortText
    """Where the figures were seen."""
    sizes: Annotated[tuple[GritSize, ...], Field(min_length=1)]
    """From coarse to fine."""


class GritRegister(Record):
    """Grit designations and particle sizes."""

    note: ShortText
    """How far the figures may be trusted."""
    series: Annotated[tuple[GritSeries, ...], Field(min_length=1)]
    """Every system."""


SteelFamily = Literal["plain carbon", "low alloy", "cold-work tool", "shock-resisting tool", "high-speed", "martensitic stainless"]
"""Alloy groups as the standards divide steels: what the groups hold stands on the site's page about data and schemas."""


class SteelName(Record):
    """What one system of designations calls a steel."""

    system: Literal["AISI/SAE", "UNS", "EN", "JIS", "demo"]
    """The system; "demo" for invented steels only."""
    designation: Label
    """The designation in that system."""


class ElementLimits(Record):
    """Limits of one element in mass per cent."""

    element: Annotated[str, Field(pattern=r"^[A-Z][a-z]?(?!\n)$")]
    """Chemical symbol."""
    min: Percent | None = None
    """Lower limit; null: none."""
    max: Percent | None = None
    """Upper limit; null: none."""


class SteelEntry(Record):
    """One steel by its published designations. Trade names have no place here."""

    id: Slug
    """Short id, such as aisi-1095; invented steels begin with demo-."""
    origin: Origin
    """measured: a real steel. simulated: invented for the demonstration."""
    family: SteelFamily
    """The alloy group that its standard puts it in."""
    names: Annotated[tuple[SteelName, ...], Field(min_length=1)]
    """Its designations: all of them are this one steel."""
    near: tuple[Slug, ...] = ()
    """Ids of steels of other standards with limits near to these; each is a steel of its own, and they are not pooled."""
    composition: tuple[ElementLimits, ...] = ()
    """Composition limits in mass per cent, as cast (heat analysis)."""
    standard: ShortText | None = None
    """The published standard that sets those limits."""
    from_memory: bool = False
    """Whether the limits were written down from memory, without the standard or a copy of its table in sight."""
    note: ShortText | None = None
    """Anything a reader should know."""


class SteelRegister(Record):
    """Steels by published designation."""

    note: ShortText
    """How far the entries may be trusted."""
    steels: tuple[SteelEntry, ...]
    """Every steel."""


class SteelClass(Record):
    """Steels that no standard names, held together by a declared window of composition. Trade names have no place here."""

    label: Annotated[str, Field(pattern=r"^C [0-9]+(?:\.[0-9]+)?(?: [A-Z][a-z]? [0-9]+(?:\.[0-9]+)?)*(?!\n)$", max_length=60)]
    """Made from the composition, such as C 1.4 Cr 14 V 4: symbols of the elements, and mass per cent."""
    origin: Origin
    """measured: for real steels. simulated: for invented ones."""
    family: SteelFamily
    """The alloy group that steels of the class belong to."""
    windows: Annotated[tuple[ElementLimits, ...], Field(min_length=1)]
    """Limits in mass per cent; those of the label come first, in its order, and hold its figures."""
    source: ShortText
    """Who declared the windows, and after what."""
    note: ShortText | None = None
    """Anything a reader should know."""

    @property
    def id(self) -> str:
        """The label as one word, which is safe in an address: C1.4-Cr14-V4; demo- in front for invented steels."""
        symbols, shares = self.label.split(" ")[::2], self.label.split(" ")[1::2]
        word = "-".join(map("".join, zip(symbols, shares, strict=True)))
        return f"demo-{word}" if self.origin == "simulated" else word


class SteelClassRegister(Record):
    """Steels by declared windows of composition."""

    note: ShortText
    """What the windows are."""
    classes: tuple[SteelClass, ...]
    """Every class."""
