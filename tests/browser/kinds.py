"""One page of each kind of the demonstration's site, found on the site itself."""

from __future__ import annotations

import re

KINDS = {
    "home": r"/",
    "results": r"/results/",
    "pool": r"/results/steels[^/]+-v2-simulated/",
    "endpoint": r"/results/steels[^/]+-v2-simulated/(?!sharpening)[a-z]+/",
    "sharpening": r"/results/two[^/]+/sharpening/",
    "comparison": r"/results/steels[^/]+-v2-simulated/compare/[^/]+/",
    "explorer": r"/results/explore/",
    "log": r"/results/log/two[^/]+/",
    "a or b": r"/compare/",
    "two steels": r"/compare/demo-[^/]+/",
    "two levels": r"/compare/[^/]+/coarse-and-fine/",
    "two sharpeners": r"/compare/practised-and-novice/",
    "steels": r"/steels/",
    "steel": r"/steels/[^/]+/",
    "ledger": r"/submissions/",
    "submission": r"/submissions/simulated/steels[^/]+/[^/]+/",
    "protocols": r"/protocols/",
    "protocol": r"/protocols/(?!compare/|new/)[^/]+/",
    "older version": r"/protocols/steels[^/]+/1\.0\.0/",
    "changes": r"/protocols/[^/]+/[^/]+/changes/",
    "objections": r"/objections/",
    "waiting": r"/objections/waiting/",
    "objection": r"/objections/[^/]+/\d{3}/",
    "methods": r"/methods/",
    "analysts": r"/analysts/",
    "data": r"/data/",
    "archive": r"/archive/",
    "submit": r"/submit/",
    "safety": r"/safety/",
}


def example(kind: str, addresses: list[str]) -> str:
    """The first page of a kind."""
    return next(address for address in addresses if re.fullmatch(KINDS[kind], address))


MANY = (r"/results/[^/]+/compare/[^/]+/", r"/submissions/[^/]+/[^/]+/[^/]+/")
EVERY = 6


def some(addresses: list[str]) -> list[str]:
    """All pages but of comparisons and submissions, more than half of a site and alike: of each of these every sixth, its first too."""
    left_out = {address for pattern in MANY for n, address in enumerate(a for a in addresses if re.fullmatch(pattern, a)) if n % EVERY}
    return [address for address in addresses if address not in left_out]
