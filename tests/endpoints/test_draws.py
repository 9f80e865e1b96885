"""The portable source of draws: its published vectors, its distribution, its independence of order."""

import numpy as np
import pytest
from scipy.stats import kstest

from edgehold.endpoints.draws import key_of, normal_draws, philox

# The rows "philox4x32 10" of tests/kat_vectors in Random123 1.14.0 (D. E. Shaw Research): counter, key, words.
PUBLISHED = [
    ("00000000 00000000 00000000 00000000", "00000000 00000000", "6627e8d5 e169c58d bc57ac4c 9b00dbd8"),
    ("ffffffff ffffffff ffffffff ffffffff", "ffffffff ffffffff", "408f276d 41c83b0e a20bc7c6 6d5451fd"),
    ("243f6a88 85a308d3 13198a2e 03707344", "a4093822 299f31d0", "d16cfe09 94fdcceb 5001e420 24126ea1"),
]


def words(text: str) -> list[int]:
    return [int(word, 16) for word in text.split()]


@pytest.mark.parametrize(("counter", "key", "expected"), PUBLISHED)
def test_the_source_gives_its_published_vectors(counter, key, expected):
    assert philox(np.array([words(counter)], dtype=np.uint64), tuple(words(key))).tolist() == [words(expected)]


def test_the_key_is_the_beginning_of_sha256_of_the_names():
    assert key_of("abc") == (0xBA7816BF, 0x8F01CFEA)  # FIPS 180-4's example message
    assert key_of("a", "b") == key_of("a\nb") != key_of("ab")


def test_the_draws_are_standard_normal_and_those_of_two_keys_unrelated():
    one, other = (normal_draws(key_of(name), 400, 50).ravel() for name in ("one", "other"))
    assert kstest(one, "norm").pvalue > 0.01
    assert abs(np.corrcoef(one, other)[0, 1]) < 4 / np.sqrt(len(one))
    assert abs(np.corrcoef(one[:-1], one[1:])[0, 1]) < 4 / np.sqrt(len(one))


def test_fewer_draws_are_the_beginning_of_more():
    assert normal_draws((1, 2), 3, 7).ravel()[:5].tolist() == normal_draws((1, 2), 1, 5).ravel().tolist()
