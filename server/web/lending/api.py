"""JSON: the club's meters, their calendars, booking days and giving them back."""

import re
from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from sqlalchemy.exc import IntegrityError

from server.db import loans, meters
from server.lending.calendar import Stretch
from server.lending.rules import No
from server.models import Loan
from server.web.ask import TokenAsk
from server.web.open import TokensMeter, TokensOwnLoan
from server.web.problem import SIGNED_IN_RESPONSES, Problem, Refusal

router = APIRouter(prefix="/api", tags=["meters"])

_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_MOST_DAYS = 400
_NOT_TAKEN = "Some fields could not be taken."


def _iso(value: object) -> object:
    if isinstance(value, str) and _ISO_DAY.fullmatch(value):
        return value
    raise ValueError("must be a day like 2026-12-01")


Day = Annotated[date, BeforeValidator(_iso)]


class MeterOut(BaseModel):
    """A meter of the club. status: ready, out, resting or lost."""

    id: int
    name: str
    status: str


class Days(BaseModel):
    """Days in a row, both ends included."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True)

    first: Day = Field(alias="from")
    last: Day = Field(alias="to")

    @model_validator(mode="after")
    def _in_order(self) -> "Days":
        if self.last < self.first:
            raise ValueError("'to' must not lie before 'from'")
        return self


class LoanOut(BaseModel):
    """Days of a meter. status: offered, booked, out, ended, given_back, declined or lapsed."""

    id: int
    meter_id: int
    member: str
    first: date = Field(serialization_alias="from")
    last: date = Field(serialization_alias="to")
    status: str


class Stretched(BaseModel):
    first: date = Field(serialization_alias="from")
    last: date = Field(serialization_alias="to")


class Taken(Problem):
    """A day is taken; `nearest_free` is the free stretch of that length closest to it."""

    nearest_free: Stretched | None = None


_TAKEN: dict[int | str, dict[str, Any]] = {
    409: {"model": Taken, "description": "A day is taken, or kept for those who wait."}
}


@router.get("/meters", responses=SIGNED_IN_RESPONSES, summary="The club's meters")
def list_meters(ask: TokenAsk) -> list[MeterOut]:
    with ask.read() as db:
        return [
            MeterOut(id=row.id, name=row.name, status=row.state) for row in meters.all_meters(db)
        ]


@router.get("/meters/{meter_id}/loans", responses=SIGNED_IN_RESPONSES, summary="The calendar")
def calendar(
    ask: TokenAsk,
    meter: TokensMeter,
    first: Annotated[Day | None, Query(alias="from")] = None,
    last: Annotated[Day | None, Query(alias="to")] = None,
) -> list[LoanOut]:
    """Loans and standing offers that touch these days; a quarter of a year when left out."""
    first = first or ask.today
    last = last or min(first, date.max - timedelta(days=90)) + timedelta(days=90)
    if last < first:
        raise Refusal(422, _NOT_TAKEN, errors=[("to", "must not lie before from")])
    if (last - first).days > _MOST_DAYS:
        words = f"must lie within {_MOST_DAYS} days of from"
        raise Refusal(422, _NOT_TAKEN, errors=[("to", words)])
    with ask.read() as db:
        found = loans.loans_between(db, [meter.id], first, last)
        names = loans.names(db, [row.member_id for row in found])
    return [_out(row, names) for row in found]


@router.post(
    "/meters/{meter_id}/loans",
    status_code=201,
    response_model=LoanOut,
    responses=SIGNED_IN_RESPONSES | _TAKEN,
    summary="Book days",
)
def book(ask: TokenAsk, meter: TokensMeter, days: Days) -> LoanOut:
    """Books the days, or answers 409 with the nearest free stretch."""
    wanted, who, today = Stretch(days.first, days.last), ask.who, ask.today
    try:
        with ask.write() as db:
            loan, no = loans.pick(db, meter.id, who.id, wanted, today=today)
            found = loan.model_copy() if loan is not None else None
    except IntegrityError:
        # The day rows' own key said no: another writer was a moment quicker.
        with ask.read() as db:
            no = loans.why_taken(db, meter.id, who.id, wanted, today=today)
        found = None
    if no is not None:
        raise _refused(no)
    if found is None:
        raise Refusal(404, "There is no such meter.")
    return _out(found, {who.id: who.name})


@router.delete(
    "/loans/{loan_id}",
    status_code=204,
    responses=SIGNED_IN_RESPONSES | {409: {"model": Problem, "description": "No days are left."}},
    summary="Give the days back",
)
def give_back(ask: TokenAsk, own: TokensOwnLoan) -> Response:
    """Gives back the days that have not begun. Offers are declined."""
    today = ask.today
    with ask.write() as db:
        found = loans.loan(db, own.id)
        no = loans.let_go(db, found, today=today) if found else None
    if no is not None:
        raise Refusal(409, "These days cannot be given back.", detail=no.reason)
    return Response(status_code=204)


def _refused(no: No) -> Refusal:
    if not no.taken:
        return Refusal(
            422, "These days cannot be booked.", errors=[(no.field or "from", no.reason)]
        )
    nearest = None
    if no.nearest is not None:
        nearest = {"from": no.nearest.first.isoformat(), "to": no.nearest.last.isoformat()}
    return Refusal(409, "A day is taken.", detail=no.reason, extra={"nearest_free": nearest})


def _out(row: Loan, names: dict[int, str]) -> LoanOut:
    return LoanOut(
        id=row.id,
        meter_id=row.meter_id,
        member=names.get(row.member_id or 0, "a former member"),
        first=row.first_day,
        last=row.last_day,
        status=row.state,
    )
