"""Which calendar day it is at the club."""

from datetime import date
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.db import club_clock, members


def today(db: Session) -> date:
    """Today by the club's own clock; loans, setups and readings are dated by it."""
    club = members.club_of(db)
    return club_clock.now(db).astimezone(ZoneInfo(club.time_zone if club else "UTC")).date()


def zone(db: Session) -> str:
    """The club's time zone; moments are shown in it."""
    club = members.club_of(db)
    return club.time_zone if club else "UTC"
