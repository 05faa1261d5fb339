"""Judging a password without letting anybody guess it, or shut its owner out.

Whoever tries from a browser that the member has signed in on before is counted for that browser
alone. All others are counted by account and network together, by network, and by account over a
day (NIST SP 800-63B: at most 100 tries in a row). So a guesser is slowed and, in the end,
stopped, while the member goes on signing in where they always do.
"""

import ipaddress
import logging
from collections.abc import Sequence
from datetime import timedelta

from starlette.exceptions import HTTPException

from server.db import attempts, members, secrets
from server.db.attempts import Limit, TooMany
from server.models import Member
from server.web.ask import Asked
from server.web.signed_in import browser_cookie_name

_QUARTER = timedelta(minutes=15)
_DAY = timedelta(days=1)
PER_BROWSER = 10
PER_ACCOUNT_AND_NETWORK = 8
PER_NETWORK = 60
PER_ACCOUNT = 100

_log = logging.getLogger("underlamp")


def is_right(ask: Asked, email: str, member: Member | None, password: str) -> bool:
    """Whether it is the member's password; an unknown address takes as long and counts as much.

    Raises HTTPException 429, with words and Retry-After, when there were too many tries.
    """
    try:
        with ask.write() as db:
            places = attempts.begin(db, _limits(ask, email, member))
    except TooMany as reached:
        raise _too_many(reached) from reached
    right = secrets.password_matches(password, member.password_hash if member else None)
    if right:
        with ask.write() as db:
            attempts.give_back(db, places)
    return right


def _limits(ask: Asked, email: str, member: Member | None) -> Sequence[Limit]:
    token = ask.request.cookies.get(browser_cookie_name(ask.request), "")
    if member is not None and token:
        with ask.read() as db:
            known = members.known_browser(db, member.id, token)
        if known is not None:
            return [Limit(("browser", str(known)), PER_BROWSER, _QUARTER)]
    network = _network(ask.request.client.host if ask.request.client else "")
    return [
        Limit(("account and network", email, network), PER_ACCOUNT_AND_NETWORK, _QUARTER),
        Limit(("network", network), PER_NETWORK, _QUARTER),
        Limit(("account", email), PER_ACCOUNT, _DAY),
    ]


def _network(address: str) -> str:
    """One household: an IPv4 address, or the 64 bits of IPv6 that a household is given."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return "nowhere"
    if found.version == 4:
        return str(found)
    return str(ipaddress.ip_network((found, 64), strict=False))


def _too_many(reached: TooMany) -> HTTPException:
    _log.warning("too many passwords tried, by %s", reached.limit.what[0])
    minutes = max(1, round(reached.wait.total_seconds() / 60))
    wait = "a minute" if minutes == 1 else f"{minutes} minutes" if minutes < 120 else "until later"
    words = f"Too many wrong passwords. Wait {wait}"
    words += ", use a browser you signed in on before" if reached.limit.what[0] != "browser" else ""
    return HTTPException(
        429,
        f"{words}, or ask a steward for a link.",
        headers={"Retry-After": str(int(reached.wait.total_seconds()) + 1)},
    )
