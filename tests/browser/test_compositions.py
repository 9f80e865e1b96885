"""What a blade's composition is taken for: the scripts of the form against the program, over random compositions."""

from __future__ import annotations

import random

from edgehold.records.compositions import distance, limits_of, outside
from edgehold.records.model.submission import Steel
from edgehold.records.registers import load_steels
from edgehold.records.steel_search import class_of, composition_rules, named_fits, nearest, steel_of

JUDGE = """async ({ corpus, rules }) => {
  const { classOf, distance, fitting, nearest, outside } = await import("/assets/form/compositions.js");
  return corpus.map(([composition, origin]) => {
    const near = nearest(composition, origin, rules), apart = near && outside(near.limits, composition, rules);
    return [classOf(composition, origin, rules), fitting(true, composition, origin, rules).map(one => one.id), near && near.id,
      near && Object.fromEntries(apart), near && distance(apart, rules)];
  });
}"""


def compositions(count: int) -> list[tuple[dict[str, float], str]]:
    """About the windows of every class and named steel in turn, now and then with an element too many or left out."""
    dice = random.Random(11)
    known = [limits for one in load_steels().by_id.values() if (limits := limits_of(one))]
    found = []
    for number in range(count):
        limits = known[number % len(known)]
        made = {e: round(dice.uniform(low, min(high, low + 2 + low)), 2) for e, (low, high) in limits.items() if dice.random() < 0.95}
        if dice.random() < 0.3:
            made[dice.choice(("N", "Co", "Nb", "Fe", "Ti", "Si"))] = round(dice.uniform(0, 3), 2)
        found.append((made, "simulated" if dice.random() < 0.05 else "measured"))
    return found


def test_the_form_takes_a_composition_for_what_the_program_does(browser, form_base):
    page = browser.new_page()
    page.goto(f"{form_base}/methods/")
    steels, corpus = load_steels(), compositions(600)
    found = page.evaluate(JUDGE, {"corpus": [list(one) for one in corpus], "rules": composition_rules(steels)})
    page.close()
    classes = set()
    for (composition, origin), (held, fits, near, apart, away) in zip(corpus, found, strict=True):
        expected = nearest(steels, composition, origin)
        own = class_of(steels, composition, origin)
        assert held == (own and own.id) == steel_of(Steel(composition_percent=composition), origin, steels), composition
        assert fits == [one.id for one in named_fits(steels, composition, origin)], composition
        assert near == (expected and expected.id), composition
        if expected is not None:
            told = outside(limits_of(expected), composition)
            assert (apart, away) == (told, distance(told)), composition
        classes.add(held)
    assert len(classes) > 10
