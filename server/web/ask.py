"""What a page is asked with: who asks, of which club, on what day there, and what was typed.

A route takes one `Ask` instead of request, member, database, form and today one by one. What a
route may touch besides stands in its signature as an opener of `server.web.open`.
"""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session
from starlette.datastructures import FormData, QueryParams, UploadFile

from server.db import club_day
from server.db.engine import Database
from server.models import Member
from server.web.forms import Filled
from server.web.page import page
from server.web.signed_in import Bearer, Club, Typed, Visitor, Who, text


@dataclass(frozen=True)
class Asked:
    """One request: the club it is put to, who puts it, and the form that came with it."""

    request: Request
    club: Database
    visitor: Member | None
    form: FormData

    @property
    def who(self) -> Member:
        """The member; only pages open to everybody have none, and look at `visitor`."""
        assert self.visitor is not None
        return self.visitor

    @property
    def club_name(self) -> str:
        return str(getattr(self.request.app.state, "club_name", ""))

    @property
    def query(self) -> QueryParams:
        return self.request.query_params

    @property
    def unit(self) -> str:
        """The reader's unit of length."""
        return self.visitor.length_unit if self.visitor else "cm"

    @property
    def clock(self) -> str:
        return self.visitor.clock if self.visitor else "24"

    @property
    def steward(self) -> bool:
        return self.visitor is not None and self.visitor.role == "steward"

    @cached_property
    def today(self) -> date:
        """Today by the club's clock, the same for the whole answer."""
        with self.read() as db:
            return club_day.today(db)

    @cached_property
    def zone(self) -> str:
        with self.read() as db:
            return club_day.zone(db)

    def read(self) -> AbstractContextManager[Session]:
        """A session for looking."""
        return self.club.read()

    def write(self) -> AbstractContextManager[Session]:
        """A session that commits when its block ends. Keep computing and rendering out of it."""
        return self.club.write()

    def text(self, name: str, *, most: int = 10_000) -> str:
        """One typed field that stands outside any form with labels, such as a hidden one."""
        return text(self.form, name, most=most)

    def page_number(self) -> int:
        """The page of a long list that the address asks for; 1 where it says nothing usable."""
        asked = self.query.get("page", "")
        usable = asked.isascii() and asked.isdigit() and len(asked) < 6
        return max(1, int(asked)) if usable else 1

    def file(self, name: str, *, most: int) -> tuple[str, bytes]:
        """A sent file's name and content, cut just past `most` bytes; empty where none came."""
        sent = self.form.get(name)
        if not isinstance(sent, UploadFile):
            return "", b""
        return (sent.filename or "")[-120:], sent.file.read(most + 1)

    def page(
        self,
        template: str,
        *,
        form: Filled | None = None,
        view: Any = None,
        status: int = 200,
        **context: Any,
    ) -> HTMLResponse:
        """An HTML answer; a form with something wrong in it is answered with 422."""
        if form is not None and form.errors and status == 200:
            status = 422
        return page(self.request, template, view=view, status=status, form=form, **context)


def asked_by_member(request: Request, club: Club, who: Who, form: Typed) -> Asked:
    return Asked(request, club, who, form)


def asked_by_anyone(request: Request, club: Club, who: Visitor, form: Typed) -> Asked:
    return Asked(request, club, who, form)


def asked_with_token(request: Request, club: Club, who: Bearer, form: Typed) -> Asked:
    return Asked(request, club, who, form)


Ask = Annotated[Asked, Depends(asked_by_member)]
"""A page for members; a visitor is sent to sign in."""

OpenAsk = Annotated[Asked, Depends(asked_by_anyone)]
"""A page open to everybody: `visitor` may be None."""

TokenAsk = Annotated[Asked, Depends(asked_with_token)]
"""A JSON address for members, by their access token."""
