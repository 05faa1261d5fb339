"""Pages of joining, signing in, the account, and the club's members."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from limits import RateLimitItemPerMinute, RateLimitItemPerSecond
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from starlette.exceptions import HTTPException

from server.db import members, secrets
from server.models import Invitation, Member
from server.web.lending.numbers import Id
from server.web.members import form as reading
from server.web.members import view as views
from server.web.page import own_path, page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed, Visitor, Who, cookie_name, text

router = APIRouter(include_in_schema=False)

_limiter = MovingWindowRateLimiter(MemoryStorage())
_PER_ACCOUNT = RateLimitItemPerSecond(8, 15 * 60)
_PER_ADDRESS = RateLimitItemPerMinute(30)


# Signing in and out


@router.get("/sign-in")
def sign_in_page(request: Request, who: Visitor, next: str = "/") -> Response:
    if who is not None:
        return see_other(own_path(next))
    return _sign_in_form(request, next=own_path(next))


@router.post("/sign-in")
def sign_in(request: Request, club: Club, form: Typed) -> Response:
    email, password = text(form, "email", most=254).lower(), form.get("password")
    come_back = own_path(text(form, "next"))
    if _tried_too_often(request, email):
        raise HTTPException(
            429,
            "Too many wrong passwords. Wait a quarter of an hour, or ask a steward for a link.",
            headers={"Retry-After": "900"},
        )
    with club.read() as db:
        found = members.member_by_email(db, email)
    stored = found.password_hash if found else None
    if not isinstance(password, str) or not secrets.password_matches(password, stored):
        _count_failure(request, email)
        return _sign_in_form(
            request,
            next=come_back,
            email=email,
            errors={"email": "No member with this e-mail address and password."},
            resume=text(form, "resume"),
            typed=text(form, "typed", most=400_000),
        )
    assert found is not None
    response = _start(request, club, found, come_back, rehash_with=password)
    return _carry_on(request, form, found, come_back, response)


@router.post("/sign-out")
def sign_out(request: Request, club: Club) -> Response:
    name = _cookie(request)
    token = request.cookies.get(name)
    if token:
        with club.write() as db:
            members.sign_out(db, token)
    response = see_other("/sign-in", notice="You are signed out.")
    response.delete_cookie(name, path="/")
    return response


# Joining


@router.get("/join/{token}")
def join_page(request: Request, club: Club, token: str) -> Response:
    with club.read() as db:
        invitation = members.open_invitation(db, token)
    if invitation is None:
        return page(request, "members/link_over.html", status=410)
    return _join_form(request, invitation, token)


@router.post("/join/{token}")
def join(request: Request, club: Club, form: Typed, token: str) -> Response:
    with club.read() as db:
        invitation = members.open_invitation(db, token)
    if invitation is None:
        return page(request, "members/link_over.html", status=410)
    if invitation.purpose == "setup":
        return _set_up(request, club, form, invitation, token)
    if invitation.purpose == "reset":
        return _reset(request, club, form, invitation, token)
    typed = reading.read_joining(form)
    if isinstance(typed, reading.Refused):
        return _join_form(request, invitation, token, typed)
    return _admit(request, club, typed, invitation, token)


def _set_up(
    request: Request, club: Club, form: Typed, invitation: Invitation, token: str
) -> Response:
    typed = reading.read_club_setup(form)
    if isinstance(typed, reading.Refused):
        return _join_form(request, invitation, token, typed)
    with club.read() as db:
        if members.is_set_up(db):
            return page(request, "members/link_over.html", status=410)
    response = _admit(request, club, typed.person, invitation, token, founding=typed)
    request.app.state.club_name = typed.club_name
    return response


def _admit(
    request: Request,
    club: Club,
    typed: reading.Joining,
    invitation: Invitation,
    token: str,
    *,
    founding: reading.ClubSetup | None = None,
) -> Response:
    password_hash = secrets.hash_password(typed.password)
    with club.write() as db:
        current = members.open_invitation(db, token)
        if current is None or (founding and members.is_set_up(db)):
            return page(request, "members/link_over.html", status=410)
        if members.member_by_email(db, typed.email):
            refused = reading.Refused(
                {"name": typed.name, "email": typed.email},
                {"email": "Somebody with this address is in the club already. Sign in instead."},
            )
            return _join_form(request, invitation, token, refused)
        if founding:
            members.make_club(db, name=founding.club_name, time_zone=founding.time_zone)
        current.used_at = members.now()
        db.add(current)
        joined = members.add_member(
            db,
            name=typed.name,
            email=typed.email,
            password_hash=password_hash,
            role=invitation.role,
        )
    return _start(request, club, joined, "/", notice=f"Welcome, {joined.name}.")


def _reset(
    request: Request, club: Club, form: Typed, invitation: Invitation, token: str
) -> Response:
    with club.read() as db:
        owner = db.get(Member, invitation.member_id)
    if owner is None or owner.left_at is not None:
        return page(request, "members/link_over.html", status=410)
    typed = reading.read_new_password(form, name=owner.name, email=owner.email or "")
    if isinstance(typed, reading.Refused):
        return _join_form(request, invitation, token, typed)
    password_hash = secrets.hash_password(typed)
    with club.write() as db:
        current = members.open_invitation(db, token)
        found = db.get(Member, invitation.member_id)
        if current is None or found is None or found.id is None:
            return page(request, "members/link_over.html", status=410)
        current.used_at = members.now()
        found.password_hash = password_hash
        db.add_all([current, found])
        members.end_sign_ins(db, found.id)
    return _start(request, club, owner, "/", notice="Your new password is set.")


# The account


@router.get("/account")
def account_page(request: Request, who: Who, club: Club) -> Response:
    return _account(request, who, club)


@router.post("/account")
def save_preferences(request: Request, who: Who, club: Club, form: Typed) -> Response:
    typed = reading.read_preferences(form)
    if isinstance(typed, reading.Refused):
        return _account(request, who, club, refused=typed)
    with club.write() as db:
        found = db.get(Member, who.id)
        assert found is not None
        found.name, found.clock = typed.name, typed.clock
        found.length_unit, found.volume_unit = typed.length_unit, typed.volume_unit
        db.add(found)
    return see_other("/account", notice="Saved.")


@router.post("/account/password")
def change_password(request: Request, who: Who, club: Club, form: Typed) -> Response:
    now = form.get("password_now")
    if not isinstance(now, str) or not secrets.password_matches(now, who.password_hash):
        refused = reading.Refused({}, {"password_now": "This is not your password of today."})
        return _account(request, who, club, refused=refused)
    typed = reading.read_new_password(form, name=who.name, email=who.email or "")
    if isinstance(typed, reading.Refused):
        return _account(request, who, club, refused=typed)
    password_hash = secrets.hash_password(typed)
    with club.write() as db:
        found = db.get(Member, who.id)
        assert found is not None
        found.password_hash = password_hash
        db.add(found)
        members.end_sign_ins(db, found.id, but_token=request.cookies[_cookie(request)])
    return see_other("/account", notice="Password changed. Your other devices are signed out.")


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(who: Who, club: Club, sign_in_id: Id) -> Response:
    with club.write() as db:
        members.end_sign_ins(db, who.id, only_id=sign_in_id)
    return see_other("/account", notice="That device is signed out.")


@router.post("/account/tokens")
def make_token(request: Request, who: Who, club: Club, form: Typed) -> Response:
    name = text(form, "token_name", most=200)
    if not 0 < len(name) <= 80:
        refused = reading.Refused(
            {"token_name": name},
            {"token_name": "Name the token by what will use it, in 1 to 80 letters."},
        )
        return _account(request, who, club, refused=refused)
    with club.write() as db:
        token = members.make_access_token(db, member_id=who.id, name=name)
    return _account(request, who, club, new_token=token)


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(who: Who, club: Club, token_id: Id) -> Response:
    with club.write() as db:
        known = members.revoke_access_token(db, member_id=who.id, token_id=token_id)
    if not known:
        raise NotFound
    return see_other("/account", notice="That token no longer works.")


# The club's members


@router.get("/members")
def members_page(request: Request, who: Who, club: Club) -> Response:
    return _members(request, who, club)


@router.post("/members/invitations")
def invite(request: Request, who: Steward, club: Club, form: Typed) -> Response:
    for_whom = text(form, "for_whom", most=120)
    with club.write() as db:
        token = members.invite(
            db, role=reading.read_role(form), for_whom=for_whom, invited_by_id=who.id
        )
    return _members(request, who, club, link=_link(request, token), for_whom=for_whom)


@router.post("/members/invitations/{invitation_id}/withdraw")
def withdraw(who: Steward, club: Club, invitation_id: Id) -> Response:
    with club.write() as db:
        members.withdraw_invitation(db, invitation_id)
    return see_other("/members", notice="The invitation no longer works.")


@router.post("/members/{member_id}/role")
def set_role(who: Steward, club: Club, form: Typed, member_id: Id) -> Response:
    role = reading.read_role(form)
    with club.write() as db:
        found = db.get(Member, member_id)
        if found is None or found.left_at is not None:
            raise NotFound
        if found.role == "steward" and role != "steward" and members.steward_count(db) < 2:
            return see_other("/members", notice="The club needs at least one steward.", tone="no")
        found.role = role
        db.add(found)
    return see_other("/members", notice=f"{found.name} is now a {role}.")


@router.post("/members/{member_id}/new-password-link")
def new_password_link(request: Request, who: Steward, club: Club, member_id: Id) -> Response:
    with club.write() as db:
        found = db.get(Member, member_id)
        if found is None or found.left_at is not None:
            raise NotFound
        token = members.invite(
            db, purpose="reset", member_id=member_id, invited_by_id=who.id, role=found.role
        )
    return _members(request, who, club, link=_link(request, token), for_whom=found.name, reset=True)


# What several of these share


def _carry_on(
    request: Request, form: Typed, who: Member, come_back: str, signed_in: Response
) -> Response:
    """Straight back, or by way of a page that sends the carried form once more."""
    action = own_path(text(form, "resume"), "")
    view = views.resume(action, text(form, "typed", most=400_000), come_back) if action else None
    if view is None:
        return signed_in
    request.state.who = who
    response = page(request, "members/resume.html", view=view)
    response.raw_headers += [
        (name, value) for name, value in signed_in.raw_headers if name == b"set-cookie"
    ]
    return response


def _sign_in_form(
    request: Request,
    *,
    next: str,
    email: str = "",
    errors: dict[str, str] | None = None,
    resume: str = "",
    typed: str = "",
) -> Response:
    view = views.SignInView(next=next, email=email, errors=errors or {}, resume=resume, typed=typed)
    return page(request, "members/sign_in.html", view=view, status=422 if errors else 200)


def _join_form(
    request: Request,
    invitation: Invitation,
    token: str,
    refused: reading.Refused | None = None,
) -> Response:
    view = views.joining(invitation, token, refused)
    return page(request, "members/join.html", view=view, status=422 if refused else 200)


def _account(
    request: Request,
    who: Member,
    club: Club,
    *,
    refused: reading.Refused | None = None,
    new_token: str = "",
) -> Response:
    with club.read() as db:
        sign_ins = members.sign_ins_of(db, who.id)
        tokens = members.access_tokens_of(db, who.id)
    here = secrets.token_hash(request.cookies.get(_cookie(request), ""))
    view = views.account(who, sign_ins, tokens, here=here, refused=refused, new_token=new_token)
    return page(request, "members/account.html", view=view, status=422 if refused else 200)


def _members(request: Request, who: Member, club: Club, **extra: Any) -> Response:
    typed = request.query_params.get("page", "")
    number = max(1, int(typed)) if typed.isascii() and typed.isdigit() and len(typed) < 6 else 1
    name = request.query_params.get("q", "").strip()[:80]
    with club.read() as db:
        found = members.some_members(db, page=number, size=views.PER_PAGE, name=name)
        waiting = members.open_invitations(db) if who.role == "steward" else []
    view = views.club_members(found, waiting, me=who, page=number, q=name, **extra)
    return page(request, "members/members.html", view=view)


def _start(
    request: Request,
    club: Club,
    member: Member,
    come_back: str,
    *,
    notice: str = "",
    rehash_with: str = "",
) -> Response:
    """Signs a member in on this browser, under a new token."""
    fresh = ""
    if rehash_with and member.password_hash and secrets.wants_rehash(member.password_hash):
        fresh = secrets.hash_password(rehash_with)
    name = _cookie(request)
    with club.write() as db:
        members.sign_out(db, request.cookies.get(name, ""))
        token = members.sign_in(db, member, device=request.headers.get("user-agent", ""))
        if fresh and (found := db.get(Member, member.id)):
            found.password_hash = fresh
            db.add(found)
    response = see_other(come_back, notice=notice)
    response.set_cookie(
        name,
        token,
        max_age=int(members.SIGN_IN_LIFE.total_seconds()),
        httponly=True,
        secure=request.app.state.settings.secure_cookies,
        samesite="lax",
        path="/",
    )
    return response


def _cookie(request: Request) -> str:
    return cookie_name(request.app.state.settings.secure_cookies)


def _link(request: Request, token: str) -> str:
    base = request.app.state.settings.public_url.rstrip("/") or str(request.base_url).rstrip("/")
    return f"{base}/join/{token}"


def _address_of(request: Request) -> str:
    return request.client.host if request.client else "nowhere"


def _tried_too_often(request: Request, email: str) -> bool:
    known = f"{request.app.state.club.engine.url}"  # tests run several clubs in one process
    return not (
        _limiter.test(_PER_ACCOUNT, known, email)
        and _limiter.test(_PER_ADDRESS, known, _address_of(request))
    )


def _count_failure(request: Request, email: str) -> None:
    known = f"{request.app.state.club.engine.url}"
    _limiter.hit(_PER_ACCOUNT, known, email)
    _limiter.hit(_PER_ADDRESS, known, _address_of(request))
