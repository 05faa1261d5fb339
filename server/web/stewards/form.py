"""What a steward types about the club."""

from dataclasses import dataclass
from zoneinfo import available_timezones

from starlette.datastructures import FormData

from server.web.filters import NotANumber, read_number
from server.web.members.form import Refused
from server.web.signed_in import text

MOST_PER_KWH = 1000.0


@dataclass(frozen=True)
class ClubTyped:
    name: str
    time_zone: str
    currency: str
    price_per_kwh: float


def read_club(form: FormData) -> ClubTyped | Refused:
    names = ("name", "time_zone", "currency", "price_per_kwh")
    values = {name: text(form, name, most=300) for name in names}
    errors: dict[str, str] = {}
    if not 0 < len(values["name"]) <= 120:
        errors["name"] = "Enter the club's name, at most 120 letters."
    if values["time_zone"] not in available_timezones():
        errors["time_zone"] = "Choose the club's time zone, like Europe/Lisbon."
    if not 0 < len(values["currency"]) <= 8:
        errors["currency"] = "Enter a currency in 1 to 8 letters, like EUR."
    price = _price(values["price_per_kwh"])
    if price is None:
        errors["price_per_kwh"] = f"Enter a price from 0 to {MOST_PER_KWH:g}, like 0.30."
    if errors or price is None:
        return Refused(values, errors)
    return ClubTyped(values["name"], values["time_zone"], values["currency"], price)


def _price(typed: str) -> float | None:
    try:
        price = read_number(typed)
    except NotANumber:
        return None
    return price if 0 <= price <= MOST_PER_KWH else None
