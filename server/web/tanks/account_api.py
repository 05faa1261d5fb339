"""JSON: the account of a tank's light."""

from datetime import date
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from server.account.account import Account, AnimalLight, Basis, Proposal, ToType
from server.db import accounts, club_day
from server.surveys.verdict import Verdict
from server.web.problem import SIGNED_IN_RESPONSES, Problem
from server.web.signed_in import Bearer, Club
from server.web.tanks.open import tank_to_see

router = APIRouter(prefix="/api", tags=["tanks"])

VerdictKey = Literal["too_dim", "in_range", "too_bright", "not_known"]

VERDICT_KEYS: dict[Verdict, VerdictKey] = {
    Verdict.TOO_DIM: "too_dim",
    Verdict.IN_RANGE: "in_range",
    Verdict.TOO_BRIGHT: "too_bright",
    Verdict.NOT_KNOWN: "not_known",
}

_RESPONSES: dict[int | str, dict[str, Any]] = {
    401: SIGNED_IN_RESPONSES[401],
    404: {"model": Problem, "description": "There is no such tank, or it is not shown to you."},
}


class AnimalOut(BaseModel):
    """What one animal gets at the day's peak [µmol m⁻² s⁻¹] with its 80 % interval.

    wants: the lower and the upper end of its range.
    """

    name: str
    ppfd: float | None
    low: float | None
    high: float | None
    wants: tuple[float, float]
    verdict: VerdictKey
    chance_in_range: float
    dli_mol_m2_d: float | None


class ProposalOut(BaseModel):
    """The one change that would help most; chances are means over all animals."""

    model_config = ConfigDict(populate_by_name=True)

    words: str
    before: str = Field(alias="from")
    after: str = Field(alias="to")
    chance_before: float
    chance_after: float


class ToTypeOut(BaseModel):
    """One number to type; time is empty for a lamp without a day.

    type_percent is null for a lamp that can only be switched: `then` says on or off.
    """

    lamp: str
    channel: str
    time: str
    type_percent: float | None
    then: str


class AccountOut(BaseModel):
    """The account: what hangs, what everybody gets, how sure that is, and what to do."""

    as_of: date
    basis: Basis
    readings_on: list[date]
    light_since: date | None
    known_to_percent: int | None
    animals: list[AnimalOut]
    proposal: ProposalOut | None
    why_none: str
    set_now: list[ToTypeOut]
    next_step: str


@router.get(
    "/tanks/{tank_id}/account",
    summary="The account of a tank's light: every animal, how sure, what to do and to type",
    responses=_RESPONSES,
)
def tank_account(who: Bearer, club: Club, tank_id: int) -> AccountOut:
    with club.read() as db:
        tank = tank_to_see(db, who, tank_id)
        rows = accounts.rows_of(db, tank, today=club_day.today(db))
    return account_out(accounts.account(rows))


def account_out(of: Account) -> AccountOut:
    """The account as JSON gives it."""
    return AccountOut(
        as_of=of.as_of,
        basis=of.basis,
        readings_on=list(of.readings_on),
        light_since=of.light_since,
        known_to_percent=of.known_to_percent,
        animals=[_animal(one) for one in of.animals],
        proposal=None if of.proposal is None else _proposal(of.proposal),
        why_none=of.why_none,
        set_now=[_to_type(one) for one in of.set_now],
        next_step=of.next_step,
    )


def _animal(one: AnimalLight) -> AnimalOut:
    return AnimalOut(
        name=one.name,
        ppfd=one.ppfd,
        low=one.low,
        high=one.high,
        wants=(one.low_wanted, one.high_wanted),
        verdict=VERDICT_KEYS[one.verdict],
        chance_in_range=one.chance_in_range,
        dli_mol_m2_d=one.dli_mol_m2_d,
    )


def _proposal(one: Proposal) -> ProposalOut:
    return ProposalOut(
        before=one.before,
        after=one.after,
        words=one.words,
        chance_before=one.chance_before,
        chance_after=one.chance_after,
    )


def _to_type(one: ToType) -> ToTypeOut:
    return ToTypeOut(
        lamp=one.lamp,
        channel=one.channel,
        time=one.time,
        type_percent=one.type_percent,
        then=one.then,
    )
