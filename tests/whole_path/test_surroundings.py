"""The check, a report and a draft say the same in whatever language and alphabet the machine is set to, in a folder of any name."""

import json
import os
import shutil
import subprocess
import sys

import pytest

from tests.records.builder import make_repository, submission

from .test_builds import quiet_surroundings

NOTE = "İstanbul'da ışıkta kesildi: 刃, ½ kg, Grüße"
ASCII = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
COMMANDS = (
    ("check",), ("check", "--json"), ("report", "wren-1"), ("report", "wren-1", "--json"), ("report", "wren-1", "--card"),
    ("report", "wren-1", "--html", "page.html"), ("draft", "protocol", "own-rope", "--print"),
)  # fmt: skip
ALL = """
import json, locale, sys
from edgehold.cli import main
locale.setlocale(locale.LC_ALL, "")
sys.stderr = sys.stdout
for words in json.loads(sys.argv[1]):
    try:
        status = main([*words, "--root", sys.argv[2]])
    except SystemExit as left:
        status = left.code
    print("== status", status, flush=True)
"""


def told(root, folder, setting):
    """What all commands say in one process, and the page that one of them writes."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("LC_", "LANG", "PYTHONUTF8", "PYTHONIO"))}
    words = [sys.executable, "-c", ALL, json.dumps(COMMANDS), root]
    ran = subprocess.run(words, env=kept | setting, cwd=folder, capture_output=True, timeout=300, check=False)
    assert ran.returncode == 0 and ran.stderr == b"", ran.stderr.decode(errors="replace")
    return ran.stdout, (folder / "page.html").read_bytes()


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return make_repository(tmp_path_factory.mktemp("names") / "Ölçüm ıİ" / "depo", [submission({"/note": NOTE})])


@pytest.fixture(scope="module")
def usual(root, tmp_path_factory):
    said, page = told(root, tmp_path_factory.mktemp("usual"), {"LC_ALL": "C.UTF-8"})
    assert said.count(b"== status 0") == len(COMMANDS)
    assert not said.isascii() and not page.isascii(), "or there is nothing to be told otherwise"
    return said.decode(), page


@pytest.fixture(scope="module")
def turkish(tmp_path_factory):
    """Turkish locales, of the ISO alphabet and of Unicode, made for this test: their small I is another one than anybody's."""
    made, tool = tmp_path_factory.mktemp("locales"), shutil.which("localedef") or "false"
    for charset in ("ISO-8859-9", "UTF-8"):
        subprocess.run([tool, "-c", "-i", "tr_TR", "-f", charset, made / f"tr_TR.{charset}"], capture_output=True, check=False)
    if len(list(made.iterdir())) < 2:
        pytest.skip("this machine has no sources of locales")
    return {"LOCPATH": str(made), "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


def test_in_an_alphabet_of_ascii_alone(root, usual, tmp_path):
    assert told(root, tmp_path, ASCII) == (usual[0].encode("ascii", "backslashreplace"), usual[1])


@pytest.mark.parametrize(("charset", "encoding"), [("ISO-8859-9", "iso8859-9"), ("UTF-8", "utf-8")])
def test_in_turkish(charset, encoding, root, usual, turkish, tmp_path):
    said, page = told(root, tmp_path, {"LC_ALL": f"tr_TR.{charset}"} | turkish)
    assert (said, page) == (usual[0].encode(encoding, "backslashreplace"), usual[1])


def test_the_surroundings_of_a_quiet_build_have_neither_git_nor_a_network(tmp_path):
    """What the second build of ``test_builds`` is begun in."""
    words, environment = quiet_surroundings(tmp_path)
    code = """
import json, shutil, socket, sys
try:
    socket.create_connection(("127.0.0.1", 9), timeout=1); network = "connected"
except OSError as error:
    network = str(error)
print(json.dumps([shutil.which("git"), network, sys.flags.utf8_mode, sys.stdout.encoding.lower()]))
"""
    git, network, utf8, encoding = json.loads(
        subprocess.run([*words, sys.executable, "-c", code], env=environment, capture_output=True, check=True).stdout
    )
    assert (git, network, utf8) == (None, "no network here", 0) and encoding in ("ascii", "ansi_x3.4-1968", "us-ascii")
