"""The checks of the site's scripts: what they are installed from, that they look at every script, and that none of it is published."""

import json
import re
import subprocess
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[1]
SITE = ROOT / "site"
MOST_SILENCED = 5
WITH_REASON = re.compile(r"(?:@ts-(?:ignore|expect-error)|eslint-disable-(?:next-)?line \S+) \S+ \S+")


def read(name: str) -> dict:
    return json.loads((SITE / name).read_text(encoding="utf-8"))


def test_the_scripts_need_no_package():
    assert set(read("package.json")) & {"dependencies", "peerDependencies", "optionalDependencies"} == set()


def test_the_lock_file_has_a_hash_of_every_package_and_names_no_host_to_get_it_from():
    packages = {name: entry for name, entry in read("package-lock.json")["packages"].items() if name}
    assert packages
    assert [name for name, entry in packages.items() if not entry["integrity"].startswith("sha512-")] == []
    assert [name for name, entry in packages.items() if "resolved" in entry] == []


def test_the_lock_file_is_of_what_the_package_file_asks_for():
    assert read("package-lock.json")["packages"][""]["devDependencies"] == read("package.json")["devDependencies"]


def test_every_script_is_looked_at_and_strictly():
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout")
    listed = subprocess.run(["git", "ls-files", "site"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    scripts = [path for path in listed if path.endswith((".js", ".mjs")) and path != "site/eslint.config.js"]
    assert len(scripts) > 40 and all(path.startswith("site/pages/assets/") for path in scripts)
    options = read("tsconfig.json")
    assert options["include"] == ["types.d.ts", "pages/assets/**/*.js"] and "exclude" not in options
    assert options["compilerOptions"]["checkJs"] and options["compilerOptions"]["strict"]


def test_the_checker_is_silenced_seldom_and_never_without_a_reason():
    lines = [line for path in SITE.glob("pages/assets/**/*.js") for line in path.read_text(encoding="utf-8").splitlines()]
    silenced = [line for line in lines if re.search(r"@ts-(?!check)|eslint-disable", line)]
    assert len(silenced) <= MOST_SILENCED
    assert [line for line in silenced if not WITH_REASON.search(line)] == []


def test_nothing_of_the_checks_lies_where_the_site_is_made_from():
    settings = yaml.safe_load(re.sub(r"!!python\S*", "", (ROOT / "mkdocs.yml").read_text(encoding="utf-8")))
    sources = [ROOT / settings["docs_dir"], ROOT / settings["theme"]["custom_dir"]]
    assert sources == [SITE / "pages", SITE / "overrides"]
    tools = {"package.json", "package-lock.json", "tsconfig.json", "eslint.config.js", "types.d.ts", "node_modules", ".npmrc"}
    assert {path.name for source in sources for path in source.rglob("*")} & tools == set()
