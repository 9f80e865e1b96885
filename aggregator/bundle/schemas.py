"""The schemas of everything published, the results' own beside those of what people write.

``python -m aggregator.bundle.schemas`` writes ``schemas/`` of the current folder anew.
"""

from __future__ import annotations

from pathlib import Path

from aggregator.records.schemas import generated_schemas, schema_document, site_url

from .model import RESULTS_FORMAT, Results
from .repeatability import REPEATABILITY_FORMAT, PublishedRepeatability


def all_schemas(base_url: str) -> dict[str, bytes]:
    """Every schema by its path below ``schemas/``; ``base_url`` as in ``aggregator.records.schemas``."""
    own = (
        (RESULTS_FORMAT, "The results bundle.", Results),
        (REPEATABILITY_FORMAT, "How much runs differ that should be alike: what one submission is judged by.", PublishedRepeatability),
    )
    return generated_schemas(base_url) | {f"{name}.json": schema_document(name, text, (model,), base_url) for name, text, model in own}


def write(root: Path) -> None:
    """Write every schema below ``root/schemas``."""
    for name, content in all_schemas(site_url(root)).items():
        path = root / "schemas" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    write(Path.cwd())
