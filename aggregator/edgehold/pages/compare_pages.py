"""A or B? A page to choose two, and a page for every two that some pool met, with all media and methods side by side."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from edgehold.records.registers import DROPPED_MARKS, folded_name
from edgehold.results.model.results import Results, SteelResult
from edgehold.results.words.sentences import named
from edgehold.words import Reason, capital, group

from . import addresses, bars, choose, compared, one_exchange
from .compared import Found, Pair
from .formatting import designation, short_name
from .one_exchange import OpenMethod, Table
from .page import Findable, Page, render
from .tonight_pages import Forms, inert_json

MOST_IN_A_TABLE = 300  # pairs; above that the page that chooses lists links alone, so that it stays small


def compare_pages(results: Results, forms: Forms, base_url: str = "") -> Iterator[Page]:
    """The page that chooses and every page of a pair."""
    pairs = compared.pairs(results)
    methods = one_exchange.open_methods(results)
    known = one_exchange.tables(results, methods)
    steels = {steel.id: steel for steel in results.steels}
    html = render(
        "compare.html",
        pairs=pairs,
        in_a_table=len(pairs) <= MOST_IN_A_TABLE,
        compared=compared,
        heading=lambda pair: _heading(pair, steels),
        data=inert_json(chooser(results, pairs, methods, known, forms)),
    )
    yield Page(addresses.COMPARE, Reason("compare.a_or_b"), html, Reason("compare.a_or_b"), Reason("compare.told"))
    for pair in pairs:
        yield _pair(pair, steels, methods, known, base_url)


# ---- the page of a pair ------------------------------------------------------------------------------------------------------


def _pair(pair: Pair, steels: Mapping[str, SteelResult], methods: Mapping[str, OpenMethod], known: dict[str, Table], base_url: str) -> Page:
    e, c = pair.methods[0].lead
    html = render(
        "compared.html",
        pair=pair,
        heading=_heading(pair, steels),
        steels=[steels[name] for name in (pair.first, pair.second) if name in steels] if pair.factor == "steel" else [],
        sides=[named(pair.factor, name) for name in (pair.first, pair.second)],
        treatment=pair.methods[0].pool.treatment,
        compared=compared,
        choose=addresses.chosen(*(addresses.key(pair.factor, name, pair.protocol) for name in (pair.first, pair.second))),
        lead_axis=_axis([group[0].lead for _, group in pair.media], new_hands=True),
        axis=_axis([one for method in pair.methods for one in method.found]),
        exchange=None if pair.telling else _exchange(pair, methods, known),
        permalink=f"{base_url.rstrip('/')}{pair.address}" if base_url else "",
    )
    in_short = Reason("compare.in_medium", medium=pair.methods[0].pool.medium, verdict=compared.in_short(e, c))
    names = [name for side in (pair.first, pair.second) for name in (choose.called(steels[side]) if side in steels else (side,))]
    found = Findable("two", tuple(names), in_short)
    simulated = all(method.pool.origin == "simulated" for method in pair.methods)
    return Page(pair.address, _title(pair, steels), html, Reason("compare.a_or_b"), in_short, record=True, found=found, simulated=simulated)


def _axis(found: list[Found], new_hands: bool = False) -> bars.Axis:
    """One scale for several answers, with the smallest of the worthwhile ratios."""
    results = [r for _, c in found for r in (c.result, c.new_hands if new_hands else None)]
    return bars.axis(results, min(e.worthwhile_ratio for e, _ in found))


def _names(pair: Pair, steels: Mapping[str, SteelResult]) -> dict[str, str]:
    first, second = (short_name(steels[name]) if name in steels else name for name in (pair.first, pair.second))
    return {"first": first, "second": second} if pair.factor == "steel" else {"first": pair.first, "second": pair.second}


def _heading(pair: Pair, steels: Mapping[str, SteelResult]) -> str:
    if pair.factor == "practice":
        return Reason("compare.heading_practice")
    treatment = {"treatment": capital(pair.methods[0].pool.treatment)} if pair.factor == "level" else {}
    return Reason(f"compare.heading_{pair.factor}", **_names(pair, steels), **treatment)


def _title(pair: Pair, steels: Mapping[str, SteelResult]) -> str:
    if pair.factor == "practice":
        return Reason("compare.title_practice")
    more = {"treatment": pair.methods[0].pool.treatment, "protocol": pair.protocol} if pair.factor == "level" else {}
    return Reason(f"compare.title_{pair.factor}", **_names(pair, steels), **more)


def _exchange(pair: Pair, methods: Mapping[str, OpenMethod], known: dict[str, Table]) -> one_exchange.Exchange:
    if pair.factor == "level":
        return one_exchange.of_levels(pair.protocol, dict(methods))
    if pair.factor == "practice":
        return one_exchange.of_practice(dict(methods))
    return one_exchange.of_steels(pair.first, pair.second, known, dict(methods))


# ---- what the chooser is handed ----------------------------------------------------------------------------------------------


def chooser(
    results: Results, pairs: list[Pair], methods: Mapping[str, OpenMethod], known: Mapping[str, Table], forms: Forms
) -> dict[str, object]:
    """Everything that can be chosen, every pair with a page, and what would compare the others.

    Returns
    -------
    ``things`` by kind (steel, level, practice) and ``group``: two are compared within one group of one kind alone. ``pairs`` are
    numbers of two things, the address of their page as seen from the chooser, and whether it has a ratio. ``methods`` are those that
    take results, by id.
    """
    things = [*_steels(results, known, forms), *_levels(pairs, methods), *_sharpeners()]
    number = {thing["key"]: n for n, thing in enumerate(things)}
    met = []
    for pair in pairs:
        sides = [number[addresses.key(pair.factor, name, pair.protocol)] for name in (pair.first, pair.second)]
        met.append([*sides, addresses.relative(addresses.COMPARE, pair.address), bool(pair.telling)])
    return {
        "things": things,
        "pairs": met,
        "methods": {
            name: {
                "title": method.title,
                "factor": method.factor,
                "address": addresses.relative(addresses.COMPARE, addresses.protocol(name)),
                "plan": addresses.relative(addresses.COMPARE, addresses.planner(name)),
            }
            for name, method in methods.items()
        },
        "folded": DROPPED_MARKS,
        "safety": addresses.relative(addresses.COMPARE, "/safety/"),
        "says": group("chooser"),
    }


def _thing(kind: str, name: str, label: str, among: str, names: tuple[str, ...] = (), table: Table | None = None) -> dict[str, Any]:
    tested = {"table": addresses.relative(addresses.COMPARE, table.address), "method": table.method} if table is not None else {}
    key = addresses.key(kind, name, among)
    return {"kind": kind, "group": among, "key": key, "name": name, "label": label, "names": [n for n in names if n != label], **tested}


def _steels(results: Results, known: Mapping[str, Table], forms: Forms) -> Iterator[dict[str, Any]]:
    """Steels that submissions name, then those that only the register does; invented ones are a group of their own."""
    for steel in sorted(results.steels, key=lambda one: (one.simulated, one.id)):
        label = short_name(steel)
        shown: str = Reason("chooser.simulated", name=label) if steel.simulated else label
        yield _thing("steel", steel.id, shown, "simulated" if steel.simulated else "", (steel.id, *steel.names), known.get(steel.id))
    met = {steel.id for steel in results.steels}
    for name, designations in sorted(_register(forms).items()):
        if name not in met:
            yield _thing("steel", name, designation(designations[0]), "", (name, *designations))


def _register(forms: Forms) -> dict[str, list[str]]:
    """Designations of the real steels of the register, by id: as the forms have them."""
    found: dict[str, list[str]] = {}
    rules: Mapping[str, Any] = next(iter(forms.values()), {})
    for written in rules.get("designations", ()):
        name = rules["steels"].get(folded_name(written))
        if name is not None:
            found.setdefault(name, []).append(written)
    return found


def _levels(pairs: list[Pair], methods: Mapping[str, OpenMethod]) -> Iterator[dict[str, Any]]:
    """Levels that some pool compares, and those of open methods that nobody has followed yet."""
    found: dict[tuple[str, str], str] = {}
    for pair in pairs:
        if pair.factor == "level":
            pool = pair.methods[0].pool
            for name in (pair.first, pair.second):
                found[(pair.protocol, name)] = Reason("chooser.edge", name=name, treatment=pool.treatment, protocol=pool.title)
    for protocol, method in methods.items():
        question = method.settings.question
        for level in question.levels:
            edge = Reason("chooser.edge", name=level.word, treatment=question.treatment or "", protocol=method.title)
            found.setdefault((protocol, level.word), edge)
    for (protocol, name), label in sorted(found.items()):
        yield _thing("level", name, label, protocol)


def _sharpeners() -> Iterator[dict[str, Any]]:
    for name in ("practised", "novice"):
        yield _thing("practice", name, Reason("chooser.sharpener", name=name), "")
