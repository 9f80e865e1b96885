"""Whether a text says what a pattern says, for tests that are not about its words."""

import re
import string

from edgehold.words import group


def says(text, code, **known):
    """Whether the pattern of a code stands in a text, with these arguments in its places and anything in the others."""
    return any(re.search(expression, text) for expression in _expressions(code, known))


def parsed(text, code):
    """What stands in the places of a code's pattern where a text is that pattern filled in; None where it is not."""
    return next((found.groupdict() for expression in _expressions(code, {}) if (found := re.fullmatch(expression, text))), None)


def _expressions(code, known):
    """Regular expressions of a pattern; a place that is not known is a group of its name where it first stands."""
    name, _, entry = code.partition(".")
    pattern = group(name)[entry]
    for text in [pattern] if isinstance(pattern, str) else (pattern["one"], pattern["other"]):
        parts, met = [], set()
        for literal, place, form, _ in string.Formatter().parse(text):
            open_place = f"(?P={place})" if place in met else f"(?P<{place}>.+?)"
            parts += [re.escape(literal), "" if place is None else re.escape(format(known[place], form)) if place in known else open_place]
            met.add(place)
        yield "".join(parts)
