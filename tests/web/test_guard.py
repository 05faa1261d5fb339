"""The one layer before everything: same origin, body size, headers."""

import re

import pytest
from fastapi.testclient import TestClient

from server.web.guard import CONTENT_POLICY


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_form_sent_from_another_site_is_refused(client: TestClient, site: str) -> None:
    answer = client.post("/sign-out", headers={"Sec-Fetch-Site": site})
    assert answer.status_code == 403


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
