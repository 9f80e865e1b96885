"""Before an objection is written again: what was said already is found by its words, and something else is not."""

from __future__ import annotations

import random
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from edgehold.forms.review import review_forms
from edgehold.records import load_repository

from .serving import modules

ROOT = Path(__file__).parents[2]
ASSETS = ROOT / "site" / "pages" / "assets"
ELSE = (
    "The sheet should be printed on yellow paper, because lamps in sheds make white paper dazzle.",
    "Please give the months in words, for numbers alone are read differently on either side of the ocean.",
)


@pytest.fixture(scope="module")
def said():
    return review_forms(load_repository(ROOT))["objection"]["said"]


@pytest.fixture(scope="module")
def scripts(browser):
    with modules(browser, ASSETS, "form/alike.js") as opened:
        yield opened


def found(scripts, title, text, said):
    body = "given => import('./alike.js').then(m => m.alike(...given).map(({ said, score }) => [said.protocol, said.number, score]))"
    return scripts.evaluate(body, [title, text, said])


def loosely(statement: str, seed: int) -> str:
    """Two thirds of the words of a text, in another order, as somebody says a thing again."""
    words = statement.split()
    picked = random.Random(seed).sample(words, max(8, 2 * len(words) // 3))
    return " ".join(picked)


def test_an_objection_said_again_in_other_order_and_fewer_words_is_found_first(scripts, said):
    assert len(said) > 20
    again = [(one, found(scripts, "Something is wrong here", loosely(one["statement"], n), said)) for n, one in enumerate(said)]
    missed = [
        (one["protocol"], one["number"]) for one, first in again if not first or tuple(first[0][:2]) != (one["protocol"], one["number"])
    ]
    assert missed == []


@pytest.mark.parametrize("text", ELSE)
def test_something_else_is_like_none_of_them(scripts, said, text):
    assert found(scripts, "Another matter", text, said) == []


def test_a_few_words_are_not_looked_for(scripts, said):
    assert found(scripts, "", "The rope is damp.", said) == []


def test_the_score_is_the_cosine_of_weighted_words(scripts):
    """tf-idf and cosine by numpy, for three texts of which two share words."""
    texts = [
        "harder rope along the coil takes longer",
        "lamps dazzle whoever reads white paper tonight",
        "rope near the core coils tighter than outer rope",
    ]
    said = [
        {"protocol": "p", "number": n, "title": "", "statement": text, "state": "open", "why": "", "at": ""}
        for n, text in enumerate(texts[:2])
    ]

    def stems(text):
        words = [re.sub(r"(?:ings?|edly|ed|ly|es|s)$", "", word) for word in re.findall(r"[a-z]{4,}", text)]
        return Counter(word for word in words if len(word) > 2)

    counts = [stems(text) for text in texts]
    names = sorted({word for one in counts for word in one})
    idf = np.array([np.log((1 + len(texts)) / sum(word in one for one in counts)) for word in names])
    rows = np.array([[1 + np.log(one[word]) if word in one else 0 for word in names] for one in counts]) * idf
    cosines = rows[:2] @ rows[2] / np.linalg.norm(rows[:2], axis=1) / np.linalg.norm(rows[2])
    got = {number: score for _, number, score in found(scripts, "", texts[2], said)}
    assert got == {n: pytest.approx(float(value)) for n, value in enumerate(cosines) if value >= 0.18}


def test_whoever_writes_it_again_is_led_to_the_thread(context, form_base, form_root):
    said = review_forms(load_repository(form_root))["objection"]["said"]
    first = next(one for one in said if one["title"].startswith("The stone loads"))
    page = context.new_page()
    page.goto(f"{form_base}/objections/new/?protocol=two-sharpeners-rope&version=1.1.0")
    expect(page.locator("#form-alike")).to_be_hidden()
    page.get_by_label("Title", exact=True).fill("The stone loads up")
    page.get_by_label("Statement", exact=True).fill("A stone that loads cuts less: whoever sharpens later meets another abrasive.")
    expect(page.locator("#form-alike")).to_be_visible()
    link = page.locator("#form-alike-list a").first
    expect(link).to_contain_text(f"({first['protocol']} {first['number']})")
    link.click()
    page.wait_for_url(f"**/objections/{first['at']}")
