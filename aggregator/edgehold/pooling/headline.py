"""The headline: the one answer that is published for every pair of steels, of levels and for practice, from all runs of an endpoint.

What may be said is decided from the labels alone (``separability``); the arithmetic is in ``hierarchical``. With one blade of a
steel the answer speaks of blades, with one sharpener of a class of sharpeners, with one table (a submission) at a level of tables.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from numpy.typing import ArrayLike

from edgehold.numerics.arrays import Array, Bools, Ints, Labels, Texts
from edgehold.numerics.attempt import NotFitted, attempt
from edgehold.numerics.estimability import RANK_TOLERANCE, estimable, prepare
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.indicators import indicator
from edgehold.numerics.interval import Interval
from edgehold.numerics.known_spreads import Fitted, GivenSpreads, generalised_least_squares
from edgehold.numerics.second_stage import SecondStage
from edgehold.words import Reason

from .answer import BLADES, CLASSES, LEVELS, SHARPENERS, STEELS, TABLES, Answer, Compared, Estimated, NotEstimable
from .crossed.inputs import RESIDUAL
from .crossed.runs_design import LEVEL, NOVICE, OWN, PRACTICE, PRACTISED, FixedPart, Runs, checked_runs, fixed_part, too_many_levels
from .hierarchical import ContrastPosterior, HierarchicalFit, NoPosterior, Posterior, SpreadPosterior, hierarchical, no_posterior
from .inputs import frozen
from .left_out import LARGEST, Hanging, Whose, all_numbers, hanging
from .partitions import TermOfRuns, holding, terms_of
from .posterior_verdict import posterior_verdict
from .separability import EVERYTHING, OF_LEVELS, OF_STEELS, SPLIT, Separability, separability
from .spread_priors import DEFAULT_PRIORS, IN_FAMILY, STEEL, scaled
from .steel_spread import steel_spread

RENEWED = {  # what somebody new draws anew for each of the two that are compared
    STEEL: ("blade", "batch", *OF_STEELS),
    PRACTICE: ("sharpener",),
    LEVEL: OF_LEVELS,
}
RUNS = 2  # runs on each that "as you would measure it" assumes
DIRECT, LINKED, BOTH, REFERENCE = "direct", "linked", "both", "reference"
SAMPLED = 1000  # runs of one endpoint up to which points of the posterior are drawn; above, it is taken as normal about its mode
MOST_OPEN = 1 / 3  # share of the runs compared known from one side only, from which it is said
Signs = npt.NDArray[np.int8]
"""(n,) on which side of a comparison a run stands: 1, −1, or 0 on none."""
OF_ANSWERS = (STEEL, LEVEL)  # what separability must be asked of for every answer
OF_SPREADS = (*OF_ANSWERS, SPLIT)  # and for how much people differ
SCALES = (0.5, 2.0)  # what the priors' scales are multiplied by, to see what hangs on them


@dataclass(frozen=True, eq=False)
class Linked:
    """Steels, or levels, of which every two are compared.

    Attributes
    ----------
    names : (a,) in their order.
    contrasts : (a − 1, p) c with cᵀb the difference of each but the first to the first.
    apart : those met that are compared with none of them.
    """

    names: tuple[str, ...]
    contrasts: Array
    apart: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _OfRuns:
    """What stands in a headline whether there is a posterior or not.

    Attributes
    ----------
    runs, one_sided : runs in it, and those of them known to one side only.
    left_out : steels left out because every run of theirs is known to one side only, with the number of runs.
    fixed : effects beside the constant.
    not_held : fixed effects asked for and not estimable, with their reasons.
    terms : random terms, those merged that these runs cannot tell apart.
    in_residual : terms that are part of the run-to-run spread, every run having a level of its own.
    single : terms with one level only.
    apart : what the runs can tell apart, judged from the labels; None where that could not be judged.
    pairs : every pair of known steels.
    practice : practised against novice sharpeners; None where only one class is met.
    levels : every pair of levels of the treatment.
    levels_left_out : levels left out for the same reason as steels.
    hanging : by what is compared, what hangs on whose results, or why its numbers failed; empty where nothing is estimated, nobody asked
        whose they are, or there are too many runs.
    """

    runs: int
    one_sided: int
    left_out: Mapping[str, int]
    fixed: tuple[str, ...]
    not_held: Mapping[str, str]
    terms: Mapping[str, TermOfRuns]
    in_residual: tuple[str, ...]
    single: tuple[str, ...]
    apart: Separability | None
    pairs: tuple[Answer, ...]
    practice: Answer | None
    levels: tuple[Answer, ...]
    levels_left_out: Mapping[str, int]
    hanging: Mapping[Compared, Hanging] | NotFitted

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Every comparison: steels, practice, levels."""
        return (*self.pairs, *([self.practice] if self.practice else []), *self.levels)

    def pair(self, first: str, second: str) -> Answer:
        """The answer on two steels.

        Raises
        ------
        KeyError
            If there is no such pair.
        """
        for one in self.pairs:
            if (one.first, one.second) == (first, second):
                return one
        raise KeyError((first, second))


@dataclass(frozen=True, eq=False)
class HeadlineFitted(_OfRuns):
    """What all runs of one endpoint say.

    Attributes
    ----------
    fit : posterior with fixed steels.
    steels : posterior of how much the steels met differ; None with fewer than two that are linked.
    own : edges sharpened by the tester against others; None where not estimable.
    linked, linked_levels : the largest group of known steels, and of levels, of which every two are compared, for what is asked of many at
        once.
    prior_in_family : of the spread between steels of one family.
    """

    fit: Posterior
    steels: SecondStage | None
    own: ContrastPosterior | None
    linked: Linked
    linked_levels: Linked
    prior_in_family: HalfT

    @property
    def spreads(self) -> dict[str, SpreadPosterior]:
        """Posterior of every spread by the name of its term, the steels being fixed."""
        return {name: self.fit.spread(name) for name in self.fit.names}


@dataclass(frozen=True, eq=False)
class HeadlineNotFitted(_OfRuns):
    """Runs of one endpoint that say nothing; no pair has an estimate.

    Attributes
    ----------
    fit : why there is no posterior.
    """

    fit: NoPosterior


Headline = HeadlineFitted | HeadlineNotFitted


def why_none(found: Headline) -> str:
    """Why there is no posterior; empty where there is one."""
    return found.fit.reason if isinstance(found, HeadlineNotFitted) else ""


def headline(
    low: ArrayLike,
    high: ArrayLike,
    labels: Mapping[str, Labels],
    *,
    worthwhile: float,
    priors: Mapping[str, HalfT] | None = None,
    level: float = 0.95,
    sensitivity: bool = False,
) -> Headline:
    """Answer every comparison of one endpoint from all its runs.

    Parameters
    ----------
    low, high : (n,) the endpoint lies between them, ln scale; equal where exact, ±infinity where open, never both at once.
    labels : by factor, one label a run; see ``runs_design.checked_runs``.
    worthwhile : smallest ratio worth acting on.
    priors : by term; ``spread_priors.DEFAULT_PRIORS`` for what is not given.
    level : of intervals.
    sensitivity : whether intervals with halved and doubled scales are wanted.

    Returns
    -------
    Headline

    Raises
    ------
    InputError
        As ``runs_design.checked_runs``.
    """
    runs = checked_runs(low, high, labels)
    return headline_of(runs, worthwhile, dict(DEFAULT_PRIORS) | dict(priors or {}), level=level, sensitivity=sensitivity)


def headline_of(
    runs: Runs,
    worthwhile: float,
    priors: Mapping[str, HalfT],
    *,
    level: float = 0.95,
    sensitivity: bool = False,
    whose: Whose | None = None,
    judged: Collection[str] = EVERYTHING,
) -> Headline:
    """``headline`` for runs already checked; with ``whose``, what hangs on whose results is told, too; ``judged`` as for ``questions``."""
    asked = questions(runs, worthwhile, priors, level, judged=judged)
    if not isinstance(asked, Questions):
        return asked
    fit = asked.fitted(normal=len(asked.model.runs.low) > SAMPLED)
    if isinstance(fit, NoPosterior):
        return asked.answered(fit, {}, whose)
    return asked.answered(fit, {factor: fit.with_priors(scaled(fit.priors, factor)) for factor in SCALES if sensitivity}, whose)


@dataclass(frozen=True, eq=False)
class ModelOfRuns:
    """What a model of runs is made of, whatever it is asked: fixed part, random terms, and what these runs hide.

    Attributes
    ----------
    fixed : the fixed part.
    terms : random terms, those merged that these runs cannot tell apart.
    residual : prior of the run-to-run spread.
    in_residual, single : terms that are part of it, and terms with one level.
    estimable : whether values tell a contrast of the coefficients, beside the labels; for values that stand elsewhere.
    joined : (n,) which runs were read on a rig that read a reference edge, too; None where there is none.
    """

    fixed: FixedPart
    terms: Mapping[str, TermOfRuns]
    residual: HalfT
    in_residual: tuple[str, ...]
    single: tuple[str, ...]
    estimable: Callable[[Array], bool] = lambda c: True
    joined: Bools | None = None

    def chosen(self, rows: Bools | Ints, estimable: Callable[[Array], bool]) -> ModelOfRuns:
        """The same model, asked about what some of the runs came to."""
        fixed = replace(self.fixed, X=frozen(self.fixed.X[rows]), full=frozen(self.fixed.full[rows]))
        terms = {name: term.chosen(rows) for name, term in self.terms.items()}
        joined = None if self.joined is None else frozen(self.joined[rows])
        return replace(self, fixed=fixed, terms=terms, estimable=estimable, joined=joined)


def model_of_runs(runs: Runs, priors: Mapping[str, HalfT], apart: Collection[str] = ()) -> ModelOfRuns:
    """The model of some runs, from their labels alone; terms named in ``apart`` are never merged with others."""
    return ModelOfRuns(fixed_part(runs, practice=True), *terms_of(runs, priors, apart))


@dataclass(frozen=True, eq=False)
class Questions:
    """Everything that is asked of the runs of one endpoint, before a posterior is there.

    Attributes
    ----------
    lost : steels and levels left out because every run of theirs is known to one side only.
    prior, prior_in_family : of the spread between steels, and between those of one family.
    """

    model: _Model
    plans: tuple[_Plan, ...]
    lost: _Lost
    prior: HalfT
    prior_in_family: HalfT

    @property
    def contrasts(self) -> Array:
        """(C, p) contrasts of coefficients."""
        found = [plan.c for plan in self.plans if plan.c is not None and plan.target is None]
        return np.array(found) if found else np.zeros((0, self.model.parts.fixed.X.shape[1]))

    @property
    def targets(self) -> Array:
        """(T, q + p) sums of effects and coefficients, where something is about single blades or sharpeners."""
        found = [plan.target for plan in self.plans if plan.target is not None]
        levels = sum(one.levels for one in self.model.parts.terms.values())
        return np.array(found) if found else np.zeros((0, levels + self.model.parts.fixed.X.shape[1]))

    def fitted(self, normal: bool = False) -> HierarchicalFit:
        """Posterior from the runs' own values.

        Parameters
        ----------
        normal : as for ``hierarchical``.
        """
        runs, parts = self.model.runs, self.model.parts
        return hierarchical(
            runs.low,
            parts.fixed.X,
            {name: term.labels for name, term in parts.terms.items()},
            {name: term.prior for name, term in parts.terms.items()} | {RESIDUAL: parts.residual},
            high=runs.high,
            level=self.model.level,
            contrasts=self.contrasts,
            targets=self.targets if len(self.targets) else None,
            normal=normal,
        )

    def answered(
        self, fit: HierarchicalFit, beside: Mapping[float, HierarchicalFit], whose: Whose | None = None, only: Compared | None = None
    ) -> Headline:
        """Every answer.

        Parameters
        ----------
        fit : posterior of what ``contrasts`` and ``targets`` ask for.
        beside : posteriors with the scales of all priors multiplied.
        whose : where submissions come from; None where nobody asks what hangs on whose.
        only : the one comparison that is wanted; nothing else is then answered, nor how much steels differ.
        """
        model, runs, parts = self.model, self.model.runs, self.model.parts
        wanted = [plan for plan in self.plans if only in (None, plan.compared)]
        whole = model.with_spreads_of(fit) if isinstance(fit, Posterior) else None
        found = [*(model.answer(plan, fit, beside, whole) for plan in wanted), *self.lost.answers()]
        of_runs = _OfRuns(
            runs=len(runs.low),
            one_sided=int(runs.one_sided.sum()),
            left_out=self.lost.steels,
            fixed=parts.fixed.effects,
            not_held=parts.fixed.not_held,
            terms=parts.terms,
            in_residual=parts.in_residual,
            single=parts.single,
            apart=model.apart,
            pairs=tuple(a for a in found if a.factor == STEEL),
            practice=next((a for a in found if a.factor == PRACTICE), None),
            levels=tuple(a for a in found if a.factor == LEVEL),
            levels_left_out=self.lost.levels,
            hanging={} if whose is None or isinstance(fit, NoPosterior) else self._hanging(fit, whose),
        )
        if isinstance(fit, NoPosterior):
            return HeadlineNotFitted(**vars(of_runs), fit=fit)
        own = model.contrast({OWN: 1.0}) if OWN in parts.fixed.effects else None
        return HeadlineFitted(
            **vars(of_runs),
            fit=fit,
            steels=model.steel_spread(fit, self.prior) if only is None else None,
            own=None if own is None else fit.contrast(own),
            linked=self._linked(STEEL, runs.steels),
            linked_levels=self._linked(LEVEL, runs.levels),
            prior_in_family=self.prior_in_family,
        )

    def _hanging(self, fit: Posterior, whose: Whose) -> Mapping[Compared, Hanging] | NotFitted:
        """What hangs on whose results, of what is estimable, where the runs are not too many."""
        runs = self.model.runs
        known = np.isfinite(runs.low) & np.isfinite(runs.high)
        if not 0 < known.sum() <= LARGEST:
            return {}
        own, values = runs.submission[known], (runs.low[known] + runs.high[known]) / 2
        sender, month = (np.array([of.get(one, one) for one in own]) for of in (whose.senders, whose.months))
        asked = {plan.compared: plan.c for plan in self.plans if plan.c is not None}

        def worked_out() -> Mapping[Compared, Hanging] | NotFitted:
            return hanging(self.model.given_spreads(fit, known, values), asked, sender, month)

        return attempt(worked_out, lambda why: why, lambda found: [] if isinstance(found, NotFitted) else all_numbers(found.values()))

    def _linked(self, factor: str, names: Sequence[str]) -> Linked:
        """The largest group whose pairs are all estimable, the first of equals."""
        told = {(plan.first, plan.second): plan.c for plan in self.plans if plan.factor == factor and plan.c is not None}
        groups: list[list[str]] = []
        for name in names:
            group = next((one for one in groups if all((met, name) in told for met in one)), None)
            groups.append([name]) if group is None else group.append(name)
        group = max(groups, key=len, default=[])
        contrasts = [-told[(group[0], other)] for other in group[1:]]
        width = self.model.parts.fixed.X.shape[1]
        return Linked(tuple(group), np.array(contrasts).reshape(-1, width), tuple(name for name in names if name not in group))


def questions(
    runs: Runs,
    worthwhile: float,
    priors: Mapping[str, HalfT],
    level: float = 0.95,
    parts: ModelOfRuns | None = None,
    judged: Collection[str] = EVERYTHING,
) -> Questions | HeadlineNotFitted:
    """What can be asked of the runs of one endpoint; the headline itself where nothing can.

    Parameters
    ----------
    runs, worthwhile, priors, level : as for ``headline``.
    parts : of the runs, where they stand in a model with others; else their own.
    judged : of what ``separability`` is asked; ``OF_ANSWERS`` are enough for every answer, and ``"split"`` for what people differ by.
    """
    kept, lost = _with_values(runs)
    if not kept.any():
        return _unfitted(Reason("headline.no_bounded_run"), runs.chosen(kept), lost)
    own = runs.chosen(kept)
    if reason := too_many_levels(own):
        return _unfitted(reason, own, lost)
    parts = model_of_runs(own, priors) if parts is None else parts.chosen(kept, parts.estimable)
    model = _Model(own, parts, separability(_judged(own, parts.fixed), of=judged), worthwhile, level)
    plans = _numbered([*model.steel_plans(), *model.practice_plan(), *model.level_plans()])
    return Questions(model, tuple(plans), lost, priors[STEEL], priors[IN_FAMILY])


@dataclass(frozen=True)
class _Lost:
    """What is left out because every run of it is known to one side only, with the number of runs, among all that were met."""

    steels: Mapping[str, int]
    levels: Mapping[str, int]
    all_steels: tuple[str, ...]
    all_levels: tuple[str, ...]

    def answers(self) -> list[NotEstimable]:
        """Pairs with a side that is left out."""
        return [*self._pairs(STEEL, self.steels, self.all_steels), *self._pairs(LEVEL, self.levels, self.all_levels)]

    @staticmethod
    def _pairs(factor: str, lost: Mapping[str, int], names: tuple[str, ...]) -> list[NotEstimable]:
        found = []
        for first, second in combinations(names, 2):
            whys = [Reason(f"headline.one_sided_{factor}", **{factor: name}) for name in (first, second) if name in lost]
            if whys:
                found.append(_left_out(factor, first, second, whys[0] if len(whys) == 1 else "; ".join(whys)))
        return found


def _with_values(runs: Runs) -> tuple[Bools, _Lost]:
    """Which runs are not of a level or a steel of which no run is bounded on both sides, and those levels and steels."""
    text = runs.level_text
    levels = {} if text is None else _one_sided(text, np.ones(len(text), dtype=bool), runs)
    kept = np.ones(len(runs.low), dtype=bool) if text is None else ~np.isin(text, list(levels))
    steels = _one_sided(runs.steel, kept, runs)
    return kept & ~np.isin(runs.steel, list(steels)), _Lost(steels, levels, runs.steels, runs.levels)


def _one_sided(labels: Texts, kept: Bools, runs: Runs) -> dict[str, int]:
    """Labels of which no kept run is bounded on both sides, with how many runs they have."""
    bounded = ~runs.one_sided
    found = {str(label): kept & (labels == label) for label in np.unique(labels[kept])}
    return {label: int(mine.sum()) for label, mine in found.items() if not bounded[mine].any()}


def _judged(runs: Runs, fixed: FixedPart) -> dict[str, Labels]:
    labels: dict[str, Labels] = {"steel": runs.steel, "version": runs.version, **runs.groups()}
    labels |= {} if runs.level_text is None else {LEVEL: runs.level_text}
    return labels | ({OWN: runs.own} if OWN in fixed.effects else {})


def unanswered(reason: str, runs: Runs) -> HeadlineNotFitted:
    """No answer, and no word on what the runs can tell apart, because numbers failed."""
    return _unfitted(reason, runs, _Lost({}, {}, runs.steels, runs.levels))


def _unfitted(reason: str, runs: Runs, lost: _Lost) -> HeadlineNotFitted:
    steels, levels = (
        tuple(_left_out(factor, a, b, reason) for a, b in combinations(names, 2))
        for factor, names in ((STEEL, lost.all_steels), (LEVEL, lost.all_levels))
    )
    return HeadlineNotFitted(
        runs=len(runs.low),
        one_sided=int(runs.one_sided.sum()),
        left_out=lost.steels,
        fixed=(),
        not_held={},
        terms={},
        in_residual=(),
        single=(),
        apart=None,
        pairs=steels,
        practice=None,
        levels=levels,
        levels_left_out=lost.levels,
        hanging={},
        fit=no_posterior(reason, {}),
    )


def _left_out(factor: str, first: str, second: str, reason: str) -> NotEstimable:
    return NotEstimable(factor, first, second, STEELS if factor == STEEL else LEVELS, 0, 0, reason)


@dataclass(frozen=True, eq=False)
class _Plan:
    """One comparison before the fit: its coefficients, and its weights on effects where it is about single blades or sharpeners."""

    factor: str
    first: str
    second: str
    reason: str
    weak: str
    about: str
    units: tuple[int, int]
    c: Array | None
    target: Array | None
    arms: Signs
    place: int | None = None
    by_reference: bool = False

    @property
    def compared(self) -> Compared:
        """What is compared."""
        return self.factor, self.first, self.second


def _signs(labels: Texts, first: str, second: str) -> Signs:
    """On which side every run stands."""
    found: Signs = (labels == first).astype(np.int8) - (labels == second).astype(np.int8)
    return found


def _numbered(plans: list[_Plan]) -> list[_Plan]:
    """Plans with the number of their target among those of the fit."""
    with_target = [plan for plan in plans if plan.target is not None]
    return [replace(plan, place=with_target.index(plan)) if plan.target is not None else plan for plan in plans]


@dataclass(frozen=True, eq=False)
class _Model:
    """The runs of one endpoint with all that does not depend on their values."""

    runs: Runs
    parts: ModelOfRuns
    apart: Separability
    worthwhile: float
    level: float

    # ---- what is asked ----

    def contrast(self, weights: Mapping[str, float]) -> Array | None:
        """(p,) weights of named columns; None where these runs cannot tell the sum."""
        c = self.parts.fixed.contrast(weights)
        return c if c is not None and self.parts.estimable(c) else None

    def steel_contrast(self, first: str, second: str) -> Array | None:
        """(p,) c with cᵀb the difference of two steels; None where these runs cannot tell it."""
        return self.contrast({f"steel {first}": 1.0, f"steel {second}": -1.0})

    def steel_plans(self) -> list[_Plan]:
        """Every pair of known steels."""
        blades = {steel: np.unique(self.runs.blade[self.runs.steel == steel]) for steel in self.runs.steels}
        return [self._steel_plan(first, second, blades) for first, second in combinations(self.runs.steels, 2)]

    def _steel_plan(self, first: str, second: str, blades: Mapping[str, Texts]) -> _Plan:
        units = (len(blades[first]), len(blades[second]))
        about = BLADES if min(units) == 1 else STEELS
        told, reason = self.apart.contrasts["steel"].linked(first, second)
        by_reference = told == "no" and self._through_references(first, second)
        if by_reference:
            told, reason = "weak", Reason("separability.through_reference")
        c = self.steel_contrast(first, second) if told != "no" else None
        arms = _signs(self.runs.steel, first, second)
        sides = (blades[first], blades[second])
        target = self._target(("blade", "batch"), c, self.runs.blade, sides, arms) if c is not None and about == BLADES else None
        lacking = (reason or Reason("headline.not_read")) if c is None else ""
        return _Plan(
            STEEL, first, second, lacking, reason if c is not None else "", about, units, c, target, arms, by_reference=by_reference
        )

    def _through_references(self, first: str, second: str) -> bool:
        """Whether runs that reference edges stand beside are linked with either steel."""
        if self.parts.joined is None:
            return False
        beside = set(np.unique(self.runs.steel[self.parts.joined]).tolist())
        groups = self.apart.contrasts["steel"].groups
        return all(beside & set(next(group for group in groups if one in group)) for one in (first, second))

    def practice_plan(self) -> list[_Plan]:
        """Practised against novice sharpeners, where both are met."""
        classes = self.runs.practice
        people = [np.unique(self.runs.sharpener[classes == name]) for name in (PRACTISED, NOVICE)]
        units = (len(people[0]), len(people[1]))
        if min(units) == 0:
            return []
        about = SHARPENERS if min(units) == 1 else CLASSES
        c = self.contrast({f"{PRACTICE} {PRACTISED}": 1.0, f"{PRACTICE} {NOVICE}": -1.0})
        reason = "" if c is not None and self._practice_beside_testers() else Reason("headline.classes_never_met")
        arms = _signs(classes, PRACTISED, NOVICE)
        target = None
        if c is not None and not reason and about == SHARPENERS:
            target = self._target(("sharpener",), c, self.runs.sharpener, people, arms)
        return [_Plan(PRACTICE, PRACTISED, NOVICE, reason, "", about, units, None if reason else c, target, arms)]

    def level_plans(self) -> list[_Plan]:
        """Every pair of levels of the treatment that is compared."""
        text = self.runs.level_text
        return [] if text is None else [self._level_plan(text, first, second) for first, second in combinations(self.runs.levels, 2)]

    def _level_plan(self, text: Texts, first: str, second: str) -> _Plan:
        arms = _signs(text, first, second)
        tables = [np.unique(self.runs.submission[arms == sign]) for sign in (1, -1)]
        units = (len(tables[0]), len(tables[1]))
        about = TABLES if min(units) == 1 else LEVELS
        told, reason = self.apart.contrasts[LEVEL].linked(first, second)
        c = self.contrast({f"{LEVEL} {first}": 1.0, f"{LEVEL} {second}": -1.0}) if told != "no" else None
        lacking = (reason or Reason("headline.not_read")) if c is None else ""
        target = None
        if c is not None and about == TABLES:
            target = self._target(("level × submission",), c, self.runs.submission, tables, arms)
        return _Plan(LEVEL, first, second, lacking, reason if c is not None else "", about, units, c, target, arms)

    def _practice_beside_testers(self) -> bool:
        """Whether the classes' difference is estimable with every tester as fixed: by what differs from the mean of its tester's runs."""
        full, names = self.parts.fixed.full, self.parts.fixed.names
        _, tester = np.unique(self.runs.tester, return_inverse=True)
        within = full - (indicator(tester).T @ full / np.bincount(tester)[:, None])[tester]
        met = (within**2).sum(axis=0) > RANK_TOLERANCE * (full**2).sum(axis=0)
        c = np.zeros(full.shape[1])
        for name, weight in ((f"{PRACTICE} {PRACTISED}", 1.0), (f"{PRACTICE} {NOVICE}", -1.0)):
            if name in names:
                c[names.index(name)] = weight
        return not c[~met].any() and bool(estimable(prepare(within[:, met]), c[met]))

    def _target(self, parts: tuple[str, ...], c: Array, own: Texts, sides: Sequence[Texts], arms: Signs) -> Array:
        """(q + p,) weights: the coefficients, and the mean effect of either side's blades with their batches (sharpeners, tables).

        ``own`` is which of them a run is of, ``arms`` on which side a run stands.
        """
        weights = [np.zeros(one.levels) for one in self.parts.terms.values()]
        for term in {one.name: one for part in parts if (one := holding(self.parts.terms, part)) is not None}.values():
            place = list(self.parts.terms).index(term.name)
            for side, sign in zip(sides, (1.0, -1.0), strict=True):
                for unit in side:
                    mine = np.unique(term.labels[(own == unit) & (arms == sign)])
                    weights[place][np.searchsorted(term.names, mine)] += sign / len(side) / len(mine)
        return np.concatenate([*weights, c])

    def steel_spread(self, fit: Posterior, prior: HalfT) -> SecondStage | None:
        """How much the steels linked with the first one differ; None where there are none."""
        first, *others = np.unique(self.runs.steel).tolist()
        contrasts = [self.steel_contrast(other, first) for other in others]
        linked = [c for c in contrasts if c is not None]
        return steel_spread(fit, np.array(linked), prior) if linked else None

    # ---- answers ----

    def answer(self, plan: _Plan, fit: HierarchicalFit, beside: Mapping[float, HierarchicalFit], whole: _WithSpreads | None) -> Answer:
        """What the posterior says of one comparison; ``whole`` are all runs with its spreads, where there are any."""
        if isinstance(fit, NoPosterior):
            return NotEstimable(*plan.compared, plan.about, *plan.units, plan.reason or fit.reason)
        if plan.c is None or whole is None:
            return NotEstimable(*plan.compared, plan.about, *plan.units, plan.reason)
        general = fit.contrast(plan.c)
        posterior = general if plan.place is None else fit.target(plan.place)
        renewed = 2 * sum((fit.variance(name) for name in self._renewed(plan.factor)), np.zeros(len(fit.weights)))
        evidence, share = (REFERENCE, 0.0) if plan.by_reference else self._direct(plan.arms, plan.c, whole)
        about_all = plan.about in (STEELS, CLASSES, LEVELS)
        return Estimated(
            *plan.compared,
            plan.about,
            *plan.units,
            weak=plan.weak or self._mostly_open(plan.arms),
            posterior=posterior,
            verdict=posterior_verdict(posterior, self.worthwhile) if about_all else None,
            general=general,
            new_hands=fit.contrast(plan.c, renewed),
            new_hands_measured=fit.contrast(plan.c, renewed + 2 / RUNS * fit.variance(RESIDUAL)),
            halved=self._beside(plan.c, plan.place, beside.get(SCALES[0])),
            doubled=self._beside(plan.c, plan.place, beside.get(SCALES[1])),
            evidence=evidence,
            direct_share=share,
        )

    def _mostly_open(self, arms: Signs) -> str:
        """That many of the runs compared are known from one side only; empty where few are."""
        compared = arms != 0
        open_ended = int(self.runs.one_sided[compared].sum())
        runs = int(compared.sum())
        return Reason("separability.mostly_open", open=open_ended, runs=runs) if open_ended > MOST_OPEN * runs else ""

    def _beside(self, c: Array, place: int | None, fit: HierarchicalFit | None) -> Interval | None:
        if not isinstance(fit, Posterior):
            return None
        return (fit.contrast(c) if place is None else fit.target(place)).interval

    def _renewed(self, factor: str) -> list[str]:
        """Terms of which somebody new draws a level for each side."""
        return [name for name, term in self.parts.terms.items() if set(term.parts) & set(RENEWED[factor])]

    def _direct(self, arms: Signs, c: Array, whole: _WithSpreads) -> tuple[str, float]:
        """Where the evidence comes from, and the share of information in submissions that hold both sides."""
        tables, many = self.submissions
        held = np.logical_and(*(np.bincount(tables[arms == sign], minlength=many) > 0 for sign in (1, -1)))
        both = held[tables]
        if not both.any():
            return LINKED, 0.0
        everything = whole.fitted.difference(c)
        alone = generalised_least_squares(whole.runs.chosen(both & (arms != 0))).difference(c)
        share = 0.0 if alone is None or everything is None else min(1.0, everything[1] / alone[1])
        return (DIRECT if share > 1 - 1e-9 else BOTH), share

    @cached_property
    def submissions(self) -> tuple[Ints, int]:
        """(n,) number of each run's submission, and how many there are."""
        names, numbers = np.unique(self.runs.submission, return_inverse=True)
        return numbers, len(names)

    def with_spreads_of(self, fit: Posterior) -> _WithSpreads:
        """All runs with the spreads of a posterior."""
        n = len(self.runs.low)
        return _WithSpreads(self.given_spreads(fit, np.ones(n, dtype=bool), np.zeros(n)))  # a variance does not depend on values

    def given_spreads(self, fit: Posterior, rows: Bools, values: Array) -> GivenSpreads:
        """Some of the runs with (rows,) values, the spreads at the root mean square of their posterior."""
        variances = fit.weights @ fit.sds**2
        count = int(rows.sum())
        blocks = [sp.csr_matrix((count, 0))]
        for name, term in self.parts.terms.items():
            codes = np.unique(term.labels[rows], return_inverse=True)[1]
            blocks.append(indicator(codes, float(np.sqrt(variances[fit.names.index(name)]))))
        noise = np.full(count, variances[fit.names.index(RESIDUAL)])
        return GivenSpreads(values, self.parts.fixed.X[rows], sp.hstack(blocks, format="csr"), noise)


@dataclass(frozen=True, eq=False)
class _WithSpreads:
    """All runs with known spreads, for the variances of contrasts."""

    runs: GivenSpreads

    @cached_property
    def fitted(self) -> Fitted:
        """Of all runs."""
        return generalised_least_squares(self.runs)
