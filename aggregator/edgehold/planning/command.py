"""What the words of `edgehold plan` ask for."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from edgehold.errors import InputError
from edgehold.records.model.protocol import Protocol

from .advice import Advice
from .chances import Progress
from .house import open_protocol, plan_at, share_at
from .occasion import Occasion, Stock, occasion, stock
from .tables import Shared, tables_of

SAID_EVERY = 2.0  # seconds between two lines of progress


def at_hand(words: argparse.Namespace, protocol: Protocol) -> Stock:
    """What is in the house."""
    return stock(
        protocol,
        lots_m=tuple(words.metres) or None,
        mm_per_unit=words.mm_per_cut if protocol.work.kind == "cuts" else None,
        minutes=words.minutes,
        evenings=words.evenings,
        runs_a_hand=words.hand,
        most_runs=words.runs,
        thickness_mm=words.thickness,
        angle_deg=words.angle,
        steel_mm=words.steel_mm,
    )


def asked_for(words: argparse.Namespace, protocol: Protocol) -> Occasion:
    """Who, with what, for how long.

    Raises
    ------
    InputError
        Several coders.
    """
    if len(words.coder) > 1:
        raise InputError(f"got {len(words.coder)} coders, wanted one, or --tables with one for each table")
    return occasion(
        protocol,
        at_hand(words, protocol),
        blades=words.blade,
        steels=words.steel,
        sharpeners=words.sharpener,
        testers=words.tester,
        coder=words.coder[0] if words.coder else None,
        alone=words.alone,
        last_checkpoint=words.last,
        worthwhile_ratio=words.worthwhile,
    )


def advice_for(root: Path, words: argparse.Namespace, say: Progress) -> Advice:
    """Plan what the words ask for."""
    protocol = open_protocol(root, words.protocol, words.protocol_version)
    return plan_at(
        root,
        asked_for(words, protocol),
        id=words.id,
        month=words.month,
        seed=words.seed,
        sealed=words.sealed,
        origin=words.origin,
        table=words.table,
        evenings=words.drawn,
        say=now_and_then(say),
    )


def shared_for(root: Path, words: argparse.Namespace) -> Shared:
    """Plan for several tables.

    Raises
    ------
    InputError
        Something that is for one table alone.
    """
    if words.alone is not None or words.steel:
        raise InputError(
            f"got {'--alone' if words.alone else '--steel'} with --tables, wanted it left out: nobody at several tables is alone"
        )
    protocol = open_protocol(root, words.protocol, words.protocol_version)
    tables = tables_of(words.tables, words.blade, words.sharpener, words.tester, words.coder)
    return share_at(
        root,
        protocol,
        at_hand(words, protocol),
        tables,
        id=words.id,
        month=words.month,
        seed=words.seed,
        sealed=words.sealed,
        origin=words.origin,
        table=words.table,
        last_checkpoint=words.last,
        worthwhile_ratio=words.worthwhile,
    )


def now_and_then(say: Progress) -> Progress:
    """Pass on what is said, but not more often than anybody reads it, and nothing in the first second or so."""
    last = time.monotonic() - SAID_EVERY / 2

    def said(text: str) -> None:
        nonlocal last
        if time.monotonic() - last >= SAID_EVERY:
            last = time.monotonic()
            say(text)

    return said
