"""Everything that the page needs to answer one submission in the browser, as plain JSON values."""

from __future__ import annotations

from edgehold.cards import told
from edgehold.cards.fitting import CUT, HASH, LONGEST, SHORTEST
from edgehold.records.model.protocol import Protocol
from edgehold.records.registers import DROPPED_MARKS, GRIT_LETTERS, Steels, grit_spellings, load_units, steel_ids
from edgehold.records.steel_search import composition_rules
from edgehold.records.units import UNITS_IN_SENTENCES, grammar
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.publish.repeatability import form_repeatability
from edgehold.results.words.ratio_scale import scale_for_browser
from edgehold.results.words.sentences import LEAST_TIMES
from edgehold.words import group


def answer_rules(protocol: Protocol, published: PublishedRepeatability, steels: Steels) -> dict[str, object]:
    """What ``answer`` of site/pages/assets/form/answer.js is handed beside a submission.

    Parameters
    ----------
    protocol : the version that the form is for.
    published : the repeatability table published with the site.
    steels : the registers of steels and of their classes.

    Returns
    -------
    ``protocol`` (its front matter), ``repeatability``, ``numbers`` (how written numbers are read), ``units`` (the
    register), ``folded`` (marks left out of spellings), ``steels`` (id by folded spelling), ``compositions`` (limits by
    steel), ``sentences`` (every pattern an answer is told in), ``report`` and ``card`` (those of its card, and how long that may be) and
    ``scale`` (what its bars stand on).
    """
    return {
        "protocol": protocol.model_dump(mode="json"),
        "repeatability": form_repeatability(published, protocol),
        "numbers": grammar(),
        "units": [unit.model_dump(mode="json", exclude={"source", "note"}) for unit in load_units().units],
        "folded": DROPPED_MARKS,
        "grits": {"letters": GRIT_LETTERS, "sizes": grit_spellings()},
        "steels": steel_ids(steels),
        "compositions": composition_rules(steels),
        "sentences": sentences(),
        "report": report_patterns(),
        "card": card_rules(),
        "scale": scale_for_browser(),
    }


def sentences() -> dict[str, object]:
    """Every pattern that an answer is told in."""
    return {
        "own_answer": group("own_answer"),
        "plurals": UNITS_IN_SENTENCES,
        "least_times": LEAST_TIMES,
        "endpoints": group("endpoints"),
        "flags": group("flags"),
        "factors": group("factors"),
        "contrasts": group("contrasts"),
        "methods": group("estimates"),
    }


def report_patterns() -> dict[str, object]:
    """Those of a report that its card tells, too."""
    return {
        name: pattern
        for name, pattern in group("report").items()
        if f"report.{name}" in told.LIMITS or name == "nothing_compared" or name.startswith(("owner", "share_"))
    }


def card_rules() -> dict[str, object]:
    """How long a card may be, how its lines are cut, and what it is told in."""
    figures = {
        "longest": LONGEST,
        "shortest": SHORTEST,
        "cut": CUT,
        "hash": HASH,
        "most_told": told.MOST,
        "most_percent": told.MOST_PERCENT,
    }
    return {"figures": figures, "says": group("card")}
