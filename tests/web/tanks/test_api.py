"""GET /api/tanks: own and shared tanks, and nobody else's."""

from collections.abc import Callable

from fastapi.testclient import TestClient

from server.models import Member
from tests.conftest import Cast

TYPED = {"name": "Lagoon", "length": "90", "width": "45", "depth": "45", "wall_back": "black"}
Token = Callable[[Member], dict[str, str]]


def test_it_lists_own_tanks_then_shared_ones(
    client: TestClient, ivo: TestClient, tess: TestClient, cast: Cast, token_of: Token
) -> None:
    ivo.post("/tanks/new", data=TYPED)
    tess.post("/tanks/new", data=TYPED | {"name": "Shown", "shared": "yes"})
    tess.post("/tanks/new", data=TYPED | {"name": "Hidden"})
    answer = client.get("/api/tanks", headers=token_of(cast.ivo))
    assert answer.status_code == 200
    assert [(tank["name"], tank["own"]) for tank in answer.json()] == [
        ("Lagoon", True),
        ("Shown", False),
    ]
    lagoon = answer.json()[0]
    assert lagoon["walls"] == {"left": "clear", "right": "clear", "front": "clear", "back": "black"}
    assert (lagoon["length_cm"], lagoon["animals"], lagoon["setup_since"]) == (90, 0, None)
    assert "Hidden" not in answer.text


def test_without_a_token_it_says_what_is_needed(client: TestClient, ivo: TestClient) -> None:
    for browser in (client, ivo):
        answer = browser.get("/api/tanks")
        assert answer.status_code == 401
        assert answer.headers["content-type"].startswith("application/problem+json")
    assert client.get("/api/tanks", headers={"Authorization": "Bearer ul_no"}).status_code == 401


def test_openapi_describes_it(client: TestClient) -> None:
    told = client.get("/openapi.json").json()
    assert "TankOut" in told["components"]["schemas"]
    assert told["paths"]["/api/tanks"]["get"]["security"]
