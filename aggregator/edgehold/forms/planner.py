"""What the planner in the browser is handed: protocols, spreads, the program's own figures and its patterns of texts.

The scripts of ``site/pages/assets/plan`` count with nothing else; ``tests/browser/test_planner.py`` holds them to ``edgehold plan``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_args

from edgehold.planning import capacity, chances, geometry, minutes, occasion, orders, plans, remedies
from edgehold.records.model.submission import Run
from edgehold.records.units import plural
from edgehold.words import group

from .answer import card_rules

PROTOCOL_FIELDS = (
    "id", "version", "title", "question", "medium", "work", "reading", "endpoints", "early_checkpoint", "late_checkpoint", "design",
    "minutes", "needs", "cautions", "people", "apex_start",
)  # fmt: skip


def planner_rules(forms: Mapping[tuple[str, str], Mapping[str, object]]) -> dict[str, object]:
    """Rules of the planner.

    Parameters
    ----------
    forms : rules of every form, by protocol id and version, the newest version of each first; of these one each is planned by.
    """
    # The question that most people come with stands first, and of two methods for it the shorter one.
    protocols = sorted(_protocols(forms), key=lambda front: (front["question"]["factor"] != "sharpener", front["minutes"]["whole"]))
    return {
        "protocols": protocols,
        "figures": _figures(),
        "ended": get_args(Run.model_fields["ended"].annotation),
        "says": group("plan") | group("planner"),
        "card": card_rules(),
    }


def newest_of(keys: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """One version of each protocol, the first that is met: forms come with the newest first."""
    first: dict[str, str] = {}
    for name, version in keys:
        first.setdefault(name, version)
    return tuple(first.items())


def _protocols(forms: Mapping[tuple[str, str], Mapping[str, object]]) -> Iterable[dict[str, Any]]:
    planned: dict[tuple[str, str], dict[str, Any]] = {}
    for key, rules in forms.items():
        front, repeatability = rules["protocol"], rules["repeatability"]
        if isinstance(front, dict) and isinstance(repeatability, dict) and front["question"]["factor"] in occasion.COMPARED:
            handed = {field: front[field] for field in PROTOCOL_FIELDS}
            open_kinds = sorted({threat["threat"] for threat in front["threats"] if not threat["steps"]})
            planned[key] = handed | {
                "spreads": repeatability["endpoints"],
                "units": plural(front["work"]["unit"]),
                "left_open": open_kinds,
                "ask": rules.get("ask", ""),
            }
    return [planned[key] for key in newest_of(planned)]


def _figures() -> dict[str, object]:
    """The program's own figures, so that none is written twice."""
    return {
        "runs_a_hand": occasion.RUNS_A_HAND,  # where a protocol does not say
        "mm_per_cut": occasion.MM_PER_CUT,
        "lost_mm": geometry.edge_lost_mm(occasion.FLAT_MM, occasion.ANGLE_DEG),
        "steel_mm": occasion.STEEL_MM,
        "spare": capacity.SPARE,
        "sharpening": minutes.SHARPENING,
        "reading": minutes.READING,
        "other_reading": minutes.OTHER_READING,
        "longest_listed": orders.LONGEST_LISTED,
        "least_coded": orders.LEAST_CODED,
        "letters": plans.LETTERS,
        "draws": remedies.DRAWS,
        "sights": list(chances.SIGHTS),
    }
