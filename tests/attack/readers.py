"""Every reader, given damaged, drawn and hostile files by the thousand, by the functions that the command line calls."""

from __future__ import annotations

import contextlib
import io
import json
import random
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

from edgehold.cli import main
from edgehold.pages.csp import PLACE, with_policy
from edgehold.pages.hands import hands_of
from edgehold.pages.safe_text import drawing, headings, protocol_body
from edgehold.records import load_repository
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import Protocol
from edgehold.records.read.letters import to_letters
from edgehold.records.rules.body_limits import body_problems
from edgehold.records.rules.figures import drawing_problems
from edgehold.report.among import read_results
from edgehold.results.publish.repeatability import read_published
from edgehold.review.method_drafts import answers_text, method_draft, read_answers
from edgehold.sheets.finished import finished_from_bytes, is_finished
from tests.browser.payloads import Payloads
from tests.fuzz import readers as files
from tests.fuzz import sheets
from tests.fuzz.mutations import FRAGMENTS, TEXTS, damaged_bytes, mutated
from tests.fuzz.readers import LOST, Complaint
from tests.records.builder import TODAY, make_repository, protocol, submission
from tests.whole_path.test_green_builds import ATTRIBUTES, ELEMENTS, PIECES, VALUES

from .cases import Tried, watch

ROOT = Path(__file__).parents[2]
Draw = Callable[[Path, int, int], Iterator[Tried]]
"""Of a folder of one's own, the seed of the first case and how many, the cases tried."""
POOLED_EVERY = 10


def repository_files(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Files of every kind in a repository: damaged, read with all others, and pooled and laid out where they are sound."""
    for number, case in enumerate(files.damaged(files.repository(folder / "records"), seed, cases, POOLED_EVERY), seed):
        yield Tried(f"{case.path}, seed {number}", case.complaint, case.seconds, case.data)


def filled_sheets(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Sheets, CSV and XLSX."""
    for number, case in enumerate(sheets.damaged_sheets(folder / "sheets", seed, cases), seed):
        yield Tried(f"{case.path}, seed {number}", case.complaint, case.seconds, case.data)


def finished_files(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Finished submissions that somebody hands over: as JSON, or as a block of letters in other text."""
    known = load_repository(make_repository(folder / "known", []), today=TODAY)
    good = json.dumps(submission(), indent=1).encode()
    for number in range(seed, seed + cases):
        data = _handed_over(good, random.Random(number))
        yield watch(f"finished file, seed {number}", lambda data=data: _taken(data, known), data)


def _taken(data: bytes, known: object) -> Complaint | None:
    if not is_finished(data):
        return None
    intake = finished_from_bytes(data, known, TODAY)
    json.dumps(intake.submission, allow_nan=False)
    return None if intake.submission is not None or intake.questions else Complaint(LOST, "neither read nor refused")


def _handed_over(good: bytes, rng: random.Random) -> bytes:
    if rng.random() < 0.6:
        return mutated(good, "json", rng)
    block = to_letters(mutated(good, "json", rng) if rng.random() < 0.7 else good)
    if rng.random() < 0.3:
        block = _block_of(zlib.compress(bytes(10**7), 9, -15))  # a megabyte packed a thousandfold
    text = f"Dear all,\n> {rng.choice(TEXTS)}\n{block}\n-- \n".encode("utf-8", "surrogatepass")
    return damaged_bytes(text, rng) if rng.random() < 0.7 else text


def _block_of(packed: bytes) -> str:
    from base64 import b32encode

    letters = b32encode(packed + zlib.crc32(packed).to_bytes(4, "big")).decode().rstrip("=")
    return f"BEGIN EDGEHOLD RESULT, VERSION 1, {len(letters)} LETTERS\n{letters}\nEND EDGEHOLD RESULT\n"


def tables(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Published tables of repeatability, which a report is told to use, and the results of a build."""
    table, built = folder / "table.json", folder / "build" / "results" / "results.json"
    built.parent.mkdir(parents=True, exist_ok=True)
    pool = sorted((Path(__file__).parents[1] / "records" / "fixtures").rglob("repeatability*.json"))
    good = [path.read_bytes() for path in pool] or [b'{"format": "repeatability/1.0.0", "sha256": "", "pools": []}']
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        data = mutated(rng.choice(good), "json", rng)
        table.write_bytes(data)
        built.write_bytes(data)
        yield watch(f"table, seed {number}", lambda: read_published(table) and None, data)
        read_results(folder, PoolKey("two-sharpeners-rope", 1, "simulated"))


def answers(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Answers from which a method is drafted."""
    root, file = make_repository(folder / "answers", []), folder / "answers.yaml"
    good = answers_text().encode()
    for number in range(seed, seed + cases):
        data = mutated(good, "yaml", random.Random(number))
        file.write_bytes(data)
        yield watch(f"answers, seed {number}", lambda: method_draft(root, "own-rope", read_answers(file)) and None, data)


def bodies(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Bodies of methods and drawings: what has no finding is laid out, and the policy of its page holds."""
    record = Protocol.model_validate_json(json.dumps(protocol()))
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        body, svg = drawn_body(rng), drawn_drawing(rng)
        yield watch(f"body and drawing, seed {number}", lambda b=body, s=svg: _laid_out(record, b, s), body.encode() + svg)


def _laid_out(record: Protocol, body: str, svg: bytes) -> None:
    problems = [*body_problems(body), *drawing_problems(svg)]
    text = svg.decode("utf-8", "replace")
    page = protocol_body(body, {"figures/d.svg": drawing(text, "d-", "a drawing")})
    headings(body)
    hands_of(record, body, {"figures/d.svg": text}, "hands-")
    if not problems:
        with_policy(f"<head>{PLACE}</head>{page}")


def drawn_body(rng: random.Random) -> str:
    """A text of pieces of Markdown and of payloads, repeated and nested at will."""
    say = Payloads()
    say.told = [""] * rng.randrange(1000)  # each begins at another of the payloads
    parts = [rng.choice(PIECES) * rng.choice((1, 1, 1, 2, 5, 40)) for _ in range(rng.randrange(25))]
    parts += [f"\n\n{say.short()}\n\n" for _ in range(rng.randrange(4))]
    rng.shuffle(parts)
    return "".join(parts)


def drawn_drawing(rng: random.Random) -> bytes:
    """An SVG of allowed and other elements, damaged now and then."""

    def leaf() -> str:
        name, key = rng.choice(ELEMENTS), rng.choice(ATTRIBUTES)
        return f"<{name} {key}='{rng.choice(VALUES)}'>{rng.choice(('', 'text', '&lt;', '&#120;'))}</{name}>"

    depth = rng.choice((0, 1, 5, 40, 2_000))
    inside = "".join(leaf() for _ in range(rng.randrange(6)))
    svg = f"<svg xmlns='http://www.w3.org/2000/svg'>{'<g>' * depth}{inside}{'</g>' * depth}</svg>".encode()
    return damaged_bytes(svg, rng) if rng.random() < 0.2 else svg


WORDS = (
    ("intake", "{file}"), ("intake", "{file}", "--json"), ("intake", "{sheet}", "--plan", "{plan}"), ("intake", "{file}", "--draft"),
    ("report", "{file}"), ("report", "{file}", "--json"), ("report", "{file}", "--card"), ("report", "{good}", "--table", "{file}"),
    ("check", "{file}"), ("check", "{text}"), ("draft", "protocol", "own-rope", "--answers", "{file}", "--print"),
    ("draft", "protocol", "{text}", "--print"), ("correct", "wren-1", "--set", "{text}", "{text}", "--why", "{text}", "--by", "{text}"),
    ("correct", "wren-1", "--remove", "{text}", "--why", "x", "--by", "wren"), ("retract", "{text}", "--why", "{text}", "--by", "{text}"),
    ("report", "{text}"), ("plan", "{text}", "--dry"),
)  # fmt: skip
PLAN = (
    "plan",
    "small-rope",
    "--blade",
    "wren.galley",
    "--sharpener",
    "wren",
    "--sharpener",
    "tern",
    "--tester",
    "wren",
    "--drawn",
    "2",
    "--dry",
)
OPTIONS = (
    "--metres",
    "--minutes",
    "--evenings",
    "--hand",
    "--runs",
    "--seed",
    "--id",
    "--month",
    "--drawn",
    "--angle",
    "--last",
    "--tester",
)
POINTERS = ("/note", "/runs/0/note", "/runs/0/readings/0/values/0/written", "/runs/-1", "/", "", "/runs/00", "/~", "/people/0", "/month")
NUMBERS = ("0", "-1", "1e400", "nan", "inf", "1", "2.5", "1" * 30, "١", "0x10", " ", "1_0", "2026-06", "۲")


def commands(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Whole commands with drawn words and files; the last word is a sentence and a status."""
    root = make_repository(folder / "repository", [submission()])
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        good = [(folder / name, data) for name, data in _good_files(root)]
    for path, data in good:
        path.write_bytes(data)
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        source, kind = rng.choice(good)[0], rng.choice(("json", "yaml", "markdown"))
        data = mutated(source.read_bytes(), kind, rng)
        (folder / "drawn").write_bytes(data)
        (folder / "drawn-plan").write_bytes(mutated((folder / "plan.json").read_bytes(), "json", rng))
        words = [_word(word, folder, rng) for word in _words(rng)]
        yield watch(f"{' '.join(words)[:90]!r}, seed {number}", lambda words=words: _commanded(root, folder, words), data)


def _good_files(root: Path) -> Iterator[tuple[str, bytes]]:
    yield "good.json", json.dumps(submission(), indent=1).encode()
    yield "sheet.csv", (sheets.CORPUS / "clean.csv").read_bytes()
    yield "answers.yaml", answers_text().encode()
    main([*PLAN[:-1], "--seed", "1", "--output", str(root.parent / "plan.json"), "--root", str(root)])
    yield "plan.json", (root.parent / "plan.json").read_bytes()
    yield "method.md", (root / "protocols/small-rope/1.0.0.md").read_bytes()


def _words(rng: random.Random) -> tuple[str, ...]:
    return (*PLAN, rng.choice(OPTIONS), "{text}") if rng.random() < 0.2 else rng.choice(WORDS)


def _word(word: str, folder: Path, rng: random.Random) -> str:
    """A word of a command: one of the files, or a text that is drawn."""
    names = {"{file}": "drawn", "{plan}": "drawn-plan", "{good}": "good.json", "{sheet}": "sheet.csv"}
    if word in names:
        return str(folder / names[word])
    return rng.choice((*TEXTS, *POINTERS, *NUMBERS, *(part.decode("utf-8", "replace") for part in FRAGMENTS))) if word == "{text}" else word


def _commanded(root: Path, folder: Path, words: list[str]) -> Complaint | None:
    """Run it in a folder of its own; what it writes is taken away, and what was there has to be there still."""
    before = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(folder):
        try:
            status = main([*words, "--root", str(root)])
        except SystemExit as left:  # argparse has said what it wanted
            status = int(left.code or 0)
    after = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    for path in after.keys() - before.keys():
        path.unlink()
    for path in folder.glob("*-half-done.json"):
        path.unlink()
    (folder / "wren-1.json").unlink(missing_ok=True)
    if any(after.get(path) != data for path, data in before.items()):
        return Complaint(LOST, "a file that was there is another one, or none")
    if status not in (0, 1, 2) or (status and not (out.getvalue() + err.getvalue()).strip()):
        return Complaint(LOST, f"status {status} and not a word")
    return None


READERS: dict[str, Draw] = {
    "files of a repository, all kinds": repository_files,
    "sheets, CSV and XLSX": filled_sheets,
    "finished files and blocks of letters": finished_files,
    "tables of repeatability, results": tables,
    "answers for a draft": answers,
    "bodies and drawings": bodies,
    "whole commands": commands,
}
