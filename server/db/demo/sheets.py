"""Reading the made-up club's CSV sheets from `seed/`."""

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from server import places

Row = dict[str, str]


def rows(name: str, folder: Path = places.SEED) -> Iterator[Row]:
    """The rows of one sheet; lines that start with # are remarks."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as sheet:
        yield from csv.DictReader(line for line in sheet if not line.startswith("#"))


def number(row: Row, name: str) -> float | None:
    """A number, or None where the cell is empty."""
    return float(row[name]) if row[name] else None


def sure_number(row: Row, name: str) -> float:
    return float(row[name])


def yes(row: Row, name: str) -> bool:
    return row[name] == "yes"


def days_ago(row: Row, name: str, today: date) -> date:
    return today - timedelta(days=int(row[name]))
