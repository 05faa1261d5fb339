"""A member's account: name and units, password, tokens, and where they are signed in."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import members, secrets, ways_in
from server.web.ask import Ask, Asked
from server.web.forms import Filled
from server.web.guessing import is_right
from server.web.members.form import (
    ACCOUNT,
    PASSWORD_NOW,
    TOKEN_NAME,
    account_values,
    read_new_password,
    read_preferences,
)
from server.web.members.starting import cookie_of, start
from server.web.open import OwnAccessToken, OwnSignIn
from server.web.page import see_other

router = APIRouter(include_in_schema=False)


@router.get("/account")
def account_page(ask: Ask) -> Response:
    return _page(ask, ACCOUNT.showing(account_values(ask.who)))


@router.post("/account")
def save_preferences(ask: Ask) -> Response:
    typed = read_preferences(_typed(ask))
    with ask.write() as db:
        members.set_preferences(
            db,
            ask.who.id,
            name=typed.name,
            clock=typed.clock,
            length_unit=typed.length_unit,
            volume_unit=typed.volume_unit,
        )
    return see_other("/account", notice="Saved.")


@router.post("/account/password")
def change_password(ask: Ask) -> Response:
    form = _typed(ask)
    if not is_right(ask, ask.who.email or "", ask.who, form[PASSWORD_NOW]):
        raise form.refuse(PASSWORD_NOW, "This is not your password of today.")
    password_hash = secrets.hash_password(read_new_password(form, ask.who, ask.club_name))
    with ask.write() as db:
        members.set_password(db, ask.who.id, password_hash)
        ways_in.end_all(db, ask.who.id)
    notice = "Password changed. Your other devices are signed out."
    return start(ask, ask.who, "/account", notice=notice)


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_sign_in(ask: Ask, entry: OwnSignIn) -> Response:
    with ask.write() as db:
        members.end_sign_ins(db, ask.who.id, only_id=entry.id)
    return see_other("/account", notice="That device is signed out.")


@router.post("/account/tokens")
def make_token(ask: Ask) -> Response:
    form = _typed(ask)
    name = form[TOKEN_NAME]
    form.check()
    with ask.write() as db:
        token = members.make_access_token(db, member_id=ask.who.id, name=name)
    return _page(ask, ACCOUNT.showing(account_values(ask.who)), new_token=token)


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(ask: Ask, token: OwnAccessToken) -> Response:
    with ask.write() as db:
        members.revoke_access_token(db, member_id=ask.who.id, token_id=token.id)
    return see_other("/account", notice="That token no longer works.")


def _typed(ask: Asked) -> Filled:
    """One of the page's forms; the others go on showing what is stored."""
    return ACCOUNT.typed(ask, again=lambda form: _page(ask, form), beside=account_values(ask.who))


def _page(ask: Asked, form: Filled, new_token: str = "") -> Response:
    with ask.read() as db:
        sign_ins = members.sign_ins_of(db, ask.who.id)
        tokens = members.access_tokens_of(db, ask.who.id)
    return ask.page(
        "members/account.html",
        form=form,
        sign_ins=[(entry, _device(entry.device)) for entry in sign_ins],
        here=secrets.token_hash(ask.request.cookies.get(cookie_of(ask.request), "")),
        tokens=tokens,
        new_token=new_token,
    )


def _device(agent: str) -> str:
    """A browser's name for itself, cut to what a person recognises."""
    for sign, name in (
        ("iPhone", "an iPhone"),
        ("Android", "an Android phone"),
        ("iPad", "an iPad"),
        ("Windows", "a Windows computer"),
        ("Macintosh", "a Mac"),
        ("Linux", "a Linux computer"),
    ):
        if sign in agent:
            return f"A browser on {name}"
    return "A browser"
