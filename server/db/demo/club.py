"""The demo club: filled from `seed/` into an empty database."""

from dataclasses import dataclass

from sqlmodel import Session

from server.db import club_day, members, secrets
from server.db.backup import open_current
from server.db.demo import days, lamps, learnt, meters, readings, sheets, tanks
from server.db.engine import Database
from server.models import Club
from server.settings import Settings


@dataclass(frozen=True)
class DemoPerson:
    """A sign-in of the demo club."""

    email: str
    password: str
    token: str
    role: str


PASSWORD = "a quiet lagoon at noon"  # noqa: S105 - of invented people in a throw-away club


def open_or_fill(settings: Settings) -> list[DemoPerson]:
    """Fills the folder's database when it holds no club yet, and hands out fresh tokens."""
    club = open_current(settings)
    with club.read() as db:
        empty = not members.is_set_up(db)
    if empty:
        fill(club)
    people = _people(club)
    club.close()
    return people


def fill(club: Database) -> None:
    """Writes the whole scenario, one sheet after the other."""
    password_hash = secrets.hash_password(PASSWORD)
    with club.write() as db:
        _club(db)
        today = club_day.today(db)
        member_ids = _members(db, password_hash)
        lamp_ids = lamps.fill(db, by_id=member_ids["mara"])
        meter_ids = meters.fill(db, members=member_ids, today=today)
        ids = tanks.fill(db, members=member_ids, lamps=lamp_ids, today=today)
        days.fill(db, ids=ids, today=today)
        readings.fill(db, members=member_ids, meters=meter_ids, ids=ids, today=today)
        learnt.fill(db, tank_ids=ids.tanks)


def _club(db: Session) -> None:
    for row in sheets.rows("club"):
        members.make_club(
            db, name=row["name"], time_zone=row["time_zone"], currency=row["currency"]
        )
        club = db.get_one(Club, 1)
        club.price_per_kwh = sheets.sure_number(row, "price_per_kwh")
        db.add(club)


def _members(db: Session, password_hash: str) -> dict[str, int]:
    ids: dict[str, int] = {}
    for row in sheets.rows("members"):
        person = members.add_member(
            db,
            name=row["name"],
            email=row["email"],
            password_hash=password_hash,
            role=row["role"],
        )
        person.length_unit, person.volume_unit = row["length_unit"], row["volume_unit"]
        person.clock = row["clock"]
        db.add(person)
        ids[row["key"]] = person.id
    return ids


def _people(club: Database) -> list[DemoPerson]:
    """The club's people with a fresh token each, in the order of the sheet."""
    with club.write() as db:
        people = []
        for row in sheets.rows("members"):
            member = members.member_by_email(db, row["email"])
            if member is None or member.id is None or member.email is None:
                continue
            token = members.make_access_token(db, member_id=member.id, name="demo")
            people.append(
                DemoPerson(email=member.email, password=PASSWORD, token=token, role=member.role)
            )
    return people
