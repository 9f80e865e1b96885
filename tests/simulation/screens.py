"""How often the screens ask about honest files, and about six ways of inventing one.

Honest files are the simulated boatyard's, drawn anew for every seed: people who differ in skill and in how evenly they read, dials read in
eighths, numbers rounded to 0 and 5. Each file stands as new among all others of its seed. Then it is replaced by an invented one and asked
about again. Inventing is written here, from what the literature says of invented numbers, and knows nothing of the screens. Run from the
repository's root::

    PYTHONPATH=. python tests/simulation/screens.py --seeds 12

writes ``screens.md`` beside this script.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
from monte_carlo import lower_bound
from read_back import read_back

from edgehold.demo import generate
from edgehold.screens import spreads
from edgehold.screens.copies import table
from edgehold.screens.questions import Pool, about, pooled
from edgehold.screens.readings import ReadFile, ReadRun, read_files

TABLE = Path(__file__).with_name("screens.md")
SCREENS = ("copies", "repeats", "course", "digits", "evenings", "resolution", "references")
PREFERRED = np.array([0.05, 0.10, 0.12, 0.15, 0.10, 0.05, 0.12, 0.15, 0.10, 0.06])  # of last digits; 3 and 7 sought, 0 and 5 shunned
Invent = Callable[[ReadFile, list[ReadFile], np.random.Generator], ReadFile]


def copied(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """Another one's readings under a new name, one of them changed."""
    source = others[rng.integers(len(others))]
    runs = list(source.runs)
    n = int(rng.integers(len(runs)))
    value = runs[n].value.copy()
    value[rng.integers(len(value))] *= 1.1
    runs[n] = replace(runs[n], value=value)
    return replace(source, id=file.id, runs=tuple(runs))


def moved(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """Another one's readings, each run in a ratio of its own, or shifted, and rounded again."""
    source = others[rng.integers(len(others))]
    return replace(source, id=file.id, runs=tuple(_moved(run, rng) for run in source.runs))


def _moved(run: ReadRun, rng: np.random.Generator) -> ReadRun:
    if rng.random() < 0.5:
        return replace(run, value=np.maximum(run.value + run.step * rng.integers(1, 6), run.step or 1e-3))
    return _rounded(run, run.value * rng.uniform(0.85, 1.15))


def smooth(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """A curve drawn by hand and read off it, repeats one step apart at most."""
    return replace(file, runs=tuple(_rounded(run, _course(run) + run.step * rng.integers(0, 2, len(run.value))) for run in file.runs))


def too_even(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """Chance in the right places, and a third of it."""
    return replace(file, runs=tuple(_rounded(run, _course(run) * (run.value / _course(run)) ** (1 / 3)) for run in file.runs))


def by_hand(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """Right in all but the last digit, which a person thought up: no digit twice in a row."""
    runs, before = [], -1
    for run in file.runs:
        whole = np.round(run.value / run.step).astype(int) if run.step else np.zeros(0, dtype=int)
        for n in range(len(whole)):
            chances = np.where(np.arange(10) == before, 0, PREFERRED)
            before = int(rng.choice(10, p=chances / chances.sum()))
            whole[n] = whole[n] // 10 * 10 + before
        runs.append(replace(run, value=np.maximum(whole, 1) * run.step) if run.step else run)
    return replace(file, runs=tuple(runs))


def by_program(file: ReadFile, others: list[ReadFile], rng: np.random.Generator) -> ReadFile:
    """Another slope with chance of the right size, drawn by a program: nothing in the numbers tells it from an honest file."""
    return replace(file, runs=tuple(_rounded(run, run.value * (1 + run.work / run.work.max()) ** 0.3) for run in file.runs))


WAYS: dict[str, Invent] = {
    "another's file, one reading changed": copied,
    "another's file, each run shifted or in a ratio": moved,
    "read off a smooth curve": smooth,
    "a third of the chance": too_even,
    "last digits thought up": by_hand,
    "another slope, drawn by a program": by_program,
}


def _course(run: ReadRun) -> np.ndarray:
    x = np.log1p(run.work)
    return np.exp(np.polynomial.Polynomial.fit(x, np.log(run.value), min(2, len(np.unique(run.work)) - 1))(x))


def _rounded(run: ReadRun, value: np.ndarray) -> ReadRun:
    return replace(run, value=np.maximum(np.round(value / run.step), 1) * run.step if run.step else value)


def asked(pool: Pool, file: ReadFile, files: tuple[ReadFile, ...]) -> set[str]:
    """Which screens ask about one file, which stands in its pool in place of what had its id."""
    others = pool.without(file.id)
    done = Counter((run.tester, one.month) for one in (file, *(other for other in files if other.id != file.id)) for run in one.runs)
    runs = table((one.id, run) for one in (*others.files, file) for run in one.runs)
    rows = (np.array([of(file)]) for of in (spreads.of_repeats, spreads.of_course))
    repeats, course = (np.vstack([known, row]) for known, row in zip((others.repeats, others.course), rows, strict=True))
    references = np.append(others.references, file.references.mean() if len(file.references) else np.nan)
    return {one.screen for one in about(file, Pool((*others.files, file), runs, repeats, course, references), done)}


def found(seed: int) -> Iterator[tuple[str, set[str]]]:
    """What is asked about every file of one seed: honest, and invented in each way."""
    rng = np.random.default_rng([20261130, seed])
    files = read_files(read_back(generate(seed)))
    pools = pooled(files)
    for file in files:
        others = [other for other in files if other.pool == file.pool and other.id != file.id]
        yield "honest", asked(pools[file.pool], file, files)
        for way, invent in WAYS.items():
            yield way, asked(pools[file.pool], invent(file, others, rng), files)


def rows(counts: dict[str, Counter[str]]) -> Iterator[str]:
    """The table, line by line."""
    yield f"| files | {' | '.join(SCREENS)} | any | 99 % bound | of |"
    yield f"|---{'|---' * (len(SCREENS) + 3)}|"
    for way, counted in counts.items():
        of = counted["of"]
        shares = " | ".join(f"{100 * counted[screen] / of:.1f}" if counted[screen] else "0" for screen in SCREENS)
        share = counted["any"] / of
        bound = 1 - lower_bound(1 - share, of) if way == "honest" else lower_bound(share, of)
        yield f"| {way} | {shares} | {100 * share:.1f} | {100 * bound:.1f} | {of} |"


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=12)
    seeds = parser.parse_args().seeds
    counts: dict[str, Counter[str]] = {name: Counter() for name in ("honest", *WAYS)}
    for seed in range(1, seeds + 1):
        for way, screens in found(seed):
            counts[way].update({"of": 1, "any": bool(screens)} | dict.fromkeys(screens, 1))
        print(f"seed {seed}\n" + "\n".join(rows(counts)), flush=True)
    TABLE.write_text(HEAD.format(seeds=seeds) + "\n".join(rows(counts)) + "\n" + FOOT, encoding="utf-8")


HEAD = """# How often the screens ask

Made by `screens.py`, {seeds} seeds of the simulated boatyard. Per cent of files about which each screen asks, and any of them; each file
stands as new among all others of its seed. Wanted of honest files: 1 % a screen at most, 3 % together (the bound is the upper one
there, and the lower one of power below).

"""
FOOT = """
- A file drawn by a program with chance of the right size is told from an honest one by nothing in its numbers; what stands against it
  is evidence that is hard to invent.
- Readings in steps as coarse as their chance, and files of few values, hide what the screens look for.
"""


if __name__ == "__main__":
    main()
