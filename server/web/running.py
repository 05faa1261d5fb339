"""Starting the server: the demo club, or a real one."""

import errno
import json
import socket
import sys
from collections.abc import Sequence
from dataclasses import asdict

import uvicorn
from fastapi import FastAPI

from server.db import members
from server.db.backup import open_current
from server.db.demo.club import DemoPerson
from server.db.engine import Database
from server.db.unwilling import Unwilling
from server.processes.pool import Pool
from server.settings import Settings
from server.web import worker
from server.web.app import create_app

_GRACE_S = 20
_WAITING = 2048
_TURN_S = 0.001  # how long a busy thread may keep the event loop waiting (Python's own: 5 ms)


def run_demo(
    settings: Settings, people: Sequence[DemoPerson], *, port: int, print_json: bool
) -> None:
    """Serves the demo club on 127.0.0.1 and prints how to get in."""
    with _listening("127.0.0.1", port) as listener:
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        if print_json:
            members_told = [asdict(person) for person in people]
            print(json.dumps({"url": address, "members": members_told}), flush=True)
        print(_demo_words(address, people), flush=True)
        _serve(settings, open_current(settings), listener, address=address, demo=True)


def run_club(settings: Settings, *, host: str, port: int) -> None:
    """Serves a real club; while nobody has set it up, prints a one-time link."""
    with _listening(host, port) as listener:
        club = open_current(settings)
        shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host  # noqa: S104 - only compared
        shown = f"[{shown}]" if ":" in shown else shown
        address = settings.public_url.rstrip("/") or f"http://{shown}:{listener.getsockname()[1]}"
        print(f"Underlamp is at {address}", flush=True)
        with club.read() as db:
            set_up = members.is_set_up(db)
        if not set_up:
            with club.write() as db:
                token = members.setup_token(db)
            print(f"Set up the club, once, at {address}/join/{token}", flush=True)
        _serve(settings, club, listener, address=address)


def _serve(
    settings: Settings,
    club: Database,
    listener: socket.socket,
    *,
    address: str,
    demo: bool = False,
) -> None:
    sys.setswitchinterval(_TURN_S)
    pool = Pool(worker.serve, settings, demo, processes=settings.costly_processes)
    app = create_app(settings, club=club, demo=demo, pool=pool)
    app.state.own_address = address
    uvicorn.Server(config(app, settings)).run(sockets=[listener])


def config(app: FastAPI, settings: Settings) -> uvicorn.Config:
    """How the server listens. Only named proxies are believed about who asks and how."""
    return uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=_GRACE_S,
        limit_concurrency=400,
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=",".join(settings.trusted_proxies),
    )


def _listening(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # asyncio switches delayed sending off only where the protocol is named; else 40 ms a page
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(_WAITING)  # at once: the address is printed before the server takes over
    except OSError as reason:
        listener.close()
        raise Unwilling(_cannot_listen(host, port, reason)) from reason
    return listener


def _cannot_listen(host: str, port: int, reason: OSError) -> str:
    if reason.errno == errno.EADDRINUSE:
        return f"Port {port} of {host} is taken by another program. Choose another with --port."
    if reason.errno == errno.EACCES:
        return f"Port {port} may only be used by the system. Choose one from 1024 with --port."
    return f"{host} is no address of this machine ({reason.strerror or reason})."


def _demo_words(address: str, people: Sequence[DemoPerson]) -> str:
    lines = [f"The demo club is at {address}", "", "Sign in as one of:"]
    lines += [f"  {person.role:8} {person.email:32} {person.password}" for person in people]
    token = next((person.token for person in people if person.role == "member"), "")
    lines += ["", f"An access token for scripts: {token}", "", "Stop it with Ctrl-C."]
    return "\n".join(lines)
