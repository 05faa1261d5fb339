"""Guessing: exact under parallel tries, shared by servers, and no lock-out of the member."""

import re
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import attempts, club_clock, secrets
from server.db.attempts import Limit, TooMany
from server.db.engine import Database, open_database
from server.web import guessing
from server.web.app import create_app
from server.web.members.passwords import weak_password
from tests.conftest import OWN_ORIGIN, PASSWORD, Cast


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Judging a password takes no time; counting is what is tested."""
    monkeypatch.setattr(secrets, "password_matches", lambda typed, stored: typed == PASSWORD)


def sign_in(browser: TestClient, password: str, email: str = "ivo@club.example"):
    return browser.post("/sign-in", data={"email": email, "password": password})


def test_sixty_guesses_at_once_are_eight(app, cast: Cast, quick) -> None:
    def guess(number: int) -> int:
        stranger = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
        return sign_in(stranger, f"a wrong password {number}").status_code

    with ThreadPoolExecutor(12) as pool:
        found = Counter(pool.map(guess, range(60)))
    assert found == {422: guessing.PER_ACCOUNT_AND_NETWORK, 429: 60 - 8}


def test_servers_share_the_count(settings, club: Database, cast: Cast, quick) -> None:
    """Each with connections of its own; a third counts what the others were asked."""
    others = [open_database(data=settings.data) for _ in range(3)]
    codes = [
        sign_in(TestClient(create_app(settings, club=others[n % 3])), "wrong").status_code
        for n in range(10)
    ]
    assert codes == [422] * 8 + [429] * 2
    for one in others:
        one.close()


def test_a_member_is_not_shut_out_where_they_have_signed_in_before(app, cast: Cast, quick) -> None:
    own = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
    assert sign_in(own, PASSWORD).status_code == 303
    own.cookies.delete("underlamp_sign_in")
    stranger = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
    assert {sign_in(stranger, "wrong").status_code for _ in range(20)} == {422, 429}
    assert sign_in(own, PASSWORD).status_code == 303
    assert sign_in(stranger, PASSWORD).status_code == 429
    codes = [sign_in(own, "wrong").status_code for _ in range(guessing.PER_BROWSER + 1)]
    assert codes[-1] == 429, "a stolen browser may not guess for ever either"


def test_somebody_elses_browser_is_not_known(app, cast: Cast, quick) -> None:
    tess = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
    assert sign_in(tess, PASSWORD, "tess@club.example").status_code == 303
    tess.cookies.delete("underlamp_sign_in")
    codes = [sign_in(tess, "wrong").status_code for _ in range(9)]
    assert codes == [422] * 8 + [429]


def test_right_passwords_use_up_nothing(app, cast: Cast, quick) -> None:
    browser = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
    for _ in range(20):
        browser.cookies.clear()
        assert sign_in(browser, PASSWORD).status_code == 303


def test_retry_after_says_when(app, cast: Cast, quick) -> None:
    stranger = TestClient(app, follow_redirects=False, headers=OWN_ORIGIN)
    answers = [sign_in(stranger, "wrong") for _ in range(9)]
    assert 800 < int(answers[-1].headers["retry-after"]) <= 901
    assert "15 minutes" in answers[-1].text


@pytest.mark.parametrize("path", ["/account/password", "/account/leave"])
def test_the_other_places_that_ask_for_a_password_count_too(ivo, quick, path: str) -> None:
    typed = {"password_now": "wrong", "password": "seven green sea pens"}
    codes = [ivo.post(path, data=typed).status_code for _ in range(10)]
    assert codes[0] == 422 and codes[-1] == 429


def test_the_window_moves(club: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    limit = Limit(("one",), 2, timedelta(minutes=15))
    start = club_clock.machine_time()
    for minutes, allowed in ((0, True), (10, True), (14, False), (16, True), (17, False)):
        at = start + timedelta(minutes=minutes)
        monkeypatch.setattr(club_clock, "machine_time", lambda at=at: at)
        with club.write() as db:
            if allowed:
                attempts.begin(db, [limit])
            else:
                with pytest.raises(TooMany):
                    attempts.begin(db, [limit])


def test_one_household_is_one_network() -> None:
    network = guessing._network
    assert network("2001:db8:1:2:3::4") == network("2001:db8:1:2:ffff::9")
    assert network("2001:db8:1:3::4") != network("2001:db8:1:2::4")
    assert network("192.0.2.1") != network("192.0.2.2")


# Passwords that are among the first to be guessed

GUESSED = [
    "passwordpassword",
    "underlamp123456",
    "123456789012345",
    "abcabcabcabcabcabc",
    "correcthorsebatterystaple",
    "qwertyuiopasdfghjkl",
    "password1234567",
    "iloveyouforever1",
    "letmeinletmein123",
    "Password123456!",
    "P@ssw0rdP@ssw0rd",
    "reefclubreefclub",
    "welcome123456789",
    "qwertyuiop123456",
    "1qaz2wsx3edc4rfv",
    "zaq12wsxcde34rfv",
    "manchesterunited",
    "chelseafootball1",
    "michaeljackson123",
    "liverpoolfc12345",
    "summer2024summer",
    "january12345678",
    "thequickbrownfox",
    "tobeornottobe123",
    "iloveyouiloveyou",
    "administrator123",
    "superman123456789",
    "monkeymonkeymonkey",
    "testreefclub2026",
    "mara@club.example",
    "basketball123456",
    "jesuschristislord",
    "starwarsstarwars",
    "abcdefghijklmnop",
    "dragonballz12345",
    "changemechangeme",
    "maramaramara2026",
]
OF_ONES_OWN = (
    "kelp sways in the tide",
    "nine quiet tide pools",
    "seven green sea pens",
    "a quiet lagoon at noon",
    "mossy violin under stairs",
    "Kv8#qLz2!pRw9$TeX",
    "drei kleine Fische im Riff",
    "vier blauwe zeesterren",
    "tide " * 20 + "and moon a",
)


@pytest.mark.parametrize("password", GUESSED)
def test_what_is_guessed_first_is_refused(password: str) -> None:
    assert weak_password(password, "Mara", "mara@club.example", "Test Reef Club")


@pytest.mark.parametrize("password", OF_ONES_OWN)
def test_a_sentence_of_ones_own_will_do(password: str) -> None:
    assert weak_password(password, "Mara", "mara@club.example", "Test Reef Club") == ""


@pytest.mark.parametrize("sign", ["a", "\u00e9", "\U0001f420", " ", "\u0000"])
def test_the_longest_password_is_judged_quickly(sign: str) -> None:
    weak_password(sign * 256, "Mara")
    weak_password("".join(chr(200 + n) for n in range(256)), "Mara")


def test_the_clubs_own_name_is_refused_in_the_page(mara: TestClient, client: TestClient) -> None:
    page = mara.post("/members/invitations", data={"role": "member"}).text
    link = re.search(r"/join/[\w-]+", page)[0]
    typed = {"name": "Ola", "email": "o@c.example", "password": "Test Reef Club 2026"}
    assert "guessed" in client.post(link, data=typed).text
