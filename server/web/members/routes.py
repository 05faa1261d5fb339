"""Pages of signing in and out, and of joining by a link."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from limits import RateLimitItemPerMinute, RateLimitItemPerSecond
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.exceptions import HTTPException

from server.db import members, secrets
from server.models import Invitation, Member
from server.web.ask import Asked, OpenAsk
from server.web.forms import Filled
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

_limiter = MovingWindowRateLimiter(MemoryStorage())
_PER_ACCOUNT = RateLimitItemPerSecond(8, 15 * 60)
_PER_ADDRESS = RateLimitItemPerMinute(30)
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
    if _tried_too_often(ask, email):
        raise HTTPException(
            429,
            "Too many wrong passwords. Wait a quarter of an hour, or ask a steward for a link.",
            headers={"Retry-After": "900"},
        )
    with ask.read() as db:
        found = members.member_by_email(db, email)
    right = secrets.password_matches(password, found.password_hash if found else None)
    if found is None or not right:
        _count_failure(ask, email)
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
    return _admit(ask, form, read_joining(form), token)


def _set_up(ask: Asked, form: Filled, token: str) -> Response:
    club = form[CLUB_NAME], form[TIME_ZONE]
    person = read_joining(form)
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
    password_hash = secrets.hash_password(read_new_password(form, owner))
    with ask.write() as db:
        current = members.open_invitation(db, token)
        if current is None or members.member_here(db, owner.id) is None:
            return _over(ask)
        members.use_invitation(db, current)
        members.set_password(db, owner.id, password_hash)
        members.end_sign_ins(db, owner.id)
    return start(ask, owner, "/", notice="Your new password is set.")


def _open(ask: Asked, token: str) -> Invitation | None:
    with ask.read() as db:
        return members.open_invitation(db, token)


def _over(ask: Asked) -> Response:
    return ask.page("members/link_over.html", status=410)


def _join_page(ask: Asked, form: Filled, invitation: Invitation, token: str) -> Response:
    return ask.page("members/join.html", form=form, purpose=invitation.purpose, token=token)


# Wrong passwords are counted in memory, by account and by address


def _keys(ask: Asked, email: str) -> tuple[str, str, str]:
    known = f"{ask.club.engine.url}"  # tests run several clubs in one process
    return known, email, ask.request.client.host if ask.request.client else "nowhere"


def _tried_too_often(ask: Asked, email: str) -> bool:
    known, account, address = _keys(ask, email)
    return not (
        _limiter.test(_PER_ACCOUNT, known, account) and _limiter.test(_PER_ADDRESS, known, address)
    )


def _count_failure(ask: Asked, email: str) -> None:
    known, account, address = _keys(ask, email)
    _limiter.hit(_PER_ACCOUNT, known, account)
    _limiter.hit(_PER_ADDRESS, known, address)
