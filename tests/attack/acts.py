"""Requests over a real git repository: acts in one's own and in other people's names, and floods of objections, drawn."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

from edgehold.errors import ERROR, Finding
from edgehold.records.request.floods import MOST_A_MONTH, MOST_BLOCKING
from edgehold.results.publish.versions import closed_by
from tests.fuzz.readers import Complaint
from tests.proposals import test_identity as known
from tests.proposals.house import AUK, KEEPER, LIAR, LIST, NEW, OBJECTIONS, WREN, appoint, base, bind, carry
from tests.proposals.requests import checked
from tests.proposals.test_floods import many
from tests.records.builder import write, write_tombstone

from .cases import UNSAID, Tried, watch

BOUND = {"wren": WREN, "auk": AUK, "keeper": KEEPER}
IN_USE = ("tern", "dove")
INVENTED = ("moot", "board")
HANDLES = (*BOUND, *IN_USE, *INVENTED, "rook")
AUTHORS = (LIAR, LIAR, WREN, AUK, KEEPER, NEW)
Act = Callable[[Path, str], object]


def shows_otherwise(root: Path, by: str) -> None:
    """Say how a handle is to be shown."""
    bind(root, by, BOUND[by], shown_as="heron")


def appoints(root: Path, by: str) -> None:
    """Give somebody a role from this month on."""
    appoint(root, LIST | {"roles": [*LIST["roles"], {"handle": by, "may": ["decide", "strike"], "since": "2026-06"}]})


def takes_out(root: Path, by: str) -> None:
    """Take a result out; nobody's handle stands in it."""
    write_tombstone(root, "tern-1")
    (root / "submissions/measured/small-rope/tern-1.json").unlink()


SLOTS: tuple[tuple[Act, ...], ...] = (
    (known.sends,),
    (known.retracts, known.halves),
    (known.withdraws, known.responds, known.strikes, known.upholds),
    (known.objects,),
    (known.retires, known.releases),
    (known.seals,),
    (shows_otherwise,),
    (appoints, takes_out),
)
"""Acts of which one request does at most one of each line: they write the same files."""
ANSWERED = {"not-your-handle", "acts-unbound", "invented-handle", "invented-acts"}
"""Codes that say in whose name something was done."""

DUTIES = {"no-role", "taken-out", "roles-changed"}
"""Codes that say that somebody did what a role is for."""


def acts(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """One to three acts in drawn names, sent by a drawn account, with a handle bound or a result carried in now and then."""
    root = base(folder)
    before = _files(root)
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        yield watch(f"acts, seed {number}", lambda rng=rng: _acted(root, rng))
        _restore(root, before)


def _acted(root: Path, rng: random.Random) -> Complaint | None:
    author, done, bound = rng.choice(AUTHORS), [], ""
    for slot in rng.sample(SLOTS, rng.choice((1, 1, 2, 3))):
        act = rng.choice(slot)
        by = rng.choice(tuple(BOUND) if act is shows_otherwise else HANDLES)
        lay = _files(root)
        act(root, by)
        written = sorted(path for path, data in _files(root).items() if lay.get(path) != data and _names_somebody(path))
        done += [(act.__name__, "" if act in (appoints, takes_out) else by, path) for path in written]
    free = [by for _, by, _ in done if by and by not in BOUND]
    if free and rng.random() < 0.3:
        bound = rng.choice(free)
        bind(root, bound, author)
    if rng.random() < 0.2 and any(name == "sends" for name, _, _ in done):
        carry(root, "late-1", rng.choice([handle for handle, account in BOUND.items() if account == author] or ["rook"]))
    findings = checked(root, committed=False, author=author).findings
    for name, by, path in done:
        said = [f for f in findings if f.file == path]
        wrong = _unsaid(by, author, bound, said, findings)
        if wrong:
            return Complaint(UNSAID, f"{name} by {by}, account {author}, binding {bound}: {wrong}; {[f.code for f in findings]}")
    return None


def _names_somebody(path: str) -> bool:
    """Whether a file says who does something: drafts of methods do not."""
    return not (path.startswith("protocols/small-rope/") and path.endswith(".md") and "/objections/" not in path)


def _unsaid(by: str, author: str, bound: str, said: list[Finding], findings: tuple[Finding, ...]) -> str:
    """What should have been said of an act and was not, or was and should not have been; empty where all is well."""
    told, errors = {f.code for f in said}, any(f.severity == ERROR for f in said)
    if not by:
        return "" if any(f.code in DUTIES for f in findings) else "a duty of a maintainer, done unsaid"
    own = BOUND.get(by) == author or (by == bound and by not in BOUND)
    if own and by not in INVENTED:
        if told & ANSWERED:
            return "one's own act is called another's"
        if by in IN_USE and not any(f.code == "binds-handle" for f in findings):
            return "a handle in use was bound unsaid"
        return ""
    carried = any(f.code == "carried" for f in findings)
    nobody_s = any(f.code == "invented-handle" and by in f.file for f in findings)
    return "" if errors or told & ANSWERED or carried or nobody_s else "nothing said of whose name it is"


def floods(folder: Path, seed: int, cases: int) -> Iterator[Tried]:
    """Objections by the dozen, under one handle or many, some of them about safety."""
    root = base(folder)
    before = _files(root)
    for number in range(seed, seed + cases):
        rng = random.Random(number)
        yield watch(f"objections, seed {number}", lambda rng=rng: _flooded(root, rng))
        _restore(root, before)


def _flooded(root: Path, rng: random.Random) -> Complaint | None:
    count = rng.choice((1, 3, 6, 12, 30))
    if rng.random() < 0.5:
        bind(root, "rook", LIAR)
    many(root, count, **({"/severity": "blocking"} if rng.random() < 0.5 else {}))
    paths = sorted(path for path in _files(root) if path.startswith(OBJECTIONS) and path.endswith("-flaw/00-objection.md"))
    for place, path in enumerate(paths):
        if rng.random() < 0.4:  # a handle of its own, a month of its own, or about safety
            text = (root / path).read_text()
            if rng.random() < 0.5:
                text = text.replace("by: rook", f"by: rook-{place}")
            text = text.replace("month: 2026-06", f"month: 2026-0{rng.choice((1, 5, 6))}")
            (root / path).write_text(text.replace("threat: order", "threat: safety") if rng.random() < 0.5 else text)
    found = checked(root, committed=False, author=LIAR)
    refused = {f.file for f in found.findings if f.severity == ERROR or f.code in ("too-many-objections", "too-many-blocking")}
    taken = [path for path in paths if path not in refused]
    if len(taken) > MOST_A_MONTH or sum("severity: blocking" in (root / path).read_text() for path in taken) > MOST_BLOCKING:
        return Complaint(UNSAID, f"{len(taken)} of {count} objections of one account in one request are taken")
    asked = {int(path.removeprefix(f"{OBJECTIONS}/")[:3]) for path in taken}
    shut = asked & set(closed_by(found.repository, "small-rope", "1.0.0"))
    return Complaint(UNSAID, f"a stranger's objections {sorted(shut)} close a form") if shut else None


def _files(root: Path) -> dict[str, bytes]:
    """Files of the working tree by path."""
    found = (path for path in root.rglob("*") if path.is_file() and path.relative_to(root).parts[0] != ".git")
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in found}


def _restore(root: Path, before: dict[str, bytes]) -> None:
    now = _files(root)
    for path in now.keys() - before.keys():
        (root / path).unlink()
    for path, data in before.items():
        if now.get(path) != data:
            write(root / path, data)
