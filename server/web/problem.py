"""Errors of the JSON addresses, as RFC 9457 problem details."""

from collections.abc import Sequence
from typing import Any, Literal

from fastapi.responses import JSONResponse
from pydantic import BaseModel

MEDIA_TYPE = "application/problem+json"


class FieldError(BaseModel):
    """One field that could not be taken, and what would be right."""

    field: str
    message: str


class Problem(BaseModel):
    """RFC 9457: what went wrong, in words and by field."""

    type: Literal["about:blank"] = "about:blank"
    title: str
    status: int
    detail: str = ""
    errors: list[FieldError] = []


class Refusal(Exception):
    """Raised in a JSON route; becomes a problem answer of that status."""

    def __init__(
        self,
        status: int,
        title: str,
        *,
        detail: str = "",
        errors: Sequence[tuple[str, str]] = (),
        extra: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(title)
        self.status = status
        self.title = title
        self.detail = detail
        self.errors = errors
        self.extra = extra or {}


def problem_response(refusal: Refusal, *, headers: dict[str, str] | None = None) -> JSONResponse:
    """The answer for a refusal; `extra` members stand beside the standard ones."""
    body = Problem(
        title=refusal.title,
        status=refusal.status,
        detail=refusal.detail,
        errors=[FieldError(field=field, message=message) for field, message in refusal.errors],
    ).model_dump()
    return JSONResponse(
        body | refusal.extra, status_code=refusal.status, media_type=MEDIA_TYPE, headers=headers
    )


# What a JSON route's decorator takes as `responses=`, so that OpenAPI tells of refusals.
RESPONSES: dict[int | str, dict[str, Any]] = {
    422: {
        "model": Problem,
        "description": "A field was missing, unknown, of the wrong kind or out of range.",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
}
SIGNED_IN_RESPONSES: dict[int | str, dict[str, Any]] = {
    401: {"model": Problem, "description": "No access token, or one that was revoked."},
    404: {"model": Problem, "description": "There is no such thing, or it is not yours to see."},
    **RESPONSES,
}
