"""The recipes of the developers' guide name what is there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
RECIPES = GUIDE.split("\n## Recipes\n")[1].split("\n## ")[0]


def test_there_is_a_recipe_for_whatever_is_added_often():
    assert re.findall(r"^- \*\*([^*]+)\.\*\*", RECIPES, re.M) == [
        "Run one test", "Add an endpoint", "Add a probe", "Add a rule", "Add a sentence", "Add a page", "Add a figure",
    ]  # fmt: skip


def test_every_file_and_folder_that_a_recipe_names_is_there():
    named = {word for word in re.findall(r"`([^` ]+)`", RECIPES) if "/" in word and "<" not in word}
    assert len(named) > 12
    assert [path for path in sorted(named) if not (ROOT / path).exists()] == []


def test_every_command_that_a_recipe_names_is_there():
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in re.findall(r"`make ([a-z-]+)`", GUIDE):
        assert re.search(rf"^{target}:", makefile, re.M), target
    for module in re.findall(r"`python -m (tests[.\w]+)`", GUIDE):
        assert (ROOT / f"{module.replace('.', '/')}.py").exists(), module


def test_every_module_that_the_guide_names_with_its_folder_is_there():
    places = (ROOT, ROOT / "aggregator" / "edgehold", ROOT / "aggregator" / "edgehold" / "records")
    named = set(re.findall(r"`([\w/.-]+/[\w.-]+\.(?:py|js|md|json|txt))`", GUIDE))
    assert [path for path in sorted(named) if not any((place / path).exists() for place in places)] == []
