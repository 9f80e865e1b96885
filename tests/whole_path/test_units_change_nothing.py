"""Changing the unit of work or of reading changes no ratio, over the whole path.

Two ways: people write the same readings in another unit, or the protocol itself counts in another unit.
"""

import hashlib
import json
import shutil
from pathlib import Path

import pytest
import yaml

from edgehold.everything import find_everything
from edgehold.pipeline import read
from edgehold.records.units import canonical_value
from edgehold.results.publish.assemble import assemble
from tests.published import copy_protocols

ROOT = Path(__file__).parents[2]
USED = {"two-sharpeners-rope": 6, "life-on-card": 6}  # submissions of each that the test copies
OTHER_UNIT = {"two-sharpeners-rope": ("cut", "lbf"), "life-on-card": ("ft", None)}


@pytest.fixture(scope="module")
def copied(tmp_path_factory) -> Path:
    return copy_repository(tmp_path_factory.mktemp("as-written"))


@pytest.fixture(scope="module")
def as_written(copied) -> dict[tuple, tuple]:
    return ratios(copied)


def copy_repository(root: Path) -> Path:
    """Some of the demonstration."""
    for protocol, count in USED.items():
        copy_protocols(root, protocol)
        place = root / "submissions" / "simulated" / protocol
        place.mkdir(parents=True)
        written = sorted((ROOT / "submissions" / "simulated" / protocol).glob("*.json"))
        of_one_pool = [path for path in written if json.loads(path.read_bytes())["protocol"]["version"].startswith("1.")]
        for path in of_one_pool[:count]:
            shutil.copy(path, place / path.name)
    return root


def ratios(root: Path) -> dict[tuple, tuple]:
    """Every ratio and limit of every comparison and of every submission's own answer."""
    results = assemble(find_everything(read(root)))
    found = {}
    for pool in results.pools:
        for endpoint in pool.endpoints:
            for one in (*endpoint.steels, *([endpoint.practice] if endpoint.practice else [])):
                key = ("answer", pool.protocol, endpoint.id, one.factor, one.first, one.second)
                found[key] = (one.state, *numbers(one.result))
            for c in endpoint.pairwise:
                key = (pool.protocol, endpoint.id, c.factor, c.first, c.second)
                found[key] = (c.state, *numbers(c.result), *numbers(c.prediction and c.prediction.result))
    for s in results.submissions:
        for a in s.answers:
            found[(s.id, a.endpoint, a.factor, a.first, a.second)] = (a.verdict, *numbers(a.result))
    return found


def numbers(result) -> tuple:
    return (result.ratio, result.low, result.high) if result else (None, None, None)


def assert_same(first: dict[tuple, tuple], second: dict[tuple, tuple]) -> None:
    assert first.keys() == second.keys()
    for key, values in first.items():
        for a, b in zip(values, second[key], strict=True):
            assert a == b or b == pytest.approx(a, rel=1e-6), f"{key}: {values} became {second[key]}"


def test_there_are_ratios_to_compare(as_written):
    states = [values[0] for values in as_written.values()]
    assert states.count("pooled") >= 3
    assert len(states) > 100


def test_the_same_readings_in_another_unit_give_the_same_ratios(as_written, tmp_path):
    root = copy_repository(tmp_path)
    for protocol, (work, reading) in OTHER_UNIT.items():
        for path in (root / "submissions" / "simulated" / protocol).glob("*.json"):
            record = json.loads(path.read_text(encoding="utf-8"))
            for run in record["runs"]:
                write_in(run, work, reading)
            path.write_text(json.dumps(record), encoding="utf-8")
    assert_same(as_written, ratios(root))


def write_in(run: dict, work: str, reading: str | None) -> None:
    """Rewrite every figure of a run in other units."""

    def worked(written):
        return None if written is None else canonical_value(written, run["work_unit"], work)

    for name in ("planned_last_checkpoint", "tester_change_at_work"):
        if name in run:
            run[name] = worked(run[name])
    for change in run.get("lot_changes") or ():
        change["at_work"] = worked(change["at_work"])
    for entry in run["readings"]:
        entry["work"] = worked(entry["work"])
        for value in entry.get("values") or ():
            value["written"] = canonical_value(value["written"], run["reading_unit"], reading)
            value["canonical"] = None
    run["work_unit"], run["reading_unit"] = work, reading


def test_a_protocol_that_counts_in_another_unit_gives_the_same_ratios(as_written, tmp_path):
    root = copy_repository(tmp_path)
    for path in (root / "protocols").glob("*/*.md"):
        _, front, body = path.read_text(encoding="utf-8").split("---\n", 2)
        data = yaml.safe_load(front)
        recount(data)
        text = f"---\n{yaml.safe_dump(data, allow_unicode=True)}---\n{body}"
        path.write_text(text, encoding="utf-8")
        release_again(path, hashlib.sha256(text.encode()).hexdigest())
    for path in (root / "submissions").rglob("*.json"):
        text = json.loads(path.read_text(encoding="utf-8"))
        for value in (v for r in text["runs"] for entry in r["readings"] for v in entry.get("values") or ()):
            value["canonical"] = None
        path.write_text(json.dumps(text), encoding="utf-8")
    assert_same(as_written, ratios(root))


def release_again(path: Path, sha256: str) -> None:
    """Let the release of a changed version name its new hash."""
    for event in (path.parent / "events").glob("*released*"):
        data = yaml.safe_load(event.read_text(encoding="utf-8"))
        if data["version"] == path.stem:
            event.write_text(yaml.safe_dump(data | {"sha256": sha256}), encoding="utf-8")


def recount(data: dict) -> None:
    """Metres to feet, newtons to gram-force, everywhere in a protocol."""
    if data["work"]["unit"] == "m":
        metres = 1 / 0.3048  # feet in a metre, exact definition (NIST SP 811, B.8)
        data["work"] |= {"unit": "ft", "checkpoints": [w * metres for w in data["work"]["checkpoints"]]}
        data |= {name: data[name] * metres for name in ("early_checkpoint", "late_checkpoint")}
    if data["reading"].get("canonical_unit") == "N":
        newton = 1 / 0.00980665  # gram-force in a newton, exact definition (NIST SP 811, B.8)
        names = ("resolution", "scale_end", "plausible_low", "plausible_high")
        data["reading"] |= {"canonical_unit": "gf"} | {n: data["reading"][n] * newton for n in names}
        for rule in data["endpoints"]:
            if rule.get("threshold") and not rule["threshold"].get("relative"):
                rule["threshold"]["value"] *= newton
