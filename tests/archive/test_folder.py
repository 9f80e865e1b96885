"""What is archived gives the same bytes for ever: an address vouches for its files, and a build that would change one fails."""

import hashlib
import json
import shutil
import subprocess

import pytest

from edgehold.archive.build import Facts, make_build, read_sums
from edgehold.archive.folder import ArchiveError, add_build, asset_name, read_archive, standing_for, write_archive
from edgehold.errors import InputError

from .builds import STYLE, build, contents, kept, submission

ONE, TWO = submission("wren-1", "wren"), submission("tern-1", "tern")


def test_old_addresses_give_the_old_bytes_after_new_builds(tmp_path):
    first, second = build(ONE), build(ONE, TWO, month="2026-07", ratio=1.7)
    kept(tmp_path, first)
    before = contents(tmp_path)
    archive = kept(tmp_path, second)
    after = contents(tmp_path)
    assert [one.name for one in archive.builds] == [first.name, second.name]
    assert {name: after[name] for name in before if name != "archive.json"} == {n: c for n, c in before.items() if n != "archive.json"}
    assert after[f"{first.name}/results/pool/index.html"] == b"<p>ratio 1.5</p>"
    assert after[f"{second.name}/results/pool/index.html"] == b"<p>ratio 1.7</p>"


def test_an_address_vouches_for_every_file_by_a_program_that_knows_nothing_of_us(tmp_path):
    made = build(ONE)
    kept(tmp_path, made)
    folder = tmp_path / made.name
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=folder, check=True)
    listed = set(read_sums((folder / "SHA256SUMS").read_bytes()))
    assert listed == {name for name in contents(folder) if name != "SHA256SUMS"}
    assert made.name == f"2026-06-{hashlib.sha256((folder / 'SHA256SUMS').read_bytes()).hexdigest()[:12]}"


def test_a_file_where_the_folder_should_be_is_named(tmp_path):
    place = tmp_path / "archive"
    place.write_text("no folder", encoding="utf-8")
    with pytest.raises(ArchiveError, match="archive is no archive that can be read"):
        read_archive(place)


@pytest.mark.parametrize("path", ["results/pool/index.html", "data/runs.csv", "SHA256SUMS", "build.json"])
def test_a_changed_file_stops_everything_and_is_named(tmp_path, path):
    made = build(ONE)
    kept(tmp_path, made)
    place = tmp_path / made.name / path
    place.write_bytes(place.read_bytes().replace(b"1", b"2"))
    with pytest.raises(ArchiveError, match=path):
        read_archive(tmp_path)


def test_a_missing_or_foreign_file_stops_everything(tmp_path):
    made = build(ONE)
    kept(tmp_path, made)
    (tmp_path / made.name / "results" / "extra.html").write_text("more")
    with pytest.raises(ArchiveError, match=r"extra\.html belongs to no build"):
        read_archive(tmp_path)
    (tmp_path / made.name / "results" / "extra.html").unlink()
    (tmp_path / made.name / "data" / "answers.csv").unlink()
    with pytest.raises(ArchiveError, match=r"answers\.csv is missing"):
        read_archive(tmp_path)


def test_a_build_cannot_be_renamed_nor_a_shared_style_changed(tmp_path):
    made = build(ONE)
    kept(tmp_path, made)
    style = tmp_path / asset_name(STYLE)
    style.write_bytes(b"body { color: white; }")
    with pytest.raises(ArchiveError, match="its hash gives another name"):
        read_archive(tmp_path)
    style.write_bytes(STYLE)
    other = f"2026-09-{made.name[-12:]}"
    shutil.move(tmp_path / made.name, tmp_path / other)
    index = json.loads((tmp_path / "archive.json").read_text()) | {"builds": [other]}
    (tmp_path / "archive.json").write_text(json.dumps(index))
    with pytest.raises(ArchiveError, match=made.name):
        read_archive(tmp_path)


def test_other_bytes_under_a_kept_name_are_refused(tmp_path):
    made = build(ONE)
    archive = kept(tmp_path, made)
    changed = type(made)(made.name, made.facts, {**made.files, "data/answers.csv": b"first,second,ratio\na,b,9\n"})
    with pytest.raises(ArchiveError, match=r"data/answers\.csv would change, and what is archived never does"):
        add_build(archive, changed, {})


def test_the_same_build_twice_is_one_and_so_is_one_that_differs_in_its_commit_alone(tmp_path):
    archive = kept(tmp_path, build(ONE, commit="1" * 40))
    before = contents(tmp_path)
    again, later = build(ONE, commit="1" * 40), build(ONE, commit="2" * 40)
    assert again.name != later.name
    for one in (again, later):
        after = add_build(archive, one, {})
        assert after.builds == archive.builds and not after.writes
        assert standing_for(archive, one) == archive.builds[0]
    assert standing_for(archive, build(ONE, commit="2" * 40, ratio=1.6)) is None
    assert contents(tmp_path) == before


def test_a_path_that_is_none_of_an_address_is_refused():
    for path in ("../out", "/abs", "a//b", "a/../b", "SHA256SUMS", "build.json", "a b", ".hidden", ""):
        with pytest.raises(InputError, match="for a file of a build"):
            make_build(Facts("2026-06", "0.1.0", "", "12" * 32, 1), {path: b""})


def test_a_file_that_nobody_could_look_into_is_refused():
    for path in ("data/all.zip", "data/sheet.xlsx", "data/table.arrow", "noending"):
        with pytest.raises(InputError, match="wanted one of the kinds"):
            make_build(Facts("2026-06", "0.1.0", "", "12" * 32, 1), {path: b""})


def test_an_index_that_is_damaged_is_no_archive(tmp_path):
    kept(tmp_path, build(ONE))
    for text in ("", "{}", '{"builds": ["../../etc"], "taken_out": [], "renamed": [], "withdrawn": {}}'):
        (tmp_path / "archive.json").write_text(text)
        with pytest.raises(ArchiveError):
            read_archive(tmp_path)


def test_an_empty_folder_is_an_empty_archive(tmp_path):
    assert read_archive(tmp_path / "none").builds == read_archive(tmp_path).builds == ()
    write_archive(read_archive(tmp_path), tmp_path)
    assert contents(tmp_path) == {}
