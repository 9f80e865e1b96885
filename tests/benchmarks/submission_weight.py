"""What one more submission adds to a site, by kind of file, as a Markdown table.

    python -m tests.benchmarks.submission_weight SITE [--before SITE] [--write]

``SITE`` is a built site, such as the demonstration's. Counted is what stands there once for every submission: its page and its file
whole, of other files the lines about it. What is said of a pool or a pair as a whole grows with steels, endpoints and months until all
are met, and is not in it. Exit status 1 where the goal is missed. ``--write`` replaces the table kept beside this script.
"""

from __future__ import annotations

import argparse
import re
import sys
import zipfile
from pathlib import Path

from edgehold.results.tables.kit import KIT
from edgehold.results.tables.lines import GROWING
from tests.benchmarks.goals import Goal, keep

TABLE = Path(__file__).parent / "WEIGHT.md"
SUBMISSIONS, MEGABYTES = 10_000, 500  # wanted: so many in so much
ROW = re.compile(r'<g class="plot-row">.*?</g>|<tr><th scope="row"><a href="[^"]*/submissions/[^"]*">.*?</tr>', re.DOTALL)
LINE = re.compile(r'\{\s*"submission":.*?"interest": ?"[^"]*"\s*\}', re.DOTALL)
MOST_PAGE, MOST = 40, 110  # kB on average in the demonstration: of a submission's page, and of all that one adds


def pages(site: Path) -> list[Path]:
    """The pages of submissions: ``submissions/<origin>/<protocol>/<id>/``."""
    return sorted(site.glob("submissions/*/*/*/index.html"))


def weights(site: Path) -> dict[str, float]:
    """Bytes a submission, by kind."""
    data, own = site / "data", pages(site)
    results = (data / "results.json").read_text(encoding="utf-8")
    begin, end = (re.search(rf'^ *"{name}": ?\[', results, re.MULTILINE).start() for name in ("submissions", "retracted"))
    listed = sum(path.stat().st_size for path in (site / "submissions").rglob("*.html"))
    told = [path.read_text(encoding="utf-8") for path in site.rglob("*.html") if "submissions" not in path.relative_to(site).parts[:1]]
    found = {
        "its page": (page := sum(path.stat().st_size for path in own)),
        "its file, as it was sent in": sum(path.stat().st_size for path in (data / "submissions").rglob("*.json")),
        "`results.json`: its own part": len(results[begin:end].encode()),
        "`results.json`: lines about it in its pools": sum(len(line.encode()) for line in LINE.findall(results[:begin])),
        "tables that grow, CSV": sum((data / f"{name}.csv").stat().st_size for name in GROWING),
        "tables that grow, Parquet": sum((data / f"{name}.parquet").stat().st_size for name in GROWING),
        "`edgehold-data.zip`: its share of both": _packed(data / KIT),
        "plots and tables of pairs: rows about it": sum(len(row.encode()) for page in told for row in ROW.findall(page)),
        "files of the explorer": sum(path.stat().st_size for path in (data / "explore").rglob("*.json")),
        "lists of submissions": listed - page,
        "lines of `sitemap.xml` and `SHA256SUMS`": _lines(site / "sitemap.xml", "<url>") + _lines(data / "SHA256SUMS", "\n"),
    }  # fmt: skip
    return {kind: size / len(own) for kind, size in found.items()}


def _packed(path: Path) -> int:
    with zipfile.ZipFile(path) as kit:
        return sum(one.compress_size for one in kit.infolist() if Path(one.filename).stem in GROWING)


def _lines(path: Path, between: str) -> int:
    """What stands in a list of everything about submissions."""
    return sum(len(line) + len(between) for line in path.read_text(encoding="utf-8").split(between) if "submissions/" in line)


def table(after: dict[str, float], before: dict[str, float] | None) -> str:
    """The table with its sums, and the verdict."""
    rows = ["| kind | before, kB | kB |", "|---|---|---|"]
    for kind, size in [*after.items(), ("all of it", sum(after.values()))]:
        then = "–" if before is None else f"{(sum(before.values()) if kind == 'all of it' else before[kind]) / 1000:.1f}"
        rows.append(f"| {kind} | {then} | {size / 1000:.1f} |")
    goal = goal_of(after)
    told = f"{SUBMISSIONS:,} submissions take {goal.found:,.0f} MB beside what a site holds anyway; wanted: below {MEGABYTES} MB "
    told += f"({goal.verdict})."
    return "\n".join([*rows, "", told, ""])


def goal_of(after: dict[str, float]) -> Goal:
    """What the whole world's submissions would take."""
    return Goal(f"what {SUBMISSIONS:,} submissions add to the site", MEGABYTES, SUBMISSIONS * sum(after.values()) / 1e6, "MB")


def main() -> int:
    """Count, print, and write where asked."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("site", type=Path)
    parser.add_argument("--before", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    after = weights(given.site)
    counted = table(after, weights(given.before) if given.before else None)
    text = f"""# What one more submission adds to a site

The demonstration's site, by kind of file (1 kB is 1,000 bytes); what is counted stands at the head of `submission_weight.py`.

{counted}"""
    print(text)
    if given.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("submission_weight", [goal_of(after)])


if __name__ == "__main__":
    sys.exit(main())
