"""Two steels, or two levels, along the whole course of work, as published."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from edgehold.numerics.arrays import Array, Bools
from edgehold.pooling.curves.contrast import Band, CurveContrast
from edgehold.pooling.curves.pairs import CurvePair
from edgehold.pooling.spread_priors import STEEL
from edgehold.records.units import plural
from edgehold.results.model.analyses import BandPoint, CurveComparison
from edgehold.results.model.numbers import needed, published, ratio
from edgehold.results.model.results import Crossover
from edgehold.results.words.sentences import amount
from edgehold.words import Reason

from .fields import CURVES_OF, one_of
from .reasons import reasoned


def curve_comparison(pair: CurvePair, unit: str) -> CurveComparison:
    """A pair with both views and a sentence.

    Parameters
    ----------
    pair : what pooling found.
    unit : of work.
    """
    found, band = pair.contrast, pair.contrast.same_work
    return CurveComparison(
        factor=one_of(pair.factor, CURVES_OF),
        first=pair.first,
        second=pair.second,
        state="not compared" if band is None else "compared",
        **reasoned(found.reason),
        submissions=pair.submissions,
        runs_first=pair.runs_first,
        runs_second=pair.runs_second,
        same_work=() if band is None else _points(band, band.at),
        same_sharpness=_by_sharpness(found.same_sharpness, pair.reference),
        same_sharpness_from_start=_by_sharpness(found.same_sharpness_from_common_start, pair.reference),
        sentence=_sentence(pair, found, plural(unit)),
    )


def crossovers(pairs: Iterable[CurvePair], unit: str) -> tuple[Crossover, ...]:
    """Pairs of which one is sharper early and the other later, by the band that holds at all places at once.

    Parameters
    ----------
    pairs : what pooling found, of one pool.
    unit : of work.
    """
    return tuple(_crossover(one, plural(unit)) for one in pairs if one.contrast.overtakes and not _single_blades(one))


def _crossover(pair: CurvePair, unit: str) -> Crossover:
    band = needed(pair.contrast.same_work)
    ahead, behind = _overtaking(pair.first, pair.second, pair.contrast)
    sharper = _sharper(pair.first, pair.second, band, pair.read_at)
    early, late = (_places(sharper[name]) for name in (behind, ahead))
    sentence = Reason("studies_answer.crossover", keener=behind, longer=ahead, early=early, late=late, unit=unit)
    return Crossover(first=behind, second=ahead, sentence=sentence)


def _sharper(first: str, second: str, band: Band, read_at: Sequence[float]) -> dict[str, list[tuple[float, float]]]:
    """Stretches of work where each of two steels is sharper than the other by the simultaneous band."""
    return {first: _stretches(band, band.low > 0, read_at), second: _stretches(band, band.high < 0, read_at)}


def _overtaking(first: str, second: str, found: CurveContrast) -> tuple[str, str]:
    """The steel that overtakes, and the other."""
    return (first, second) if found.overtakes == "first" else (second, first)


def _by_sharpness(band: Band | None, reference: float) -> tuple[BandPoint, ...]:
    """A band over levels of keenness, told as sharpness relative to the pool's mean at 0."""
    return () if band is None else _points(band, np.exp(band.at - reference))


def _points(band: Band, at: Array) -> tuple[BandPoint, ...]:
    limits = (band.pointwise_low, band.pointwise_high, band.low, band.high)
    return tuple(
        BandPoint(at=needed(published(float(w))), ratio=needed(ratio(center)), low=low, high=high, band_low=band_low, band_high=band_high)
        for w, center, low, high, band_low, band_high in zip(
            at, map(float, band.ln_ratio), *([ratio(float(v)) for v in limit] for limit in limits), strict=True
        )
    )


def _sentence(pair: CurvePair, found: CurveContrast, unit: str) -> str:
    if found.same_work is None:
        return Reason("curve_pairs.not_compared", first=pair.first, second=pair.second, reason=found.reason)
    few = _single_blades(pair)
    parts = [_too_few_blades(few) if few else course_sentence(pair.first, pair.second, found, unit, pair.read_at)]
    if found.sharpness_reason:
        parts.append(Reason("curve_pairs.not_at_same_sharpness", sharpness_reason=found.sharpness_reason))
    if pair.left_out:
        parts.append(Reason("curve_pairs.too_few_left", names=" and ".join(f"{w:g}" for w in pair.left_out), unit=unit))
    return " ".join(parts)


def _single_blades(pair: CurvePair) -> list[str]:
    """Steels of the pair with one blade: the curve is that blade's; a level needs no blade of its own."""
    blades = {pair.first: pair.blades_first, pair.second: pair.blades_second}
    return [name for name, count in blades.items() if count == 1] if pair.factor == STEEL else []


def _too_few_blades(steels: list[str]) -> str:
    return Reason(f"curve_pairs.one_blade_of_{'one' if len(steels) == 1 else 'each'}", first=steels[0], second=steels[-1])


def course_sentence(first: str, second: str, found: CurveContrast, unit: str, read_at: Sequence[float] = ()) -> str:
    """Where one is sharper than the other, and whether one overtakes the other, by the simultaneous band; else that it does not say."""
    band = needed(found.same_work)
    sharper = _sharper(first, second, band, read_at)
    met = sorted((name for name in sharper if sharper[name]), key=lambda name: sharper[name][0])
    if not met:
        return Reason("curve_pairs.not_apart", start=amount(band.at[0]), end=amount(band.at[-1]), unit=unit, first=first, second=second)
    if found.overtakes:
        ahead, behind = _overtaking(first, second, found)
        return Reason(
            "curve_pairs.overtakes",
            ahead=ahead,
            behind=behind,
            early=_places(sharper[behind]),
            late=_places(sharper[ahead]),
            unit=unit,
        )
    beside = {first: second, second: first}
    name, *rest = met
    told = Reason("curve_pairs.sharper_than", name=name, other=beside[name], places=_places(sharper[name]), unit=unit)
    return told + "".join(f", and {one} than {beside[one]} {_places(sharper[one])} {unit}" for one in rest) + "."


def _places(stretches: list[tuple[float, float]]) -> str:
    return " and ".join(f"at {amount(a)}" if a == b else f"from {amount(a)} to {amount(b)}" for a, b in stretches)


def _stretches(band: Band, inside: Bools, read_at: Sequence[float]) -> list[tuple[float, float]]:
    """First and last place of every unbroken stretch inside: the checkpoints in it, and where it holds none its own ends."""
    edges, found = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]))), []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        places = band.at[a:b]
        met = places[np.isin(places, read_at)]
        named = met if len(met) else places
        found.append((float(named[0]), float(named[-1])))
    return found
