"""Light and dark: both are there, the switch works, and charts can be read in both."""

import pytest

from .kinds import example

# Luminance and contrast as in WCAG 2.2 (definitions of "relative luminance" and "contrast ratio"); the canvas turns any
# CSS colour into bytes.
COLOURS = """() => {
  const canvas = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const bytes = colour => {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = colour;
    canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data];
  };
  const luminance = ([r, g, b]) => [r, g, b].map(value => value / 255)
    .map(value => value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4)
    .reduce((sum, value, place) => sum + value * [0.2126, 0.7152, 0.0722][place], 0);
  const ground = element => {
    const colour = bytes(getComputedStyle(element).backgroundColor);
    return colour[3] === 255 || !element.parentElement ? colour : ground(element.parentElement);
  };
  const contrast = (one, other) => {
    const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  const drawn = [...document.querySelectorAll("article svg text")].filter(text => text.checkVisibility() && text.textContent.trim());
  const page = ground(document.querySelector("article"));
  return {
    ground: luminance(page),
    ink: luminance(bytes(getComputedStyle(document.querySelector("article p")).color)),
    text: contrast(bytes(getComputedStyle(document.querySelector("article p")).color), page),
    drawn: drawn.map(text => [text.textContent, contrast(bytes(getComputedStyle(text).fill), ground(text.closest("svg").parentElement))]),
  };
}"""


@pytest.fixture
def colours(open_page, addresses):
    def measure(kind: str, scheme: str) -> dict:
        return open_page(example(kind, addresses), color_scheme=scheme).evaluate(COLOURS)

    return measure


@pytest.mark.parametrize("kind", ["home", "protocol", "ledger"])
def test_the_dark_scheme_turns_ground_and_ink_over(colours, kind):
    light, dark = colours(kind, "light"), colours(kind, "dark")
    assert light["ground"] > 0.8 > 0.1 > light["ink"]
    assert dark["ground"] < 0.05 < 0.5 < dark["ink"]
    assert min(light["text"], dark["text"]) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", ["home", "pool", "comparison", "log", "steel", "protocol"])
def test_text_in_drawings_can_be_read(colours, kind, scheme):
    """At least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3, level AA)."""
    drawn = colours(kind, scheme)["drawn"]
    assert len(drawn) >= 4
    assert [(text, round(ratio, 2)) for text, ratio in drawn if ratio < 4.5] == []


def test_the_switch_turns_the_scheme_and_the_next_page_keeps_it(open_page, base):
    page = open_page("/", color_scheme="light")
    assert page.evaluate(COLOURS)["ground"] > 0.8
    page.get_by_title("Switch to dark").click()
    assert page.evaluate(COLOURS)["ground"] < 0.05
    page.goto(f"{base}/methods/")
    assert page.evaluate(COLOURS)["ground"] < 0.05
