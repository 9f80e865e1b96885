"""Two steels along the whole course of work, as published."""

from __future__ import annotations

import numpy as np

from aggregator.pooling.curve_contrast import Band, CurveContrast
from aggregator.pooling.curve_pairs import CurvePair

from .analysis import BandPoint, CurveComparison
from .numbers import published, ratio
from .sentences import amount, plural

SCOPE = "How far one submission differs from the next is not in these bands; see the pooled comparisons for that."


def curve_comparison(pair: CurvePair, unit: str) -> CurveComparison:
    """A pair of steels with both views and a sentence.

    Parameters
    ----------
    pair : what pooling found.
    unit : of work.
    """
    found = pair.contrast
    return CurveComparison(
        first=pair.first,
        second=pair.second,
        state="not compared" if found.same_work is None else "compared",
        reason=found.reason,
        submissions=pair.submissions,
        runs_first=pair.runs_first,
        runs_second=pair.runs_second,
        same_work=_points(found.same_work, found.same_work.at if found.same_work else ()),
        same_sharpness=_points(found.same_sharpness, _sharpness(found.same_sharpness, pair.reference)),
        same_sharpness_from_start=_points(
            found.same_sharpness_from_common_start, _sharpness(found.same_sharpness_from_common_start, pair.reference)
        ),
        sentence=_sentence(pair, found, plural(unit)),
    )


def _sharpness(band: Band | None, reference: float) -> np.ndarray:
    """Levels of keenness as sharpness relative to the pool's mean at 0."""
    return np.exp(band.at - reference) if band else np.zeros(0)


def _points(band: Band | None, at) -> tuple[BandPoint, ...]:
    if band is None:
        return ()
    limits = (band.pointwise_low, band.pointwise_high, band.low, band.high)
    return tuple(
        BandPoint(at=published(float(w)), ratio=ratio(center), low=low, high=high, band_low=band_low, band_high=band_high)
        for w, center, low, high, band_low, band_high in zip(
            at, map(float, band.ln_ratio), *([ratio(float(v)) for v in limit] for limit in limits), strict=True
        )
    )


def _sentence(pair: CurvePair, found: CurveContrast, unit: str) -> str:
    if found.same_work is None:
        return f"{pair.first} and {pair.second} cannot be compared along the course of work: {found.reason}."
    parts = [course_sentence(pair.first, pair.second, found, unit)]
    if found.sharpness_reason:
        parts.append(f"At the same sharpness they cannot be compared: {found.sharpness_reason}.")
    if pair.left_out:
        parts.append(f"Too few readings are left at {' and '.join(f'{w:g}' for w in pair.left_out)} {unit} to compare them there.")
    few = [name for name, blades in ((pair.first, pair.blades_first), (pair.second, pair.blades_second)) if blades == 1]
    if few:
        parts.append(f"Only one blade of {' and of '.join(few)}: this speaks of these blades, not of the steel.")
    told = (found.same_work.low > 0).any() or (found.same_work.high < 0).any()
    return " ".join([*parts, *([SCOPE] if told else [])])


def course_sentence(first: str, second: str, found: CurveContrast, unit: str) -> str:
    """Whether one overtakes the other; else where one is sharper; else that they cannot be told apart."""
    band = found.same_work
    if found.overtakes:
        late, early = (first, second) if found.overtakes == "first" else (second, first)
        return f"{late} overtakes {early}: less sharp at first, sharper later. They change places {_places(found, unit)}."
    stretches = {name: _stretch(band, inside) for name, inside in ((first, band.low > 0), (second, band.high < 0))}
    for name, other in ((first, second), (second, first)):
        if stretches[name]:
            start, end = stretches[name]
            where = f"at {amount(start)} {unit}" if start == end else f"from {amount(start)} to {amount(end)} {unit}"
            return f"{name} is sharper than {other} {where}; nowhere is {other} sharper beyond doubt."
    return f"Nowhere between {amount(band.at[0])} and {amount(band.at[-1])} {unit} can {first} and {second} be told apart."


def _places(found: CurveContrast, unit: str) -> str:
    """Where the curves may cross."""
    band = found.same_work
    first_side, second_side = np.flatnonzero(band.low > 0), np.flatnonzero(band.high < 0)
    turn = sorted((band.at[first_side[0]], band.at[second_side[0]]))
    inside = [(a, b) for a, b in found.crossover if b >= turn[0] and a <= turn[1]]
    low, high = (inside[0][0], inside[-1][1]) if inside else turn
    return f"somewhere between {amount(low)} and {amount(high)} {unit}"


def _stretch(band: Band, inside: np.ndarray) -> tuple[float, float] | None:
    """First and last place of those inside."""
    places = band.at[inside]
    return (float(places[0]), float(places[-1])) if len(places) else None
