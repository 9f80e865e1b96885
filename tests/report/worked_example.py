"""The worked example's commands, run where the page says, and what they print.

``python -m tests.report.worked_example`` fills the sheet in anew and writes what the commands print into the page.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.published import copy_demonstrated

from .fill_sheet import filled

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "site" / "pages" / "worked-example.md"
SHEET = ROOT / "site" / "pages" / "assets" / "worked-example" / "filled-sheet.csv"
EXCERPT = re.compile(r"^```csv\n(.*?)^```$", re.DOTALL | re.MULTILINE)
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def blocks(page: str) -> list[str]:
    """Every block of commands with what they print."""
    return BLOCK.findall(page)


def commands(block: str) -> list[str]:
    """The commands of a block: lines that begin with a dollar sign, each with the lines that a backslash joins to it."""
    found, joined = [], False
    for line in block.splitlines():
        if joined:
            found[-1] += f"\n{line}"
        elif line.startswith("$ "):
            found.append(line[2:])
        joined = (joined or line.startswith("$ ")) and line.endswith("\\")
    return found


def repository(folder: Path) -> Path:
    """The protocols, and no submission to the one that is followed."""
    copy_demonstrated(folder, leave_out="two-sharpeners-rope")
    shutil.copy(ROOT / "mkdocs.yml", folder / "mkdocs.yml")
    (folder / "submissions" / "measured").mkdir()
    return folder


def printed(command: str, folder: Path) -> str:
    """What a command prints, progress and names of written files (the error stream) left out."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = os.environ | {"PATH": path, "PYTHONIOENCODING": "utf-8", "LC_ALL": "C.UTF-8"}
    done = subprocess.run(["sh", "-c", command], cwd=folder, env=environment, capture_output=True, text=True, encoding="utf-8")
    assert done.returncode in (0, 1), f"{command}\n{done.stderr}"
    return done.stdout


def first_run(sheet: str) -> str:
    """The rows of the sheet's first run."""
    rows = sheet.splitlines()
    return "\n".join(rows[rows.index("Run 1") : rows.index("Run 2") - 1]) + "\n"


def run_again(page: str, folder: Path, sheet: str | None = None) -> list[str]:
    """Every block as it comes out when its commands are run one after the other.

    Parameters
    ----------
    page : the page.
    folder : of `repository`.
    sheet : the filled-in sheet; None: fill in the drawn one, once it is there.
    """
    found = []
    for block in blocks(page):
        text = ""
        for command in commands(block):
            _lay_out(folder, sheet)
            text += f"$ {command}\n{printed(command, folder)}"
        found.append(text)
    return found


def _lay_out(folder: Path, sheet: str | None) -> None:
    """Put the filled-in sheet beside the drawn one, as somebody who has cut would."""
    drawn, mine = folder / "sheets" / "sheet.csv", folder / "filled-sheet.csv"
    if drawn.is_file() and not mine.is_file():
        text = sheet or filled(drawn.read_bytes().decode(), (folder / "plan.json").read_text(encoding="utf-8"))
        mine.write_bytes(text.encode())


def main() -> None:
    """Write the sheet and the page anew."""
    with tempfile.TemporaryDirectory() as name:
        folder, page = repository(Path(name)), PAGE.read_text(encoding="utf-8")
        fresh = iter(run_again(page, folder))
        page = BLOCK.sub(lambda _: f"```console\n{next(fresh)}```", page)
        excerpt = first_run((folder / "filled-sheet.csv").read_text(encoding="utf-8"))
        PAGE.write_text(EXCERPT.sub(lambda _: f"```csv\n{excerpt}```", page), encoding="utf-8")
        SHEET.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(folder / "filled-sheet.csv", SHEET)


if __name__ == "__main__":
    main()
