"""Reading the published figures the optics tests are held against."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    """Rows of tests/published/<name>.csv; its first lines name the source."""
    lines = (FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
