"""Tries at a password are counted exactly on PostgreSQL too, by servers with connections apart."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from datetime import timedelta
from pathlib import Path

import pytest

from server.db import attempts, schema
from server.db.attempts import Limit, TooMany
from server.db.engine import open_database


@pytest.mark.postgresql
def test_forty_tries_at_once_by_two_servers_are_eight(tmp_path: Path, postgresql: str) -> None:
    limits = [
        Limit(("account and network", "i@c.example", "192.0.2.1"), 8, timedelta(minutes=15)),
        Limit(("network", "192.0.2.1"), 60, timedelta(minutes=15)),
    ]
    with ExitStack() as opened:
        servers = [
            opened.enter_context(closing(open_database(data=tmp_path, url=postgresql)))
            for _ in range(2)
        ]
        schema.migrate(servers[0])

        def attempt(number: int) -> bool:
            try:
                with servers[number % 2].write() as db:
                    attempts.begin(db, limits)
            except TooMany:
                return False
            return True

        with ThreadPoolExecutor(10) as pool:
            assert sum(pool.map(attempt, range(40))) == 8
