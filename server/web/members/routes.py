"""Pages of signing in and out, and of joining by a link."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from server.db import members, secrets, ways_in
from server.models import Invitation, Member
from server.web.ask import Asked, OpenAsk
from server.web.forms import Filled
from server.web.guessing import is_right
from server.web.members.carried import Carried, resume
from server.web.members.form import (
    CLUB_NAME,
    EMAIL,
    JOINING,
    PASSWORD,
    SIGN_IN,
    TIME_ZONE,
    Joining,
    read_joining,
    read_new_password,
)
from server.web.members.starting import cookie_of, start
from server.web.page import own_path, see_other

router = APIRouter(include_in_schema=False)

_TAKEN = "Somebody with this address is in the club already. Sign in instead."


# Signing in and out


@router.get("/sign-in")
def sign_in_page(ask: OpenAsk, next: str = "/") -> Response:
    if ask.visitor is not None:
        return see_other(own_path(next))
    return _sign_in_page(ask, SIGN_IN.showing(), Carried(own_path(next)))


@router.post("/sign-in")
def sign_in(ask: OpenAsk) -> Response:
    carried = Carried(
        own_path(ask.text("next")), ask.text("resume"), ask.text("typed", most=400_000)
    )
    form = SIGN_IN.typed(ask, again=lambda form: _sign_in_page(ask, form, carried))
    email, password = form.text("email")[:254].lower(), form[PASSWORD]
    with ask.read() as db:
        found = members.member_by_email(db, email)
    right = is_right(ask, email, found, password)
    if found is None or not right:
        raise form.refuse(EMAIL, "No member with this e-mail address and password.")
    response = start(ask, found, carried.next, rehash_with=password)
    return _carry_on(ask, found, carried, response)


@router.post("/sign-out")
def sign_out(ask: OpenAsk) -> Response:
    name = cookie_of(ask.request)
    token = ask.request.cookies.get(name)
    if token:
        with ask.write() as db:
            members.sign_out(db, token)
    response = see_other("/sign-in", notice="You are signed out.")
    response.delete_cookie(name, path="/")
    return response


def _sign_in_page(ask: Asked, form: Filled, carried: Carried) -> Response:
    return ask.page("members/sign_in.html", form=form, carried=carried)


def _carry_on(
    ask: Asked, member: Member, carried: Carried, signed_in: RedirectResponse
) -> Response:
    """Straight back, or by way of a page that sends the carried form once more."""
    action = own_path(carried.resume, "")
    view = resume(action, carried.typed, carried.next) if action else None
    if view is None:
        return signed_in
    ask.request.state.who = member
    response = ask.page("members/resume.html", view=view)
    response.raw_headers += [
        (name, value) for name, value in signed_in.raw_headers if name == b"set-cookie"
    ]
    return response


# Joining


@router.get("/join/{token}")
def join_page(ask: OpenAsk, token: str) -> Response:
    invitation = _open(ask, token)
    if invitation is None:
        return _over(ask)
    return _join_page(ask, JOINING[invitation.purpose].showing(), invitation, token)


@router.post("/join/{token}")
def join(ask: OpenAsk, token: str) -> Response:
    invitation = _open(ask, token)
    if invitation is None:
        return _over(ask)
    form = JOINING[invitation.purpose].typed(
        ask, again=lambda form: _join_page(ask, form, invitation, token)
    )
    if invitation.purpose == "setup":
        return _set_up(ask, form, token)
    if invitation.purpose == "reset":
        return _reset(ask, form, invitation, token)
    return _admit(ask, form, read_joining(form, ask.club_name), token)


def _set_up(ask: Asked, form: Filled, token: str) -> Response:
    club = form[CLUB_NAME], form[TIME_ZONE]
    person = read_joining(form, club[0])
    with ask.read() as db:
        if members.is_set_up(db):
            return _over(ask)
    response = _admit(ask, form, person, token, founding=club)
    ask.request.app.state.club_name = club[0]
    return response


def _admit(
    ask: Asked,
    form: Filled,
    person: Joining,
    token: str,
    *,
    founding: tuple[str, str] | None = None,
) -> Response:
    """founding: name and time zone of the club that its first steward makes."""
    password_hash = secrets.hash_password(person.password)
    with ask.write() as db:
        invitation = members.open_invitation(db, token)
        if invitation is None or (founding and members.is_set_up(db)):
            return _over(ask)
        if members.member_by_email(db, person.email):
            raise form.refuse(EMAIL, _TAKEN)
        if founding:
            members.make_club(db, name=founding[0], time_zone=founding[1])
        members.use_invitation(db, invitation)
        joined = members.add_member(
            db,
            name=person.name,
            email=person.email,
            password_hash=password_hash,
            role=invitation.role,
        )
    return start(ask, joined, "/", notice=f"Welcome, {joined.name}.")


def _reset(ask: Asked, form: Filled, invitation: Invitation, token: str) -> Response:
    with ask.read() as db:
        owner = members.member_here(db, invitation.member_id)
    if owner is None:
        return _over(ask)
    password_hash = secrets.hash_password(read_new_password(form, owner, ask.club_name))
    with ask.write() as db:
        current = members.open_invitation(db, token)
        if current is None or members.member_here(db, owner.id) is None:
            return _over(ask)
        members.use_invitation(db, current)
        members.set_password(db, owner.id, password_hash)
        ways_in.end_all(db, owner.id)
    return start(ask, owner, "/", notice="Your new password is set.")


def _open(ask: Asked, token: str) -> Invitation | None:
    with ask.read() as db:
        return members.open_invitation(db, token)


def _over(ask: Asked) -> Response:
    return ask.page("members/link_over.html", status=410)


def _join_page(ask: Asked, form: Filled, invitation: Invitation, token: str) -> Response:
    return ask.page("members/join.html", form=form, purpose=invitation.purpose, token=token)
