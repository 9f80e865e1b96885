"""What blind testers guessed, and what that does to the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

from edgehold.estimates import ContrastEstimated, estimate_submissions
from edgehold.numerics.distributions import binom_sf
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.results.words.sentences import figure_sentence
from edgehold.words import Reason, listed, small, together

from .answer import OwnEstimates
from .comparison import Leading

GUESSED = {"sharpener": "hand", "level": "level"}  # what is guessed, by what is compared; else the blade
EVIDENT = 0.05  # chance of so many right guesses by luck, below which the codes are taken to have been seen through


@dataclass(frozen=True)
class Guesses:
    """Guesses of one submission.

    Attributes
    ----------
    asked : runs in which something was hidden.
    guessed, right : guesses written down, and those that were right.
    luck : share that luck alone would get right.
    chance : probability of so many right ones, or more, by luck; None without guesses.
    sure_right, sure_wrong : mean confidence in per cent, where stated.
    sentences : the whole in words.
    """

    asked: int
    guessed: int
    right: int
    luck: float | None
    chance: float | None
    sure_right: float | None
    sure_wrong: float | None
    sentences: tuple[str, ...]


def guesses(record: Submission, own: OwnEstimates, lead: Leading, protocol: Protocol) -> Guesses:
    """How often testers knew, and the comparison among the runs in which they did not.

    Luck is one in so many as there are sides; whether right guesses are more than luck is a binomial tail.

    Parameters
    ----------
    record : the submission.
    own, lead : its estimates and the leading comparison.
    protocol : for the primary endpoint.
    """
    what = GUESSED.get(lead.factor, "blade")
    told = _told(own, what)
    asked = sum(run.blinding in ("helper coded", "sealed") for run in record.runs)
    if not told:
        return Guesses(asked, 0, 0, None, None, None, None, (Reason("report.not_guessed" if asked else "report.not_hidden"),))
    right = sum(correct for correct, _ in told.values())
    luck = 1 / max(2, len(set(_truth(own, what).values()) - {None}))
    chance = float(binom_sf(right - 1, len(told), luck))
    sure = [[sure for correct, sure in told.values() if correct is side and sure is not None] for side in (True, False)]
    means = [sum(each) / len(each) if each else None for each in sure]
    counted = Reason(
        f"report.guessed_{what}",
        right=right,
        guesses=len(told),
        luck=len(told) * luck,
        chance=Reason("report.percent_under_one") if chance < 0.01 else Reason("report.percent", percent=100 * chance),
    )
    sentences = [counted, *_confidence(means), _consequence(chance, len(told), luck)]
    sentences += _where_wrong({run for run, (correct, _) in told.items() if not correct}, own, lead, protocol)
    sure_right, sure_wrong = means
    return Guesses(asked, len(told), right, luck, chance, sure_right, sure_wrong, tuple(sentences))


def _told(own: OwnEstimates, what: str) -> dict[str, tuple[bool, float | None]]:
    """By run: whether the guess was right, and how sure the tester was."""
    truth, found = _truth(own, what), {}
    for run in own.submission.record.runs:
        guess = run.tester_guess
        said = None if guess is None else {"hand": guess.sharpener, "blade": guess.blade, "level": guess.level}[what]
        if guess is not None and said is not None and truth[run.id] is not None:
            found[run.id] = (said == truth[run.id], guess.confidence_percent)
    return found


def _truth(own: OwnEstimates, what: str) -> dict[str, str | None]:
    """By run, what there was to guess."""
    made = {p.id: p for p in own.submission.record.preparations}
    if what == "level":
        return {run.id: run.level for run in own.submission.runs}
    edges = {run.id: made[run.preparation] for run in own.submission.record.runs}
    return {run: edge.sharpener if what == "hand" else edge.blade for run, edge in edges.items()}


def _confidence(means: list[float | None]) -> list[str]:
    sides = zip(means, ("right", "wrong"), strict=True)
    sure = [Reason(f"report.sure_{side}", percent=mean) for mean, side in sides if mean is not None]
    return [Reason("report.sure", sure=listed(sure))] if sure else []


def _consequence(chance: float, guessed: int, luck: float) -> str:
    return Reason(f"report.{'seen_through' if chance < EVIDENT else 'few_guesses' if luck**guessed > EVIDENT else 'codes_held'}")


def _where_wrong(wrong: set[str], own: OwnEstimates, lead: Leading, protocol: Protocol) -> list[str]:
    """The same comparison among the runs whose tester was wrong: whatever moved these, it was not knowing whose edge it was."""
    if not wrong:
        return []
    rule = next(rule for rule in protocol.endpoints if rule.primary)
    rows = [row for row in own.rows if row.run in wrong and row.endpoint == rule.id]
    found = estimate_submissions(rows, own.table, own.repository.protocols)
    contrast = next(
        (c for e in found for c in e.contrasts if (c.factor, c.first, c.second) == (lead.factor, lead.first, lead.second)), None
    )
    if not isinstance(contrast, ContrastEstimated) or not math.isfinite(contrast.estimate):
        return []
    before = lead.contrasts[rule.id]
    sentence = small(figure_sentence(contrast, rule, protocol.work.unit))
    turned = isinstance(before, ContrastEstimated) and before.estimate * contrast.estimate < 0
    told = Reason("report.guessed_wrong", runs=len(wrong), sentence=sentence)
    return [together(told, Reason("report.guessed_wrong_turned") if turned else "")]
