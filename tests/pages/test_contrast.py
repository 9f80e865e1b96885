"""Text and marks of the palette stand out enough in both schemes (WCAG 2.2, success criteria 1.4.3 and 1.4.11)."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

SHEET = Path(__file__).resolve().parents[2] / "site" / "pages" / "assets" / "harbour.css"
TEXT = [
    (ink, ground)
    for ground in ("page", "sheet")
    for ink in ("ink", "quiet", "water", "brass", "buoy", *(f"chart-{n}" for n in range(1, 7)))
] + [
    ("ink", "brass-ground"),
    ("ink", "buoy-ground"),
    ("ink", "water-ground"),
    ("buoy", "buoy-ground"),
    ("quiet", "water-ground"),
    ("water", "water-ground"),
    ("water", "buoy-ground"),
    ("deck-ink", "deck"),
    ("deck-brass", "deck"),
    ("page", "water"),
]


def palette(scheme: str) -> dict[str, str]:
    css = SHEET.read_text(encoding="utf-8")
    block = re.search(rf'\[data-md-color-scheme="{scheme}"\] \{{(.*?)\}}', css, re.DOTALL)
    assert block is not None
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{6});", block[1]))


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2 glossary)."""
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_of_black_on_white_is_as_the_standard_says() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # the well-known grey just below 4.5


@pytest.mark.parametrize("scheme", ["default", "slate"])
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_every_pair_of_the_palette_can_be_read(scheme: str, ink: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[ink], colours[ground]) >= 4.5
