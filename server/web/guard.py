"""One ASGI layer before everything: body size, same origin, security headers.

Plain ASGI, because a stack of request/response middlewares halves the throughput.
"""

import json
import re
from collections.abc import Callable, Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "geolocation=(), camera=(), microphone=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


class Guard:
    """Refuses oversized bodies and cross-site writes; puts the headers on every answer."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        body_limit: int,
        on_fault: Callable[[Request, Exception], Response],
        public_url: str = "",
        https: bool = False,
    ) -> None:
        self.app = app
        self.on_fault = on_fault
        self.body_limit = body_limit
        self.public_origin = _origin_of(public_url) if public_url else ""
        self.headers = dict(_HEADERS)
        if https:
            self.headers["Strict-Transport-Security"] = "max-age=31536000; includeSubDomains"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        send = self._with_headers(send)
        if scope["method"] == "HEAD":  # the server itself leaves the body of such an answer out
            scope = {**scope, "method": "GET"}
        if not self._same_origin(scope["method"], headers):
            await _answer(scope, send, 403, "This was sent from another site, so it was refused.")
        elif _declared_length(headers) > self.body_limit:
            await _answer(scope, send, 413, self._too_large())
        elif not _plain_form(headers):
            await _answer(scope, send, 415, "Forms are read in UTF-8 only.")
        else:
            await self._pass_on(scope, receive, send)

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Counts the body as it comes, and answers faults here, so that they carry the headers."""
        taken = 0
        started = overflown = False

        async def counted() -> Message:
            nonlocal taken, overflown
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.body_limit:
                overflown = True
                raise _TooLarge
            return message

        async def noted(message: Message) -> None:
            nonlocal started
            # Parsers turn the overflow into refusals of their own; the true one is sent instead.
            if not overflown:
                started = True
                await send(message)

        try:
            await self.app(scope, counted, noted)
        except Exception as error:
            if not overflown:
                if not started:
                    answer = self.on_fault(Request(scope), error)
                    await answer(scope, receive, noted)
                raise
        if overflown and not started:
            await _answer(scope, send, 413, self._too_large())

    def _same_origin(self, method: str, headers: Headers) -> bool:
        if method in _SAFE_METHODS:
            return True
        site = headers.get("sec-fetch-site")  # set by browsers, out of a page's reach
        if site is not None:
            return site in ("same-origin", "none")
        origin = headers.get("origin")  # plain-http addresses get no Sec-Fetch headers
        if origin is None:  # no browser: nothing to forge, the cookie jar is the sender's own
            return True
        if self.public_origin:
            return origin == self.public_origin
        try:
            return urlsplit(origin).netloc == headers.get("host")
        except ValueError:
            return False

    def _with_headers(self, send: Send) -> Send:
        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self.headers.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        return sending

    def _too_large(self) -> str:
        return f"That was too large: at most {self.body_limit / 2**20:g} MiB can be sent at once."


class _TooLarge(Exception):
    """The body grew past the limit while it was being read."""


def _declared_length(headers: Headers) -> int:
    declared = headers.get("content-length", "0")
    return int(declared) if declared.isascii() and declared.isdigit() else 0


def _plain_form(headers: Headers) -> bool:
    """Whether a form says nothing of its letters, or says UTF-8; parsers obey any other word."""
    kind, _, rest = headers.get("content-type", "").lower().partition(";")
    if kind.strip() not in ("multipart/form-data", "application/x-www-form-urlencoded"):
        return True
    named = re.findall(r"charset\s*=\s*\"?([^\s;\"]*)", rest)
    return all(name in ("utf-8", "utf8") for name in named)


def _origin_of(address: str) -> str:
    parts = urlsplit(address)
    return f"{parts.scheme}://{parts.netloc}"


async def _answer(scope: Scope, send: Send, status: int, words: str) -> None:
    """A refusal in words; as problem details on the JSON addresses."""
    kind, body = "text/plain; charset=utf-8", words.encode()
    if scope["path"].startswith("/api/"):
        told = {"type": "about:blank", "title": words, "status": status, "detail": "", "errors": []}
        kind, body = "application/problem+json", json.dumps(told).encode()
    headers: Iterable[tuple[bytes, bytes]] = [
        (b"content-type", kind.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": list(headers)})
    await send({"type": "http.response.body", "body": body})
