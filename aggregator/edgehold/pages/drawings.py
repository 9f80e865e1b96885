"""From a drawing in the grammar of Vega-Lite to SVG."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from hashlib import blake2b
from pathlib import Path
from typing import Any

from edgehold.engine.tasks import AWAITED, each, keeping, kept

FONTS = ("/usr/share/fonts", "/usr/local/share/fonts", "~/.fonts", "~/.local/share/fonts", "/Library/Fonts", "C:/Windows/Fonts")

COUNTED = re.compile(r'(\bid="|url\(#)(clip\d+)\b')
WORK = 30.0  # milliseconds that a drawing takes


def svg_of(specification: Mapping[str, Any]) -> str:
    """The drawing, as it was drawn before from the same specification."""
    return kept(_drawn, specification, fonts())


def draw(specifications: Sequence[Mapping[str, Any]]) -> None:
    """Draw what pages will ask for one by one, side by side; nothing where it would not be kept for them."""
    if keeping():
        each(_drawn, [(one, fonts()) for one in specifications], [AWAITED + WORK] * len(specifications))


def _drawn(specification: Mapping[str, Any], fonts: tuple[tuple[str, int], ...]) -> str:
    """``fonts`` are those whose letters are measured to lay it out."""
    import vl_convert  # slow to load, and only needed where there is something to draw

    return _named_alike(vl_convert.vegalite_to_svg(dict(specification)))


def _named_alike(svg: str) -> str:
    """With ids that are the same whoever draws it: the library counts clips on from one drawing of a process to the next."""
    numbers = {name: str(n) for n, name in enumerate(dict.fromkeys(name for _, name in COUNTED.findall(svg)))}
    plain = COUNTED.sub(lambda found: found[1] + numbers[found[2]], svg)
    of_drawing = blake2b(plain.encode(), digest_size=4).hexdigest()  # drawings of one page share none
    return COUNTED.sub(lambda found: f"{found[1]}clip-{of_drawing}-{numbers[found[2]]}", svg)


@cache
def fonts() -> tuple[tuple[str, int], ...]:
    """Name and size of every font of the machine."""
    folders = [Path(folder).expanduser() for folder in FONTS]
    files = [path for folder in folders if folder.is_dir() for path in folder.rglob("*") if path.is_file()]
    return tuple(sorted((path.name, path.stat().st_size) for path in files))
