"""The club's members, and the links by which stewards let people in."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import members
from server.web.ask import Ask, Asked
from server.web.members.form import FOR_WHOM, PEOPLE, ROLE
from server.web.open import MemberHere, OpenInvitation
from server.web.own_address import base_address
from server.web.page import see_other
from server.web.signed_in import Steward

router = APIRouter(include_in_schema=False)

PER_PAGE = 50


@router.get("/members")
def members_page(ask: Ask) -> Response:
    return _page(ask)


@router.post("/members/invitations")
def invite(ask: Ask, who: Steward) -> Response:
    form = PEOPLE.typed(ask)
    for_whom, role = form[FOR_WHOM][:120], form[ROLE]
    with ask.write() as db:
        token = members.invite(db, role=role, for_whom=for_whom, invited_by_id=who.id)
    return _page(ask, link=_link(ask, token), for_whom=for_whom)


@router.post("/members/invitations/{invitation_id}/withdraw")
def withdraw(ask: Ask, who: Steward, invitation: OpenInvitation) -> Response:
    with ask.write() as db:
        members.withdraw_invitation(db, invitation.id)
    return see_other("/members", notice="The invitation no longer works.")


@router.post("/members/{member_id}/role")
def set_role(ask: Ask, who: Steward, person: MemberHere) -> Response:
    role = PEOPLE.typed(ask)[ROLE]
    with ask.write() as db:
        if not members.set_role(db, person.id, role):
            return see_other("/members", notice="The club needs at least one steward.", tone="no")
    return see_other("/members", notice=f"{person.name} is now a {role}.")


@router.post("/members/{member_id}/new-password-link")
def new_password_link(ask: Ask, who: Steward, person: MemberHere) -> Response:
    with ask.write() as db:
        token = members.invite(
            db, purpose="reset", member_id=person.id, invited_by_id=who.id, role=person.role
        )
    return _page(ask, link=_link(ask, token), for_whom=person.name, reset=True)


def _page(ask: Asked, link: str = "", for_whom: str = "", reset: bool = False) -> Response:
    number, name = ask.page_number(), ask.query.get("q", "").strip()[:80]
    with ask.read() as db:
        found = members.some_members(db, page=number, size=PER_PAGE, name=name)
        waiting = members.open_invitations(db) if ask.steward else []
    return ask.page(
        "members/members.html",
        form=PEOPLE.showing({"q": name}),
        people=found[:PER_PAGE],
        waiting=waiting,
        before=number - 1 if number > 1 else None,
        after=number + 1 if len(found) > PER_PAGE else None,
        link=link,
        for_whom=for_whom,
        reset=reset,
    )


def _link(ask: Asked, token: str) -> str:
    return f"{base_address(ask.request)}/join/{token}"
