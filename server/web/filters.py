"""How numbers and dates are written on pages, and read from forms."""

import math
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from jinja2 import Environment

CM_PER_INCH = 2.54
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


def number(value: float, digits: int = 0) -> str:
    """A number for a page, with a true minus and never '-0'."""
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "\u2212")


def significant(value: float, digits: int = 3) -> str:
    """A number with so many significant digits and no exponent."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "not known"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return number(round(value, decimals), decimals)


def ppfd(value: float) -> str:
    """A PPFD without false digits: whole numbers, one decimal below 10."""
    return number(value, 0 if value >= 9.95 else 1)


def percent(share: float, digits: int = 0) -> str:
    return f"{number(100 * share, digits)} %"


def length(value_cm: float, unit: str = "cm", digits: int | None = None) -> str:
    """A length in the reader's unit, with the unit."""
    return f"{length_number(value_cm, unit, digits)} {unit}"


def length_number(value_cm: float, unit: str = "cm", digits: int | None = None) -> str:
    value = value_cm if unit == "cm" else value_cm / CM_PER_INCH
    if digits is None:
        digits = 1
    text = number(value, digits)
    return text[:-2] if text.endswith(".0") else text


def to_cm(value: float, unit: str) -> float:
    return value if unit == "cm" else value * CM_PER_INCH


def volume(litres: float, unit: str = "L") -> str:
    value = litres if unit == "L" else litres / LITRES_PER_GALLON
    return f"{number(value, 0 if value >= 20 else 1)} {unit}"


def clock(moment: time | datetime, style: str = "24") -> str:
    """A time of day as the reader writes it."""
    if style == "24":
        return f"{moment:%H:%M}"
    return f"{moment.hour % 12 or 12}:{moment:%M} {'am' if moment.hour < 12 else 'pm'}"


def day(value: date) -> str:
    """A date in words, the same for every reader: 21 November 2026."""
    return f"{value.day} {value:%B %Y}"


def short_day(value: date) -> str:
    return f"{value.day} {value:%b}"


def local(moment: datetime, zone: str) -> datetime:
    return moment.astimezone(ZoneInfo(zone))


def count(amount: int, one: str, many: str | None = None) -> str:
    """'1 reading', '3 readings'."""
    return f"{amount} {one if amount == 1 else many or one + 's'}"


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
    ):
        environment.filters[function.__name__] = function
