"""What a steward types about the club."""

from dataclasses import dataclass
from zoneinfo import available_timezones

from server.models import Club
from server.web.fields import choice, line, number
from server.web.filters import significant
from server.web.forms import Filled, Form

ZONES = (("UTC", "UTC"), *((name, name) for name in sorted(available_timezones()) if "/" in name))

NAME = line(
    "name", "Name", most=120, missing="Enter the club's name, at most 120 letters.",
    extra={"autocomplete": "organization"},
)  # fmt: skip
TIME_ZONE = choice(
    "time_zone", "Time zone", ZONES, start="", hint="Loans go by calendar days of this zone.",
    wrong="Choose the club's time zone, like Europe/Lisbon.",
)  # fmt: skip
CURRENCY = line(
    "currency", "Currency", most=8, missing="Enter a currency in 1 to 8 letters, like EUR.",
    hint="For the running cost of lamps.",
)  # fmt: skip
PRICE = number(
    "price_per_kwh", "Price of electricity", (0.0, 1000.0), like="0.30", unit="per kWh",
    where="On the electricity bill.",
)  # fmt: skip
CLUB = Form(NAME, TIME_ZONE, CURRENCY, PRICE)


@dataclass(frozen=True)
class ClubTyped:
    name: str
    time_zone: str
    currency: str
    price_per_kwh: float


def values_of(club: Club) -> dict[str, str]:
    """The stored club as its form shows it."""
    return {
        "name": club.name,
        "time_zone": club.time_zone,
        "currency": club.currency,
        "price_per_kwh": significant(club.price_per_kwh),
    }


def read_club(form: Filled) -> ClubTyped:
    """Raises Refused."""
    typed = ClubTyped(form[NAME], form[TIME_ZONE], form[CURRENCY], form[PRICE])
    form.check()
    return typed
