"""Sentences of a method's text that state a setting, held against the settings.

One flat table of patterns: what a sentence looks like that states a setting, and which figures it may name. A sentence of another form
says nothing here; better one contradiction missed than an honest sentence called false.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain

from edgehold.records.model.protocol import Protocol
from edgehold.records.problem import Problem
from edgehold.records.units import find_unit
from edgehold.words import filled_in

Figures = Callable[[Protocol], set[float]]

_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBER = rf"(?P<n>\d+(?:\.\d+)?|{'|'.join(_WORDS)})\b"
_FIRST_OF_NUMBERS = (r"\d", *_WORDS)
_FIRST_WORDS = re.compile(r"(?:(?P<one>[a-z]+)|\(\?:(?P<some>[a-z][a-z |]*)\))(?![a-z?])")
_READ_ALIKE = {0x130: "i", 0x131: "i", 0x17F: "s", 0x212A: "k"}  # by patterns that do not tell capitals apart
_LIST = r"(?P<n>\d+(?:\.\d+)?(?:,\ \d+(?:\.\d+)?)*\ and\ \d+(?:\.\d+)?)"
_TOLERANCE = 0.02  # of a figure said again in another unit: both are rounded


@dataclass(frozen=True)
class Claim:
    """A form of sentence that states a setting.

    Attributes
    ----------
    pattern : its words; N stands for a number, L for a list of them, U for the unit of work, R for that of the reading. Spaces stand for
        any white space and marks of emphasis.
    setting : pointer of the setting, as a finding names it.
    figures : what may stand for N; empty: the settings say nothing of it.
    whole : whether a list must hold all of the figures.
    """

    pattern: str
    setting: str
    figures: Figures
    whole: bool = False


def text_problems(record: Protocol, body: str, before: int) -> Iterator[Problem]:
    """Sentences that contradict a setting, each with its line.

    Parameters
    ----------
    record : the settings.
    body : the text as it was written.
    before : lines of the file in front of the text.
    """
    told: set[int] = set()
    found = chain(_contradictions(record, body), _conversions(record, body))
    for place, problem in sorted(found, key=lambda pair: pair[0]):
        if place not in told:
            told.add(place)
            yield Problem(problem.pointer, problem.code, problem.message, problem.cure, before + 1 + body.count("\n", 0, place))


def _contradictions(record: Protocol, body: str) -> Iterator[tuple[int, Problem]]:
    """Place of the figure and what is wrong with it."""
    starts = _Starts(body)
    for claim in CLAIMS:
        figures = claim.figures(record)
        for said in _said(claim.pattern, record, body, starts) if figures else ():
            numbers = [_number(text) for text in re.findall(r"[a-z]+|[\d.]+", said["n"].lower().replace(" and ", " "))]
            if not set(numbers) <= figures or (claim.whole and set(numbers) != figures):
                wanted = ", ".join(f"{figure:g}" for figure in sorted(figures))
                text = {"found": " ".join(said[0].split()), "setting": claim.setting, "wanted": wanted}
                cure = filled_in("settings.say_as_set", text)
                yield said.start("n"), Problem("", "text-contradicts", filled_in("settings.text_differs", text), cure)


class _Starts:
    """Where a sentence may begin in a text, by the beginning of its pattern: a pattern is tried there alone, for speed."""

    def __init__(self, body: str) -> None:
        self._small = body.translate(_READ_ALIKE).lower()  # as long as the text itself
        self._found: dict[tuple[str, ...], list[int]] = {}

    def of(self, pattern: str) -> list[int] | None:
        """Places in their order; None where a pattern does not say with which words it begins."""
        if pattern.startswith("N "):
            return self._places(_FIRST_OF_NUMBERS)
        first = _FIRST_WORDS.match(pattern)
        return None if first is None else self._places(tuple((first["one"] or first["some"]).split("|")))

    def _places(self, words: tuple[str, ...]) -> list[int]:
        if words not in self._found:
            self._found[words] = sorted({found.start() for word in words for found in re.finditer(word, self._small)})
        return self._found[words]


def _said(pattern: str, record: Protocol, body: str, starts: _Starts) -> Iterator[re.Match[str]]:
    """Where the text says it, from left to right."""
    compiled, places = _compiled(pattern, record), starts.of(pattern)
    if places is None:
        yield from compiled.finditer(body)
        return
    end = 0
    for place in places:
        if place >= end and (said := compiled.match(body, place)):
            end = said.end()
            yield said


def _conversions(record: Protocol, body: str) -> Iterator[tuple[int, Problem]]:
    """A figure that is said again in another unit of the reading, and is another figure: ``9 N (408 gf)``."""
    units = "|".join(map(re.escape, record.reading.accepted_units))
    if not units:
        return
    for said in re.finditer(rf"(\d+(?:\.\d+)?) ({units}) \((\d+(?:\.\d+)?) ({units})\)", body):
        one, other = find_unit(said[2]), find_unit(said[4])
        if one is None or other is None:
            continue
        right = float(said[1]) * float(one.factor) / float(other.factor)
        if abs(float(said[3]) - right) > _TOLERANCE * right:
            text = {"found": said[0], "value": float(said[1]), "unit": said[2], "other": right, "other_unit": said[4]}
            cure = filled_in("settings.say_as_set", {"wanted": f"{right:.4g} {said[4]}"})
            yield said.start(), Problem("", "text-contradicts", filled_in("settings.converts_to", text), cure)


def _compiled(pattern: str, record: Protocol) -> re.Pattern[str]:
    unit = f"{re.escape(record.work.unit)}s?\\b" if record.work.kind == "cuts" else f"{re.escape(record.work.unit)}\\b"
    reading = f"{re.escape(record.reading.canonical_unit)}\\b" if record.reading.canonical_unit else r"(?!)"
    parts = {"N": _NUMBER, "L": _LIST, "U": unit, "R": reading}
    words = [parts.get(word, word) for word in re.split(r"(?<![A-Za-z])([NLUR])(?![A-Za-z])", pattern)]
    return re.compile(re.sub(r"\\? ", lambda _: r"[\s*]+", "".join(words)), re.IGNORECASE)


def _number(text: str) -> float:
    return float(_WORDS.index(text) + 1) if text in _WORDS else float(text)


def _positive(record: Protocol) -> set[float]:
    return {point for point in record.work.checkpoints if point > 0}


def _amounts(record: Protocol) -> set[float]:
    """Amounts of work that the settings name: checkpoints, and those in sentences on practice, rests and windows."""
    sentences = " ".join((*record.cautions, record.practice_run, record.stopping.text, record.work.stroke, record.people.alone))
    named = re.findall(rf"(\d+(?:\.\d+)?) (?:passes|{re.escape(record.work.unit)}s?)\b", sentences)
    ends = (value for rule in record.endpoints for value in (rule.at, rule.start, rule.end) if value is not None)
    return {*record.work.checkpoints, *map(float, named), *ends}


def _rests(record: Protocol) -> set[float]:
    named = re.findall(rf"[Rr]est[^.]{{0,20}} after every (\d+(?:\.\d+)?) {re.escape(record.work.unit)}", " ".join(record.cautions))
    return set(map(float, named))


def _thresholds(record: Protocol) -> set[float]:
    return {rule.threshold.value for rule in record.endpoints if rule.threshold is not None and not rule.threshold.relative}


def _force_limit(record: Protocol) -> set[float]:
    return set() if record.work.force_limit_n is None else {record.work.force_limit_n}


def _readable(record: Protocol) -> set[float]:
    """Readings that the settings name, where they name a threshold."""
    rule = record.reading
    ends = {value for value in (rule.scale_end, rule.plausible_low, rule.plausible_high) if value is not None}
    return _thresholds(record) and _thresholds(record) | _force_limit(record) | ends


def _starts(record: Protocol) -> set[float]:
    return {record.early_checkpoint, *(rule.start for rule in record.endpoints if rule.start is not None)}


def _ends(record: Protocol) -> set[float]:
    return {record.late_checkpoint, *(rule.end for rule in record.endpoints if rule.end is not None)}


def _levels(record: Protocol) -> set[float]:
    return {rule.at for rule in record.endpoints if rule.at is not None}


def _parts(name: str) -> Figures:
    return lambda record: set() if record.minutes.parts is None else {getattr(record.minutes.parts, name)}


CLAIMS = (
    Claim("after N U \\(early\\)", "/early_checkpoint", lambda r: {r.early_checkpoint}),
    Claim("after N U \\(late\\)", "/late_checkpoint", lambda r: {r.late_checkpoint}),
    Claim("sharpness after N U", "/endpoints", _levels),
    Claim("from N to \\d+(?:\\.\\d+)? U", "/endpoints", _starts),
    Claim("from \\d+(?:\\.\\d+)? to N U", "/endpoints", _ends),
    Claim("read after L U", "/work/checkpoints", _positive, whole=True),
    Claim("last checkpoint(?:, | of | is |: )N U", "/work/checkpoints", lambda r: {r.work.checkpoints[-1]}),
    Claim("checkpoint N ×", "/work/checkpoints", lambda r: {r.work.checkpoints[-1]}),
    Claim("(?:where|instead of) N (?:was meant|\\|)", "/work/checkpoints", lambda r: set(r.work.checkpoints)),
    Claim("rest [^.]{0,25}after every N U", "/cautions", _rests),
    Claim("(?:after|until|stop at|stops at|ends at) N U", "/work/checkpoints", _amounts),
    Claim("practice run \\(N U", "/practice_run", _amounts),
    Claim("for N U", "/work/checkpoints", _amounts),
    Claim("(?:reading|it|that|which) needs N R", "/endpoints", _thresholds),
    Claim("readings? (?:past|above|over|below) N R", "/endpoints", _thresholds),
    Claim("threshold (?:of |is )N R", "/endpoints", _thresholds),
    Claim("(?:past|above|reaches|passes) N R", "/endpoints", _readable),
    Claim("never exceeds N R", "/reading/scale_end", lambda r: set() if r.reading.scale_end is None else {r.reading.scale_end}),
    Claim(
        "(?:force limit of|more force than|needs? more than|(?:push|cut) with more than) N \\x4e\\b", "/work/force_limit_n", _force_limit
    ),
    Claim("N (?:successive readings|readings in a row)", "/stopping/readings_below", lambda r: {float(r.stopping.readings_below)}),
    Claim("worth(?:while)?[^|.×\\n]{0,60}×N", "/endpoints", lambda r: {rule.worthwhile_ratio for rule in r.endpoints}),
    Claim("worthwhile ratio (?:is|of) N", "/endpoints", lambda r: {rule.worthwhile_ratio for rule in r.endpoints}),
    Claim("standard deviation of N on the ln", "/endpoints", lambda r: {rule.assumed_repeatability.ln_sd for rule in r.endpoints}),
    Claim("counted as N degrees of freedom", "/endpoints", lambda r: {rule.assumed_repeatability.prior_df for rule in r.endpoints}),
    Claim("(?:at least|no fewer than|fewer than) N runs", "/design/least_runs", lambda r: {float(r.design.least_runs)}),
    Claim("N runs and the practice run", "/design/least_runs", lambda r: {float(r.design.least_runs)}),
    Claim("minutes for N runs", "/design/least_runs", lambda r: {float(r.design.least_runs)}),
    Claim("for N runs, [^.]{0,60}minutes", "/design/least_runs", lambda r: {float(r.design.least_runs)}),
    Claim("N minutes a run to the last checkpoint", "/minutes/one_run", lambda r: {float(r.minutes.one_run)}),
    Claim("N minutes for a run", "/minutes/one_run", lambda r: {float(r.minutes.one_run)}),
    Claim("N minutes for (?:\\d+|[a-z]+) runs", "/minutes/whole", lambda r: {float(r.minutes.whole)}),
    Claim("runs, [^.]{0,40}practice run N minutes", "/minutes/whole", lambda r: {float(r.minutes.whole)}),
    Claim("N for sharpening", "/minutes/parts/sharpening", _parts("sharpening")),
    Claim("practice run take N minutes", "/minutes/parts/once", _parts("once")),
    Claim("N readings × ", "/work/checkpoints", lambda r: {float(len(r.work.checkpoints))}),
    Claim("readings × N = ", "/reading/repeats", lambda r: {float(r.reading.repeats)}),
    Claim("(?:take|all) N (?:values|slices|slips)", "/reading/repeats", lambda r: {float(r.reading.repeats)}),
    Claim("N (?:values|slices|slips) make one reading", "/reading/repeats", lambda r: {float(r.reading.repeats)}),
    Claim("N mm (?:stretch|heel half|tip half|of the half|of edge)", "/work/edge_stretch_mm", lambda r: {r.work.edge_stretch_mm}),
)
"""Every form of sentence that is understood."""
