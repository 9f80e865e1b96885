"""The cases of this folder: ``python -m tests.answers.write`` writes them with what the program says of each."""

from __future__ import annotations

import json

from edgehold.records.pairs import partner_of

from .build import CARD, ROPE, STEELS, TURNS, WORK, forces, pooled, run, submission, table
from .cases import HERE, stored

NAMES = {
    ROPE: ("early", "late", "life", "hold"),
    STEELS: ("early", "late", "life"),
    TURNS: ("early", "late", "life", "hold"),
    CARD: ("life",),
}
ASSUMED = {"ln_sd": 0.25, "prior_df": 4, "source": "made up for a test"}
SHORT = WORK[:6]


def case(says: str, runs: list[dict], protocol: str = ROPE, facts: dict | None = None, changes: dict | None = None, **given) -> dict:
    """One case without its answer; ``facts`` of the table, everything else to ``submission``."""
    endpoints = [rule["id"] for rule in (changes or {}).get("endpoints", ())] or NAMES[protocol]
    carried = table(endpoints, given.pop("reading_variance", 0.01), **(facts or {}))
    return {
        "says": says,
        "protocol": protocol,
        "changes": changes or {},
        "repeatability": carried,
        "submission": submission(runs, protocol, **given),
    }


def rule(name: str, **facts) -> dict:
    """An endpoint."""
    common = {"id": name, "title": f"The endpoint {name}", "role": "early", "primary": False, "worthwhile_ratio": 1.25}
    return common | {"assumed_repeatability": ASSUMED} | facts


def pairs(count: int, ratio: float = 1.3, **facts) -> list[dict]:
    """Runs in pairs by two sharpeners: the first keener by a ratio, every pair a little different."""
    found = []
    for i in range(count):
        luck = 1 + 0.06 * ((7 * i + 3) % 5 - 2)
        found.append(run(forces(0.9 * luck, 0.42), sharpener="wren", **facts))
        found.append(run(forces(0.9 * ratio / luck, 0.45), sharpener="tern", **facts))
    return found


def beside(count: int, **facts) -> list[dict]:
    """The same, of two blades by one sharpener."""
    return [run_ | {"sharpener": "wren", "blade": f"wren.{run_['sharpener']}"} for run_ in pairs(count, **facts)]


def in_turn(count: int) -> list[dict]:
    """The same, cut in turn: the other blade begins every second pair, and both values of a reading are two."""
    found = []
    for number, (one, other) in enumerate(zip(*[iter(beside(count))] * 2, strict=True)):
        for run_ in (other, one) if number % 2 else (one, other):
            order = len(found) + 1
            readings = {work: values[:2] for work, values in run_["readings"].items() if work <= 40}
            found.append(run_ | {"readings": readings, "partner": f"run-{partner_of(order)}", "planned_last_checkpoint": 40})
    return found


def grams(readings: dict[float, list[float]], per: float, digits: int) -> dict:
    """The same readings written in another unit, as text."""
    return {work: [f"{value / per:.{digits}f}" for value in values] for work, values in readings.items()}


def changed(runs: list[dict], number: int, **facts) -> list[dict]:
    """Runs with facts of one of them changed."""
    return [r | (facts if i == number else {}) for i, r in enumerate(runs)]


def without(readings: dict, *works: float) -> dict:
    return {work: values for work, values in readings.items() if work not in works}


def sharpeners() -> dict[str, dict]:
    one, four = pairs(1), pairs(4)
    return {
        "one-run-each": case("Two sharpeners, one run each: nothing but the protocol's assumption says how sure it is.", one),
        "three-runs-each": case("Two sharpeners, three runs each, before there are pooled data.", pairs(3)),
        "pooled-runs": case("Four runs each, all submissions alike in repeatability.", four, facts=pooled(0.05, 40.0)),
        "moderated": case("Four runs each, submissions differ: its own variance moderated.", four, facts=pooled(0.05, 60.0, 5.5, 0.04)),
        "rests-on-little": case("Moderated degrees of freedom are no more than those pooled.", four, facts=pooled(0.05, 3.0, 20.0)),
        "better": case("The first is better beyond the worthwhile ratio.", pairs(4, 0.4), facts=pooled(0.02, 80.0)),
        "worse": case("The first is worse beyond the worthwhile ratio.", pairs(4, 2.6), facts=pooled(0.02, 80.0)),
        "nothing-worth-having": case("Two one-sided tests rule out a worthwhile difference.", pairs(4, 1.0), facts=pooled(0.004, 90.0)),
        "novice-and-practised": case(
            "Three sharpeners, two of them practised.",
            [*pairs(2), *(run(forces(1.4, 0.5), sharpener="skua") for _ in range(2))],
            wren="practised", tern="novice", skua="professional",
        ),
        "own-edges-only": case(
            "Each tests an edge of their own only: who sharpened and who tested change together.",
            [r | {"tester": r["sharpener"]} for r in pairs(3)],
        ),
        "blade-each": case(
            "Each sharpened another blade: nobody can tell hand from blade.", [r | {"blade": f"{r['sharpener']}.galley"} for r in pairs(3)]
        ),
        "two-testers": case(
            "Two sharpeners crossed with two testers.", [r | {"tester": ("fid", "oar")[i // 2 % 2]} for i, r in enumerate(pairs(4))]
        ),
        "evenings": case("Two runs an evening: the evening is taken out.", [r | {"evening": 1 + i // 2} for i, r in enumerate(pairs(3))]),
        "evening-each": case("An evening a run: too few to take it out.", [r | {"evening": 1 + i} for i, r in enumerate(pairs(2))]),
        "lots": case("Two lots of rope, one changed in the middle of a run.", changed(
            [r | {"lot": f"wren.coil-{1 + i // 4}"} for i, r in enumerate(pairs(4))], 2,
            lot_changes=[{"at_work": 40, "lot": "wren.coil-2"}])),
        "halves-of-a-blade": case(
            "Two people share one blade, each a part of it.",
            [r | {"edge_part": ("heel", "tip")[(i + i // 2) % 2]} for i, r in enumerate(pairs(3))],
        ),
        "before-and-after": case(
            "One person in two stated conditions: two sharpeners in all but name.",
            [r | {"sharpener": "wren", "condition": {"wren": "after the course", "tern": "before it"}[r["sharpener"]]} for r in pairs(3)],
        ),
        "factory-and-own": case(
            "The edge as it was delivered against one's own.",
            [r | ({"sharpener": "factory", "start_state": "factory"} if r["sharpener"] == "tern" else {}) for r in pairs(1)],
        ),
        "angles-held": case(
            "The question holds the angle equal: it is taken out.",
            [r | {"edge_angle": {"basis": "per side", "left_deg": (15, 18)[i // 2 % 2], "right_deg": (16, 18.5)[i // 2 % 2]}}
             for i, r in enumerate(pairs(4))],
            changes={"estimand": "same stone and angle"},
        ),
        "levels-as-declared": case(
            "Three levels, compared in the order in which the protocol declares them, not by their names.",
            [r | {"sharpener": "wren", "level": ("stropped", "bare", "P240")[i % 3]} for i, r in enumerate(pairs(6))],
            changes={"question": {"factor": "level", "text": "Does the finish matter?", "treatment": "finish", "levels": [
                {"word": word, "text": f"Ends {word}.", "rule": None} for word in ("stropped", "P240", "bare")]}},
        ),
        "split-run": case("A second tester took over in one run: it is left out.", changed(pairs(3), 1, tester_change_at_work=20)),
        "nobody-to-compare": case("One blade and one sharpener.", [run(forces(0.9, 0.4)) for _ in range(2)]),
    }  # fmt: skip


def blades() -> dict[str, dict]:
    rope = [
        run(forces(0.9 + 0.05 * i, growth), blade=f"wren.{name}", sharpener="wren")
        for i in range(2)
        for name, growth in (("one", 0.36), ("two", 0.38), ("three", 0.46), ("four", 0.5))
    ]
    steels = {"wren.one": "AISI 1095", "wren.two": "1095", "wren.three": "D2", "wren.four": "uns t30402"}
    card = [
        run({w: mark * 3 for w, mark in zip((0, 1, 2, 4, 8, 16, 32, 64, 128), marks, strict=True)}, blade=f"wren.{i % 2}")
        for i, marks in enumerate(("PPPPPFFFF", "PPPPFFFFF", "PPPPPPFFF", "PPPFFFFFF"))
    ]
    always = "P" * 9
    return {
        "two-blades": case("Two blades, one sharpener.", beside(3)),
        "two-blades-in-turn": case("Two blades cut in turn: compared within pairs.", in_turn(3), TURNS),
        "one-cut-alone": case("One of six was cut without its partner: it takes no part.", [
            {key: value for key, value in run_.items() if key != "partner" or number < 4}
            for number, run_ in enumerate(in_turn(3)) if number != 5], TURNS),
        "two-steels": case("Two steels with two blades each.", rope, STEELS, steels=steels),
        "two-steels-by-composition": case("A class of steels from two data sheets.", rope, STEELS, steels={
            "wren.one": {"C": 1.45, "Cr": 14, "Mo": 2, "V": 4}, "wren.two": {"C": 1.38, "Cr": 14.2, "Mo": 1.9, "V": 3.8, "Si": 0.5},
            "wren.three": "D2", "wren.four": "uns t30402"}),
        "two-steels-one-blade": case("A steel is its one blade here.", rope[:2] + rope[4:6], STEELS, steels=steels),
        "pass-or-fail": case("A life on card lies between a pass and a fail.", card, CARD),
        "passed-again": case("One passed again after a fail; one failed from the start.", [
            *card[:2],
            run({0: "PPP", 1: "PPP", 2: "PFF", 4: "PPP", 8: "FFF", 16: "FFF"}, blade="wren.0"),
            run({0: "FFF", 1: "FFF"}, blade="wren.1", ended="dull")], CARD),
        "never-dull": case("Every run of one blade outlasted the card: at least.", [
            run({w: mark * 3 for w, mark in zip((0, 1, 2, 4, 8, 16, 32, 64, 128), marks, strict=True)}, blade=blade)
            for blade, marks in (("wren.0", always), ("wren.1", "PPPPPFFFF"), ("wren.0", always), ("wren.1", "PPPPFFFFF"))], CARD),
        "neither-dull": case("Every run of both outlasted the card: not even a bound.", [
            run(dict.fromkeys((0, 1, 2, 4, 8), "PPP"), blade=blade, ended="tester stopped")
            for blade in ("wren.0", "wren.1") * 2], CARD),
        "card-in-feet": case("Card measured in feet.", [
            run({0: "PPP", 3: "PPP", "6 1/2": "PPP", 13: tail, "26.25": "FFF", 52: "FFF"}, blade=blade, work_unit="ft")
            for blade, tail in (("wren.0", "PPP"), ("wren.1", "FFF"), ("wren.0", "PFF"), ("wren.1", "FFF"))], CARD),
    }  # fmt: skip


def readings() -> dict[str, dict]:
    keen, dull = forces(0.9, 0.42), forces(1.2, 0.46)
    share = rule("share", kind="life", threshold={"value": 0.5, "relative": True})
    loss = [rule("loss", kind="loss", start=0, end=80), share]
    higher = {
        "reading": {"kind": "length", "canonical_unit": "mm", "accepted_units": ["mm", "in"], "keener": "higher",
                    "resolution": 1, "scale_end": None},
        "endpoints": [rule("early", kind="level", at=10), rule("window", kind="window", start=0, end=80),
                      rule("life", kind="life", role="overall", threshold={"value": 30})],
    }  # fmt: skip
    lengths = {work: [round(160 / value, 1) for value in values] for work, values in keen.items()}
    shorter = {work: [round(150 / value, 1) for value in values] for work, values in dull.items()}
    return {
        "no-reading-at-start": case(
            "No reading before the first cut: a loss from there and a share of it cannot be had.",
            [run(without(keen, 0)), run(dull, sharpener="tern")], changes={"endpoints": loss}),
        "loss-and-share": case(
            "What is lost from the start, and half of the sharpness at the start.",
            [run(forces(0.9 + 0.04 * i, 0.4 + 0.02 * (i % 2)), sharpener=("wren", "tern")[i % 2]) for i in range(6)],
            changes={"endpoints": loss}),
        "ended-dull": case("Runs that ended dull count as no better than their last reading.", [
            run(without(forces(1.6, 0.5), 80, 160), ended="dull") if i == 2 else r for i, r in enumerate(pairs(3))]),
        "stopped-early": case("Rope ran out, tester stopped: later levels are missing.", changed(changed(
            pairs(3), 0, readings=without(keen, 40, 80, 160), ended="medium ran out"),
            3, readings=without(dull, 80, 160), ended="tester stopped")),
        "all-stopped": case("Every run stopped early: nothing to say of late.", [
            r | {"readings": without(r["readings"], 40, 80, 160), "ended": "tester stopped"} for r in pairs(2)]),
        "damaged": case("A chipped edge, and one touched up.", changed(changed(
            pairs(3), 0, readings=without(keen, 80, 160), ended="edge damaged"),
            5, readings=without(dull, 160), ended="edge touched up")),
        "off-the-scale": case("Over the scale's end, below what it resolves, and at 0.", [
            run(keen | {160: [49.5, 50, 51]}), run(dull | {0: [0.004, 0.5, 0.6], 10: [0, 0, 0]}, sharpener="tern"),
            run(forces(0.8, 0.4)), run(forces(1.1, 0.47) | {80: [48, 49.2, 47]}, sharpener="tern")]),
        "marked-limits": case("Limits marked by hand.", [
            run(keen), run(dull | {80: [(30, "above"), (31, "above"), 29], 5: [(0.02, "below"), 0.5, 0.6]}, sharpener="tern"),
            run(forces(0.8, 0.4)), run(forces(1.1, 0.47), sharpener="tern")]),
        "ounces": case("Read in ounces, grams and pounds, with a comma, a fraction and an uncertainty.", [
            run(grams(keen, 0.27801385095378125, 1), reading_unit="oz"),
            run(grams(dull, 0.00980665, 0), sharpener="tern", reading_unit="g"),
            run({w: [v[0].replace(".", ","), f"{v[1]} (2)", f"{v[2]} ± 0.02"] for w, v in grams(forces(1, 0.4), 1, 2).items()}),
            run({w: ["1/4", "0.3", "5/16"] if w < 20 else ["1 1/8", "1.1", "1¼"] for w in SHORT}, sharpener="tern", reading_unit="lbf")]),
        "twenty-two": case("Read at 22 cuts instead of 20.", changed(
            pairs(2), 1, readings={(22 if w == 20 else w): v for w, v in dull.items()})),
        "far-off": case("No reading near 20 cuts: the mean over a stretch cannot be had.", changed(
            pairs(2), 1, readings=without(dull, 20, 40))),
        "plateau": case("Readings that stay at the limit: the left end of the plateau counts.", [
            run({0: [1, 1, 1], 5: [2, 2, 2], 10: [3, 3, 3], 20: [4, 4, 4], 40: [4, 4, 4], 80: [4, 4, 4], 160: [6, 6, 6]}, sharpener=who)
            if i % 2 else run(forces(1.2 + 0.1 * i, 0.45), sharpener=who)
            for i, who in enumerate(("wren", "tern", "wren", "tern"))]),
        "clear-lives": case("Lives that no reading error moves past a checkpoint; the second sharpener's is shorter.", [
            run(forces(0.8 + 0.1 * i, 0.8 + 0.05 * (i % 2)), sharpener=("wren", "tern")[i % 2]) for i in range(4)],
            reading_variance=0.0004),
        "burr": case("Sharper after five cuts than before the first.", [
            run(keen | {0: [2.4, 2.5, 2.6]}), run(dull, sharpener="tern"),
            run(forces(0.8, 0.4)), run(forces(1.1, 0.47), sharpener="tern")]),
        "dull-from-the-start": case("An edge past the limit before the first cut.", [
            run(forces(4.6, 0.2)), run(forces(1.2, 0.5), sharpener="tern"),
            run(forces(1.5, 0.5)), run(forces(1.3, 0.5), sharpener="tern")]),
        "restored-order": case("Readings and runs in any order; one checkpoint read twice.", [
            run(dict(reversed(keen.items())), order=4), run({80: [3.5, 3.6], **dull, "80.0": [3.4]}, sharpener="tern", order=3),
            run(forces(0.8, 0.4), order=2), run(forces(1.1, 0.47), sharpener="tern", order=1)]),
        "unequal-reading": case("One repeat at some edges, six at others: runs are weighted.", [
            run({w: (v * 2 if i % 4 < 2 else v[:1]) for w, v in r["readings"].items()}, sharpener=r["sharpener"])
            for i, r in enumerate(pairs(4, 1.2))], reading_variance=0.2),
        "unequal-without-replicates": case("Unequal reading errors and one run each.", [
            run(keen), run({w: v[:1] for w, v in dull.items()}, sharpener="tern")], reading_variance=0.09),
        "no-published-readings": case(
            "No variance of readings has been published: its own repeats tell.", pairs(2), reading_variance=None),
        "noisy-readings": case("Reading error leaves a life between two amounts of work.", pairs(3), reading_variance=0.09),
        "longer-is-keener": case("A reading of which more is keener.", [
            run(lengths, reading_unit="mm"), run(shorter, sharpener="tern", reading_unit="mm"),
            run({w: [round(v / 25.4, 3) for v in values] for w, values in lengths.items()}, reading_unit="in"),
            run(shorter, sharpener="tern", reading_unit="mm")], changes=higher),
        "unreadable": case("One number may be a thousand or a decimal: its run is left out.", changed(
            pairs(2), 1, readings=dull | {10: ["1,234", 1.9, 2.0]})),
        "no-readings": case("A run without readings, and one with a single reading.", [
            run({}, ended="tester stopped"), run(dull, sharpener="tern"), run({10: keen[10]}), run(forces(1.1, 0.47), sharpener="tern")]),
        "long-work": case("Work of four figures in the sentences, and a hundredth of it in the readings.", [
            run({w * 100: v for w, v in r["readings"].items()}, sharpener=r["sharpener"]) for r in pairs(2)],
            changes={"work": {"checkpoints": [w * 100 for w in WORK]}, "endpoints": [
                rule("late", kind="level", at=8000), rule("first", kind="level", at=1), rule("all", kind="window", start=500, end=16000),
                rule("life", kind="life", threshold={"value": 4})]}),
    }  # fmt: skip


def all_cases() -> dict[str, dict]:
    """Every case by its name, without its answer."""
    return sharpeners() | blades() | readings()


def text_of(made: dict) -> str:
    """A case as JSON: one line a run, a result, a row."""
    lists = {"runs", "results", "rows"}

    def written(value: object, depth: int, name: str) -> str:
        if isinstance(value, dict) and depth < 2:
            inner = ",\n".join(f"{' ' * (depth + 1)}{json.dumps(key)}: {written(v, depth + 1, key)}" for key, v in value.items())
            return f"{{\n{inner}\n{' ' * depth}}}"
        if isinstance(value, list) and name in lists and value:
            inner = ",\n".join(" " * (depth + 1) + json.dumps(v, ensure_ascii=False) for v in value)
            return f"[\n{inner}\n{' ' * depth}]"
        return json.dumps(value, ensure_ascii=False)

    return written(made, 0, "") + "\n"


def main() -> None:
    """Write every case with its answer."""
    for name, made in all_cases().items():
        (HERE / f"{name}.json").write_text(text_of(made | {"expected": stored(made)}), encoding="utf-8")


if __name__ == "__main__":
    main()
