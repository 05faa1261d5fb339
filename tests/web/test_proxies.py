"""Only a named proxy is believed about who asks and whether by https."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest
import uvicorn
from fastapi import FastAPI, Request

from server.settings import Settings
from server.web import running


@contextmanager
def served(settings: Settings) -> Iterator[str]:
    app = FastAPI()

    @app.get("/")
    def told(request: Request) -> list[str]:
        return [request.client.host if request.client else "", request.url.scheme]

    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    server = uvicorn.Server(running.config(app, settings))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{listener.getsockname()[1]}/"
    server.should_exit = True
    thread.join(timeout=20)
    listener.close()


@pytest.mark.parametrize(
    ("proxies", "told"),
    [
        ((), ["127.0.0.1", "http"]),
        (("192.0.2.1",), ["127.0.0.1", "http"]),
        (("127.0.0.1",), ["203.0.113.9", "https"]),
        (("127.0.0.0/8",), ["203.0.113.9", "https"]),
    ],
)
def test_who_is_believed(settings: Settings, proxies: tuple[str, ...], told: list[str]) -> None:
    headers = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https"}
    with served(settings.model_copy(update={"trusted_proxies": proxies})) as address:
        assert httpx.get(address, headers=headers, timeout=30).json() == told
