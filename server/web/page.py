"""Rendering a page: one environment, one function, and redirects that carry a notice."""

import hashlib
import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server import places
from server.web import filters, glossary

NOTICE_COOKIE = "notice"


@lru_cache(maxsize=256)
def asset(path: str) -> str:
    """Address of a static file with its checksum, so that it may be kept for ever."""
    digest = hashlib.sha256((places.STATIC / path).read_bytes()).hexdigest()[:12]
    return f"/static/{path}?v={digest}"


def make_environment(folder: Path = places.TEMPLATES) -> Environment:
    """Escapes everywhere (SVG too) and refuses misspelt names."""
    environment = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["asset"] = asset
    filters.add_to(environment)
    glossary.add_to(environment)
    return environment


environment = make_environment()


@dataclass(frozen=True)
class Notice:
    """One short message shown once, on the page after the one that did something."""

    words: str
    tone: str = "done"


def page(
    request: Request,
    template: str,
    *,
    view: Any = None,
    status: int = 200,
    headers: dict[str, str] | None = None,
    form: Any = None,
    **context: Any,
) -> HTMLResponse:
    """An HTML answer. The template sees `view`, `form`, `who` (the member or None), `club_name`.

    A notice left by the page before is shown and forgotten.
    """
    notice = _notice(request)
    words = environment.get_template(template).render(
        view=view,
        form=form,
        who=getattr(request.state, "who", None),
        club_name=getattr(request.app.state, "club_name", ""),
        current_section=_section(request.url.path),
        path=request.url.path,
        message=notice.words if notice else "",
        demo=getattr(request.app.state, "demo", False),
        warnings=getattr(request.app.state, "warnings", ()),
        **context,
    )
    response = HTMLResponse(words, status_code=status, headers=headers)
    if notice is not None:
        response.delete_cookie(NOTICE_COOKIE, path="/")
    return response


def fragment(template: str, **context: Any) -> str:
    """A part of a page, rendered by itself."""
    return environment.get_template(template).render(**context)


def see_other(address: str, *, notice: str = "", tone: str = "done") -> RedirectResponse:
    """After a form was taken: go and look there, with a word of what was done."""
    response = RedirectResponse(address, status_code=303)
    if notice:
        response.set_cookie(
            NOTICE_COOKIE,
            quote(json.dumps([notice[:600], tone])),
            max_age=60,
            httponly=True,
            samesite="lax",
            path="/",
        )
    return response


def own_path(address: str | None, otherwise: str = "/") -> str:
    """`address` when it is a path of this site, else `otherwise`."""
    if not address or not address.startswith("/") or address.startswith(("//", "/\\")):
        return otherwise
    return address if address.isprintable() and "\\" not in address else otherwise


def _notice(request: Request) -> Notice | None:
    try:
        words, tone = json.loads(unquote(request.cookies[NOTICE_COOKIE]))
        f"{words}{tone}".encode()  # half a surrogate pair cannot be sent
        return Notice(words=str(words), tone=str(tone))
    except (KeyError, ValueError, TypeError, RecursionError):
        return None


_SECTIONS = {
    "": "today",
    "tanks": "tanks",
    "setups": "tanks",
    "sessions": "tanks",
    "uploads": "tanks",
    "meters": "meter",
    "loans": "meter",
    "lamps": "lamps",
    "calculators": "calculators",
    "compare": "compare",
    "club": "compare",
    "help": "help",
}


def _section(path: str) -> str:
    """Which entry of the main menu an address belongs to."""
    return _SECTIONS.get(path.split("/", 2)[1] if path else "", "")
