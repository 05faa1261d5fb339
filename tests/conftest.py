"""One club for every test: fresh folder, newest schema, and a fixed cast.

The cast: Mara is a steward, Ivo owns things, Tess is another member who must not see them.
"""

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import settings as hypothesis_settings
from playwright.sync_api import Browser, Page, sync_playwright

from server.db import members, schema, secrets
from server.db.engine import DATABASE_FILE, Database, open_database
from server.models import Member
from server.settings import Settings
from server.web.app import create_app

# A slow or busy machine must not fail a property test.
hypothesis_settings.register_profile("club", deadline=None)
hypothesis_settings.load_profile("club")

OWN_ORIGIN = {"Origin": "http://testserver"}
"""What a browser sends along with a form; without it a form with a cookie is refused."""

PASSWORD = "kelp sways in the tide"
CAST = (
    ("Mara", "mara@club.example", "steward"),
    ("Ivo", "ivo@club.example", "member"),
    ("Tess", "tess@club.example", "member"),
)


@dataclass(frozen=True)
class Cast:
    mara: Member
    ivo: Member
    tess: Member


@pytest.fixture(scope="session")
def filled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the cast, made once and copied for each test."""
    database = open_database(data=tmp_path_factory.mktemp("cast"))
    schema.migrate(database)
    password_hash = secrets.hash_password(PASSWORD)
    with database.write() as db:
        members.make_club(db, name="Test Reef Club", time_zone="Pacific/Apia")
        for name, email, role in CAST:
            members.add_member(db, name=name, email=email, password_hash=password_hash, role=role)
    with database.engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    assert database.file is not None
    return database.file


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(data=tmp_path / "data", database_url=None)


@pytest.fixture
def club(settings: Settings, filled_file: Path) -> Iterator[Database]:
    settings.data.mkdir()
    shutil.copyfile(filled_file, settings.data / DATABASE_FILE)
    database = open_database(data=settings.data)
    yield database
    database.close()


@pytest.fixture
def cast(club: Database) -> Cast:
    with club.read() as db:
        found = [members.member_by_email(db, email) for _, email, _ in CAST]
    assert all(found)
    return Cast(*[person for person in found if person])


@pytest.fixture
def app(settings: Settings, club: Database) -> FastAPI:
    return create_app(settings, club=club)


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    """A visitor. Faults of the server raise in the test instead of becoming a 500."""
    return TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)


@pytest.fixture
def as_member(app: FastAPI, club: Database) -> Callable[[Member], TestClient]:
    """A browser signed in as that member, without the slow password step."""

    def sign_in(member: Member) -> TestClient:
        with club.write() as db:
            token = members.sign_in(db, member, device="test")
        browser = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
        browser.cookies.set("underlamp_sign_in", token)
        return browser

    return sign_in


@pytest.fixture
def ivo(as_member: Callable[[Member], TestClient], cast: Cast) -> TestClient:
    """Ivo's browser, signed in."""
    return as_member(cast.ivo)


@pytest.fixture
def tess(as_member: Callable[[Member], TestClient], cast: Cast) -> TestClient:
    """Another member's browser, signed in."""
    return as_member(cast.tess)


@pytest.fixture
def mara(as_member: Callable[[Member], TestClient], cast: Cast) -> TestClient:
    """The steward's browser, signed in."""
    return as_member(cast.mara)


@pytest.fixture
def token_of(club: Database) -> Callable[[Member], dict[str, str]]:
    """Headers with a personal access token of that member."""

    def make(member: Member) -> dict[str, str]:
        assert member.id is not None
        with club.write() as db:
            token = members.make_access_token(db, member_id=member.id, name="test")
        return {"Authorization": f"Bearer {token}"}

    return make


# A real server and a real browser


@pytest.fixture
def live(app: FastAPI) -> Iterator[str]:
    """The app served over real HTTP on a free port of this machine; gives its address."""
    with serving(app) as address:
        yield address


class serving:
    """Serves an app from a thread for the length of a block, on a free port or a chosen one."""

    def __init__(self, app: FastAPI, port: int = 0) -> None:
        self.listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        self.listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.listener.bind(("127.0.0.1", port))
        config = uvicorn.Config(app, log_level="warning", access_log=False)
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.listener]}, daemon=True
        )

    def __enter__(self) -> str:
        self.thread.start()
        until = time.monotonic() + 20
        while not self.server.started and time.monotonic() < until:
            time.sleep(0.02)
        assert self.server.started, "the server did not start"
        return f"http://127.0.0.1:{self.listener.getsockname()[1]}"

    def __exit__(self, *_: object) -> None:
        self.server.should_exit = True
        self.thread.join(timeout=20)
        self.listener.close()


def chromium_path() -> str | None:
    named = os.environ.get("UNDERLAMP_CHROMIUM")
    return named or shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium. Without one the test is skipped, or fails where one is required."""
    path = chromium_path()
    if path is None:
        words = "no chromium found; install Debian's chromium or name one in UNDERLAMP_CHROMIUM"
        if os.environ.get("UNDERLAMP_REQUIRE_BROWSER") == "1":
            pytest.fail(words)
        pytest.skip(words)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield started
        started.close()


@pytest.fixture
def phone(browser: Browser, live: str) -> Iterator[Page]:
    """A page 360 px wide, with touch; its base address is the live server."""
    context = browser.new_context(
        base_url=live, viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True
    )
    yield context.new_page()
    context.close()


@pytest.fixture
def desk(browser: Browser, live: str) -> Iterator[Page]:
    """A page 1280 px wide; its base address is the live server."""
    context = browser.new_context(base_url=live, viewport={"width": 1280, "height": 900})
    yield context.new_page()
    context.close()


@pytest.fixture
def sign_in_on() -> Callable[[Page, str], None]:
    """Signs one of the cast in through the form, as a person would."""

    def sign_in(page: Page, email: str) -> None:
        page.goto("/sign-in")
        page.get_by_label("E-mail address").fill(email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda address: "/sign-in" not in address)

    return sign_in
