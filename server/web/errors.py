"""Every refusal in one place: a page for people, problem details for scripts."""

import json
import logging
import re
import secrets
from dataclasses import dataclass
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnection
from starlette.exceptions import HTTPException

from server.web.forms import Refused
from server.web.members.carried import Carried, carry
from server.web.members.form import SIGN_IN
from server.web.not_now import unable
from server.web.page import page
from server.web.problem import Refusal, problem_response
from server.web.signed_in import NotSignedIn
from server.web.signed_in import typed as typed_in

_log = logging.getLogger("underlamp")

_WORDS = {
    400: ("That request could not be read.", "Go back and try once more."),
    403: ("This is not yours to do.", "Ask a steward of your club if you think it should be."),
    404: ("There is nothing here.", "It may have been moved, or it is not yours to see."),
    405: ("This address cannot be used that way.", "Go back and use the form on the page."),
    409: ("Somebody was quicker.", "Look again: things have changed since you opened the page."),
    413: ("That was too large.", "Send a smaller file."),
    422: ("Something in the address could not be read.", "Go back and choose again."),
    500: (
        "Something broke on our side.",
        "Nothing you typed was at fault. Try again in a moment.",
    ),
    429: ("That was tried too often.", "Wait a few minutes, then try again."),
}


def add_to(app: FastAPI) -> None:
    app.add_exception_handler(Refusal, _refusal)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(NotSignedIn, _not_signed_in)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(HTTPException, _http)
    for unable_to in (DBAPIError, NoConnection, OSError):
        app.add_exception_handler(unable_to, unable)
    app.add_exception_handler(Exception, fault)


def wants_json(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def field_errors(error: RequestValidationError) -> list[tuple[str, str]]:
    """Field path and plain words for each thing that could not be taken."""
    return [(_path(found["loc"]), _plain(found)) for found in error.errors()]


def _refusal(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)
    headers = {"WWW-Authenticate": "Bearer"} if error.status == 401 else None
    return problem_response(error, headers=headers)


def _refused(request: Request, error: Exception) -> Response:
    """A form that cannot be taken: its page once more, with what was typed and what is wrong."""
    assert isinstance(error, Refused) and error.form.again is not None
    response = error.form.again(error.form)
    assert isinstance(response, Response)
    return response


async def _not_signed_in(request: Request, error: Exception) -> Response:
    """To the sign-in page; a form that was sent after the sign-in ran out is carried along."""
    assert isinstance(error, NotSignedIn)
    if request.method in ("GET", "HEAD"):
        return RedirectResponse(error.address, status_code=303)
    form = await typed_in(request)
    typed = carry(form)
    await form.close()
    carried = Carried(error.come_back_to, resume=request.url.path, typed=typed)
    empty = SIGN_IN.showing()
    return page(request, "members/sign_in.html", form=empty, carried=carried, status=401)


def _validation(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    if wants_json(request):
        refusal = Refusal(422, "Some fields could not be taken.", errors=field_errors(error))
        return problem_response(refusal)
    in_path = any(found["loc"][0] == "path" for found in error.errors())
    return _page(request, 404 if in_path else 422)


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    # A body that is not JSON at all is a field that is not right, like any other.
    status = 422 if error.status_code == 400 and wants_json(request) else error.status_code
    if wants_json(request):
        words = _WORDS.get(status, ("That did not work.", ""))[0]
        detail = error.detail if isinstance(error.detail, str) else ""
        body = [("body", detail or "must be JSON")] if status == 422 else []
        return problem_response(
            Refusal(status, words, detail=detail, errors=body),
            headers=dict(error.headers or {}),
        )
    detail = error.detail if isinstance(error.detail, str) else ""
    return _page(request, status, detail=detail, headers=dict(error.headers or {}))


def fault(request: Request, error: Exception) -> Response:
    number = secrets.token_hex(4)
    _log.error("fault %s at %s %s", number, request.method, request.url.path, exc_info=error)
    words = "Something broke on our side."
    if wants_json(request):
        return problem_response(Refusal(500, words, detail=f"Fault number {number}."))
    return _page(request, 500, reference=number)


def early(request: Request, status: int, words: str) -> Response:
    """A refusal before the request was looked at any further."""
    if wants_json(request):
        return problem_response(Refusal(status, words))
    return _page(request, status, detail=words)


_DULL = {"Not Found", "Method Not Allowed", "Bad Request", "Forbidden"}


@dataclass(frozen=True)
class ErrorView:
    """What an error page says: what happened, what to do, where to go."""

    status: int
    title: str
    words: str
    next_address: str = "/"
    next_words: str = "To the start page"
    reference: str = ""


def _page(
    request: Request,
    status: int,
    *,
    detail: str = "",
    reference: str = "",
    headers: dict[str, str] | None = None,
) -> Response:
    title, words = _WORDS.get(status, ("That did not work.", "Go back and try again."))
    if detail and detail not in _DULL:
        words = detail
    view = ErrorView(status=status, title=title, words=words, reference=reference)
    return page(request, "error.html", view=view, status=status, headers=headers)


# How pydantic names the alternatives of a field that may be one thing or another.
_ALTERNATIVE = re.compile(r"constrained-\w+|literal\[.*|list\[.*|point|tube|square")


def _path(location: tuple[int | str, ...]) -> str:
    steps = [str(step) for step in location if step not in ("body", "query")]
    return ".".join(step for step in steps if not _ALTERNATIVE.fullmatch(step)) or "body"


_PLAIN = {
    "missing": "is needed",
    "extra_forbidden": "is not known here; check its spelling or leave it out",
    "json_invalid": "must be valid JSON",
    "finite_number": "must be a finite number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "string_type": "must be text",
    "bool_type": "must be true or false",
    "list_type": "must be a list",
    "model_attributes_type": "must be an object",
    "dict_type": "must be an object",
}


def _plain(found: dict[str, Any]) -> str:
    kind = str(found["type"])
    if kind in _PLAIN:
        return _PLAIN[kind]
    words = str(found["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    return words if words == found["msg"] or kind == "value_error" else f"must be {words}"


class AnyJson(JSONResponse):
    """JSON that refuses NaN rather than sending what no reader can parse."""

    def render(self, content: Any) -> bytes:
        return json.dumps(content, ensure_ascii=False, allow_nan=False).encode()
