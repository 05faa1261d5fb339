"""What the pages of members show."""

import json
from dataclasses import dataclass
from zoneinfo import available_timezones

from starlette.datastructures import FormData

from server.models import AccessToken, Invitation, Member, SignIn
from server.web import filters
from server.web.members.form import Refused


@dataclass(frozen=True)
class SignInView:
    """`resume` and `typed` carry a form that was sent after the sign-in had run out."""

    next: str
    email: str
    errors: dict[str, str]
    resume: str = ""
    typed: str = ""


@dataclass(frozen=True)
class ResumeView:
    """A form to be sent once more, as it was typed."""

    action: str
    fields: tuple[tuple[str, str], ...]
    come_back_to: str


@dataclass(frozen=True)
class JoinView:
    title: str
    intro: str
    token: str
    purpose: str
    time_zones: tuple[tuple[str, str], ...]
    values: dict[str, str]
    errors: dict[str, str]


@dataclass(frozen=True)
class Line:
    """One row of a small list."""

    id: int
    name: str
    told: str
    current: bool = False


@dataclass(frozen=True)
class AccountView:
    email: str
    values: dict[str, str]
    errors: dict[str, str]
    sign_ins: tuple[Line, ...]
    tokens: tuple[Line, ...]
    new_token: str


@dataclass(frozen=True)
class MembersView:
    members: tuple[Line, ...]
    roles: dict[int, str]
    waiting: tuple[Line, ...]
    may_invite: bool
    link: str = ""
    for_whom: str = ""
    reset: bool = False
    q: str = ""
    before: int | None = None
    after: int | None = None


PER_PAGE = 50
_MOST_CARRIED = 300_000


def carry(form: FormData) -> str:
    """The text fields of a form as JSON; '' when there are files or too much to carry."""
    fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    packed = json.dumps(fields)
    whole = len(fields) == len(form.multi_items()) and len(packed) <= _MOST_CARRIED
    return packed if whole and fields else ""


def resume(action: str, packed: str, come_back_to: str) -> ResumeView | None:
    """The carried form, or None when nothing readable was carried."""
    try:
        fields = tuple((str(name), str(value)) for name, value in json.loads(packed))
        "".join(name + value for name, value in fields).encode()  # no half surrogate pairs
    except (ValueError, TypeError, RecursionError):
        return None
    return ResumeView(action=action, fields=fields, come_back_to=come_back_to) if fields else None


_JOIN_WORDS = {
    "setup": ("Set up your club", "This link works once. It makes the club and you its steward."),
    "join": ("Join the club", "You were invited. Choose how you will sign in."),
    "reset": ("Choose a new password", "This link works once and signs out your other devices."),
}


def joining(invitation: Invitation, token: str, refused: Refused | None) -> JoinView:
    title, intro = _JOIN_WORDS[invitation.purpose]
    zones = tuple((name, name) for name in sorted(available_timezones()) if "/" in name)
    values = {"club_name": "", "time_zone": "Europe/Lisbon", "name": "", "email": ""}
    return JoinView(
        title=title,
        intro=intro,
        token=token,
        purpose=invitation.purpose,
        time_zones=zones if invitation.purpose == "setup" else (),
        values=values | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
    )


def account(
    who: Member,
    sign_ins: list[SignIn],
    tokens: list[AccessToken],
    *,
    here: str,
    refused: Refused | None,
    new_token: str,
) -> AccountView:
    values = {
        "name": who.name,
        "length_unit": who.length_unit,
        "volume_unit": who.volume_unit,
        "clock": who.clock,
        "token_name": "",
    }
    return AccountView(
        email=who.email or "",
        values=values | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
        sign_ins=tuple(_sign_in_line(entry, here) for entry in sign_ins),
        tokens=tuple(_token_line(token) for token in tokens),
        new_token=new_token,
    )


def club_members(
    everybody: list[Member],
    waiting: list[Invitation],
    *,
    me: Member,
    page: int = 1,
    q: str = "",
    link: str = "",
    for_whom: str = "",
    reset: bool = False,
) -> MembersView:
    return MembersView(
        members=tuple(
            Line(
                id=person.id,
                name=person.name,
                told=f"{person.role}, here since {filters.day(person.created_at.date())}",
                current=person.id == me.id,
            )
            for person in everybody[:PER_PAGE]
        ),
        roles={person.id: person.role for person in everybody},
        q=q,
        before=page - 1 if page > 1 else None,
        after=page + 1 if len(everybody) > PER_PAGE else None,
        waiting=tuple(
            Line(
                id=invitation.id,
                name=invitation.for_whom or "somebody",
                told=f"as {invitation.role}, until {filters.day(invitation.expires_at.date())}",
            )
            for invitation in waiting
        ),
        may_invite=me.role == "steward",
        link=link,
        for_whom=for_whom,
        reset=reset,
    )


def _sign_in_line(entry: SignIn, here: str) -> Line:
    return Line(
        id=entry.id,
        name=_device(entry.device),
        told=f"last used {filters.day(entry.last_seen_at.date())}",
        current=entry.token_hash == here,
    )


def _token_line(token: AccessToken) -> Line:
    used = filters.day(token.last_used_at.date()) if token.last_used_at else "never"
    return Line(id=token.id, name=token.name, told=f"last used: {used}")


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
