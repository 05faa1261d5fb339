"""Moved to server.web.day_points; this name stays until the last family has followed."""

from server.dose.day import Day
from server.web.day_points import day_of
from server.web.forms import Wrong
from server.web.tanks.typed import TypedIn


def read_points(typed: TypedIn, name: str, text: str) -> Day | None:
    """As `day_of`; what is wrong stands beside the field."""
    try:
        return day_of(text)
    except Wrong as wrong:
        typed.errors[name] = str(wrong)
        return None
