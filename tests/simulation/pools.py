"""Pools for the study of the published headline: who sharpened and tested what, the true effects, what was read, and the ideal analysis.

A pool is what all files about one endpoint hold together, on the ln scale. Nothing here is taken from the program that is measured, nor
from the demonstration's generator, nor from those of the other studies. ``draw`` makes a pool, ``ideal`` analyses it with all true
standard deviations known.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import norm

STEELS = ("demo-1", "demo-2", "demo-3", "demo-4", "demo-5")
PRACTICE = ("practised", "novice")
# Standard deviations where a design does not say otherwise: people by a sixth to a fifth, a blade by a tenth, a run by 0.3.
SDS: Mapping[str, float] = {
    "sharpener": 0.20, "tester": 0.15, "blade": 0.10, "batch": 0.0, "lot": 0.0, "evening": 0.0, "submission": 0.08,
    "steel × sharpener": 0.07, "steel × tester": 0.07, "run": 0.30,
}  # fmt: skip
TERMS = tuple(term for term in SDS if term != "run")
SELF, ONE, EXCHANGED = "self", "one", "exchanged"  # each tester sharpens, one person sharpens all, anybody sharpens half of the arms
WHOLE, LIMITS, LAST_READING = "whole", "limits", "last reading"  # how runs end
DULL, STOPPED, LASTS = -0.30, 0.7, 0.55  # below the first a run is stopped in this share of cases; above the last it outlasts the test
OVERSHOOT = 0.10  # SD of how far a stopped run's last reading, always the keener one, lies above its value
COLUMNS = {"steel": "steel", "practice": "sharpening"}  # the label that tells a factor's level
UNITS = {"steel": ("blade", "batch"), "practice": ("sharpener",)}  # what stands for a level, the unit first, and what goes with it
FILES_UNBALANCED = (7, 5, 4, 3, 3, 2, 2, 2, 1, 1, 1, 1)  # runs of each: 12 files, 32 runs
RETURNS = 3  # in a series of months every third file is by somebody met before


@dataclass(frozen=True)
class Design:
    """One kind of pool.

    Attributes
    ----------
    name : of the row; it starts the random numbers, so that rows do not share theirs.
    files, testers, runs : files, people who send them in, and runs a file.
    blades : blades of each steel that go round; 0 where every tester has blades of their own.
    sharpening : ``SELF``, ``ONE`` or ``EXCHANGED``.
    ratio : true ratio of each steel over the next; of practised over novice where ``practice``.
    sds : what differs from ``SDS``.
    steels : 2, or more in a chain: a file then holds two neighbours.
    tails : degrees of freedom of the runs' deviations, scaled to their SD; infinite: normal.
    run_sds : smallest and largest run SD, evenly spaced between testers on the ln scale; None: all alike.
    drift : what every further place in an evening adds, the order drawn at random.
    evenings : evenings of a file, told on the labels where more than one.
    lots, batches : how many, told on the labels where more than none; a lot is met by a whole evening, a batch holds blades.
    ends : ``WHOLE``, ``LIMITS`` (known limits, the lower one obeyed in some cases only) or ``LAST_READING`` (a stopped run is known to
        lie below its last reading).
    unbalanced : twelve files of one to seven runs, who tests, sharpens and cuts what drawn at random.
    practice : one steel, every tester cuts with edges of a practised and of a novice sharpener.
    months : a series in which ``RETURNS`` says who tests.
    """

    name: str
    files: int = 6
    testers: int = 6
    runs: int = 4
    blades: int = 0
    sharpening: str = SELF
    ratio: float = 1.0
    sds: Mapping[str, float] = field(default_factory=dict)
    steels: int = 2
    tails: float = math.inf
    run_sds: tuple[float, float] | None = None
    drift: float = 0.0
    evenings: int = 1
    lots: int = 0
    batches: int = 0
    ends: str = WHOLE
    unbalanced: bool = False
    practice: bool = False
    months: bool = False

    def sd(self, term: str) -> float:
        """True standard deviation of a term."""
        return {**SDS, **self.sds}[term]


@dataclass(frozen=True, eq=False)
class Pool:
    """A drawn pool.

    Attributes
    ----------
    design : what it was drawn from.
    labels : by factor, one a run.
    low, high : (n,) what is known of each run.
    value : (n,) what each run came to.
    run_sd : (n,) true SD of its deviation.
    effects : by random term, (n,) the effect of each run's level.
    means : by steel, and by class of sharpener, the true mean.
    """

    design: Design
    labels: dict[str, list]
    low: np.ndarray
    high: np.ndarray
    value: np.ndarray
    run_sd: np.ndarray
    effects: dict[str, np.ndarray]
    means: dict[str, float]

    def first(self, files: int) -> Pool:
        """The pool of its first files alone."""
        names = list(dict.fromkeys(self.labels["submission"]))[:files]
        rows = np.isin(self.labels["submission"], names)
        labels = {name: [value for value, kept in zip(column, rows, strict=True) if kept] for name, column in self.labels.items()}
        effects = {term: effect[rows] for term, effect in self.effects.items()}
        parts = (self.low[rows], self.high[rows], self.value[rows], self.run_sd[rows])
        return Pool(self.design, labels, *parts, effects, self.means)

    def truth(self, factor: str, first: str, second: str, about: str = "steels") -> float:
        """True ln ratio: of two steels or classes, or of the very blades (sharpeners) in this pool."""
        known = self.means[first] - self.means[second]
        if about in ("steels", "classes"):
            return known
        terms = [term for term in UNITS[factor] if term in self.effects]
        return known + sum(self._unit_mean(factor, first, term) - self._unit_mean(factor, second, term) for term in terms)

    def _unit_mean(self, factor: str, level: str, term: str) -> float:
        """Mean effect of the blades (sharpeners) of one level, each counting once."""
        columns = (self.labels[UNITS[factor][0]], self.labels[COLUMNS[factor]], self.effects[term])
        found = {unit: effect for unit, mine, effect in zip(*columns, strict=True) if mine == level}
        return float(np.mean(list(found.values())))


# ---- drawing -----------------------------------------------------------------------------------------------------------------


def draw(design: Design, seed: int) -> Pool:
    """A pool, the same for the same design and seed."""
    rng = np.random.default_rng([seed, zlib.crc32(design.name.encode())])
    runs = _plan(design, rng)
    labels = _labels(design, runs)
    effects = {term: _effect(design.sd(term), levels, rng) for term, levels in term_labels(labels).items()}
    means = {steel: -number * math.log(design.ratio) for number, steel in enumerate(STEELS[: design.steels])}
    if design.practice:
        means = {STEELS[0]: 0.0, PRACTICE[0]: math.log(design.ratio), PRACTICE[1]: 0.0}
    run_sd = _run_sds(design, labels["tester"])
    value = np.array([means[run["steel"]] + means.get(run["sharpening"], 0.0) + design.drift * run["place"] for run in runs])
    value = value + sum(effects.values()) + run_sd * _deviations(design.tails, len(runs), rng)
    low, high = _known(design.ends, value, rng)
    return Pool(design, labels, low, high, value, run_sd, effects, means)


def term_labels(labels: Mapping[str, list]) -> dict[str, list]:
    """Labels of every random term that the labels can tell, and of no other."""
    found = {term: labels[term] for term in TERMS if term in labels}
    if "evening" in found:
        found["evening"] = [f"{one} {evening}" for one, evening in zip(labels["submission"], labels["evening"], strict=True)]
    for person in ("sharpener", "tester"):
        found[f"steel × {person}"] = [f"{steel} {who}" for steel, who in zip(labels["steel"], labels[person], strict=True)]
    return found


def _plan(design: Design, rng: np.random.Generator) -> list[dict]:
    """Everything about each run but its value."""
    if design.practice:
        runs = _practice_plan(design)
    elif design.unbalanced:
        runs = _unbalanced_plan(design, rng)
    else:
        runs = _even_plan(design, rng)
    return _placed(design, runs, rng)


def _even_plan(design: Design, rng: np.random.Generator) -> list[dict]:
    """Every file holds two steels in equal parts; blades that go round come in turn."""
    runs = []
    for file, tester in enumerate(_testers(design, rng)):
        sharpeners = {}
        for number in range(design.runs):
            arm, turn = number % 2, number // 2
            steel = (file % (design.steels - 1)) + arm
            blade = f"{(file + turn) % design.blades}" if design.blades else f"of {tester}"
            sharpener = sharpeners.setdefault((steel, blade), _sharpener(design, tester, rng))
            runs.append(_run(file, tester, sharpener, STEELS[steel], blade))
    return runs


def _testers(design: Design, rng: np.random.Generator) -> list[int]:
    """Who sends in each file."""
    if not design.months:
        return [file % design.testers for file in range(design.files)]
    found: list[int] = []
    for month in range(1, design.files + 1):
        met = sorted(set(found))
        found.append(int(rng.choice(met)) if month % RETURNS == 0 else len(met))
    return found


def _sharpener(design: Design, tester: int, rng: np.random.Generator) -> str:
    if design.sharpening == ONE:
        return "one-for-all"
    if design.sharpening == EXCHANGED and rng.random() < 0.5:
        return f"person-{rng.integers(design.testers)}"
    return f"person-{tester}"


def _unbalanced_plan(design: Design, rng: np.random.Generator) -> list[dict]:
    """Files of unequal size; who sharpens and whose blade are drawn run by run, the steel from the third run of a file on."""
    runs = []
    for file, size in enumerate(FILES_UNBALANCED):
        tester = file if file < design.testers else int(rng.integers(design.testers))
        for number in range(size):
            steel = number if number < 2 else int(rng.integers(2))
            steel = (steel + file) % 2
            blade = f"of {tester}" if rng.random() < 0.5 else f"of {rng.integers(design.testers)}"
            runs.append(_run(file, tester, _sharpener(design, tester, rng), STEELS[steel], blade))
    return runs


def _practice_plan(design: Design) -> list[dict]:
    """One blade a tester, sharpened in turn by a practised and a novice sharpener, half as many of each class as there are testers."""
    runs, each = [], max(1, design.testers // 2)
    for file in range(design.files):
        tester = file % design.testers
        for number in range(design.runs):
            level = PRACTICE[number % 2]
            who = (tester if number % 2 == 0 else tester + tester // each) % each
            runs.append(_run(file, tester, f"{level}-{who}", STEELS[0], f"of {tester}", level))
    return runs


def _run(file: int, tester: int, sharpener: str, steel: str, blade: str, sharpening: str | None = None) -> dict:
    return {
        "submission": f"file-{file}", "tester": f"person-{tester}", "sharpener": sharpener, "steel": steel, "blade": f"{steel} {blade}",
        "sharpening": sharpening,
    }  # fmt: skip


def _placed(design: Design, runs: list[dict], rng: np.random.Generator) -> list[dict]:
    """Runs with their evening, place in it, lot and batch."""
    by_file: dict[str, list[dict]] = {}
    for run in runs:
        by_file.setdefault(run["submission"], []).append(run)
    for mine in by_file.values():
        for evening, places in enumerate(np.array_split(rng.permutation(len(mine)), design.evenings)):
            lot = int(rng.integers(design.lots)) if design.lots else 0
            for place, at in enumerate(places):
                mine[at] |= {"evening": evening, "place": place, "lot": f"lot-{lot}"}
    blades = sorted({run["blade"] for run in runs})
    batch = {blade: f"batch-{blade.split()[0]}-{number % max(1, design.batches)}" for number, blade in enumerate(blades)}
    return [run | {"batch": batch[run["blade"]]} for run in runs]


def _labels(design: Design, runs: list[dict]) -> dict[str, list]:
    told = ["steel", "blade", "sharpener", "tester", "submission"]
    optional = {"evening": design.evenings > 1, "lot": design.lots, "batch": design.batches, "sharpening": design.practice}
    told += [name for name, there in optional.items() if there]
    found = {name: [str(run[name]) for run in runs] for name in told}
    return found | {"own_sharpening": [run["sharpener"] == run["tester"] for run in runs]}


def _effect(sd: float, levels: list, rng: np.random.Generator) -> np.ndarray:
    """One draw a level, in the order in which levels appear."""
    numbers = {level: i for i, level in enumerate(dict.fromkeys(levels))}
    return sd * rng.standard_normal(len(numbers))[[numbers[level] for level in levels]]


def _run_sds(design: Design, testers: list[str]) -> np.ndarray:
    if design.run_sds is None:
        return np.full(len(testers), design.sd("run"))
    people = list(dict.fromkeys(testers))
    spaced = np.geomspace(*design.run_sds, len(people))
    return spaced[[people.index(who) for who in testers]]


def _deviations(df: float, n: int, rng: np.random.Generator) -> np.ndarray:
    return rng.standard_normal(n) if math.isinf(df) else rng.standard_t(df, n) * math.sqrt((df - 2) / df)


def _known(ends: str, value: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Limits of what is known of each run."""
    stopped = (value < DULL) & (rng.random(len(value)) < STOPPED)
    over = OVERSHOOT * np.abs(rng.standard_normal(len(value)))
    if ends == WHOLE:
        return value.copy(), value.copy()
    if ends == LAST_READING:
        return np.where(stopped, -math.inf, value), np.where(stopped, value + over, value)
    lasted = value > LASTS
    low = np.where(stopped, -math.inf, np.where(lasted, LASTS, value))
    return low, np.where(stopped, DULL, np.where(lasted, math.inf, value))


# ---- the ideal ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ideal:
    """Normal posterior of an ln ratio with every true standard deviation known."""

    estimate: float
    sd: float

    @property
    def half(self) -> float:
        """Half-width of the 95 % interval."""
        return float(norm.ppf(0.975)) * self.sd

    def above(self, x: float) -> float:
        """Probability of a value above ``x``."""
        return float(norm.sf(x, self.estimate, self.sd))


def ideal(pool: Pool, factor: str, first: str, second: str, about: str = "steels") -> Ideal:
    """Generalised least squares with the true SDs, on what the runs truly came to; for single blades or sharpeners their best prediction.

    Parameters
    ----------
    pool : its complete values are used, whatever became known of them.
    factor : ``"steel"`` or ``"practice"``.
    first, second : the difference is first minus second.
    about : ``"steels"`` or ``"classes"`` for the levels themselves, ``"blades"`` or ``"sharpeners"`` for those in this pool.
    """
    X, names = _fixed(pool.labels)
    terms = [(term, one_column_a_level(levels)) for term, levels in term_labels(pool.labels).items() if pool.design.sd(term) > 0]
    sigma = np.diag(pool.run_sd**2) + sum(pool.design.sd(term) ** 2 * Z @ Z.T for term, (Z, _) in terms)
    c = np.array([(name == (factor, first)) * 1.0 - (name == (factor, second)) * 1.0 for name in names])
    shared, own = np.zeros(len(X)), 0.0
    if about in ("blades", "sharpeners"):
        shared, own = _asked_effects(pool, terms, factor, first, second)
    solved = np.linalg.solve(sigma, np.column_stack([X, pool.value, shared]))
    information = np.linalg.pinv(X.T @ solved[:, :-2], rcond=1e-10, hermitian=True)
    b = information @ (X.T @ solved[:, -2])
    rest = c - X.T @ solved[:, -1]
    estimate = c @ b + shared @ (solved[:, -2] - solved[:, :-2] @ b)
    return Ideal(float(estimate), math.sqrt(rest @ information @ rest + own - shared @ solved[:, -1]))


def one_column_a_level(levels: list) -> tuple[np.ndarray, list]:
    """(n, q) which level a run has, and the levels."""
    names = list(dict.fromkeys(levels))
    return np.array([[float(level == name) for name in names] for level in levels]), names


def _asked_effects(pool: Pool, terms: list, factor: str, first: str, second: str) -> tuple[np.ndarray, float]:
    """Covariance of the asked difference of effects with every run's, and its own variance."""
    unit, side = pool.labels[UNITS[factor][0]], pool.labels[COLUMNS[factor]]
    shared, own = np.zeros(len(side)), 0.0
    for term, (Z, _) in terms:
        if term in UNITS[factor]:
            w = np.zeros(Z.shape[1])
            for level, sign in ((first, 1.0), (second, -1.0)):
                rows = {who: row for who, row, mine in zip(unit, Z, side, strict=True) if mine == level}
                w += sign * np.mean(list(rows.values()), axis=0)
            shared, own = shared + pool.design.sd(term) ** 2 * Z @ w, own + pool.design.sd(term) ** 2 * w @ w
    return shared, own


def _fixed(labels: Mapping[str, list]) -> tuple[np.ndarray, list]:
    """A column a steel, a column a class of sharpeners, and own sharpening where it can be told beside all people."""
    columns, names = [], []
    for factor, label in (("steel", "steel"), ("practice", "sharpening")):
        if label in labels:
            Z, levels = one_column_a_level(labels[label])
            columns.append(Z)
            names += [(factor, level) for level in levels]
    X = np.column_stack(columns)
    own = np.array(labels["own_sharpening"], dtype=float)
    people = [one_column_a_level(labels[person])[0] for person in ("sharpener", "tester")]
    beside = np.column_stack([X, *people])
    if np.linalg.matrix_rank(np.column_stack([beside, own])) > np.linalg.matrix_rank(beside):
        X, names = np.column_stack([X, own]), [*names, ("own", "")]
    return X, names
