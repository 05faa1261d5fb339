"""The demo club: filled from `seed/` into an empty database."""

from dataclasses import dataclass

from server.db import members, secrets
from server.db.engine import Database
from server.db.keeping import open_current
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
    """Writes the whole scenario."""
    password_hash = secrets.hash_password(PASSWORD)
    with club.write() as db:
        members.make_club(db, name="Halftide Reef Club", time_zone="Europe/Lisbon")
        for name, email, role in (
            ("Mara Quill", "mara@halftide.example", "steward"),
            ("Ivo Brandt", "ivo@halftide.example", "member"),
            ("Tess Okafor", "tess@halftide.example", "member"),
        ):
            members.add_member(db, name=name, email=email, password_hash=password_hash, role=role)


def _people(club: Database) -> list[DemoPerson]:
    with club.write() as db:
        people = []
        for member in members.all_members(db)[:8]:
            assert member.id is not None and member.email is not None
            token = members.make_access_token(db, member_id=member.id, name="demo")
            people.append(
                DemoPerson(email=member.email, password=PASSWORD, token=token, role=member.role)
            )
    return people
