"""How much evidence that is linked with nobody's may move an answer.

What linked evidence says stands by itself. Evidence that is not linked yet counts beside it with a power a of its likelihood (a power
prior; Ibrahim & Chen 2000, Stat. Sci. 15:46-60), the largest for which all of it together

- moves the answer by no more than ``MOVE`` of the half-width that the linked evidence has alone, and
- tells no more than the linked evidence does.

Both posteriors are taken as normal about their medians for that. Linked: median c, precision P (from the half-width). All evidence:
median c + D, precision P + Q. With the power a the answer lies at c + D·a(P + Q)/(P + aQ) and has precision P + aQ, so that the first
bound is reached at a = cap·P/(|D|(P + Q) − cap·Q), cap being ``MOVE`` half-widths, and the second at a = P/Q. Where the two agree, a is 1
and the posterior of all evidence is published as it is.

A verdict rests on linked evidence alone: no number of invented files can make one, or take one away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from edgehold.numerics.interval import Interval
from edgehold.numerics.normal_mixture import NormalMixture

from .answer import SINGLE, Answer, Estimated
from .hierarchical import ContrastPosterior
from .posterior_verdict import DIFFER, UNDECIDED, PosteriorVerdict, posterior_verdict

MOVE = 0.2  # of the half-width that linked evidence has alone
LEAST_SENDERS = 2  # linked, before there is a verdict


@dataclass(frozen=True, eq=False)
class Bounded:
    """A posterior within the bounds.

    Attributes
    ----------
    posterior : what is published.
    power : a, with which the evidence that is not linked counts: 1 in full, 0 not at all.
    """

    posterior: ContrastPosterior
    power: float


@dataclass(frozen=True, eq=False)
class Weighed:
    """What stands behind one answer.

    Attributes
    ----------
    linked : posterior of the linked evidence alone; None where it cannot answer.
    everything : of all evidence, nothing bounded; None where there is no answer.
    power : as in ``Bounded``; None where nothing was bounded, all evidence being linked or none of it.
    senders, linked_senders : people whose files hold either side.
    files, linked_files : their files.
    """

    linked: ContrastPosterior | None
    everything: ContrastPosterior | None
    power: float | None
    senders: int
    linked_senders: int
    files: int
    linked_files: int


def bounded(linked: ContrastPosterior, everything: ContrastPosterior) -> Bounded:
    """The posterior of all evidence, as far as evidence that is not linked may move that of the linked.

    Parameters
    ----------
    linked, everything : of one contrast, at one level.

    Examples
    --------
    Linked evidence says 0 ± 0.2, all evidence 0.3 ± 0.15. The answer moves by a fifth of 0.2, and its limits are hardly nearer.

    >>> import numpy as np
    >>> from edgehold.numerics.interval import Interval
    >>> from edgehold.numerics.normal_mixture import NormalMixture
    >>> from edgehold.pooling.bounded import bounded
    >>> from edgehold.pooling.hierarchical import ContrastPosterior
    >>> def normal(mean, half):
    ...     mixture = NormalMixture(np.ones(1), np.array([mean]), np.array([(half / 1.959964) ** 2]))
    ...     return ContrastPosterior(mean, half / 1.959964, Interval(mean - half, mean + half, 0.95, "posterior"), 0.0, mixture)
    >>> found = bounded(normal(0.0, 0.2), normal(0.3, 0.15))
    >>> round(found.posterior.quantile(0.5), 3), round(found.posterior.interval.high, 3), round(found.power, 3)
    (0.04, 0.234, 0.08)
    """
    middle, moved = linked.quantile(0.5), everything.quantile(0.5) - linked.quantile(0.5)
    half, all_half = linked.interval.half_width, everything.interval.half_width
    if half == 0 or all_half == 0:
        return Bounded(linked, 0.0)
    told = half**-2
    further = max(0.0, all_half**-2 - told)
    power, cap = 1.0, MOVE * half
    if abs(moved) > cap:
        power = cap * told / (abs(moved) * (told + further) - cap * further)
    if power * further > told:
        power = told / further
    if power == 1.0 and further > 0:
        return Bounded(everything, power)
    precision = told + power * further
    return Bounded(_about(linked, middle, moved * power * (told + further) / precision, (told / precision) ** 0.5), power)


def _about(posterior: ContrastPosterior, middle: float, shift: float, scale: float) -> ContrastPosterior:
    """A posterior drawn together about its median and shifted."""

    def moved(x: float) -> float:
        return middle + shift + scale * (x - middle)

    old = posterior.mixture
    mixture = NormalMixture(old.weights, middle + shift + scale * (old.means - middle), scale**2 * old.variances)
    ends = Interval(moved(posterior.interval.low), moved(posterior.interval.high), posterior.interval.level, posterior.interval.method)
    return ContrastPosterior(moved(posterior.mean), scale * posterior.sd, ends, scale * posterior.error, mixture)


def bounded_answer(linked: Answer | None, everything: Answer, linked_senders: int, worthwhile: float) -> tuple[Answer, float | None]:
    """The answer that is published where some evidence is not linked, and the power with which that counts.

    Parameters
    ----------
    linked : the answer of linked evidence alone; None where it has not met both.
    everything : of all evidence.
    linked_senders : whose linked files hold either side.
    worthwhile : smallest ratio worth acting on.

    Notes
    -----
    Where linked evidence speaks of single blades (sharpeners, tables) and all evidence does not, its posterior for the steels (classes,
    levels) themselves is what bounds; a verdict needs ``LEAST_SENDERS`` linked senders and more than single blades among what is linked.
    """
    if not isinstance(everything, Estimated):
        return everything, None
    if not isinstance(linked, Estimated):
        return without_verdict(everything), None
    alone = of_the_same(linked, everything)
    found = bounded(alone, everything.posterior)
    single = everything.about in SINGLE
    verdict = None if single else _verdict(linked, found.posterior, linked_senders, worthwhile)
    if verdict is not None and verdict.kind == DIFFER and found.posterior.interval.low <= 0 <= found.posterior.interval.high:
        found = Bounded(alone, 0.0)  # its limits would gainsay the verdict
        verdict = posterior_verdict(alone, worthwhile)
    answer = replace(
        everything,
        posterior=found.posterior,
        verdict=verdict,
        general=bounded(linked.general, everything.general).posterior if single else found.posterior,
        new_hands=bounded(linked.new_hands, everything.new_hands).posterior,
        new_hands_measured=bounded(linked.new_hands_measured, everything.new_hands_measured).posterior,
    )
    return (answer if found.power == 1.0 else _scales(answer, linked, alone, found)), found.power


def of_the_same(linked: Estimated, everything: Answer) -> ContrastPosterior:
    """What linked evidence says of what all evidence speaks of."""
    return linked.posterior if linked.about == everything.about else linked.general


def _scales(answer: Estimated, linked: Estimated, alone: ContrastPosterior, found: Bounded) -> Estimated:
    """The linked intervals with other scales of priors, shifted as the answer is."""
    shift = found.posterior.quantile(0.5) - alone.quantile(0.5)
    return replace(answer, halved=_shifted(linked.halved, shift), doubled=_shifted(linked.doubled, shift))


def _shifted(interval: Interval | None, shift: float) -> Interval | None:
    return None if interval is None else Interval(interval.low + shift, interval.high + shift, interval.level, interval.method)


def _verdict(linked: Estimated, published: ContrastPosterior, linked_senders: int, worthwhile: float) -> PosteriorVerdict:
    """The probabilities of what is published, and the verdict of linked evidence alone."""
    said = posterior_verdict(published, worthwhile)
    alone = linked.verdict
    return replace(said, kind=UNDECIDED if alone is None or linked_senders < LEAST_SENDERS else alone.kind)


def without_verdict(answer: Answer) -> Answer:
    """An answer that too few linked senders stand behind: the probabilities alone."""
    if not isinstance(answer, Estimated) or answer.verdict is None:
        return answer
    return replace(answer, verdict=replace(answer.verdict, kind=UNDECIDED))
