"""Blocks of letters as they arrive: whole ones with what a message does around them, and damaged ones with what must be said of them.

Both readers are held to them: ``tests/records/test_letters.py`` and ``tests/browser/test_letters.py``.
"""

from __future__ import annotations

import json
import re
import zlib
from base64 import b32encode
from dataclasses import dataclass, field

from edgehold.records.read.letters import MOST_BYTES, to_letters
from tests.records.builder import submission

FILE = (json.dumps(submission() | {"note": "Grüße, 刃 & 🔪"}, indent=2, ensure_ascii=False) + "\n").encode()
BLOCK = to_letters(FILE)
BEGIN, *LINES, END = BLOCK.splitlines()
LETTERS = "".join(LINES)


@dataclass(frozen=True)
class Damaged:
    """A text, the code of what is wrong with it, and the figures that are told."""

    why: str
    text: str
    code: str
    arguments: dict[str, str | int] = field(default_factory=dict)


def block_of(letters: str, version: int = 1) -> str:
    """Letters as a block that counts them rightly."""
    return f"BEGIN EDGEHOLD RESULT, VERSION {version}, {len(letters)} LETTERS\n{letters}\nEND EDGEHOLD RESULT\n"


def packed_as(data: bytes) -> str:
    """Bytes that are taken for packed, as a block with the right checksum."""
    return block_of(b32encode(data + zlib.crc32(data).to_bytes(4, "big")).decode().rstrip("="))


def around() -> dict[str, str]:
    """Whole blocks, with what messages, forums and mail programs do."""
    return {
        "as it is": BLOCK,
        "in a message": f"Hello,\n\nhere is our evening.\n\n{BLOCK}\nBest, wren",
        "quoted": "\n".join(f"> {line}" for line in BLOCK.splitlines()),
        "quoted twice, in HTML": "\n".join(f"&gt;&gt; {line}" for line in BLOCK.splitlines()),
        "on one line": " ".join(BLOCK.split()),
        "a full stop behind": BLOCK.strip() + ".",
        "in small letters": BLOCK.lower(),
        "wrapped elsewhere": "\n".join(re.findall(".{1,37}", BLOCK.replace("\n", " "))),
        "line ends of another system": BLOCK.replace("\n", "\r\n"),
        "every line end doubled": BLOCK.replace("\n", "\n\n"),
        "soft line ends of a mail": BLOCK.replace("\n", "=\n"),
        "spaces that do not break": BLOCK.replace(" ", "\u00a0"),
        "between three marks": f"```\n{BLOCK}```",
        "in bold": f"**{BEGIN}**\n{LETTERS}\n**{END}**",
        "without the line ends at begin and end": f"{BEGIN}{LETTERS}{END}",
        "a byte order mark before": f"\ufeff{BLOCK}",
    }


def _cases() -> list[Damaged]:
    wanted = len(LETTERS)
    other = "A" if LETTERS[100] != "A" else "B"
    changed = LETTERS[:100] + other + LETTERS[101:]
    bomb = zlib.compress(b" " * (200 * MOST_BYTES), 9, wbits=-15)
    one_more = zlib.compress(b" " * (MOST_BYTES + 1), 9, wbits=-15)
    whole = zlib.compress(FILE, 9, wbits=-15)
    counted = {"wanted": wanted}
    return [
        Damaged("nothing of the kind", "Hello, see you on Friday.", "none"),
        Damaged("no text at all", "", "none"),
        Damaged("without its first line", BLOCK.replace(BEGIN, ""), "no_begin"),
        Damaged("without the number in its first line", BLOCK.replace(f"{wanted} LETTERS", "LETTERS"), "no_begin"),
        Damaged("cut off", BLOCK[: len(BLOCK) // 2], "cut_off"),
        Damaged("without its last line", BLOCK.replace(END, ""), "cut_off"),
        Damaged("its last line first", f"{END}\n{BEGIN}\n{LETTERS}", "cut_off"),
        Damaged("two of them", BLOCK + "\nand the other one\n" + BLOCK, "several", {"blocks": 2}),
        Damaged("the second without its first line", BLOCK + BLOCK.replace(BEGIN, ""), "several", {"blocks": 2}),
        Damaged("the first without its end", BLOCK.replace(END, "") + BLOCK, "several", {"blocks": 2}),
        Damaged("of a later version", block_of(LETTERS, 2), "other_version", {"version": 2, "known": 1}),
        Damaged("a digit that no block has", BLOCK.replace(LINES[2], "8" + LINES[2][1:]), "strange", {"sign": "8"}),
        Damaged("the hour of a message inside", BLOCK.replace(LINES[1], f"{LINES[1]}\n[20:15] wren: "), "strange", {"sign": "0"}),
        Damaged("a letter lost", BLOCK.replace(LETTERS[:60], LETTERS[1:60]), "count", counted | {"got": wanted - 1}),
        Damaged("a line lost", BLOCK.replace(LINES[3] + "\n", ""), "count", counted | {"got": wanted - len(LINES[3])}),
        Damaged("a line twice", BLOCK.replace(LINES[3], LINES[3] * 2), "count", counted | {"got": wanted + len(LINES[3])}),
        Damaged("a word inside", BLOCK.replace(LINES[3], f"{LINES[3]} hello "), "count", counted | {"got": wanted + 5}),
        Damaged("letters of another alphabet", BLOCK.replace(LINES[3], "\u0410" + LINES[3][1:]), "count", counted | {"got": wanted - 1}),
        Damaged("a letter changed", block_of(changed), "checksum"),
        Damaged("two lines exchanged", block_of("".join([LINES[1], LINES[0], *LINES[2:]])), "checksum"),
        Damaged("no letters at all", block_of(""), "checksum"),
        Damaged("a number of letters that no bytes have", block_of("ABC"), "checksum"),
        Damaged("bytes that nothing packed", packed_as(b"\xff\xfe not packed"), "not_packed"),
        Damaged("nothing packed", packed_as(b""), "not_packed"),
        Damaged("the packing broken off", packed_as(whole[:-20]), "not_packed"),
        Damaged("something behind what is packed", packed_as(whole + b"more"), "not_packed"),
        Damaged("unpacks to a byte too many", packed_as(one_more), "too_large", {"most": MOST_BYTES}),
        Damaged("unpacks to two hundred times as much", packed_as(bomb), "too_large", {"most": MOST_BYTES}),
    ]


CASES = _cases()
