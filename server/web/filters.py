"""How numbers and dates are written on pages, and read from forms."""

import math
from datetime import datetime, time
from zoneinfo import ZoneInfo

from jinja2 import Environment

from server.account import sentences
from server.wording.figures import (
    CM_PER_INCH,
    count,
    day,
    length,
    length_number,
    number,
    percent,
    ppfd,
    short_day,
    significant,
    to_cm,
)

__all__ = [
    "CM_PER_INCH",
    "LITRES_PER_GALLON",
    "NotANumber",
    "add_to",
    "clock",
    "count",
    "day",
    "length",
    "length_number",
    "local",
    "number",
    "percent",
    "ppfd",
    "read_number",
    "short_day",
    "significant",
    "to_cm",
    "volume",
]

LITRES_PER_GALLON = 3.785411784  # US liquid gallon
_INVISIBLE = "\u200b\u200c\u200d\ufeff\u2060"


class NotANumber(ValueError):
    """The text is not one finite number."""


def read_number(text: str) -> float:
    """A number as people type it: decimal comma or point, spaces around, a true minus.

    Raises NotANumber for empty text, words, NaN, infinities and two marks.
    """
    plain = text.translate(dict.fromkeys(map(ord, _INVISIBLE))).strip().replace("\u2212", "-")
    plain = plain.replace("\u00a0", "").replace("\u202f", "")
    if plain.count(",") + plain.count(".") > 1 or not plain.isascii() or len(plain) > 40:
        raise NotANumber(text)
    try:
        value = float(plain.replace(",", ".").replace("_", "x"))
    except ValueError as error:
        raise NotANumber(text) from error
    if not math.isfinite(value):
        raise NotANumber(text)
    return value


def volume(litres: float, unit: str = "L") -> str:
    value = litres if unit == "L" else litres / LITRES_PER_GALLON
    return f"{number(value, 0 if value >= 20 else 1)} {unit}"


def clock(moment: time | datetime, style: str = "24") -> str:
    """A time of day as the reader writes it."""
    if style == "24":
        return f"{moment:%H:%M}"
    return f"{moment.hour % 12 or 12}:{moment:%M} {'am' if moment.hour < 12 else 'pm'}"


def local(moment: datetime, zone: str) -> datetime:
    return moment.astimezone(ZoneInfo(zone))


def add_to(environment: Environment) -> None:
    """Gives templates these filters; `length` stays Jinja's own count."""
    for function in (
        number,
        significant,
        ppfd,
        percent,
        length_number,
        volume,
        clock,
        day,
        short_day,
        local,
        count,
        sentences.gets_words,
        sentences.spread_words,
        sentences.wants_words,
        sentences.verdict_words,
    ):
        environment.filters[function.__name__] = function
