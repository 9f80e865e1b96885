"""Tables of a method's text that are made from its settings.

A line ``{table: needs}`` that stands by itself in a protocol's body becomes the table of that name. A table that is written by hand
under the same heads has to say what the settings say.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator

from edgehold.records.facts import NUMBERS
from edgehold.records.model.protocol import EndpointRule, LevelRule, Protocol
from edgehold.records.problem import Problem
from edgehold.records.units import quantity_text
from edgehold.words import filled_in

Row = tuple[str, ...]

_MARKER = re.compile(r"^\{table:[ \t]*([^\s{}]{0,40})[ \t]*\}[ \t]*$", re.MULTILINE)
_RULER = re.compile(r"^\|(?:[ \t]*:?-+:?[ \t]*\|)+$")


def with_tables(record: Protocol, body: str) -> str:
    """A method's text with every table that it asks for in its place; an unknown name stays as it stands."""

    def made(found: re.Match[str]) -> str:
        return _markdown(found[1], record) if found[1] in TABLES else found[0]

    return _MARKER.sub(made, body)


def marker(name: str) -> str:
    """The line that asks for a table."""
    return f"{{table: {name}}}"


def head_of(name: str) -> Row:
    """What stands above the columns of a table."""
    return tuple(filled_in(f"settings.{name}_head", {}).split(" | "))


def table_problems(record: Protocol, body: str, before: int) -> Iterator[Problem]:
    """Tables that no settings make, and tables by hand that say something else than the settings.

    Parameters
    ----------
    record : the settings.
    body : the text as it was written.
    before : lines of the file in front of the text.
    """
    for found in _MARKER.finditer(body):
        if found[1] not in TABLES:
            message = filled_in("settings.unknown_table", {"name": found[1]})
            cure = filled_in("settings.use_tables", {"names": ", ".join(TABLES)})
            yield Problem("", "unknown-table", message, cure, line=before + 1 + body.count("\n", 0, found.start()))
    for name, number, rows in _by_hand(body):
        yield from _against_settings(name, record, rows, before + number)


def asking_for_tables(record: Protocol, body: str) -> str:
    """A text in which a marker stands for every table by hand that says what the settings say: what a next version starts from."""
    lines = body.split("\n")
    for name, number, rows in reversed(list(_by_hand(body))):
        if not any(_against_settings(name, record, rows, number)):
            lines[number - 1 : number + 1 + len(rows)] = [marker(name)]
    return "\n".join(lines)


def _by_hand(body: str) -> Iterator[tuple[str, int, list[Row]]]:
    """Name, line of the head (1-based) and rows of each such table."""
    heads = {head_of(name): name for name in TABLES}
    lines = body.split("\n")
    for number, (line, below) in enumerate(itertools.pairwise(lines), 1):
        if line.startswith("|") and _RULER.match(below.strip()) and _cells(line) in heads:
            rows = itertools.takewhile(lambda text: text.startswith("|"), lines[number + 1 :])
            yield heads[_cells(line)], number, [_cells(row) for row in rows]


def _against_settings(name: str, record: Protocol, rows: list[Row], head: int) -> Iterator[Problem]:
    cure = filled_in("settings.let_it_be_made", {"marker": marker(name)})
    wanted = [tuple(map(_spaced, row)) for row in TABLES[name](record)]
    for number, (found, right) in enumerate(zip(rows, wanted, strict=False), head + 2):
        if found != right:
            message = filled_in("settings.row_differs", {"found": " | ".join(found), "wanted": " | ".join(right)})
            yield Problem("", "table-contradicts", message, cure, line=number)
    if len(rows) != len(wanted):
        message = filled_in("settings.rows_differ", {"found": len(rows), "wanted": len(wanted)})
        yield Problem("", "table-contradicts", message, cure, line=head)


def _cells(line: str) -> Row:
    """Cells of a row; a bar behind a backslash belongs to its cell."""
    return tuple(_spaced(cell).replace(r"\|", "|") for cell in re.split(r"(?<!\\)\|", line.strip().removeprefix("|").removesuffix("|")))


def _spaced(text: str) -> str:
    return " ".join(text.split())


def _markdown(name: str, record: Protocol) -> str:
    head = head_of(name)
    lines = [f"| {' | '.join(map(_cell, row))} |" for row in (head, *TABLES[name](record))]
    return "\n".join([lines[0], f"|{'---|' * len(head)}", *lines[1:]])


def _cell(text: str) -> str:
    return _spaced(text).replace("|", r"\|")


def _needs(record: Protocol) -> Iterator[Row]:
    for need in record.needs:
        yield need.item, need.where, need.substitute or filled_in("settings.needs_nothing_instead", {})


def _levels(record: Protocol) -> Iterator[Row]:
    for level in record.question.levels:
        yield level.word, level.text, level_rule_text(level.rule)


def level_rule_text(rule: LevelRule | None, form: str = "full") -> str:
    """By what a run is of a level, in words; in fewer of them with ``form="short"``."""
    if rule is None:
        return filled_in(f"settings.level_{form}_written", {})
    facts = {"fact": rule.fact, "unit": filled_in(f"settings.{rule.fact.replace(' ', '_')}_unit", {}) if rule.fact in NUMBERS else ""}
    if rule.at_least is not None and rule.below is not None:
        return filled_in(f"settings.level_{form}_between", {**facts, "low": rule.at_least, "high": rule.below})
    if rule.at_least is not None:
        return filled_in(f"settings.level_{form}_from", {**facts, "low": rule.at_least})
    if rule.below is not None:
        return filled_in(f"settings.level_{form}_below", {**facts, "high": rule.below})
    parts = [filled_in(f"settings.level_{form}_words", {**facts, "words": " or ".join(rule.words)})] if rule.words else []
    if rule.other_than:
        parts.append(filled_in(f"settings.level_{form}_other", {**facts, "words": " or ".join(rule.other_than)}))
    return "; ".join(parts)


def _endpoints(record: Protocol) -> Iterator[Row]:
    for rule in record.endpoints:
        name = filled_in("settings.endpoint_primary" if rule.primary else "settings.endpoint_other", {"endpoint": rule.id})
        ratio = filled_in("settings.ratio", {"ratio": rule.worthwhile_ratio})
        yield name, rule.title, rule.role, ratio, filled_in("settings.spread_assumed", {"spread": rule.assumed_repeatability.ln_sd})


def _stopping(record: Protocol) -> Iterator[Row]:
    readings = {"readings": record.stopping.readings_below}
    yield filled_in("settings.stopping_in_words", {}), record.stopping.text
    for rule in record.endpoints:
        if rule.kind == "life" and rule.threshold is not None:
            yield filled_in("settings.stopping_past", readings), _threshold(record, rule)
    if record.reading.kind == "pass/fail":
        yield filled_in("settings.stopping_all_fail", readings), filled_in("settings.stopping_tries", {"repeats": record.reading.repeats})
    if record.work.force_limit_n is not None:
        yield filled_in("settings.stopping_force", {}), quantity_text(record.work.force_limit_n, "N")
    yield filled_in("settings.stopping_last", {}), quantity_text(record.work.checkpoints[-1], record.work.unit)


def _threshold(record: Protocol, rule: EndpointRule) -> str:
    assert rule.threshold is not None
    if rule.threshold.relative:
        return filled_in("settings.stopping_relative", {"value": rule.threshold.value})
    return quantity_text(rule.threshold.value, record.reading.canonical_unit or "")


def _threats(record: Protocol) -> Iterator[Row]:
    for threat in record.threats:
        yield threat.threat, threat.text, ", ".join(threat.steps) or filled_in("settings.threats_left_open", {})


def _minutes(record: Protocol) -> Iterator[Row]:
    parts = record.minutes.parts
    if parts is not None:
        yield filled_in("settings.minutes_once", {}), _minutes_text(parts.once)
        yield filled_in("settings.minutes_sharpening", {}), _minutes_text(parts.sharpening)
        unit = filled_in("settings.minutes_unit", {"unit": record.work.unit})
        yield unit, filled_in("settings.minutes_seconds", {"seconds": parts.unit_seconds})
        yield filled_in("settings.minutes_value", {}), filled_in("settings.minutes_seconds", {"seconds": parts.value_seconds})
    yield filled_in("settings.minutes_one_run", {}), _minutes_text(record.minutes.one_run)
    yield filled_in("settings.minutes_whole", {"runs": record.design.least_runs}), _minutes_text(record.minutes.whole)


def _minutes_text(minutes: float) -> str:
    return filled_in("settings.minutes_figure", {"minutes": minutes})


TABLES: dict[str, Callable[[Protocol], Iterator[Row]]] = {
    "needs": _needs,
    "levels": _levels,
    "endpoints": _endpoints,
    "stopping": _stopping,
    "threats": _threats,
    "minutes": _minutes,
}
"""Makers of the tables' rows by the names that a text asks for them with."""
