"""Build, change the data, build again: old addresses give the old bytes, and what was taken out is in none of them."""

import gzip
import hashlib
import io
import json
import shutil
import zipfile
from dataclasses import dataclass
from html import unescape
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from edgehold.builds import site
from edgehold.cli import main
from edgehold.pages.links import broken_links
from tests.records.builder import correction, make_repository, retraction, second, submission, values, write_change, write_tombstone

BLUNTER = ("/runs/1/readings/2/values", values(2.0, 2.2), values(8.0, 8.4))


@dataclass(frozen=True)
class Published:
    """What one build published: its files by address, and its name in the archive."""

    files: dict[str, bytes]
    name: str

    def below(self, address: str) -> dict[str, bytes]:
        """Files below an address."""
        return {path: content for path, content in self.files.items() if path.startswith(address)}


def publish(root: Path, archive: Path) -> Published:
    folder = site(root, archive=archive).parent
    files = {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}
    return Published(files, json.loads((archive / "archive.json").read_text())["builds"][-1])


@pytest.fixture(scope="module")
def history(tmp_path_factory):
    """A repository published three times: as sent in, corrected, and with one submission taken out."""
    folder = tmp_path_factory.mktemp("history")
    root, archive = make_repository(folder / "repository", [submission(), second()]), folder / "kept"
    builds = [publish(root, archive)]
    write_change(root, 1, correction(BLUNTER))
    builds.append(publish(root, archive))
    place = root / "submissions/measured/small-rope"
    (place / "wren-1.json").unlink()
    shutil.rmtree(place / "changes")
    write_tombstone(root, "wren-1")
    builds.append(publish(root, archive))
    yield root, archive, *builds
    shutil.rmtree(folder)


def test_old_addresses_give_the_old_bytes_after_the_data_changed(history):
    _, _, first, second, _ = history
    old = f"archive/{first.name}/"
    assert first.name != second.name and first.below(old) == second.below(old)
    moved = {
        path.removeprefix(old) for path in first.below(old) if second.files[path] != second.files.get(path.replace(first.name, second.name))
    }
    assert {"data/readings.csv", "data/curves.csv", "results/small-rope-v1-measured/index.html"} <= moved, "figures did move"
    assert "steels/index.html" not in moved, "what did not change is the same file in both"
    assert all(path.startswith("archive/") for path in first.below("archive/"))


def test_a_kept_build_has_the_data_and_the_pages_that_carry_figures(history):
    root, _, first, _, _ = history
    old = f"archive/{first.name}/"
    kept = {path.removeprefix(old) for path in first.below(old)}
    assert {"index.html", "build.json", "SHA256SUMS", "data/results.json.gz", "data/answers.csv", "data/datapackage.json"} <= kept
    live = {path for path in first.files if path.startswith(("results/", "steels/", "analysts/")) and path.endswith(".html")}
    assert live and live - {"results/explore/index.html"} <= kept
    assert not {"results/explore/index.html", "compare/index.html"} & kept, "they show nothing without a script"
    assert not any(path.startswith(("submissions/", "protocols/", "assets/", "data/schemas")) for path in kept)
    assert gzip.decompress(first.files[f"{old}data/results.json.gz"]) == first.files["data/results.json"]
    assert all(first.files[f"{old}{path}"] == first.files[path] for path in kept if path.endswith(".csv"))
    assert root.exists()


def test_kept_pages_lead_somewhere_and_name_nobody(history, tmp_path):
    _, _, first, _, _ = history
    for path, content in first.files.items():
        place = tmp_path / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    (tmp_path / "archive").rename(tmp_path / "kept")  # where the check of links does look
    assert [line for line in broken_links(tmp_path) if line.startswith("kept/") and "archive/" not in line] == []
    pages = b"".join(content for path, content in first.below(f"archive/{first.name}/").items() if path.endswith(".html"))
    assert b"wren" not in pages and b"tern-1" not in pages and b"<script" not in pages


def test_every_page_with_a_figure_cites_the_build_that_is_published_with_it(history):
    _, _, first, second, _ = history
    for build in (first, second):
        cited = [path for path, content in build.files.items() if b'id="cite-bibtex"' in content]
        assert len(cited) >= 3
        for path in cited:
            kept = f"archive/{build.name}/{path}"
            assert f"/{kept.removesuffix('index.html')}" in unescape(build.files[path].decode())
            assert kept in build.files


def test_the_list_names_every_build_and_its_gaps(history):
    _, _, first, second, third = history
    told = unescape(third.files["archive/index.html"].decode())
    assert all(f'href="{one.name}/"' in told for one in (first, second, third))
    assert told.index(third.name) < told.index(second.name) < told.index(first.name)
    assert "files were withdrawn in 2026-06: a submission was taken out for privacy" in told


def _text(path: str, content: bytes) -> str:
    """All that a file says; of a Parquet file, which is packed, its values and what it tells of itself."""
    if path.endswith(".parquet"):
        table = pq.read_table(io.BytesIO(content))
        return f"{table.schema.metadata} {table.to_pylist()}"
    return (gzip.decompress(content) if path.endswith(".gz") else content).decode()


def test_what_was_taken_out_is_in_no_kept_build(history):
    _, _, first, second, third = history
    for path, content in third.below("archive/").items():
        if third.name in path or path in ("archive/index.html",) or path.endswith("SHA256SUMS"):
            continue
        text = _text(path, content)
        assert "wren-1" not in text and "wren.galley" not in text, path
    for build in (first, second):
        gone = [path for path in third.below(f"archive/{build.name}/") if third.files[path] != build.files[path]]
        assert f"archive/{build.name}/data/results.json.gz" in gone and f"archive/{build.name}/data/runs.csv" in gone
        assert not any(path.endswith(".html") for path in gone), "no page named it"
        assert b"withdrawn" in third.files[f"archive/{build.name}/data/runs.csv"]
    assert "submissions/measured/small-rope/wren-1.json" in first.files["data/SHA256SUMS"].decode()
    assert "wren-1" in _text("runs.parquet", first.files["data/runs.parquet"]), "it would be seen"
    assert not third.below("data/submissions/measured/small-rope/wren-1")


def test_submissions_are_handed_out_byte_for_byte_beside_their_hashes(history):
    root, _, first, second, third = history
    listed = {line[66:]: line[:64] for line in second.files["data/SHA256SUMS"].decode().splitlines()}
    for path in ("submissions/measured/small-rope/tern-1.json", "submissions/measured/small-rope/changes/wren-1/01-correction.json"):
        assert hashlib.sha256(second.files[f"data/{path}"]).hexdigest() == listed[path]
    sent = "submissions/measured/small-rope/tern-1.json"
    assert third.files[f"data/{sent}"] == (root / sent).read_bytes()
    page = first.files["submissions/measured/small-rope/tern-1/index.html"].decode()
    assert hashlib.sha256(first.files[f"data/{sent}"]).hexdigest() in page and f"../../../../data/{sent}" in page
    everything = {name: content for name, content in second.files.items() if name.startswith("data/")}
    sheets = ("data/sheets/", "data/examples/", "data/index.html", "data/SHA256SUMS")
    assert {f"data/{name}" for name in listed if not name.startswith("schemas/")} == {n for n in everything if not n.startswith(sheets)}


def test_a_build_over_a_changed_archive_fails_with_its_name_and_the_last_build_stands(history, capsys):
    root, archive, first, _, _ = history
    page = archive / first.name / "results" / "index.html"
    before, stands = page.read_bytes(), (root / "build" / "current").resolve()
    page.write_bytes(before + b"<p>and more</p>")
    try:
        assert main(["site", "--root", str(root), "--archive", str(archive)]) == 2
    finally:
        page.write_bytes(before)
    assert f"archive/{first.name}/results/index.html is not what was published" in capsys.readouterr().err
    assert (root / "build" / "current").resolve() == stands


def test_a_deposit_holds_data_sources_hashes_and_metadata_and_is_the_same_twice(tmp_path):
    root = make_repository(tmp_path / "repository", [submission(), second()])
    write_change(root, 1, retraction())
    assert main(["deposit", "--root", str(root), str(tmp_path / "one.zip")]) == 0
    with zipfile.ZipFile(tmp_path / "one.zip") as deposit:
        files = {name: deposit.read(name) for name in deposit.namelist()}
    listed = {line[66:]: line[:64] for line in files["SHA256SUMS"].decode().splitlines()}
    assert listed == {name: hashlib.sha256(content).hexdigest() for name, content in files.items() if name != "SHA256SUMS"}
    assert files["data/results.json"] and files["data/datapackage.json"]
    assert (
        files["repository/submissions/measured/small-rope/wren-1.json"]
        == (root / "submissions/measured/small-rope/wren-1.json").read_bytes()
    )
    assert any(name.startswith("repository/protocols/small-rope/events/") for name in files)
    assert json.loads(files["metadata.jsonld"])["@type"] == "Dataset"
    assert b"$" not in files["README.txt"]
    assert main(["deposit", "--root", str(root), str(tmp_path / "two.zip")]) == 0
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
