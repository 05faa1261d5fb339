"""What people type when they join, sign in, and change their account."""

import re
from dataclasses import dataclass, field
from itertools import pairwise
from zoneinfo import available_timezones

from starlette.datastructures import FormData

from server.db.secrets import MAX_PASSWORD, MIN_PASSWORD
from server.models.member import CLOCKS, LENGTH_UNITS, ROLES, VOLUME_UNITS
from server.web.signed_in import text

_EMAIL = re.compile(r"[^@\s<>\"',;:\\()\[\]]+@[^@\s<>\"',;:\\()\[\]]+\.[^@\s.<>\"',;:\\()\[\]]+")
# Long passwords that everybody thinks of first (from memory of published leak lists).
_COMMON = frozenset(
    {
        "passwordpassword",
        "correcthorsebatterystaple",
        "qwertyuiopasdfghjkl",
        "iloveyouiloveyou",
        "administrator123",
        "thisisapassword",
        "letmeinletmein1",
        "1q2w3e4r5t6y7u8i",
    }
)


@dataclass(frozen=True)
class Refused:
    """What was typed, and the words beside each field that could not be taken."""

    values: dict[str, str]
    errors: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Joining:
    name: str
    email: str
    password: str


@dataclass(frozen=True)
class ClubSetup:
    club_name: str
    time_zone: str
    person: Joining


@dataclass(frozen=True)
class Preferences:
    name: str
    length_unit: str
    volume_unit: str
    clock: str


def read_joining(form: FormData) -> Joining | Refused:
    """Name, e-mail and password of somebody who joins."""
    values = {name: text(form, name, most=300) for name in ("name", "email")}
    password = _password(form, "password")
    errors: dict[str, str] = {}
    if not values["name"]:
        errors["name"] = "Enter the name the club knows you by."
    elif len(values["name"]) > 80:
        errors["name"] = "Keep the name to 80 letters."
    if not _EMAIL.fullmatch(values["email"]) or len(values["email"]) > 254:
        errors["email"] = "Enter an e-mail address, like mara@example.org."
    weak = weak_password(password, values["name"], values["email"])
    if weak:
        errors["password"] = weak
    if errors:
        return Refused(values, errors)
    return Joining(name=values["name"], email=values["email"].lower(), password=password)


def read_club_setup(form: FormData) -> ClubSetup | Refused:
    values = {name: text(form, name, most=300) for name in ("club_name", "time_zone")}
    errors: dict[str, str] = {}
    if not 0 < len(values["club_name"]) <= 120:
        errors["club_name"] = "Enter the club's name, at most 120 letters."
    if values["time_zone"] not in available_timezones():
        errors["time_zone"] = "Choose the club's time zone, like Europe/Lisbon."
    person = read_joining(form)
    if isinstance(person, Refused):
        return Refused(values | person.values, errors | person.errors)
    if errors:
        return Refused(values | {"name": person.name, "email": person.email}, errors)
    return ClubSetup(values["club_name"], values["time_zone"], person)


def read_new_password(form: FormData, *, name: str, email: str) -> str | Refused:
    password = _password(form, "password")
    weak = weak_password(password, name, email)
    return Refused({}, {"password": weak}) if weak else password


def read_preferences(form: FormData) -> Preferences | Refused:
    values = {
        name: text(form, name, most=300) for name in ("name", "length_unit", "volume_unit", "clock")
    }
    errors: dict[str, str] = {}
    if not 0 < len(values["name"]) <= 80:
        errors["name"] = "Enter a name of 1 to 80 letters."
    for name, known in (
        ("length_unit", LENGTH_UNITS),
        ("volume_unit", VOLUME_UNITS),
        ("clock", CLOCKS),
    ):
        if values[name] not in known:
            errors[name] = f"Choose {' or '.join(known)}."
    return Refused(values, errors) if errors else Preferences(**values)


def read_role(form: FormData) -> str:
    """The role asked for; anything unknown is a plain member."""
    role = text(form, "role")
    return role if role in ROLES else "member"


def weak_password(password: str, name: str, email: str) -> str:
    """Why a password will not do, or ''. Any letters and signs may be used."""
    if len(password) < MIN_PASSWORD:
        return f"Use at least {MIN_PASSWORD} characters: a short sentence is easy to remember."
    if len(password) > MAX_PASSWORD:
        return f"Use at most {MAX_PASSWORD} characters."
    if _is_guessable(password, name, email):
        return "That one is among the first to be guessed. Try a sentence of your own."
    return ""


def _is_guessable(password: str, name: str, email: str) -> bool:
    folded = password.casefold()
    if folded in _COMMON or len(set(folded)) < 5 or _is_run(folded):
        return True
    rest = folded
    for known in ("underlamp", "password", "passwort", email.casefold(), name.casefold()):
        rest = rest.replace(known, "") if len(known) > 2 else rest
    letters = "".join(sign for sign in rest if sign.isalpha())
    return len(rest) < 6 or (not letters and len(rest) < len(folded))


def _is_run(text: str) -> bool:
    """Counting up or down, or one short piece said over and over."""
    steps = {ord(b) - ord(a) for a, b in pairwise(text)}
    if steps <= {1, -9} or steps <= {-1, 9}:
        return True
    return any(text == (text[:size] * len(text))[: len(text)] for size in range(1, 6))


def _password(form: FormData, name: str) -> str:
    value = form.get(name)
    return value if isinstance(value, str) else ""
