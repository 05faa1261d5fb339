"""A backup every day by itself, kept by age: seven days, four weeks, twelve months."""

import contextlib
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from server.db import backup
from server.db.engine import DATABASE_FILE
from server.db.reserve import LEAST_FREE_BYTES
from server.db.unwilling import Unwilling
from server.settings import Settings

FOLDER = "backups"
DAYS, WEEKS, MONTHS = 7, 4, 12
_NAME = re.compile(r"club-(\d{4}-\d{2}-\d{2})\.backup")


@dataclass(frozen=True)
class Kept:
    """One daily backup."""

    day: date
    file: Path
    size_bytes: int


def keep_one(settings: Settings, *, today: date) -> Path | None:
    """Makes today's backup unless it is there, and clears old ones; the file when it was made.

    Raises Unwilling or OSError when it cannot be written; nothing is cleared then.
    """
    folder = settings.data / FOLDER
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    file = folder / f"club-{today.isoformat()}.backup"
    made = None
    if not file.exists():
        _refuse_without_room(settings)
        backup.backup(settings, file)
        made = file
    if settings.backup_to is not None:
        _copy(file, settings.backup_to)
        _clear(settings.backup_to)
    _clear(folder)
    return made


def kept(settings: Settings) -> list[Kept]:
    """The daily backups that are there, newest first."""
    return sorted(_in(settings.data / FOLDER), key=lambda one: one.day, reverse=True)


def _refuse_without_room(settings: Settings) -> None:
    """A backup must not be what fills the disk: it takes the club's size, twice on its way."""
    club = settings.data / DATABASE_FILE
    needed = LEAST_FREE_BYTES + 2 * (club.stat().st_size if club.exists() else 0)
    free = shutil.disk_usage(settings.data).free
    if free < needed:
        raise Unwilling(f"{free / 1e6:.0f} MB are free and {needed / 1e6:.0f} MB are needed.")


def worth_keeping(days: Iterable[date]) -> set[date]:
    """The newest of each of the last seven days, four weeks and twelve months that have one.

    Counted by what is there, not by today: a clock that jumps clears nothing.
    """
    found: set[date] = set()
    newest_first = sorted(days, reverse=True)
    for most, period in ((DAYS, _day), (WEEKS, _week), (MONTHS, _month)):
        firsts: dict[tuple[int, ...], date] = {}
        for day in newest_first:
            firsts.setdefault(period(day), day)
        found |= set(list(firsts.values())[:most])
    return found


def _day(day: date) -> tuple[int, ...]:
    return (day.toordinal(),)


def _week(day: date) -> tuple[int, ...]:
    return day.isocalendar()[:2]


def _month(day: date) -> tuple[int, ...]:
    return (day.year, day.month)


def _in(folder: Path) -> Iterator[Kept]:
    with contextlib.suppress(FileNotFoundError):
        for file in folder.iterdir():
            named = _NAME.fullmatch(file.name)
            if named:
                with contextlib.suppress(ValueError):
                    day = date.fromisoformat(named[1])
                    yield Kept(day=day, file=file, size_bytes=file.stat().st_size)


def _clear(folder: Path) -> None:
    there = list(_in(folder))
    worth = worth_keeping(one.day for one in there)
    for one in there:
        if one.day not in worth:
            one.file.unlink()


def _copy(file: Path, place: Path) -> None:
    """To the second place, under its name only once it is whole."""
    if not place.is_dir():
        raise Unwilling(f"There is no folder {place} for the second copy of backups.")
    if (place / file.name).exists():
        return
    partial = place / f"{file.name}.partial"
    shutil.copyfile(file, partial)
    partial.chmod(0o600)
    os.replace(partial, place / file.name)
