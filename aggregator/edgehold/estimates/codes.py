"""What the codes of estimates come to for those who decide by them."""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.words import Reason, arguments_of, code_of

FROM_CENSORED_RUNS = frozenset(f"contrasts.{name}" for name in ("bound", "no_bound", "arms_censored", "many_censored"))
"""Reasons that lie in how runs ended."""
MOVES_TOGETHER = {f"contrasts.{name}": f"moves_together.{name}" for name in ("together", "with_the_rest")}


def left_out(blocks: Iterable[str]) -> Reason:
    """That too few runs share what is named for its effect to be taken out."""
    return Reason("estimates.left_out", blocks=" and ".join(blocks))


def moves_together(why: str) -> str:
    """What changes together, where that is the reason; empty for every other reason."""
    code = MOVES_TOGETHER.get(code_of(why))
    return Reason(code, **arguments_of(why)) if code else ""
