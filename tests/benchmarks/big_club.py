"""A club of 500 members, 1,500 tanks, 20,000 sessions and 600,000 readings: how fast are pages?

    python -m tests.benchmarks.big_club [--small]

Prints the median and the 95th percentile of each page over real HTTP with one client, the size
of the answer, and the server's memory. The figures are made up with a fixed seed; nothing here
is a test, and nothing fails by being slow.
"""

import argparse
import random
import resource
import statistics
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import httpx
from sqlalchemy import insert
from sqlmodel import Session, SQLModel

from server.db import members, schema
from server.db.engine import Database, open_database
from server.models import (
    Animal,
    HungLamp,
    LampModel,
    Loan,
    LoanDay,
    MeasurementSession,
    Member,
    Meter,
    Reading,
    Setup,
    Tank,
)
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import serving

SEED = 20261125
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
KINDS = ("led_cluster", "led_panel", "led_bar", "fluorescent_tube", "metal_halide", "mixed")


@dataclass(frozen=True)
class Size:
    members: int = 500
    tanks: int = 1_500
    sessions: int = 20_000
    readings: int = 600_000


SMALL = Size(members=20, tanks=40, sessions=100, readings=2_000)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--small", action="store_true", help="a small club, to try the script")
    asked.add_argument("--rounds", type=int, default=21, help="requests per page")
    chosen = asked.parse_args()
    size = SMALL if chosen.small else Size()
    with tempfile.TemporaryDirectory() as folder:
        started = time.perf_counter()
        club, token = fill(Path(folder), size)
        print(f"{size}, filled in {time.perf_counter() - started:.1f} s")
        measure(club, token, Settings(data=Path(folder), database_url=None), chosen.rounds)


def fill(folder: Path, size: Size) -> tuple[Database, str]:
    """Makes the club and a sign-in of its first member, who keeps the most-measured tanks."""
    club = open_database(data=folder)
    schema.migrate(club)
    draw = random.Random(SEED)
    with club.write() as db:
        members.make_club(db, name="A large club", time_zone="Europe/Lisbon")
        _put(db, Member, list(_members(size)))
        _put(db, LampModel, list(_lamps()))
        _put(db, Tank, list(_tanks(size, draw)))
        _put(db, Setup, list(_setups(size)))
        _put(db, HungLamp, list(_hung(size, draw)))
        _put(db, Animal, list(_animals(size, draw)))
        _put(db, Meter, [{"id": 1, "name": "Meter", "created_at": NOW}])
        _loans(db, size)
        _put(db, MeasurementSession, list(_sessions(size, draw)))
        for part in _parts(_readings(size, draw), 20_000):
            _put(db, Reading, part)
        token = members.sign_in(db, db.get_one(Member, 1), device="benchmark")
    return club, token


def measure(club: Database, token: str, settings: Settings, rounds: int) -> None:
    with serving(create_app(settings, club=club)) as address:
        browser = httpx.Client(base_url=address, cookies={"underlamp_sign_in": token}, timeout=60)
        print(f"{'page':44} {'status':>6} {'median ms':>10} {'p95 ms':>8} {'kB':>8}")
        for path in PAGES:
            times, answer = _timed(browser, path, rounds)
            p95 = sorted(times)[int(0.95 * len(times))]
            kilobytes = len(answer.content) / 1000
            print(
                f"{path:44} {answer.status_code:6} {statistics.median(times):10.1f} "
                f"{p95:8.1f} {kilobytes:8.1f}"
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of the process, filling included: {peak:.0f} MB")


PAGES = (
    "/",
    "/tanks",
    "/tanks?page=2",
    "/tanks/1",
    "/tanks/1/plan",
    "/tanks/1/sessions",
    "/sessions/1",
    "/tanks/1/verdict",
    "/tanks/1/history",
    "/lamps",
    "/lamps/1",
    "/meters",
    "/meters/1",
    "/members",
    "/compare",
    "/club",
    "/messages",
    "/account",
)


def _timed(browser: httpx.Client, path: str, rounds: int) -> tuple[list[float], httpx.Response]:
    answer = browser.get(path)  # the first one fills caches and is not counted
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        answer = browser.get(path)
        times.append(1000 * (time.perf_counter() - started))
    return times, answer


def _put(db: Session, model: type[SQLModel], rows: list[dict[str, object]]) -> None:
    if rows:
        made = [_whole(model, row) for row in rows]
        db.connection().execute(insert(SQLModel.metadata.tables[str(model.__tablename__)]), made)


def _whole(model: type[SQLModel], row: dict[str, object]) -> dict[str, object]:
    """The row with the defaults of its columns."""
    defaults = {
        name: field.default for name, field in model.model_fields.items() if not field.is_required()
    }
    return defaults | row


def _parts(rows: Iterator[dict[str, object]], size: int) -> Iterator[list[dict[str, object]]]:
    part: list[dict[str, object]] = []
    for row in rows:
        part.append(row)
        if len(part) == size:
            yield part
            part = []
    yield part


def _members(size: Size) -> Iterator[dict[str, object]]:
    for number in range(1, size.members + 1):
        yield {
            "id": number,
            "name": f"Member {number:03}",
            "email": f"m{number}@large.example",
            "role": "steward" if number == 1 else "member",
            "created_at": NOW,
        }


def _lamps() -> Iterator[dict[str, object]]:
    for number in range(1, 61):
        kind = KINDS[number % 6]
        yield {
            "id": number,
            "name": f"Lamp {number:02}",
            "kind": kind,
            "beam_deg": 60 + number,
            "watts": 40 + 3 * number,
            "ppf_umol_s": 80 + 5 * number,
            "side_cm": 8.0 if kind == "led_cluster" else None,
            "tube_length_cm": 80.0 if kind == "fluorescent_tube" else None,
            "created_at": NOW,
        }


def _tanks(size: Size, draw: random.Random) -> Iterator[dict[str, object]]:
    for number in range(1, size.tanks + 1):
        yield {
            "id": number,
            "owner_id": 1 + (number - 1) % size.members,
            "name": f"Tank {number:04}",
            "length_cm": float(draw.choice((40, 60, 90, 120, 150))),
            "width_cm": float(draw.choice((40, 45, 50, 60))),
            "depth_cm": float(draw.choice((35, 45, 50, 55))),
            "wall_back": draw.choice(("clear", "black")),
            "shared": number % 3 != 0,
            "created_at": NOW - timedelta(days=number),
        }


def _setups(size: Size) -> Iterator[dict[str, object]]:
    for number in range(1, size.tanks + 1):
        yield {
            "id": number,
            "tank_id": number,
            "since": date(2026, 1, 1) + timedelta(days=number % 300),
            "created_at": NOW,
        }


def _hung(size: Size, draw: random.Random) -> Iterator[dict[str, object]]:
    for number in range(1, size.tanks + 1):
        yield {
            "setup_id": number,
            "lamp_model_id": 1 + draw.randrange(60),
            "x_cm": 20.0,
            "y_cm": 20.0,
            "height_cm": 25.0,
            "power": 0.7,
        }


def _animals(size: Size, draw: random.Random) -> Iterator[dict[str, object]]:
    for number in range(size.tanks * 6):
        yield {
            "tank_id": 1 + number // 6,
            "name": f"Animal {number % 6}",
            "group": draw.choice(("soft", "small_polyp")),
            "x_cm": draw.uniform(2, 38),
            "y_cm": draw.uniform(2, 38),
            "depth_cm": draw.uniform(5, 33),
            "low_ppfd": 75.0,
            "high_ppfd": 150.0,
            "placed_on": date(2026, 2, 1),
        }


def _loans(db: Session, size: Size) -> None:
    first = date(2025, 6, 1)
    loans, days = [], []
    for number in range(1, 200):
        start = first + timedelta(days=3 * number)
        loans.append(
            {
                "id": number,
                "meter_id": 1,
                "member_id": 1 + number % size.members,
                "first_day": start,
                "last_day": start + timedelta(days=2),
                "state": "ended" if start < NOW.date() else "booked",
                "created_at": NOW,
            }
        )
        days += [
            {"meter_id": 1, "day": start + timedelta(days=k), "loan_id": number} for k in range(3)
        ]
    _put(db, Loan, loans)
    _put(db, LoanDay, days)


def _sessions(size: Size, draw: random.Random) -> Iterator[dict[str, object]]:
    for number in range(1, size.sessions + 1):
        tank = 1 + (number - 1) % size.tanks
        yield {
            "id": number,
            "tank_id": tank,
            "setup_id": tank,
            "meter_id": 1,
            "taken_on": date(2026, 1, 1) + timedelta(days=draw.randrange(320)),
            "created_by_id": 1 + (tank - 1) % size.members,
            "created_at": NOW,
        }


def _readings(size: Size, draw: random.Random) -> Iterator[dict[str, object]]:
    each = size.readings // size.sessions
    for number in range(size.readings):
        raw = draw.uniform(40, 400)
        yield {
            "session_id": 1 + number // each,
            "x_cm": draw.uniform(2, 38),
            "y_cm": draw.uniform(2, 38),
            "depth_cm": draw.uniform(2, 33),
            "raw_ppfd": raw,
            "ppfd": raw,
            "entered_at": NOW,
        }


if __name__ == "__main__":
    main()
