"""A file as one block of letters that a message or a forum post does not damage, and back to the same bytes.

The bytes are packed (DEFLATE, RFC 1951), their CRC-32 (RFC 1952, section 8) goes behind them with its highest byte first, and both
become letters of base32 (RFC 4648, section 6) without padding. The line before says how many letters there are::

    BEGIN EDGEHOLD RESULT, VERSION 1, 1234 LETTERS
    ORSXG5A…
    END EDGEHOLD RESULT

Only letters and digits count: line breaks, spaces, marks of quotation and full stops may come and go, capitals may become small.
``site/pages/assets/form/letters.js`` does the same in the browser. What comes out is a stranger's file and is read like any other.
"""

from __future__ import annotations

import re
import zlib
from base64 import b32decode, b32encode

from edgehold.errors import WrittenError
from edgehold.words import Argument, Reason

from .opening import LARGEST_BYTES

VERSION = 1
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
LINE = 60  # letters
MOST_BYTES = LARGEST_BYTES["submission"]  # unpacked

_BETWEEN = "[^0-9A-Z]{1,40}"  # what a mail program may make of a space
_NAME = f"EDGEHOLD{_BETWEEN}RESULT"
BEGIN = re.compile(f"BEGIN{_BETWEEN}{_NAME}{_BETWEEN}VERSION{_BETWEEN}([0-9]{{1,4}}){_BETWEEN}([0-9]{{1,7}}){_BETWEEN}LETTERS")
END = re.compile(f"END{_BETWEEN}{_NAME}")
NAMED = re.compile(_NAME)
ENTITY = re.compile("&#?[0-9A-Z]{1,8};")  # a mark of quotation as HTML writes it
OTHER = re.compile("[^0-9A-Z]+")
STRANGE = re.compile("[0189]")
"""Patterns in which only capitals stand: small letters are made capitals first."""

_CAPITALS = {code: code - 32 for code in range(ord("a"), ord("z") + 1)}
_SUM_BYTES = 4
_WINDOW_BITS = 15


def to_letters(data: bytes) -> str:
    """The bytes of a file as a block, with a line end behind it."""
    packing = zlib.compressobj(9, wbits=-_WINDOW_BITS)
    packed = packing.compress(data) + packing.flush()
    letters = b32encode(packed + _sum_of(packed)).decode("ascii").rstrip("=")
    lines = [letters[start : start + LINE] for start in range(0, len(letters), LINE)]
    begin = f"BEGIN EDGEHOLD RESULT, VERSION {VERSION}, {len(letters)} LETTERS"
    return "\n".join([begin, *lines, "END EDGEHOLD RESULT", ""])


def holds_letters(text: str) -> bool:
    """Whether a block, or what is left of one, stands in a text; in JSON it would be somebody's note."""
    return not text.lstrip("\ufeff \t\r\n").startswith("{") and NAMED.search(text.translate(_CAPITALS)) is not None


def from_letters(text: str) -> bytes:
    """The bytes of the file whose block stands in a text.

    Raises
    ------
    WrittenError
        There is no block, more than one, or it is damaged; ``problem`` and ``cure`` are codes of ``letters``.
    """
    version, wanted, body = _block(text.translate(_CAPITALS))
    if version != VERSION:
        raise _unread("letters.other_version", "letters.as_new", version=version, known=VERSION)
    letters = OTHER.sub("", ENTITY.sub("", body))
    strange = STRANGE.search(letters)
    if strange:
        raise _unread("letters.strange", "letters.copy_again", sign=strange[0])
    if len(letters) != wanted:
        raise _unread("letters.count", "letters.copy_again", wanted=wanted, got=len(letters))
    return _unpacked(_summed(letters))


def _block(text: str) -> tuple[int, int, str]:
    """Version, number of letters, and what stands between the two lines of the one block of a text."""
    begins, ends = list(BEGIN.finditer(text)), list(END.finditer(text))
    if not begins:
        name = "letters.no_begin" if NAMED.search(text) else "letters.none"
        raise _unread(name, "letters.copy_again")
    if max(len(begins), len(ends)) > 1:
        raise _unread("letters.several", "letters.one_each", blocks=max(len(begins), len(ends)))
    if not ends or ends[0].start() < begins[0].end():
        raise _unread("letters.cut_off", "letters.copy_again")
    return int(begins[0][1]), int(begins[0][2]), text[begins[0].end() : ends[0].start()]


def _summed(letters: str) -> bytes:
    """What the letters pack, once their checksum agrees."""
    try:
        data = b32decode(letters + "=" * (-len(letters) % 8))
    except ValueError:  # a number of letters that no bytes have
        data = b""
    packed, found = data[:-_SUM_BYTES], data[-_SUM_BYTES:]
    if found != _sum_of(packed) or b32encode(data).decode("ascii").rstrip("=") != letters:
        raise _unread("letters.checksum", "letters.copy_again")
    return packed


def _sum_of(packed: bytes) -> bytes:
    return zlib.crc32(packed).to_bytes(_SUM_BYTES, "big")


def _unpacked(packed: bytes) -> bytes:
    """The file, unpacked no further than any submission is large."""
    unpacking = zlib.decompressobj(-_WINDOW_BITS)
    try:
        data = unpacking.decompress(packed, MOST_BYTES + 1)
    except zlib.error:
        raise _unread("letters.not_packed", "letters.ask_for_file") from None
    if len(data) > MOST_BYTES:
        raise _unread("letters.too_large", "letters.ask_for_file", most=MOST_BYTES)
    if not unpacking.eof or unpacking.unused_data:
        raise _unread("letters.not_packed", "letters.ask_for_file")
    return data


def _unread(problem: str, cure: str, **arguments: Argument) -> WrittenError:
    return WrittenError(Reason(problem, **arguments), Reason(cure))
