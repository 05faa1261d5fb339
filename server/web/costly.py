"""The way of a costly request: judged before it is begun, then answered by the pool or refused."""

import asyncio
from typing import Any

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.processes.pool import Full, Gone, Pool, TooLong
from server.web.cost import CHEAP_S, estimated_s, is_verdict
from server.web.not_now import Reason, not_now
from server.web.signed_in import is_member

_CARRIED = (
    "type", "http_version", "method", "scheme", "path", "raw_path", "query_string", "root_path",
    "headers", "client", "server",
)  # fmt: skip
_STARTING_S = 0.5
_BUSY = Reason(
    "The calculators are busy just now.",
    "Many people are asking at once. Try again in a moment; nothing you typed is lost.",
    10,
)
_LONG = Reason(
    "This calculation took too long, so it was stopped.",
    "Ask for larger cells, fewer depths, fewer lamps or fewer readings.",
    60,
)
_LONG_VERDICT = Reason(
    "This verdict took too long, so it was stopped.",
    "The club's computer is busy. Try again in a minute; the readings are safe.",
    60,
)


class Costly:
    """Sends calculators' requests that take long to `app.state.pool`; without one, all pass on."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        pool = _pool(scope)
        if pool is None or not _may_be_costly(scope):
            await self.app(scope, receive, send)
            return
        body = await _whole_body(receive)
        if body is None:  # left before all was sent
            return
        cost_s = estimated_s(scope["method"], scope["path"], scope["query_string"], body)
        # Just after a start the first asker would wait for the process longer than for the answer.
        here_below_s = CHEAP_S if pool.ready else _STARTING_S
        if cost_s is None or cost_s < here_below_s:
            await self.app(scope, _again(body, receive), send)
            return
        await _by_pool(pool, scope, body, cost_s, receive, send)


async def _by_pool(
    pool: Pool, scope: Scope, body: bytes, cost_s: float, receive: Receive, send: Send
) -> None:
    request = Request(scope)
    gone = asyncio.create_task(_until_gone(receive))
    try:
        member = await run_in_threadpool(is_member, request)
        carried = {name: scope[name] for name in _CARRIED if name in scope}
        asked = (carried, body, request.app.state.club_name)
        messages = await pool.run(asked, member=member, cost_s=cost_s, gone=gone)
    except Gone:
        return
    except Full:
        await not_now(request, _BUSY)(scope, receive, send)
        return
    except TooLong:
        long = _LONG_VERDICT if is_verdict(scope["path"]) else _LONG
        await not_now(request, long)(scope, receive, send)
        return
    finally:
        gone.cancel()
    for message in messages:
        await send(message)


def _pool(scope: Scope) -> Pool | None:
    if scope["type"] != "http":
        return None
    found = getattr(scope["app"].state, "pool", None)
    return found if isinstance(found, Pool) else None


def _may_be_costly(scope: Scope) -> bool:
    return estimated_s(scope["method"], scope["path"], b"", b"") is not None


async def _whole_body(receive: Receive) -> bytes | None:
    parts = []
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return None
        parts.append(message.get("body", b""))
        if not message.get("more_body", False):
            return b"".join(parts)


def _again(body: bytes, receive: Receive) -> Receive:
    """A body that was read, once more; then whatever comes after it."""
    held: list[Any] = [{"type": "http.request", "body": body, "more_body": False}]

    async def receiving() -> Message:
        return held.pop() if held else await receive()

    return receiving


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
