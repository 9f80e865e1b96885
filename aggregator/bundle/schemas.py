"""The schemas of everything published, the results' own beside those of what people write.

``python -m aggregator.bundle.schemas`` writes ``schemas/`` of the current folder anew.
"""

from __future__ import annotations

from pathlib import Path

from aggregator.records.schemas import generated_schemas, schema_document, site_url

from .model import RESULTS_FORMAT, Results


def all_schemas(base_url: str) -> dict[str, bytes]:
    """Every schema by its path below ``schemas/``; ``base_url`` as in ``aggregator.records.schemas``."""
    return generated_schemas(base_url) | {
        f"{RESULTS_FORMAT}.json": schema_document(RESULTS_FORMAT, "The results bundle.", (Results,), base_url)
    }


def write(root: Path) -> None:
    """Write every schema below ``root/schemas``."""
    for name, content in all_schemas(site_url(root)).items():
        path = root / "schemas" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    write(Path.cwd())
