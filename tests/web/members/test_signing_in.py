"""Joining, signing in and out, and what a stranger may not do."""

import html
import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from server.db import members
from server.db.engine import Database
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import PASSWORD, Cast


def sign_in(client: TestClient, email: str = "ivo@club.example", password: str = PASSWORD):
    return client.post("/sign-in", data={"email": email, "password": password, "next": "/account"})


def test_a_member_signs_in_and_lands_where_she_wanted(client: TestClient, cast: Cast) -> None:
    answer = sign_in(client)
    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    assert "ivo@club.example" in client.get("/account").text


def test_a_wrong_password_keeps_the_address_typed(client: TestClient, cast: Cast) -> None:
    answer = sign_in(client, password="not this one at all")
    assert answer.status_code == 422
    assert 'value="ivo@club.example"' in answer.text
    assert "There is a problem" in answer.text


def test_an_unknown_address_answers_alike(client: TestClient, cast: Cast) -> None:
    known = sign_in(client, password="wrong wrong wrong")
    unknown = sign_in(client, email="who@club.example", password="wrong wrong wrong")
    assert known.text.replace("ivo@", "X") == unknown.text.replace("who@", "X")


def test_many_wrong_passwords_are_slowed_down(client: TestClient, cast: Cast) -> None:
    codes = [sign_in(client, password=f"wrong password {n}").status_code for n in range(10)]
    assert codes[0] == 422 and codes[-1] == 429


@pytest.mark.parametrize("evil", ["//evil.example", "https:evil", "/\\evil", "evil", ""])
def test_signing_in_never_leads_to_another_site(client: TestClient, cast: Cast, evil: str) -> None:
    typed = {"email": "ivo@club.example", "password": PASSWORD, "next": evil}
    assert client.post("/sign-in", data=typed).headers["location"] == "/"


def test_the_cookie_is_out_of_reach_of_scripts(client: TestClient, cast: Cast) -> None:
    cookie = sign_in(client).headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and "Path=/" in cookie


def test_behind_https_the_cookie_is_bound_to_the_host(settings: Settings, club, cast) -> None:
    secure = create_app(settings.model_copy(update={"secure_cookies": True}), club=club)
    answer = sign_in(TestClient(secure, follow_redirects=False, base_url="https://testserver"))
    assert "__Host-underlamp_sign_in=" in answer.headers["set-cookie"]
    assert "Secure" in answer.headers["set-cookie"]
    assert answer.headers["strict-transport-security"].startswith("max-age=31536000")


def test_signing_out_ends_a_copied_cookie_too(client: TestClient, cast: Cast, app) -> None:
    sign_in(client)
    copied = client.cookies["underlamp_sign_in"]
    client.post("/sign-out")
    thief = TestClient(app, follow_redirects=False)
    thief.cookies.set("underlamp_sign_in", copied)
    assert thief.get("/account").headers["location"].startswith("/sign-in")


def test_each_sign_in_has_a_new_token(client: TestClient, cast: Cast) -> None:
    sign_in(client)
    first = client.cookies["underlamp_sign_in"]
    sign_in(client)
    assert client.cookies["underlamp_sign_in"] != first


def test_a_visitor_is_sent_to_sign_in_and_comes_back(client: TestClient) -> None:
    assert client.get("/account?x=1").headers["location"] == "/sign-in?next=/account%3Fx%3D1"


def invite(browser: TestClient, **typed: str) -> str:
    page = browser.post("/members/invitations", data=typed).text
    found = re.search(r"/join/[\w-]+", page)
    assert found
    return found[0]


def test_an_invited_person_joins_once(mara: TestClient, client: TestClient) -> None:
    link = invite(mara, for_whom="Ola", role="member")
    typed = {"name": "Ola", "email": "OLA@club.example", "password": "seven green sea pens"}
    assert client.post(link, data=typed).status_code == 303
    assert "ola@club.example" in client.get("/account").text
    assert client.post(link, data=typed | {"email": "b@club.example"}).status_code == 410


def test_a_short_password_is_refused_and_the_rest_kept(mara: TestClient, client) -> None:
    link = invite(mara)
    answer = client.post(link, data={"name": "<b>Ola", "email": "o@c.example", "password": "short"})
    assert answer.status_code == 422
    assert 'value="&lt;b&gt;Ola"' in answer.text and "at least 15" in answer.text


@pytest.mark.parametrize(
    "password",
    [
        "passwordpassword",
        "underlamp123456",
        "aaaaaaaaaaaaaaaa",
        "123456789012345",
        "abcabcabcabcabcabc",
    ],
)
def test_a_password_everybody_guesses_is_refused(mara, client, password: str) -> None:
    typed = {"name": "Ola", "email": "o@c.example", "password": password}
    answer = client.post(invite(mara), data=typed)
    assert answer.status_code == 422 and "guessed" in answer.text


def test_two_long_passwords_that_differ_at_the_end_are_different(mara, client) -> None:
    long = "tide " * 20
    client.post(
        invite(mara), data={"name": "Ola", "email": "o@c.example", "password": long + "and moon a"}
    )
    client.post("/sign-out")
    assert sign_in(client, "o@c.example", long + "and moon b").status_code == 422
    assert sign_in(client, "o@c.example", long + "and moon a").status_code == 303


def test_only_a_steward_invites(ivo: TestClient) -> None:
    assert ivo.post("/members/invitations", data={"role": "steward"}).status_code == 403
    assert "Make an invitation link" not in ivo.get("/members").text


def test_the_last_steward_stays(mara: TestClient, cast: Cast, club: Database) -> None:
    mara.post(f"/members/{cast.mara.id}/role", data={"role": "member"})
    with club.read() as db:
        assert members.steward_count(db) == 1


def test_a_reset_link_sets_a_password_and_ends_sign_ins(mara, ivo, client, cast: Cast) -> None:
    page = mara.post(f"/members/{cast.ivo.id}/new-password-link").text
    link = re.search(r"/join/[\w-]+", page)[0]
    assert client.post(link, data={"password": "nine quiet tide pools"}).status_code == 303
    assert ivo.get("/account").status_code == 303  # the old sign-in is over
    assert sign_in(client, password=PASSWORD).status_code == 422


@pytest.mark.parametrize("way", ["reset", "change"])
def test_a_new_password_ends_what_the_old_one_opened(
    app, mara, ivo, tess, client, cast: Cast, club: Database, way: str
) -> None:
    def link_for(person) -> str:
        page = mara.post(f"/members/{person.id}/new-password-link").text
        return re.search(r"/join/[\w-]+", page)[0]

    def may(token: str) -> int:
        headers = {"Authorization": f"Bearer {token}"}
        return client.get("/api/tanks", headers=headers).status_code

    def token_of(browser) -> str:
        page = browser.post("/account/tokens", data={"token_name": "logger"}).text
        return re.search(r"ul_[\w-]+", page)[0]

    older, newer, hers = link_for(cast.ivo), link_for(cast.ivo), link_for(cast.tess)
    token, her_token = token_of(ivo), token_of(tess)
    feed = f"/feeds/member/{cast.ivo.feed_secret}.ics"
    assert may(token) == 200 == client.get(feed).status_code
    copied, elsewhere = dict(ivo.cookies), TestClient(app, follow_redirects=False)
    fresh = {"password": "nine quiet tide pools"}
    if way == "reset":
        assert client.post(newer, data=fresh).status_code == 303
        client.cookies.clear()
    else:
        typed = fresh | {"password_now": PASSWORD}
        assert ivo.post("/account/password", data=typed).status_code == 303
        assert ivo.get("/account").status_code == 200  # the sign-in in hand goes on
        with club.read() as db:  # and a guesser's limits go on sparing this browser
            assert members.known_browser(db, cast.ivo.id, ivo.cookies["underlamp_browser"])
    elsewhere.cookies.update(copied)
    assert elsewhere.get("/account").status_code == 303  # also a copy of the cookie in hand
    assert may(token) == 401
    assert client.get(feed).status_code == 404
    assert client.get(older).status_code == 410
    assert may(her_token) == 200 == tess.get("/account").status_code  # nobody else's
    assert client.get(hers).status_code == 200
    assert client.get(f"/feeds/member/{cast.tess.feed_secret}.ics").status_code == 200


def test_preferences_are_kept_and_refused_politely(ivo: TestClient) -> None:
    typed = {"name": "Ivo B", "length_unit": "in", "volume_unit": "gal", "clock": "12"}
    assert ivo.post("/account", data=typed).status_code == 303
    assert 'value="in" selected' in ivo.get("/account").text
    refused = ivo.post("/account", data=typed | {"name": "", "clock": "13"})
    assert refused.status_code == 422 and "There is a problem" in refused.text


def test_mass_assignment_changes_nothing(ivo: TestClient, club: Database) -> None:
    typed = {"name": "Ivo", "length_unit": "cm", "volume_unit": "L", "clock": "24"}
    ivo.post("/account", data=typed | {"role": "steward", "id": "1", "email": "x@y.example"})
    with club.read() as db:
        assert members.member_by_email(db, "ivo@club.example").role == "member"


def test_a_token_is_shown_once_and_can_be_revoked(ivo: TestClient, tess: TestClient, club) -> None:
    page = ivo.post("/account/tokens", data={"token_name": "logger"}).text
    token = re.search(r"ul_[\w-]+", page)[0]
    assert token not in ivo.get("/account").text
    with club.read() as db:
        owner, row = members.bearer(db, token)
    assert owner.name == "Ivo"
    assert tess.post(f"/account/tokens/{row.id}/revoke").status_code == 404
    assert ivo.post(f"/account/tokens/{row.id}/revoke").status_code == 303
    with club.read() as db:
        assert members.bearer(db, token) is None


def test_a_fresh_club_is_set_up_once_by_its_link(
    settings: Settings, tmp_path, client_of: Callable
) -> None:
    browser, link = client_of(tmp_path / "fresh")
    typed = {
        "club_name": "Rockpool Friends",
        "time_zone": "Europe/Oslo",
        "name": "Ada",
        "email": "ada@club.example",
        "password": "eleven small blennies",
    }
    assert browser.post(link, data=typed | {"time_zone": "Nowhere/At_All"}).status_code == 422
    assert browser.post(link, data=typed).status_code == 303
    assert "a steward" in browser.get("/members").text
    assert browser.get(link).status_code == 410


@pytest.fixture
def client_of():
    from server.db import backup

    def make(folder) -> tuple[TestClient, str]:
        fresh = Settings(data=folder, database_url=None)
        club = backup.open_current(fresh)
        with club.write() as db:
            token = members.setup_token(db)
        return TestClient(create_app(fresh, club=club), follow_redirects=False), f"/join/{token}"

    return make


def test_a_form_sent_after_the_sign_in_ran_out_is_not_lost(client: TestClient, cast: Cast) -> None:
    typed = {"name": 'Ivo "B"\nline', "length_unit": "in", "volume_unit": "gal", "clock": "12"}
    asked = client.post("/account", data=typed)
    assert asked.status_code == 401 and "what you typed goes on" in asked.text
    hidden = html.unescape(re.search(r'name="typed" value="([^"]*)"', asked.text)[1])
    back = {"email": "ivo@club.example", "password": PASSWORD, "resume": "/account"}
    resumed = client.post("/sign-in", data=back | {"typed": hidden})
    assert resumed.status_code == 200 and 'action="/account"' in resumed.text
    assert "Ivo &#34;B&#34;\nline" in resumed.text
    assert client.post("/account", data=typed).status_code == 303


@pytest.mark.parametrize(
    "packed", ["", "{}", "[1]", "nonsense", "[]", "[" * 100_000, '[["a", "\\ud800"]]']
)
def test_a_carried_form_that_cannot_be_read_is_dropped(client, cast, packed: str) -> None:
    back = {"email": "ivo@club.example", "password": PASSWORD, "resume": "/account"}
    assert client.post("/sign-in", data=back | {"typed": packed}).status_code == 303


def test_a_large_club_is_listed_page_by_page(ivo: TestClient, club: Database) -> None:
    with club.write() as db:
        for number in range(60):
            members.add_member(
                db, name=f"Zed {number:02}", email=f"z{number}@c.example", password_hash="x"
            )
    first, second = ivo.get("/members").text, ivo.get("/members?page=2").text
    assert "Zed 00" in first and "Zed 59" not in first and "page=2" in first
    assert "Zed 59" in second and "page=3" not in second
    found = ivo.get("/members?q=zed 07").text
    assert "Zed 07" in found and "Zed 08" not in found
    assert "Nobody by that name" in ivo.get("/members?q=%25").text
    assert ivo.get("/members?page=x").status_code == 200
