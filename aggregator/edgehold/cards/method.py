"""A method in a post: made from the settings alone, so that it says what the method does and nothing else."""

from __future__ import annotations

from edgehold.records.model.protocol import Protocol
from edgehold.records.rules.settings_tables import level_rule_text
from edgehold.records.units import plural
from edgehold.words import Reason

from .fitting import HASH, Line, fitted

MONTHS = frozenset(f"{number:02d}" for number in range(1, 13))


def method_card(protocol: Protocol, status: str, sha256: str, address: str = "", ask: str = "") -> str:
    """What a protocol's version does, in at most ``fitting.LONGEST`` characters.

    Parameters
    ----------
    protocol : its settings.
    status : draft, in review, adopted or retired.
    sha256 : of its file.
    address, ask : of its page, and of the form for an objection to it; empty where the site has no address.
    """
    return fitted(method_lines(protocol, status, sha256, address, ask))


def method_lines(protocol: Protocol, status: str, sha256: str, address: str, ask: str) -> list[Line]:
    """The lines of that card in their order."""
    p, design = protocol, protocol.design
    marks, last = ", ".join(f"{work:g}" for work in p.work.checkpoints), f"{p.work.checkpoints[-1]:g}"
    primary = next(rule for rule in p.endpoints if rule.primary)
    dealt = sorted({threat.threat for threat in p.threats if threat.steps})
    left = sorted({threat.threat for threat in p.threats if not threat.steps} - set(dealt))
    return [
        Line(Reason("card.method", title=p.title, id=p.id, version=p.version, status=status)),
        Line(p.question.text),
        Line(Reason("card.compared", varies=", ".join(design.varies), holds=", ".join(design.holds) or Reason("card.nothing")), 6, True),
        Line(_levels(p), 1),
        Line(Reason(f"card.side_by_side_{design.side_by_side}") if design.side_by_side else "", 6),
        Line(Reason("card.work", medium=p.medium.name, last=last, units=plural(p.work.unit), marks=marks)),
        Line(Reason("card.reading", text=p.reading.description, repeats=p.reading.repeats), 1, True),
        Line(Reason("card.order", text=design.order), 3, True),
        Line(Reason("card.hiding", text=design.blinding), 4, True),
        Line(Reason("card.runs", runs=design.least_runs, minutes=p.minutes.whole)),
        Line(Reason("card.stopping", text=p.stopping.text), 7, True),
        Line(Reason("card.answer", title=_lower(primary.title), ratio=f"{primary.worthwhile_ratio:g}")),
        Line(Reason("card.against", kinds=", ".join(dealt)) if dealt else "", 5),
        Line(Reason("card.not_against", kinds=", ".join(left)) if left else "", 5),
        Line(Reason("card.file", sha256=sha256[:HASH], address=address) if address else Reason("card.file_alone", sha256=sha256[:HASH])),
        Line(wrong(ask)),
    ]


def wrong(ask: str) -> Reason:
    """What a critic is asked for, and where to bring it."""
    return Reason("card.wrong", address=ask) if ask else Reason("card.wrong_here")


def month_words(month: str) -> str:
    """A month as people write it; one that a file has otherwise as it stands there.

    Examples
    --------
    >>> str(month_words("2026-05"))
    'May 2026'
    """
    year, _, number = month.partition("-")
    return Reason(f"card.month_{number}", year=year) if number in MONTHS else month


def _levels(protocol: Protocol) -> str:
    """The levels that are compared, each with the fact that puts a run into it; empty where the question is open."""
    told = [Reason("card.level", word=level.word, rule=level_rule_text(level.rule, "short")) for level in protocol.question.levels]
    return Reason("card.of_levels", levels="; ".join(told)) if told else ""


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]
