"""Numbers, lengths, dates and counts as every page and sentence writes them."""

import math
from collections.abc import Sequence
from datetime import date

CM_PER_INCH = 2.54


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


def day(value: date) -> str:
    """A date in words, the same for every reader: 21 November 2026."""
    return f"{value.day} {value:%B %Y}"


def short_day(value: date) -> str:
    return f"{value.day} {value:%b}"


def count(amount: int, one: str, many: str | None = None) -> str:
    """'1 reading', '3 readings'."""
    return f"{amount} {one if amount == 1 else many or one + 's'}"


_WORDS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def in_words(amount: int) -> str:
    """A small amount as a word: none, one, … ten, 11."""
    return _WORDS[amount] if amount < len(_WORDS) else str(amount)


def listed(parts: Sequence[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"
