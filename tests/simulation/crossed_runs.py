"""Runs for the study of the crossed model: who sharpened and tested what, the true effects, and what was read.

A submission holds one blade each of one or two of three steels, one or two preparations of each blade, and the same number
of runs on every preparation (a cell). A share of all cells is sharpened by its tester, the others by somebody else.
Everything is on the ln scale.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

STEELS = ("demo-first", "demo-second", "demo-third")
MEANS = np.array([0.0, 0.3, 0.1])
OWN_SHARPENING = 0.03  # what expectation adds to an edge that the tester sharpened
# Standard deviations of this study: a person by a fifth to a quarter, a run by 0.3, all else about 0.1.
SDS = {
    "sharpener": 0.20, "tester": 0.25, "blade": 0.12, "submission": 0.10,
    "steel × sharpener": 0.10, "steel × tester": 0.10, "residual": 0.30,
}  # fmt: skip


@dataclass(frozen=True)
class Design:
    """One row of the study.

    Attributes
    ----------
    submissions, people : how many there are; people take turns as tester, so fewer people test more than once.
    runs : runs a cell.
    own : share of cells that the tester sharpened.
    blades : blades of each steel that go round among all; 0 where every submission has its own.
    steels, preparations : steels of a submission, and preparations of each of its blades.
    neighbours : True where edges are exchanged within pairs of people only, False where anybody may sharpen for anybody.
    zero : random terms whose true variance is 0.
    censored : expected share of runs that outlast the last checkpoint.
    """

    submissions: int
    runs: int
    own: float
    people: int = 0
    blades: int = 0
    steels: int = 2
    preparations: int = 2
    neighbours: bool = False
    zero: tuple[str, ...] = ()
    censored: float = 0.0

    def sd(self, term: str) -> float:
        """True standard deviation of a random term."""
        return 0.0 if term in self.zero else SDS[term]


@dataclass(frozen=True, eq=False)
class Drawn:
    """One simulated set of runs.

    Attributes
    ----------
    low, high : (n,) limits of what is known.
    labels : by factor, one a run.
    new_hands : (3,) what the steels would come to on the average of endless runs in one new pair of hands, new blades included.
    """

    low: np.ndarray
    high: np.ndarray
    labels: dict[str, np.ndarray]
    new_hands: np.ndarray


def draw(design: Design, seed: int) -> Drawn:
    """A set of runs, the same for the same design and seed."""
    numbers = (design.submissions, design.people, design.runs, design.blades, round(100 * design.own), round(100 * design.censored))
    generator = np.random.default_rng([seed, *numbers])
    labels = draw_labels(design, generator)
    mean = MEANS[np.searchsorted(STEELS, labels["steel"])] + OWN_SHARPENING * (labels["sharpener"] == labels["tester"])
    y = mean + sum(_effects(design.sd(term), levels, generator) for term, levels in groups(labels).items())
    y = y + design.sd("residual") * generator.standard_normal(len(y))
    end = last_checkpoint(design)
    new = sum(design.sd(term) * generator.standard_normal(3) for term in ("blade", "steel × sharpener", "steel × tester"))
    return Drawn(np.minimum(y, end), np.where(y > end, math.inf, y), labels, MEANS + new)


def draw_labels(design: Design, generator: np.random.Generator) -> dict[str, np.ndarray]:
    """Steel, blade, sharpener, tester and submission of every run."""
    people = design.people or design.submissions
    cells = []
    for submission, steel in itertools.product(range(design.submissions), range(design.steels)):
        which = (submission + steel) % 3
        blade = f"shared.{which}-{generator.integers(design.blades)}" if design.blades else f"{submission}.{which}"
        cells += [(STEELS[which], blade, submission % people, submission)] * design.preparations
    foreign = generator.choice(len(cells), round((1 - design.own) * len(cells)), replace=False)
    sharpener = np.array([cell[2] for cell in cells])
    if design.neighbours:
        sharpener[foreign] = (sharpener[foreign] ^ 1) % people
    else:
        sharpener[foreign] = (sharpener[foreign] + generator.integers(1, people, len(foreign))) % people
    steel, blade, tester, submission = (np.repeat(np.array(column), design.runs) for column in zip(*cells, strict=True))
    named = {"sharpener": np.repeat(sharpener, design.runs), "tester": tester}
    named = {role: np.char.add("person-", people.astype(str)) for role, people in named.items()}
    return {"steel": steel, "blade": blade, **named, "submission": np.char.add("submission-", submission.astype(str))}


def groups(labels: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Labels of every true random term but the residual."""
    found = {term: labels[term] for term in ("sharpener", "tester", "blade", "submission")}
    for term, person in (("steel × sharpener", "sharpener"), ("steel × tester", "tester")):
        found[term] = np.char.add(np.char.add(labels["steel"], " by "), labels[person])
    return found


def held_variance(design: Design, labels: dict[str, np.ndarray], term: str, held: tuple[str, ...]) -> float:
    """True variance of a term together with the terms not in the model that group the runs exactly as it does."""
    columns = groups(labels)
    if term not in columns:
        return design.sd(term) ** 2
    mine = _codes(columns[term])
    same = [other for other in columns if other not in held and other != term and np.array_equal(_codes(columns[other]), mine)]
    return sum(design.sd(one) ** 2 for one in (term, *same))


def last_checkpoint(design: Design) -> float:
    """Where the stated share of all runs would go on; the steels are equally frequent."""
    if design.censored == 0:
        return math.inf
    spread = math.sqrt(sum(design.sd(term) ** 2 for term in SDS))
    means = MEANS + OWN_SHARPENING * design.own
    return brentq(lambda end: norm.sf(end, means, spread).mean() - design.censored, -10, 10)


def _effects(sd: float, levels: np.ndarray, generator: np.random.Generator) -> np.ndarray:
    codes = _codes(levels)
    return sd * generator.standard_normal(codes.max() + 1)[codes]


def _codes(levels: np.ndarray) -> np.ndarray:
    """Numbers of the levels in the order in which they appear."""
    _, first, codes = np.unique(levels, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[codes]
