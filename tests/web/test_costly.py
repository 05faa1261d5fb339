"""Costly requests: judged before they are begun, answered elsewhere, refused kindly when full."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest
from fastapi.testclient import TestClient

from server.processes import pool
from server.processes.pool import Pool
from server.web import cost, costly, worker
from server.web.app import create_app
from tests.conftest import Cast, serving

SCENE = {
    "tank": {
        "length_cm": 100,
        "width_cm": 50,
        "depth_cm": 50,
        "walls": {"left": 0.5, "right": 0.5, "front": "clear", "back": "black"},
        "floor_albedo": 0.1,
        "cover": False,
    },
    "water": {"refractive_index": 1.34, "absorption_per_m": 0.3},
    "emitters": [
        {
            "shape": "point",
            "x_cm": 50,
            "y_cm": 25,
            "height_cm": 20,
            "ppf_umol_s": 100,
            "beam_deg": 90,
        }
    ],
    "depths_cm": [20],
    "cell_cm": 5.0,
}


def with_emitters(count: int, **changed: object) -> dict[str, object]:
    emitters = [SCENE["emitters"][0] | {"x_cm": 1 + n % 98} for n in range(count)]
    return SCENE | {"emitters": emitters} | changed


def estimate(path: str, body: object = None, query: str = "") -> float | None:
    method = "GET" if body is None else "POST"
    raw = b"" if body is None else json.dumps(body).encode()
    return cost.estimated_s(method, path, query.encode(), raw)


def test_only_calculators_are_estimated() -> None:
    assert estimate("/tanks") is None
    assert estimate("/api/tanks", {}) is None
    assert estimate("/calculators") is None


def test_a_verdict_is_costly_and_what_is_beside_it_is_not() -> None:
    assert estimate("/tanks/12/verdict") >= cost.CHEAP_S
    assert estimate("/tanks/12") is None and estimate("/tanks/12/verdict/x") is None
    assert estimate("/tanks/12/verdict", {}) is None


def test_what_takes_milliseconds_is_cheap_and_what_takes_seconds_is_not() -> None:
    for cheap in ("dose", "day", "light-units", "watts", "spectrum"):
        assert estimate(f"/calculators/{cheap}") < cost.CHEAP_S
        assert estimate(f"/api/{cheap}", {"x": 1}) < cost.CHEAP_S
    assert estimate("/api/spread", SCENE) >= cost.CHEAP_S
    assert estimate("/api/spread", with_emitters(400, cell_cm=0.5)) > 0.5
    assert estimate("/calculators/spread", query="cell=0.5&lamps=8") > 0.5
    assert estimate("/calculators/mounting-height", query="cell=1&lamps=8") > 1
    readings = [{"x_cm": 1, "y_cm": 1, "depth_cm": 1, "ppfd": 5}] * 1000
    assert estimate("/api/measured-map", SCENE | {"readings": readings, "at": readings * 5}) > 5


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[" * 100_000,
        b"[]",
        b"{}",
        b'{"emitters": 5, "tank": []}',
        b'{"tank": {"length_cm": "x", "width_cm": null}, "cell_cm": 0}',
        b'{"tank": {"length_cm": 1e999, "width_cm": -1}, "cell_cm": NaN, "emitters": [1, {}]}',
    ],
)
def test_nonsense_has_an_estimate_too(body: bytes) -> None:
    assert cost.estimated_s("POST", "/api/spread", b"", body) < 1e30


def test_the_estimate_grows_with_every_size() -> None:
    base = estimate("/api/spread", with_emitters(50, cell_cm=1.0))
    assert estimate("/api/spread", with_emitters(100, cell_cm=1.0)) > base
    assert estimate("/api/spread", with_emitters(50, cell_cm=0.5)) > base
    assert estimate("/api/spread", with_emitters(50, cell_cm=1.0, depths_cm=[1, 2])) > base


# With processes


@pytest.fixture
def busy_app(settings, club):
    """The program with a pool of one process."""
    made = Pool(worker.serve, settings, False, processes=1)
    yield create_app(settings, club=club, pool=made)
    made.close()


def test_the_pool_answers_as_the_server_itself_would_and_refuses_when_full(
    busy_app, client: TestClient, monkeypatch: pytest.MonkeyPatch, cast: Cast
) -> None:
    monkeypatch.setattr(pool, "GRACE_S", 0.2)
    page = "/calculators/spread?cell=4"
    busy_app.state.pool._workers[0].start()
    with serving(busy_app) as address, httpx.Client(base_url=address, timeout=60) as visitor:
        pooled = visitor.post("/api/spread", json=SCENE)
        assert pooled.status_code == 200
        assert pooled.json() == client.post("/api/spread", json=SCENE).json()
        assert visitor.get(page).text == client.get(page).text
        refused = visitor.post("/api/spread", json=SCENE | {"cell_cm": "x"})
        assert refused.status_code == 422 and refused.json()["errors"]

        monkeypatch.setattr(costly, "_STARTING_S", cost.CHEAP_S)
        monkeypatch.setattr(pool, "MOST_WAITING", {True: 24, False: 0})
        monkeypatch.setattr(pool, "MOST_WAITING_S", {True: 60.0, False: 0.0})
        monkeypatch.setattr(pool, "LONGEST_WAIT_S", 0.3)
        monkeypatch.setattr(pool, "LONGEST_S", {True: 20.0, False: 0.0})
        stopped = visitor.get(page)
        assert stopped.status_code == 503 and "took too long" in stopped.text
        assert stopped.headers["retry-after"] == "60"
        busy_app.state.pool._visitors = 99  # as if others had all the places
        full = visitor.post("/api/spread", json=SCENE)
        assert full.status_code == 503 and full.headers["retry-after"] == "10"
        assert full.headers["content-type"] == "application/problem+json"
        assert "busy" in full.json()["title"]
        kind = visitor.get(page)
        assert kind.status_code == 503 and 'href="/calculators/spread?cell=4"' in kind.text
        assert visitor.get("/calculators/dose").status_code == 200, "what is cheap goes on"


def test_no_process_is_left_behind_when_the_server_is_stopped(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "server", "serve", "--port", "0", "--data", str(tmp_path)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    address = process.stdout.readline().split()[-1]
    assert (
        httpx.post(
            address + "/api/spread", json=with_emitters(400, cell_cm=0.5), timeout=60
        ).status_code
        == 200
    )
    children = children_of(process.pid)
    assert children, "the spread should have been worked out elsewhere"
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=20)
    until = time.monotonic() + 5
    while any(alive(child) for child in children) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [child for child in children if alive(child)]


def children_of(parent: int) -> list[int]:
    found = Path(f"/proc/{parent}/task").glob("*/children")
    return [int(word) for file in found for word in file.read_text().split()]


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
        return Path(f"/proc/{process}/stat").read_text().split(") ")[1][0] != "Z"
    except (ProcessLookupError, FileNotFoundError):
        return False
