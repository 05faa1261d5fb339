"""The one layer before everything: same origin, body size, headers."""

import re
import socket

import pytest
from fastapi.testclient import TestClient

from server.web.app import create_app
from server.web.guard import CONTENT_POLICY


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_form_sent_from_another_site_is_refused(client: TestClient, site: str) -> None:
    answer = client.post("/sign-out", headers={"Sec-Fetch-Site": site})
    assert answer.status_code == 403


def test_a_cookie_without_any_word_of_where_it_comes_from_is_refused(app, ivo) -> None:
    bare = TestClient(app, follow_redirects=False, cookies=ivo.cookies)
    assert bare.post("/account/leave").status_code == 403
    assert bare.get("/account").status_code == 200
    no_cookie = TestClient(app, follow_redirects=False)
    assert no_cookie.post("/sign-in", data={"email": "x"}).status_code == 422


def test_the_scheme_of_the_origin_counts(client: TestClient) -> None:
    assert client.post("/sign-out", headers={"Origin": "https://testserver"}).status_code == 403


def test_the_public_address_is_the_origin_where_it_is_named(settings, club) -> None:
    named = settings.model_copy(update={"public_url": "https://light.example.org"})
    client = TestClient(create_app(named, club=club), follow_redirects=False)
    for origin, status in (("https://light.example.org", 303), ("http://light.example.org", 403)):
        assert client.post("/sign-out", headers={"Origin": origin}).status_code == status


@pytest.mark.parametrize(
    ("host", "status"), [("light.example.org", 200), ("a.club.example:8000", 200), ("evil", 400)]
)
def test_only_named_hosts_are_answered(settings, club, host: str, status: int) -> None:
    hosts = ("light.example.org", "*.club.example")
    named = settings.model_copy(update={"allowed_hosts": hosts})
    answer = TestClient(create_app(named, club=club)).get("/help", headers={"Host": host})
    assert answer.status_code == status
    assert "<main" in answer.text


@pytest.mark.parametrize("host", ["evil.example", "8.8.8.8"])
def test_a_link_never_leads_where_the_request_says(mara: TestClient, host: str) -> None:
    origin = {"Host": host, "Origin": f"http://{host}"}
    page = mara.post("/members/invitations", data={"role": "member"}, headers=origin).text
    assert "http://127.0.0.1:8000/join/" in page and f"{host}/join" not in page


@pytest.mark.parametrize("host", ["192.168.1.20:8000", "localhost:8000", "[::1]:8000"])
def test_addresses_within_a_home_are_believed(mara: TestClient, host: str) -> None:
    origin = {"Host": host, "Origin": f"http://{host}"}
    page = mara.post("/members/invitations", data={"role": "member"}, headers=origin).text
    assert f"http://{host}/join/" in page


def test_an_early_refusal_wears_the_house_and_a_problem_on_json(client: TestClient) -> None:
    large = b"x" * (10 * 2**20)
    page = client.post("/sign-in", content=large)
    assert page.status_code == 413 and "<main" in page.text and "at most 9 MiB" in page.text
    assert page.headers["content-type"].startswith("text/html")
    problem = client.post("/api/dose", content=large)
    assert problem.headers["content-type"] == "application/problem+json"
    assert "at most 9 MiB" in problem.json()["title"]


@pytest.mark.parametrize("declared", [True, False])
def test_a_plain_client_gets_its_answer_while_it_is_still_sending(live: str, declared) -> None:
    """It sends all before it reads; cutting it off would show it a reset and no words."""
    size, piece = 20 * 2**20, b"x" * (2**16 - 1) + b"&"
    host, port = live.removeprefix("http://").split(":")
    head = f"POST /sign-in HTTP/1.1\r\nHost: {host}:{port}\r\n"
    head += "Content-Type: application/x-www-form-urlencoded\r\n"
    head += f"Content-Length: {size}" if declared else "Transfer-Encoding: chunked"
    with socket.create_connection((host, int(port)), timeout=20) as connection:
        connection.sendall(head.encode() + b"\r\n\r\n")
        for _ in range(size // len(piece)):
            connection.sendall(piece if declared else b"10000\r\n" + piece + b"\r\n")
        if not declared:
            connection.sendall(b"0\r\n\r\n")
        assert connection.recv(200).startswith(b"HTTP/1.1 413")


def test_without_fetch_headers_the_origin_decides(client: TestClient) -> None:
    own = client.post("/sign-out", headers={"Origin": "http://testserver"})
    other = client.post("/sign-out", headers={"Origin": "http://evil.example"})
    assert (own.status_code, other.status_code) == (303, 403)


def test_a_declared_body_over_the_limit_is_refused(client: TestClient) -> None:
    assert client.post("/sign-in", content=b"x" * (10 * 2**20)).status_code == 413


def test_an_undeclared_body_over_the_limit_is_refused(client: TestClient) -> None:
    def pieces():
        for _ in range(12):
            yield b"x" * 2**20

    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/sign-in", content=pieces(), headers=kind).status_code == 413


@pytest.mark.parametrize("address", ["/sign-in", "/nowhere", "/static/app.css", "/healthz"])
def test_every_answer_carries_the_headers(client: TestClient, address: str) -> None:
    headers = client.get(address).headers
    assert headers["Content-Security-Policy"] == CONTENT_POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_the_policy_allows_nothing_inline() -> None:
    assert "unsafe" not in CONTENT_POLICY
    assert re.search(r"script-src 'self';", CONTENT_POLICY)


def test_health_needs_no_sign_in(client: TestClient) -> None:
    answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


def test_a_page_that_is_not_there_speaks_plainly(client: TestClient) -> None:
    answer = client.get("/nowhere")
    assert answer.status_code == 404
    assert "There is nothing here." in answer.text


def test_a_json_address_that_is_not_there_answers_with_a_problem(client: TestClient) -> None:
    answer = client.get("/api/nowhere")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_fault_shows_a_number_and_never_the_exception(app, caplog) -> None:
    def broken() -> None:
        raise RuntimeError("secret words of the exception")

    app.add_api_route("/broken", broken)
    answer = TestClient(app, raise_server_exceptions=False).get("/broken")
    assert answer.status_code == 500
    assert "secret words" not in answer.text
    number = re.search(r"the number ([0-9a-f]{8})", answer.text)
    assert number and number[1] in caplog.text


def test_a_fault_carries_the_headers_too(app) -> None:
    def broken() -> None:
        raise RuntimeError

    app.add_api_route("/broken", broken)
    headers = TestClient(app, raise_server_exceptions=False).get("/broken").headers
    assert headers["Content-Security-Policy"] == CONTENT_POLICY
    assert headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("charset", ["undefined", "utf-7", "unicode_escape", "latin-1"])
def test_a_form_in_other_letters_than_utf_8_is_refused(client: TestClient, charset: str) -> None:
    body = b'--x\r\nContent-Disposition: form-data; name="email"\r\n\r\n+2AA-\r\n--x--\r\n'
    kind = {"Content-Type": f"multipart/form-data; charset={charset}; boundary=x"}
    assert client.post("/sign-in", content=body, headers=kind).status_code == 415


def test_utf_8_may_be_named(client: TestClient) -> None:
    kind = {"Content-Type": "application/x-www-form-urlencoded; charset=UTF-8"}
    assert client.post("/sign-in", content=b"email=x", headers=kind).status_code == 422


def test_an_origin_that_cannot_be_read_is_another_site(client: TestClient) -> None:
    assert client.post("/sign-in", headers={"Origin": "http://[::1"}).status_code == 403


@pytest.mark.parametrize("cookie", ["%5B%22%5Cud800%22%2C%22x%22%5D", "%5B" * 1000, "nonsense"])
def test_a_notice_that_cannot_be_read_is_no_fault(client: TestClient, cookie: str) -> None:
    assert client.get("/help", headers={"Cookie": f"notice={cookie}"}).status_code == 200


def test_too_much_json_is_refused_as_a_problem(client: TestClient) -> None:
    answer = client.post("/api/dose", content=b"[" * (10 * 2**20))
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"


def test_head_is_answered_like_get(client: TestClient) -> None:
    assert client.head("/healthz").status_code == 200
