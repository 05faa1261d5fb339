"""What a process of the pool does: answers one request after the other with the same program."""

import asyncio
import os
import signal
import sys
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from starlette.types import Message

from server.settings import Settings
from server.web.app import create_app

if sys.platform != "win32":
    import resource

_KINDER = 10  # the server itself and everything else on the machine goes first


def serve(line: "Connection[Any, Any]", settings: Settings, demo: bool) -> None:
    """Answers until the other end is closed, which also happens when the server dies."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends us
    if hasattr(os, "nice"):
        os.nice(_KINDER)
    app = create_app(settings, demo=demo)
    line.send(True)  # ready
    with suppress(EOFError, OSError), asyncio.Runner() as runner:
        while True:
            scope, body, app.state.club_name = line.recv()
            line.send((runner.run(_answer(app, scope, body)), _now_kib()))


async def _answer(app: Any, scope: dict[str, Any], body: bytes) -> list[Message]:
    """The messages of an answer, as ASGI sends them."""
    sent: list[Message] = []
    asked = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> Message:
        return asked.pop() if asked else {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        sent.append(message)

    with suppress(Exception):  # a fault was answered and logged before it came here
        await app(scope, receive, send)
    return sent


def _now_kib() -> int:
    """Memory in use now; the most there ever was where only that can be told.

    Not the most where it can be helped: one large answer would end the process, and what it
    remembers, after every small one from then on.
    """
    if sys.platform == "linux":
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return pages * resource.getpagesize() // 1024
    if sys.platform == "win32":
        return 0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most // 1024 if sys.platform == "darwin" else most
