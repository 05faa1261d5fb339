"""The club's own calendar day, far from UTC on either side."""

from datetime import UTC, date, datetime

import pytest

from server.db import club_clock, club_day, members
from server.db.engine import Database


@pytest.mark.parametrize(
    ("zone", "utc", "day"),
    [
        ("Pacific/Apia", datetime(2027, 3, 1, 12, 30, tzinfo=UTC), date(2027, 3, 2)),  # UTC+13
        ("Pacific/Honolulu", datetime(2027, 3, 1, 8, 30, tzinfo=UTC), date(2027, 2, 28)),  # −10
        ("America/St_Johns", datetime(2027, 3, 1, 3, 15, tzinfo=UTC), date(2027, 2, 28)),  # −3:30
    ],
)
def test_today_is_the_day_on_the_clubs_wall(
    club: Database, monkeypatch: pytest.MonkeyPatch, zone: str, utc: datetime, day: date
) -> None:
    monkeypatch.setattr(club_clock, "machine_time", lambda: utc)
    with club.write() as db:
        found = members.club_of(db)
        assert found is not None
        found.time_zone = zone
        db.add(found)
        db.flush()
        assert club_day.today(db) == day
