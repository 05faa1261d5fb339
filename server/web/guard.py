"""One ASGI layer before everything: body size, same origin, security headers.

Plain ASGI, because a stack of request/response middlewares halves the throughput.
"""

import asyncio
import contextlib
import re
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "underlamp_sign_in"
"""The name of the sign-in cookie, or its end where the cookie is bound to the host."""

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


_ANY_HOST = ("/healthz", "/readyz")
_THROWN_AWAY = 4  # times the limit: read on and drop that much before refusing
_THROWING_S = 20.0

Refuse = Callable[[Request, int, str], Response]


class Guard:
    """Refuses strange hosts, large bodies and cross-site writes; puts headers on every answer."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        body_limit: int,
        on_fault: Callable[[Request, Exception], Response],
        refuse: Refuse,
        public_url: str = "",
        allowed_hosts: Sequence[str] = (),
        https: bool = False,
    ) -> None:
        self.app = app
        self.on_fault = on_fault
        self.refuse = refuse
        self.body_limit = body_limit
        self.public_origin = _origin_of(public_url) if public_url else ""
        self.allowed_hosts = frozenset(name.lower() for name in allowed_hosts)
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
        no = self._refusal(scope, headers)
        if no is None:
            await self._pass_on(scope, receive, send)
        else:
            await self._throw_away(_declared_length(headers), receive)
            await self._answer(scope, receive, send, *no)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """Status and words for what is not even begun."""
        if not self._known_host(scope["path"], headers):
            return 400, "This server does not answer to that name."
        if not self._same_origin(scope, headers):
            return 403, "This was sent from another site, so it was refused."
        if _declared_length(headers) > self.body_limit:
            return 413, self._too_large()
        if not _plain_form(headers):
            return 415, "Forms are read in UTF-8 only."
        return None

    async def _throw_away(self, declared: int, receive: Receive) -> None:
        """Reads what is still coming: a client that is cut off while sending sees no answer.

        Up to a bound; who announces more than that is answered at once.
        """
        left = self.body_limit * _THROWN_AWAY
        if declared > left:
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_THROWING_S):
                while left > 0:
                    message = await receive()
                    left -= len(message.get("body", b"")) + 1
                    if not message.get("more_body", False):
                        return

    async def _answer(
        self, scope: Scope, receive: Receive, send: Send, status: int, words: str
    ) -> None:
        response = self.refuse(Request(scope), status, words)
        response.headers["Connection"] = "close"
        await response(scope, receive, send)

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Counts the body as it comes, and answers faults here, so that they carry the headers."""
        taken = 0
        started = overflown = more = False

        async def counted() -> Message:
            nonlocal taken, overflown, more
            message = await receive()
            more = message.get("more_body", False)
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
            if more:
                await self._throw_away(0, receive)
            await self._answer(scope, receive, send, 413, self._too_large())

    def _known_host(self, path: str, headers: Headers) -> bool:
        if not self.allowed_hosts or path in _ANY_HOST:
            return True
        host = re.sub(r":\d+$", "", headers.get("host", "").lower())
        return any(
            host == name or (name.startswith("*.") and host.endswith(name[1:]))
            for name in self.allowed_hosts
        )

    def _same_origin(self, scope: Scope, headers: Headers) -> bool:
        if scope["method"] in _SAFE_METHODS:
            return True
        site = headers.get("sec-fetch-site")  # set by browsers, out of a page's reach
        if site is not None:
            return site in ("same-origin", "none")
        origin = headers.get("origin")  # plain-http addresses get no Sec-Fetch headers
        if origin is None:  # every browser in use sends one of the two with a form
            return COOKIE not in headers.get("cookie", "")
        if self.public_origin:
            return origin == self.public_origin
        return origin == f"{scope['scheme']}://{headers.get('host')}"

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
