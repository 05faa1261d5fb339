"""Where members reach the club, for links that leave it: in mail, invitations, feeds and labels."""

import ipaddress
from urllib.parse import urlsplit

from fastapi import Request


def base_address(request: Request) -> str:
    """The public address of the settings, else where the server listens.

    What the request calls the server (`Host`) is only believed when it is a name of the settings
    or an address within a home: anybody can write any name there, and the link would lead to it.
    """
    settings = request.app.state.settings
    if settings.public_url:
        return str(settings.public_url)
    asked = f"{request.url.scheme}://{request.url.netloc}"
    name = urlsplit(asked).hostname or ""
    if name in settings.allowed_hosts or _within_a_home(name):
        return asked
    return str(getattr(request.app.state, "own_address", "") or "http://127.0.0.1:8000")


def _within_a_home(name: str) -> bool:
    try:
        return name == "localhost" or ipaddress.ip_address(name).is_private
    except ValueError:
        return False
