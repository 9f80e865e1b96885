"""Write ``listing.txt``: every pattern of the catalogue with an example, for one reading from top to bottom.

A pattern that counts stands with none, one and two. Below the patterns stand whole sentences put together from them, as people read
them: every verdict on one comparison, one-sided and undecided ones too, and how much a report says of a life.

Run ``python -m tests.words.write_listing`` after a pattern changed; a test fails while the listing is another.
"""

import string
from pathlib import Path

from edgehold.report.sentences import owner_sentence
from edgehold.results.words.verdicts import own_sentence
from edgehold.words import group, pattern_codes
from edgehold.words.catalogue import filled_in
from tests.answers.cases import files, protocol_of
from tests.report.contrasts import every_verdict

LISTING = Path(__file__).with_name("listing.txt")
COUNTED = (0, 1, 2)
FACTORS = ("steel", "sharpener", "practice", "level")


def places(text):
    """Names of a pattern's places with the format of each."""
    return {name: form for _, name, form, _ in string.Formatter().parse(text) if name is not None}


def examples(pattern):
    """Arguments to fill a pattern in with: for a plural with none, one and two."""
    texts = [pattern] if isinstance(pattern, str) else [pattern["one"], pattern["other"]]
    filled = {
        name: 2.5 if form and form[-1] in "fge" else 12 if form and form[-1] in "d," else f"<{name}>"
        for text in texts
        for name, form in places(text).items()
    }
    return [filled] if isinstance(pattern, str) else [filled | {pattern["count"]: count} for count in COUNTED]


def put_together():
    """Sentences on one comparison: by what is compared, a level and a life, every verdict there is."""
    protocol = protocol_of(files()["pooled-runs"])
    rules = [next(rule for rule in protocol.endpoints if rule.kind == kind) for kind in ("level", "life")]
    for factor in FACTORS:
        for rule in rules:
            for one in every_verdict(factor):
                yield f"{factor}, {rule.kind}, {one.kind or 'no ratio'}: {own_sentence(one.contrast, rule, protocol.work.unit)}"
    for one in every_verdict("sharpener"):
        yield f"a report on a life, {one.kind or 'no ratio'}: {owner_sentence(one.contrast, rules[1], protocol) or '(nothing)'}"


def listing():
    """The whole listing."""
    lines = ["Every pattern of the catalogue, filled in. Written by tests/words/write_listing.py.", ""]
    for code in pattern_codes():
        name, _, entry = code.partition(".")
        lines += [f"{code}: {filled_in(code, arguments)}" for arguments in examples(group(name)[entry])]
    lines += ["", "Sentences put together.", "", *put_together()]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    LISTING.write_text(listing(), encoding="utf-8")
