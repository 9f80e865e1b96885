"""What probes ask of rows: the value of a moderator for every row of one endpoint, None where it is not known, and labels of runs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from edgehold.endpoints.flags import flagged
from edgehold.endpoints.rows import EXACT, EndpointRow
from edgehold.words import Reason

Column = Callable[[Sequence[EndpointRow]], Sequence[float | str | None]]
Label = Callable[[EndpointRow], object]


def place_in_evening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """How many runs the same tester had made before in the same evening."""
    evenings = _orders(rows)
    places = {key: sorted(orders) for key, orders in evenings.items()}
    return [None if row.evening is None else float(places[evening_of_tester(row)].index(row.order)) for row in rows]


def last_not_first(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 for a tester's last run of an evening, 0 for the first; None for those between, and where there was only one."""
    evenings = {key: (min(orders), max(orders)) for key, orders in _orders(rows).items()}
    return [None if row.evening is None else _end(row.order, *evenings[evening_of_tester(row)]) for row in rows]


def _end(order: int, first: int, last: int) -> float | None:
    return None if first == last or order not in (first, last) else float(order == last)


def _orders(rows: Sequence[EndpointRow]) -> dict[object, list[int]]:
    evenings: dict[object, list[int]] = {}
    for row in rows:
        evenings.setdefault(evening_of_tester(row), []).append(row.order)
    return evenings


def second_in_turn(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 for the edge of a pair cut in turn that came second at every turn, 0 for the one that began; None for edges cut alone."""
    pairs: dict[object, list[int]] = {}
    for row in rows:
        pairs.setdefault(pair_of(row), []).append(row.order)
    return [float(row.order > min(pairs[pair_of(row)])) if row.pair is not None and len(pairs[pair_of(row)]) == 2 else None for row in rows]


def later_evening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 after the first evening of a submission, 0 on it."""
    first: dict[str, int] = {}
    for row in rows:
        if row.evening is not None:
            first[row.submission] = min(row.evening, first.get(row.submission, row.evening))
    return [None if row.evening is None else float(row.evening > first[row.submission]) for row in rows]


def own_sharpening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester had sharpened the edge."""
    return [float(row.own_sharpening) for row in rows]


def edge_angle(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Degrees per side."""
    return [row.angle_deg for row in rows]


def finish(rows: Sequence[EndpointRow]) -> list[float | None]:
    """ln of the particle size of the last abrasive in micrometres."""
    return [None if row.finish_um is None else math.log(row.finish_um) for row in rows]


def hardness(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Rockwell C."""
    return [row.hrc for row in rows]


def start_keenness(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Keenness before the first cut, as read."""
    return [row.start for row in rows]


def coil_position(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Metres into the coil; None where it is not known which."""
    return [None if lot_of(row) is None else row.coil_position_m for row in rows]


def humidity(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Per cent."""
    return [row.humidity_percent for row in rows]


def known_own(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester had sharpened the edge and knew it."""
    return [None if row.blinded is None else float(row.own_sharpening and not row.blinded) for row in rows]


def not_blinded(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester knew whose edge it was."""
    return [None if row.blinded is None else float(not row.blinded) for row in rows]


def doubtful_own(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester had sharpened the edge and the seal did not hold; None where no seal was made."""
    return [None if row.seal_held is None else float(row.own_sharpening and not row.seal_held) for row in rows]


def doubtful_seal(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the seal of the plan was broken or late."""
    return [None if row.seal_held is None else float(not row.seal_held) for row in rows]


def guessed_right(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where a blind tester named the right sharpener or blade, 0 where a wrong one; of two guesses both must be right."""
    return [float(_right(row)) if row.blinded and _guessed(row) else None for row in rows]


def interest(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester owns, made or sells the blade."""
    return [None if row.interest is None else float(row.interest) for row in rows]


def relative_to_absolute(rows: Sequence[EndpointRow]) -> list[float | None]:
    """ln of the life relative to the edge's own start over the life to a fixed sharpness."""
    return [row.relative_life - row.low if row.relative_life is not None and row.status == EXACT else None for row in rows]


def lot(rows: Sequence[EndpointRow]) -> list[str | None]:
    """Which lot the run was cut on, from beginning to end."""
    return [lot_of(row) for row in rows]


def luck_of_guesses(rows: Sequence[EndpointRow]) -> str:
    """How many guesses were right and how many luck would have got right; empty without guesses.

    By luck one in so many as there were sharpeners (blades) among the edges that this tester cut in this submission, at least two.
    """
    told = [row for row in rows if row.blinded and _guessed(row)]
    edges: dict[object, list[EndpointRow]] = {}
    for row in rows:
        edges.setdefault(hands_of(row), []).append(row)
    luck = sum(_luck(row, edges[hands_of(row)]) for row in told)
    return Reason("probes.guesses", right=sum(map(_right, told)), guesses=len(told), luck=luck) if told else ""


def _luck(row: EndpointRow, among: list[EndpointRow]) -> float:
    sharpeners = len({one.sharpener for one in among}) if row.guessed_sharpener else 0
    blades = len({one.blade for one in among}) if row.guessed_blade else 0
    return 1 / max(2, sharpeners, blades)


def _guessed(row: EndpointRow) -> bool:
    return row.guessed_sharpener is not None or row.guessed_blade is not None


def _right(row: EndpointRow) -> bool:
    return row.guessed_sharpener in (None, row.sharpener) and row.guessed_blade in (None, row.blade)


def evening_of_tester(row: EndpointRow) -> object:
    """Label of one tester's runs of one evening."""
    return row.submission, row.evening, row.tester


def pair_of(row: EndpointRow) -> object:
    """Label of two runs that were cut in turn."""
    return row.submission, row.pair


def hands_of(row: EndpointRow) -> object:
    """Label of what one tester cut in one submission."""
    return row.submission, row.tester


def cell_of(row: EndpointRow) -> object:
    """Label of runs of one steel in one submission by one sharpener and one tester."""
    return row.submission, row.steel or row.blade, row.sharpener, row.tester


def both_hands_of(row: EndpointRow) -> object:
    """Label of what one sharpener prepared for one tester in one submission."""
    return row.submission, row.sharpener, row.tester


def sharpener_of(row: EndpointRow) -> object:
    """Label of one sharpener's edges."""
    return row.sharpener


def tester_of(row: EndpointRow) -> object:
    """Label of one tester's runs."""
    return row.tester


def submission_of(row: EndpointRow) -> object:
    """Label of a submission's runs."""
    return row.submission


def steel_of(row: EndpointRow) -> object:
    """Label of a steel's runs; a blade of unknown steel is one of its own."""
    return row.steel or row.blade


def lot_of(row: EndpointRow) -> str | None:
    """The lot; None where it is not known or changed in the middle of the run."""
    return None if flagged(row.flags, "lot_changed") else row.lot
