"""What people type when they join, sign in, and change their account."""

from dataclasses import dataclass
from zoneinfo import available_timezones

from server.models import Member
from server.models.member import CLOCKS, LENGTH_UNITS, VOLUME_UNITS
from server.web.fields import choice, line, password
from server.web.forms import Field, Filled, Form, Wrong
from server.web.members.passwords import EMAIL_SHAPE, weak_password

ZONES = tuple((name, name) for name in sorted(available_timezones()) if "/" in name)
_LONG_ENOUGH = "At least 15 characters; a short sentence is fine."
_ROLES = (("member", "a member"), ("steward", "a steward, who minds meters and members"))


def _email(typed: str, _: Filled) -> str:
    if not EMAIL_SHAPE.fullmatch(typed) or len(typed) > 254:
        raise Wrong("Enter an e-mail address, like mara@example.org.")
    return typed.lower()


CLUB_NAME = line(
    "club_name", "The club's name", most=120,
    missing="Enter the club's name, at most 120 letters.", extra={"autocomplete": "organization"},
)  # fmt: skip
TIME_ZONE = choice(
    "time_zone", "Time zone", (*ZONES, ("UTC", "UTC")), start="Europe/Lisbon",
    hint="Loans of the meter go by the club's calendar days.",
    wrong="Choose the club's time zone, like Europe/Lisbon.",
)  # fmt: skip
NAME = line(
    "name", "Your name", most=80, missing="Enter the name the club knows you by.",
    hint="As the club knows you.", extra={"autocomplete": "name"},
)  # fmt: skip
EMAIL: Field[str] = Field(
    name="email", label="E-mail address", read=_email, otherwise="", kind="email", most=300,
    hint="You sign in with it; other members do not see it.", extra={"autocomplete": "username"},
)  # fmt: skip
PASSWORD = password(
    "password", "Password", hint=_LONG_ENOUGH, extra={"autocomplete": "new-password"}
)
PASSWORD_NOW = password(
    "password_now", "Password of today", extra={"autocomplete": "current-password"}
)
SIGN_IN = Form(
    EMAIL.but(hint=""), PASSWORD.but(hint="", extra={"autocomplete": "current-password"})
)
JOINING = {
    "setup": Form(CLUB_NAME, TIME_ZONE, NAME, EMAIL, PASSWORD),
    "join": Form(NAME, EMAIL, PASSWORD),
    "reset": Form(PASSWORD),
}
"""The form behind a link, by what the link is for."""

LENGTH_UNIT = choice(
    "length_unit", "Lengths in", (("cm", "centimetres"), ("in", "inches")), start="",
    wrong=f"Choose {' or '.join(LENGTH_UNITS)}.",
)  # fmt: skip
VOLUME_UNIT = choice(
    "volume_unit", "Volumes in", (("L", "litres"), ("gal", "US gallons")), start="",
    wrong=f"Choose {' or '.join(VOLUME_UNITS)}.",
)  # fmt: skip
CLOCK = choice(
    "clock", "Times", (("24", "24 hours, 16:30"), ("12", "am and pm, 4:30 pm")), start="",
    wrong=f"Choose {' or '.join(CLOCKS)}.",
)  # fmt: skip
TOKEN_NAME = line(
    "token_name", "Name of a new token", most=80, hint="What will use it, such as “logger in the "
    "fish room”.", missing="Name the token by what will use it, in 1 to 80 letters.",
)  # fmt: skip
ACCOUNT = Form(
    NAME.but(hint=""), LENGTH_UNIT, VOLUME_UNIT, CLOCK, PASSWORD_NOW,
    PASSWORD.but(label="New password"), TOKEN_NAME,
)  # fmt: skip

LOOK_FOR = line("q", "Look for a name", most=80)
FOR_WHOM = line(
    "for_whom", "For whom", most=120, hint="Only so that you recognise the invitation later."
)
ROLE = choice("role", "They will be", _ROLES, start="member")
PEOPLE = Form(LOOK_FOR, FOR_WHOM, ROLE)


@dataclass(frozen=True)
class Joining:
    name: str
    email: str
    password: str


@dataclass(frozen=True)
class Preferences:
    name: str
    length_unit: str
    volume_unit: str
    clock: str


def read_joining(form: Filled, club: str) -> Joining:
    """Name, e-mail and password of somebody who joins. Raises Refused."""
    name, email = form[NAME], form[EMAIL]
    secret = _strong(form, name, form.text("email"), club)
    form.check()
    return Joining(name=name, email=email, password=secret)


def read_new_password(form: Filled, who: Member, club: str) -> str:
    """Raises Refused."""
    secret = _strong(form, who.name, who.email or "", club)
    form.check()
    return secret


def read_preferences(form: Filled) -> Preferences:
    """Raises Refused."""
    typed = Preferences(form[NAME], form[LENGTH_UNIT], form[VOLUME_UNIT], form[CLOCK])
    form.check()
    return typed


def account_values(who: Member) -> dict[str, str]:
    """The stored account as its forms show it."""
    return {
        "name": who.name,
        "length_unit": who.length_unit,
        "volume_unit": who.volume_unit,
        "clock": who.clock,
    }


def _strong(form: Filled, *own: str) -> str:
    weak = weak_password(form[PASSWORD], *own)
    if weak:
        form.wrong(PASSWORD, weak)
    return form[PASSWORD]
