"""What the page on submitting promises of few runs, against the t distribution and the protocols' own assumption."""

import math
import re
from pathlib import Path

import pytest
import yaml
from scipy.stats import t

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "site/pages/submit.md").read_text(encoding="utf-8")


def test_the_spread_is_the_one_that_the_rope_protocols_assume():
    said = float(re.search(r"run-to-run spread of (\d\.\d+) on the ln scale", PAGE)[1])
    for name in ("two-sharpeners-rope/1.1.0", "steels-exchanged-rope/2.0.0"):
        head = yaml.safe_load((ROOT / f"protocols/{name}.md").read_text(encoding="utf-8").split("---\n")[1])
        primary = next(endpoint for endpoint in head["endpoints"] if endpoint.get("primary"))
        assert primary["assumed_repeatability"]["ln_sd"] == said, name


@pytest.mark.parametrize("runs", [4, 8, 16])
def test_the_widths_are_those_of_two_means_with_a_spread_of_their_own(runs):
    said = float(re.search(rf"×(\d\.\d)(?: either way)?\s+with {runs}\b", PAGE)[1])
    assert said == round(math.exp(t.ppf(0.975, runs - 2) * 0.25 * math.sqrt(4 / runs)), 1)
