"""Prints what requests to calculators were estimated to cost, and what they did cost.

`python -m tests.benchmarks.costly`; seconds of processor, one warm request each.
"""

import json
import tempfile
import time
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from server.db import schema
from server.db.engine import open_database
from server.settings import Settings
from server.web.app import create_app
from server.web.cost import estimated_s

KIND = {"Content-Type": "application/json"}
WALLS = {"left": 0.5, "right": 0.5, "front": "clear", "back": "black"}
TANK = {"length_cm": 120, "width_cm": 50, "depth_cm": 50, "walls": WALLS, "floor_albedo": 0.1}
WATER = {"refractive_index": 1.34, "absorption_per_m": [[0.05, 0.2 + n / 50] for n in range(20)]}
SIZES = {"point": {}, "tube": {"length_cm": 80}, "square": {"side_cm": 20}}


def emitters(count: int, shape: str, *, hung: bool = True) -> list[dict[str, Any]]:
    height = {"height_cm": 20} if hung else {}
    return [
        {"shape": shape, "x_cm": 1 + n * 7 % 118, "y_cm": 1 + n * 11 % 48, "ppf_umol_s": 50,
         "beam_deg": 90, **height, **SIZES[shape]}
        for n in range(count)
    ]  # fmt: skip


def places(count: int) -> list[dict[str, float]]:
    return [{"x_cm": 1 + n % 118, "y_cm": 20, "depth_cm": 20} for n in range(count)]


def asked() -> list[tuple[str, Any]]:
    scene = {"tank": TANK | {"cover": False}, "water": WATER}
    found: list[tuple[str, Any]] = []
    for count, shape, cell_cm in (
        (1, "point", 5), (400, "point", 2), (400, "point", 0.5), (8, "square", 2), (8, "tube", 1),
    ):  # fmt: skip
        here = {"emitters": emitters(count, shape), "depths_cm": [20], "cell_cm": cell_cm}
        found.append(("/api/spread", scene | here))
    for count in (1, 20, 200):
        target = {"low_ppfd": 50, "high_ppfd": 200, "depths_cm": [30]}
        here = {"emitters": emitters(count, "point", hung=False), "target": target, "cell_cm": 3}
        ranges = {"height_range_cm": [5, 60], "power_range": [0.1, 1]}
        found.append(("/api/mounting-height", scene | here | ranges))
    for readings, at in ((10, 50), (300, 1000), (1000, 2000)):
        here = {"emitters": emitters(20, "point"), "at": places(at)}
        told = [one | {"ppfd": 100} for one in places(readings)]
        found.append(("/api/measured-map", scene | here | {"readings": told}))
    pages = ("spread", "spread?cell=0.5&lamps=8", "mounting-height?cell=1&lamps=8", "shimmer")
    return found + [(f"/calculators/{page}", None) for page in pages]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        club = open_database(data=Path(folder))
        schema.migrate(club)
        client = TestClient(create_app(Settings(data=Path(folder)), club=club))
        for address, body in asked():
            method, raw = ("GET", b"") if body is None else ("POST", json.dumps(body).encode())
            path, _, query = address.partition("?")
            guess = estimated_s(method, path, query.encode(), raw)
            client.request(method, address, content=raw, headers=KIND)
            began = time.process_time()
            status = client.request(method, address, content=raw, headers=KIND).status_code
            took = time.process_time() - began
            print(f"{address:42} {status} estimated {guess:6.2f} s, took {took:6.2f} s")
        club.close()


if __name__ == "__main__":
    main()
