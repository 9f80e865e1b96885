"""Write ``listing.txt``: every pattern of the catalogue with an example, for one reading from top to bottom.

Run ``python -m tests.words.write_listing`` after a pattern changed; a test fails while the listing is another.
"""

import string
from pathlib import Path

from edgehold.words import group, pattern_codes
from edgehold.words.catalogue import filled_in

LISTING = Path(__file__).with_name("listing.txt")


def places(text):
    """Names of a pattern's places with the format of each."""
    return {name: form for _, name, form, _ in string.Formatter().parse(text) if name is not None}


def examples(pattern):
    """Arguments to fill a pattern in with: for a plural once with one and once with several."""
    texts = [pattern] if isinstance(pattern, str) else [pattern["one"], pattern["other"]]
    filled = {
        name: 2.5 if form and form[-1] in "fge" else 12 if form and form[-1] in "d," else f"<{name}>"
        for text in texts
        for name, form in places(text).items()
    }
    return [filled] if isinstance(pattern, str) else [filled | {pattern["count"]: count} for count in (1, 3)]


def listing():
    """The whole listing."""
    lines = ["Every pattern of the catalogue, filled in. Written by tests/words/write_listing.py.", ""]
    for code in pattern_codes():
        name, _, entry = code.partition(".")
        lines += [f"{code}: {filled_in(code, arguments)}" for arguments in examples(group(name)[entry])]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    LISTING.write_text(listing(), encoding="utf-8")
