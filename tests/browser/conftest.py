"""The demo club served over real HTTP, once for all browser tests that look at it."""

from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from server.db import members
from server.db.backup import open_current
from server.db.demo import club as demo_club
from server.db.engine import Database
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import serving


@dataclass(frozen=True, eq=False)
class Demo:
    """Address of the served demo club, its database, and its people."""

    address: str
    club: Database
    people: tuple[demo_club.DemoPerson, ...]

    def cookie(self, name: str) -> str:
        """A sign-in of the one whose e-mail address begins with that name."""
        with self.club.write() as db:
            member = members.member_by_email(db, f"{name}@halftide.example")
            assert member is not None
            return members.sign_in(db, member, device="test")


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    settings = Settings(data=tmp_path_factory.mktemp("demo"), database_url=None)
    people = demo_club.open_or_fill(settings)
    club = open_current(settings)
    with serving(create_app(settings, club=club, demo=True)) as address:
        yield Demo(address=address, club=club, people=tuple(people))
