"""A block of letters gives back the same bytes whatever a message does around the letters, and says what is wrong with a damaged one."""

import json
import statistics
import zlib
from base64 import b32encode
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.errors import WrittenError
from edgehold.records.read.letters import ALPHABET, MOST_BYTES, from_letters, holds_letters, to_letters
from edgehold.words import arguments_of, code_of, group
from tests.records.damaged_letters import CASES, FILE, around, block_of

ROOT = Path(__file__).parents[2]
DEMONSTRATION = sorted((ROOT / "submissions" / "simulated").glob("*/*.json"))


@pytest.mark.parametrize("path", DEMONSTRATION, ids=lambda path: path.stem)
def test_every_file_of_the_demonstration_comes_back_to_the_byte(path):
    data = path.read_bytes()
    assert from_letters(to_letters(data)) == data


def test_a_record_of_four_runs_takes_about_three_thousand_characters_at_most():
    four = [data for path in DEMONSTRATION if len(json.loads(data := path.read_bytes()).get("runs", ())) == 4]
    lengths = [len(to_letters(data)) for data in four]
    assert len(lengths) >= 10
    assert statistics.median(lengths) < 2_600 and max(lengths) < 3_000


@given(data=st.binary(max_size=2_000))
def test_any_bytes_come_back(data):
    assert from_letters(to_letters(data)) == data


MARKS = st.text(alphabet=st.sampled_from("\n\r\t >|*_.,:;-–—“”\"'()[]\u00a0\u200b\u2028\ufeff"), max_size=12)


@settings(max_examples=150, deadline=None)
@given(path=st.sampled_from(DEMONSTRATION[:12]), draw=st.data())
def test_marks_spaces_and_small_letters_between_the_letters_do_no_harm(path, draw):
    """Whatever a message, a forum or a mail program puts between two letters, or before and behind the block."""
    data = path.read_bytes()
    block = to_letters(data)
    start, end = block.index("\n"), block.index("END EDGEHOLD")
    letters = block[start:end].replace("\n", "")
    cuts = sorted(draw.draw(st.lists(st.integers(0, len(letters)), max_size=40)))
    parts = [letters[a:b] for a, b in zip([0, *cuts], [*cuts, len(letters)], strict=True)]
    body = "".join(part + draw.draw(MARKS) for part in parts)
    if draw.draw(st.booleans()):
        body = body.lower()
    quote = draw.draw(st.sampled_from(["", "> ", ">> ", "| ", "    ", "&gt; "]))
    text = f"{draw.draw(MARKS)}{block[:start]}\n{body}\n{block[end:].strip()}{draw.draw(MARKS)}"
    text = "\n".join(quote + line for line in text.split("\n"))
    assert holds_letters(text) and from_letters(text) == data


@pytest.mark.parametrize(("name", "text"), around().items())
def test_what_messages_do_to_a_block_does_no_harm(name, text):
    assert from_letters(text) == FILE, name


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.why)
def test_damage_is_told_by_its_code(case):
    with pytest.raises(WrittenError) as refused:
        from_letters(case.text)
    assert code_of(refused.value.problem) == f"letters.{case.code}"
    assert arguments_of(refused.value.problem) == case.arguments


def test_the_cases_reach_every_sentence():
    told = set()
    for case in CASES:
        with pytest.raises(WrittenError) as refused:
            from_letters(case.text)
        told |= {code_of(refused.value.problem), code_of(refused.value.cure)}
    assert told == {f"letters.{name}" for name in group("letters")}


@settings(max_examples=300, deadline=None)
@given(draw=st.data())
def test_no_single_letter_can_be_lost_changed_added_or_exchanged_unseen(draw):
    block = to_letters(FILE)
    start, end = block.index("\n") + 1, block.index("END EDGEHOLD")
    letters = block[start:end].replace("\n", "")
    place = draw.draw(st.integers(0, len(letters) - 2))
    other = draw.draw(st.sampled_from([letter for letter in ALPHABET if letter != letters[place]]))
    damaged = {
        "lost": letters[:place] + letters[place + 1 :],
        "changed": letters[:place] + other + letters[place + 1 :],
        "added": letters[:place] + other + letters[place:],
        "exchanged": letters[:place] + letters[place + 1] + letters[place] + letters[place + 2 :],
    }
    how = draw.draw(st.sampled_from(sorted(damaged)))
    if damaged[how] == letters:
        return
    with pytest.raises(WrittenError) as refused:
        from_letters(block[:start] + damaged[how] + "\n" + block[end:])
    assert code_of(refused.value.problem) in {"letters.count", "letters.checksum"}


def test_the_last_letter_cannot_be_changed_in_what_it_fills_up():
    """Five bits a letter: the last one may hold bits of no byte."""
    for extra in range(5):
        packed = zlib.compress(b"x" * 10, wbits=-15) + bytes(extra)
        letters = b32encode(packed + zlib.crc32(packed).to_bytes(4, "big")).decode().rstrip("=")
        unlike = [letters[:-1] + letter for letter in ALPHABET if letter != letters[-1]]
        for changed in unlike:
            with pytest.raises(WrittenError) as refused:
                from_letters(block_of(changed))
            assert code_of(refused.value.problem) == "letters.checksum"


def test_a_file_just_within_the_limit_is_unpacked():
    data = b" " * MOST_BYTES
    assert from_letters(to_letters(data)) == data


@settings(max_examples=300, deadline=None)
@given(text=st.text(max_size=300), at=st.integers(0, 2_000))
def test_no_text_ends_in_anything_but_bytes_or_a_sentence(text, at):
    block = to_letters(FILE)
    for one in (text, block[:at] + text + block[at:], text + block[:at], block[at:] + text):
        try:
            assert from_letters(one) == FILE
        except WrittenError as refused:
            assert code_of(refused.problem).startswith("letters.")


def test_a_note_in_a_file_that_speaks_of_a_block_makes_none_of_it():
    assert not holds_letters('{"note": "BEGIN EDGEHOLD RESULT, VERSION 1, 12 LETTERS"}')
    assert not holds_letters("a sheet, with nothing of the kind")
