"""Seeded damage to files: to their bytes, to their text, and to the values that stand in them."""

from __future__ import annotations

import copy
import json
import random

import yaml

TEXTS = (
    "",
    " ",
    "\u0000",
    "\u202e",
    "\ufeff",
    "\U0001f52a" * 40,
    "é" * 3000,
    "<script>alert(1)</script>",
    "=1+1",
    "../../etc",
    "con",
    "3-Jan",
    '1-5/8"',
    "0,5",
    "1e999",
    "-0",
    "٣",
    "½",
    "nan",
    "NaN",
    "2026-13",
    "9999-12",
    "0000-00",
    "1.0.0\n",
    "a.b",
    "a" * 200,
    "25 (5)",
    "1/0",
    "1e-400",
    "12345678901234567890",
    "\ud83d",
)
NUMBERS = (0, -1, 1, 1e308, -1e308, 5e-324, 2**53, 2**53 + 1, 10**40, -0.0, 0.1, 1.5, 1e-300, 365, 99999999)
FRAGMENTS = (
    b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"{", b"[" * 400, b"}", b'"', b"\\u0000", b"\\ud800", b":", b",", b"null", b"NaN", b"-Infinity",
    b"1e400", b"---\n", b"\n---\n", b"&a ", b"*a", b"!!python/object:os.system ", b"<<: ", b"? ", b"- " * 200, b"|\n", b"#", b"\r", b"\x85",
    b"\xe2\x80\xa8", b"\xc3\x28", b"\t", b'{"a":' * 300,
)  # fmt: skip


def mutated(data: bytes, kind: str, rng: random.Random) -> bytes:
    """A damaged copy of a file.

    Parameters
    ----------
    data : the good file.
    kind : ``json``, ``yaml`` or ``markdown`` (front matter and body).
    rng : the source of every choice.
    """
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        data = damaged_bytes(data, rng) if rng.random() < 0.4 else _damage_values(data, kind, rng)
    return data


def damaged_bytes(data: bytes, rng: random.Random) -> bytes:
    """A copy with bytes exchanged, left out, doubled or written in another encoding."""
    at = rng.randrange(len(data) + 1)
    end = min(len(data), at + rng.choice((1, 2, 8, 60, 500)))
    match rng.randrange(7):
        case 0:
            return data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        case 1:
            return data[:at] + data[end:]
        case 2:
            return data[:end] + data[at:end] * rng.choice((1, 2, 50)) + data[end:]
        case 3:
            return data[:at]
        case 4:
            other = rng.randrange(len(data) + 1)
            return data[:at] + data[other : other + 40] + data[end:]
        case 5:
            return data.decode("utf-8", "replace").encode(rng.choice(("utf-16", "utf-8-sig", "utf-32", "cp1252")), "replace")
        case _:
            return data[:at] + rng.choice(FRAGMENTS) + data[at:]


def _damage_values(data: bytes, kind: str, rng: random.Random) -> bytes:
    """Change values and keep the syntax; a file whose syntax is gone already is damaged in its bytes."""
    try:
        text = data.decode()
        front, body = _parts(text) if kind == "markdown" else (text, None)
        tree = json.loads(front) if kind == "json" else yaml.safe_load(front)
        tree = _damage_tree(tree, rng)
        written = json.dumps(tree) if kind == "json" else yaml.safe_dump(tree, allow_unicode=rng.random() < 0.5, sort_keys=False)
        return (written if body is None else f"---\n{written}---\n{body}").encode("utf-8", "surrogatepass")
    except (ValueError, yaml.YAMLError, RecursionError):
        return damaged_bytes(data, rng)


def _parts(text: str) -> tuple[str, str]:
    before, opened, rest = text.partition("---\n")
    front, closed, body = rest.partition("\n---\n")
    if before or not opened or not closed:
        raise ValueError("no front matter left")
    return front, body


def _damage_tree(tree: object, rng: random.Random) -> object:
    places = list(_places(tree, ()))
    parent_path, key = rng.choice(places) if places else ((), None)
    if key is None:
        return _value(rng)
    tree = copy.deepcopy(tree)
    parent = tree
    for part in parent_path:
        parent = parent[part]
    match rng.randrange(8):
        case 0:
            del parent[key]
        case 1:
            parent[key] = None
        case 2 if isinstance(parent, list):
            parent.append(copy.deepcopy(parent[key]))
        case 2 | 3 if isinstance(parent, dict):
            parent[_text(rng)] = parent.pop(key)
        case 4:
            other_path, other = rng.choice(places)
            source = tree
            for part in other_path:
                source = source[part]
            parent[key] = copy.deepcopy(source[other]) if other in _keys(source) else None
        case 5:
            parent[key] = [copy.deepcopy(parent[key])] * rng.choice((0, 1, 3, 200))
        case 6 if isinstance(parent[key], (int, float)) and not isinstance(parent[key], bool):
            parent[key] = parent[key] * rng.choice((-1, 0, 0.5, 2, 1000, 1e-9))
        case _:
            parent[key] = _value(rng)
    return tree


def _places(tree: object, path: tuple):
    for key in _keys(tree):
        yield path, key
        yield from _places(tree[key], (*path, key))


def _keys(tree: object):
    return list(tree) if isinstance(tree, dict) else range(len(tree)) if isinstance(tree, list) else ()


def _text(rng: random.Random) -> str:
    return rng.choice(TEXTS) if rng.random() < 0.8 else "".join(chr(rng.randrange(0xD7FF)) for _ in range(rng.randrange(12)))


def _value(rng: random.Random, depth: int = 0) -> object:
    match rng.randrange(8 if depth < 3 else 5):
        case 0:
            return None
        case 1:
            return rng.random() < 0.5
        case 2:
            return rng.choice(NUMBERS)
        case 3 | 4:
            return _text(rng)
        case 5 | 6:
            return [_value(rng, depth + 1) for _ in range(rng.randrange(4))]
        case _:
            return {_text(rng): _value(rng, depth + 1) for _ in range(rng.randrange(4))}
