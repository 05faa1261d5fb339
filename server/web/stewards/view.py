"""What the stewards' pages show."""

from dataclasses import dataclass
from zoneinfo import available_timezones

from server.models import Club
from server.web.filters import significant
from server.web.members.form import Refused


@dataclass(frozen=True)
class ClubView:
    values: dict[str, str]
    errors: dict[str, str]
    time_zones: tuple[tuple[str, str], ...]


def club_view(club: Club, refused: Refused | None = None) -> ClubView:
    values = {
        "name": club.name,
        "time_zone": club.time_zone,
        "currency": club.currency,
        "price_per_kwh": significant(club.price_per_kwh),
    }
    zones = tuple((name, name) for name in sorted(available_timezones()) if "/" in name)
    return ClubView(
        values=values | (refused.values if refused else {}),
        errors=refused.errors if refused else {},
        time_zones=(("UTC", "UTC"), *zones),
    )
