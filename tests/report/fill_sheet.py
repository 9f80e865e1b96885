"""Fill in the sheet of the worked example as a person would, line by line, with readings that nobody took.

Edges of tern begin sharper and lose less than those of wren; runs, pairs of halves and evenings have their luck. Every draw is keyed
by name, so that the sheet is the same on every machine.
"""

from __future__ import annotations

import csv
import io
import json
import math

from edgehold.endpoints.draws import key_of, normal_draws

START_GF = {"tern": 105.0, "wren": 130.0}
GROWTH = {"tern": 0.43, "wren": 0.46}  # of ln force per ln(1 + work/2.5)
MINUTES = {"tern": 7, "wren": 6}
DULL_GF = 5 / 0.00980665
RUN_SD, PAIR_SD, GROWTH_SD, EVENING_SD, READING_SD = 0.12, 0.1, 0.03, 0.05, 0.05
ONCE = {
    "Old edge": ["apex flattened"],
    "Abrasives as printed": ["coarse", "fine"],
    "Angle": ["20"],
    "The angle is": ["per side"],
    "Angle known by": ["guide"],
    "Burr taken off": ["strokes side about"],
    "Strop": ["none"],
    "Lot": ["oar.coil-1"],
    "Instrument": ["oar.scale"],
    "Reading unit": ["gf"],
}


def filled(sheet: str, plan_json: str) -> str:
    """The drawn sheet filled in.

    Parameters
    ----------
    sheet : the CSV that ``edgehold plan --sheets`` wrote.
    plan_json : the plan: whoever codes the edges knows it, and so does whoever makes up readings.
    """
    plan, rows = json.loads(plan_json), list(csv.reader(io.StringIO(sheet, newline="")))
    for label, value in {"Month": plan["month"], "Sent in by": "fid", "File name": "fid-rope-evenings"}.items():
        _write(rows, 0, label, [value])
    _write(rows, 0, "Note", ["Simulated for the worked example: no blade was ever cut with."])
    _people(rows)
    blade = _find(rows, 0, "Blades") + 2
    rows[blade] = [*rows[blade][:2], "", "", "", "plain", "straight", "", "0.5"]
    for run in plan["runs"]:
        _run(rows, run)
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    return out.getvalue()


def _find(rows: list[list[str]], start: int, label: str) -> int:
    return next(i for i in range(start, len(rows)) if rows[i] and label in (rows[i][0], rows[i][0].partition(" (")[0]))


def _write(rows: list[list[str]], start: int, label: str, cells: list[str]) -> None:
    row = rows[_find(rows, start, label)]
    row[1 : 1 + len(cells)] = cells


def _people(rows: list[list[str]]) -> None:
    place = _find(rows, 0, "People") + 2
    while len(rows[place]) > 1 and rows[place][1]:
        rows[place] = [*rows[place][:2], "yes", {"tern": "practised", "wren": "novice"}.get(rows[place][1], "")]
        place += 1


def _run(rows: list[list[str]], run: dict) -> None:
    start, name, evening = _find(rows, 0, f"Run {run['order']}"), run["sharpener"], run["evening"]
    luck = normal_draws(key_of("worked example", f"run {run['order']}"), 1, 40)[0]
    weather = normal_draws(key_of("worked example", f"evening {evening}"), 1, 1)[0, 0]
    shared = normal_draws(key_of("worked example", f"pair {(run['order'] + 1) // 2}"), 1, 1)[0, 0]
    for label, cells in ONCE.items():
        _write(rows, start, label, cells)
    _write(rows, start, "Sharpening took", [str(MINUTES[name] + round(luck[0]))])
    _write(rows, start, "Temperature", [str(17 + evening)])
    _write(rows, start, "Humidity", [str(58 + 4 * evening)])
    begin = math.log(START_GF[name]) + EVENING_SD * weather + PAIR_SD * shared + RUN_SD * luck[1]
    growth = GROWTH[name] + GROWTH_SD * luck[2]
    _write(rows, start, "Ended", [_readings(rows, start, begin, growth, luck[3:])])
    other = {"tern": "wren", "wren": "tern"}[name]
    _write(rows, start, "Guess: whose edge", [name if luck[39] > 0.2 else other])
    _write(rows, start, "How sure", [str(10 * round(6 + luck[38]))])


def _readings(rows: list[list[str]], start: int, begin: float, growth: float, luck) -> str:
    """Write the readings until two in a row are dull; how the run ended."""
    dull = 0
    for number, work in enumerate((0, 5, 10, 20, 40)):
        mean = begin + growth * math.log1p(work / 2.5)
        read = [round(math.exp(mean + READING_SD * luck[2 * number + i])) for i in range(2)]
        _write(rows, start, str(work), [str(value) for value in read])
        dull = dull + 1 if sum(read) / 2 > DULL_GF else 0
        if dull == 2:
            return "dull"
    return "last checkpoint"
