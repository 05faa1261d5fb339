"""A backup a day, kept by age, in two places, and a steward who is told when there is none."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from server.db import backup, club_clock, club_day, daily
from server.db.engine import Database
from server.db.unwilling import Unwilling
from server.settings import Settings
from server.web.lending.going_round import back_up
from tests.conftest import Cast

START = date(2026, 1, 1)


def test_two_years_of_days_leave_seven_days_four_weeks_and_twelve_months() -> None:
    there: set[date] = set()
    for number in range(730):
        there = daily.worth_keeping(there | {START + timedelta(days=number)})
    last = START + timedelta(days=729)
    assert {last - timedelta(days=n) for n in range(7)} <= there
    assert len({day.isocalendar()[:2] for day in there if last - day < timedelta(days=28)}) == 4
    assert len({(day.year, day.month) for day in there}) == 12
    assert len(there) <= 7 + 4 + 12


def test_a_jump_of_the_clock_clears_nothing() -> None:
    days = {START + timedelta(days=n) for n in range(7)}
    assert days <= daily.worth_keeping(days | {date(2036, 1, 1)}) | {START}


def test_the_server_makes_one_a_day_that_can_be_restored(
    club: Database, settings: Settings, tmp_path: Path
) -> None:
    back_up(club, settings)
    back_up(club, settings)
    [one] = daily.kept(settings)
    assert one.file.stat().st_mode & 0o077 == 0
    elsewhere = settings.model_copy(update={"data": tmp_path / "elsewhere"})
    assert "Restored" in backup.restore(elsewhere, one.file, replace=False)


def test_a_second_place_gets_a_copy_and_is_missed_when_it_is_away(
    club: Database, settings: Settings, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    second = tmp_path / "stick"
    both = settings.model_copy(update={"backup_to": second})
    back_up(club, both)
    assert "no folder" in caplog.text
    second.mkdir()
    back_up(club, both)
    [copy], [one] = list(second.iterdir()), daily.kept(both)
    assert copy.read_bytes() == one.file.read_bytes()


def test_old_ones_go_and_other_files_stay(club: Database, settings: Settings) -> None:
    folder = settings.data / daily.FOLDER
    folder.mkdir()
    for number in range(40):
        (folder / f"club-{START + timedelta(days=number)}.backup").write_bytes(b"x")
    (folder / "club-2026-99-99.backup").write_bytes(b"x")
    (folder / "mine.backup").write_bytes(b"x")
    back_up(club, settings)
    assert len(daily.kept(settings)) < 16
    assert (folder / "mine.backup").exists() and (folder / "club-2026-99-99.backup").exists()


def test_nothing_is_cleared_when_none_could_be_made(
    club: Database, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = settings.data / daily.FOLDER
    folder.mkdir()
    for number in range(40):
        (folder / f"club-{START + timedelta(days=number)}.backup").write_bytes(b"x")

    def full(*_: object) -> str:
        raise Unwilling("the disk is full")

    monkeypatch.setattr(backup, "backup", full)
    back_up(club, settings)
    assert len(daily.kept(settings)) == 40


def test_a_backup_is_not_what_fills_the_disk(
    club: Database, settings: Settings, monkeypatch: pytest.MonkeyPatch, caplog
) -> None:
    monkeypatch.setattr(daily, "LEAST_FREE_BYTES", 10**18)
    back_up(club, settings)
    assert daily.kept(settings) == [] and "MB are needed" in caplog.text


def test_a_steward_is_told_of_a_missing_backup_and_sees_those_there(
    club: Database, settings: Settings, as_member, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    mara = as_member(cast.mara)
    assert "There is none yet" in mara.get("/steward/clock").text
    assert "no backup" not in mara.get("/steward").text
    now = club_clock.machine_time()
    monkeypatch.setattr(club_clock, "machine_time", lambda: now + timedelta(days=2.5))
    mara = as_member(cast.mara)
    assert "There is no backup yet" in mara.get("/steward").text
    back_up(club, settings)
    with club.read() as db:
        today = club_day.today(db)
    assert "no backup" not in mara.get("/steward").text
    page = mara.get("/steward/clock").text
    assert f"The newest is of {today.day} " in page and "UNDERLAMP_BACKUP_TO" in page
