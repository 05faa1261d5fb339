"""Days and times of day as people type and read them: 1.12.2026; 8:00, 20.30, 8 pm."""

import re
from datetime import date, time

from server.web import filters

EARLIEST, LATEST = date(1990, 1, 1), date(2199, 12, 31)
_TIME = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?\s*([ap])?\.?\s*(?:m\.?)?", re.IGNORECASE)


class NotATime(ValueError):
    """The text is not one time of day."""


def read_day(typed: str) -> date | None:
    """A day as a date field sends it or as people type it: 2026-12-01, 1.12.2026, 1/12/2026."""
    plain = typed.strip().replace("/", ".").replace(" ", "")
    try:
        if "." in plain:
            day_of_month, month, year = (int(part) for part in plain.rstrip(".").split("."))
            found = date(year, month, day_of_month)
        else:
            found = date.fromisoformat(plain)
    except ValueError:
        return None
    return found if EARLIEST <= found <= LATEST else None


def read_time(text: str) -> float:
    """Hour of the day [h] of a typed time; 24:00 is midnight. Raises NotATime."""
    found = _TIME.fullmatch(text.strip())
    if found is None:
        raise NotATime(text)
    hour, minute = int(found[1]), int(found[2] or 0)
    if found[3]:
        if not 1 <= hour <= 12:
            raise NotATime(text)
        hour = hour % 12 + (12 if found[3].lower() == "p" else 0)
    if minute > 59 or hour > 24 or (hour == 24 and minute):
        raise NotATime(text)
    return (hour % 24) + minute / 60


def shown_time(hour: float, clock: str = "24") -> str:
    """An hour of the day as the reader writes it, to the minute."""
    minute = round(hour * 60) % 1440
    return filters.clock(time(minute // 60, minute % 60), clock)


def hour_places(width: float, clock: str = "24") -> tuple[tuple[float, str], ...]:
    """Ticks of a day's axis that fit into a chart of this width."""
    step = 6 if width < 480 else 3
    if clock == "24":
        return tuple((float(hour), f"{hour:02d}:00") for hour in range(0, 25, step))
    words = [shown_time(hour, "12").replace(":00", "") for hour in range(0, 25, step)]
    return tuple((float(hour), word) for hour, word in zip(range(0, 25, step), words, strict=True))


def shown_hours(hours: float) -> str:
    """A length of time as people say it: 8 h 30 min."""
    minutes = round(hours * 60)
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min"
    return f"{whole} h {rest} min" if rest else f"{whole} h"
