"""The committed demonstration, and its seed drawn afresh, once for all tests."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from edgehold.demo import generate
from edgehold.records.model.submission import Submission

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def drawn():
    return generate()


@pytest.fixture(scope="session")
def records(drawn) -> tuple[Submission, ...]:
    return tuple(Submission.model_validate_json(data) for data in drawn.files.values())


@pytest.fixture(scope="session")
def plain(drawn) -> tuple[dict, ...]:
    return tuple(json.loads(data) for data in drawn.files.values())
