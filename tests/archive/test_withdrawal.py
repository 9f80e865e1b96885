"""What was taken out does not come back through the archive: files that held it become gaps that say so, all others stay."""

import gzip
import io
import json

import pyarrow.parquet as pq
import pytest

from edgehold.archive.folder import ArchiveError, add_build, read_archive, withdraw, write_archive
from edgehold.archive.withdrawal import Wanted, gap, holds
from edgehold.builds import pool
from tests.records.builder import make_repository, retraction, second, write_change
from tests.whole_path.test_record_that_lasts import HANDLE, by_handle

from .builds import build, contents, kept, submission

ONE, TWO = submission("wren-1", "wren", "robin"), submission("tern-1", "tern", "robin")
HELD = {"data/results.json.gz", "data/runs.csv", "results/ledger/index.html"}


def taken_out(folder, **gone):
    write_archive(withdraw(read_archive(folder), gone, frozenset(), "2026-08"), folder)
    return read_archive(folder)


def test_files_that_held_it_become_gaps_and_no_other_byte_changes(tmp_path):
    first, second = build(ONE, TWO), build(TWO, month="2026-07")
    kept(tmp_path, first, second)
    before = contents(tmp_path)
    archive = taken_out(tmp_path, **{"wren-1": ("2026-08", "privacy")})
    after = contents(tmp_path)
    assert before.keys() == after.keys()
    changed = {name for name in before if before[name] != after[name]} - {"archive.json"}
    assert changed == {f"{first.name}/{path}" for path in HELD}
    assert {one.path for one in archive.builds[0].withdrawn} == HELD and archive.builds[1].withdrawn == ()
    everything = b"".join(gzip.decompress(c) if name.endswith(".gz") else c for name, c in after.items() if name != "archive.json")
    assert b"wren" not in everything and b"robin" in everything, "robin took part in what stays"
    page = after[f"{first.name}/results/ledger/index.html"].decode()
    assert "withdrawn from the archive in 2026-08 for privacy" in page
    assert json.loads(gzip.decompress(after[f"{first.name}/data/results.json.gz"]))["withdrawn"]["reason"] == "privacy"


def test_the_archive_stands_verified_with_its_gaps_and_nobody_fills_them(tmp_path):
    first = build(ONE, TWO)
    kept(tmp_path, first)
    taken_out(tmp_path, **{"wren-1": ("2026-08", "legal")})
    (tmp_path / first.name / "data" / "runs.csv").write_bytes(first.files["data/runs.csv"])
    with pytest.raises(ArchiveError, match=r"runs\.csv is not what was published"):
        read_archive(tmp_path)


def test_an_old_state_of_the_repository_cannot_bring_it_back(tmp_path):
    kept(tmp_path, build(ONE, TWO))
    archive = taken_out(tmp_path, **{"wren-1": ("2026-08", "privacy")})
    for again in (build(ONE, TWO), build(ONE, TWO, ratio=1.9)):
        with pytest.raises(ArchiveError, match="taken out of the archive: its tombstone is missing"):
            add_build(archive, again, {})


def test_later_builds_name_the_tombstone_and_stay_whole(tmp_path):
    kept(tmp_path, build(ONE, TWO))
    archive = taken_out(tmp_path, **{"wren-1": ("2026-08", "privacy")})
    later = build(TWO, month="2026-08", removed=("wren-1",))
    write_archive(add_build(archive, later, {}), tmp_path)
    archive = taken_out(tmp_path, **{"wren-1": ("2026-08", "privacy"), "auk-1": ("2026-09", "privacy")})
    assert archive.builds[-1].withdrawn == ()


def test_a_handle_with_an_alias_goes_from_every_kept_build(tmp_path):
    first = build(ONE, TWO)
    kept(tmp_path, first)
    write_archive(withdraw(read_archive(tmp_path), {}, frozenset({"tern"}), "2026-09"), tmp_path)
    archive = read_archive(tmp_path)
    assert {one.path for one in archive.builds[0].withdrawn} == {"data/results.json.gz", "data/runs.csv"}
    assert {one.reason for one in archive.builds[0].withdrawn} == {"alias"}
    assert b"tern" not in b"".join(c for n, c in contents(tmp_path).items() if "/data/" in n and n.endswith(".csv"))
    assert "tern" not in (tmp_path / "archive.json").read_text().replace(first.name, "")
    assert withdraw(archive, {}, frozenset({"tern"}), "2026-10").writes == {}, "once is enough"


def test_a_handle_that_is_a_word_takes_nothing_with_it_that_is_not_about_people():
    wanted = Wanted(frozenset(), frozenset({"steel"}))
    assert not holds("data/answers.csv", b"factor,first\nsteel,a\n", wanted)
    assert holds("data/runs.csv", b"factor,tester\nsteel,steel\n", wanted)
    assert holds("data/runs.csv", b"factor,blade\nx,steel.galley\n", wanted)
    assert not holds("data/runs.csv", b"factor,blade\nx,steelyard.galley\n", wanted)
    assert not holds("results/pool/index.html", b"<p>steel</p>", wanted)


def readable(name: str, content: bytes) -> bytes:
    """What a file says, as bytes; that of a Parquet file is packed."""
    return str(pq.read_table(io.BytesIO(content)).to_pylist()).encode() if name.endswith(".parquet") else content


def test_every_file_of_real_results_that_names_somebody_or_a_submission_is_seen(tmp_path):
    root = make_repository(tmp_path, [by_handle("evening-1"), by_handle("evening-2") | {"month": "2026-04"}, second()])
    write_change(root, 1, retraction(submission="evening-2", by=HANDLE, why="asked"))
    files = {path.name: path.read_bytes() for path in pool(root).iterdir() if not path.name.endswith(".zip")}
    for wanted, word in ((Wanted(frozenset(), frozenset({HANDLE})), HANDLE), (Wanted(frozenset({"evening-1"}), frozenset()), "evening-1")):
        holding = {name for name, content in files.items() if word.encode() in readable(name, content).lower()}
        assert "runs.parquet" in holding
        assert len(holding) >= 4 and {name for name, content in files.items() if holds(f"data/{name}", content, wanted)} == holding


@pytest.mark.parametrize("path", ["a.csv", "a.json", "a.json.gz", "a.html", "a.parquet", "SHA256SUMS.txt"])
@pytest.mark.parametrize("reason", ["privacy", "legal", "alias"])
def test_a_gap_is_a_file_of_its_kind_that_says_so(path, reason):
    made = gap(path, "2026-08", reason)
    text = readable(path, gzip.decompress(made) if path.endswith(".gz") else made).decode()
    assert "2026-08" in text and "withdrawn" in text.lower()
    if ".json" in path:
        json.loads(text)
    if path.endswith(".csv"):
        assert text.splitlines()[0] == "withdrawn,reason,says"
