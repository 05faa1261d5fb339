"""A day as people type it: lines of a time and a level."""

import re

from server.dose.day import Day, DayRefused
from server.web.filters import NotANumber, read_number
from server.web.forms import Wrong
from server.web.times import NotATime, read_time

# A comma before a time divides points; any other is a decimal comma.
_BETWEEN = re.compile(r"[;\n]|,(?=\s*\d{1,2}\s*(?:[:.h]\d\d|[apAP]))")


def day_of(text: str) -> Day:
    """A day from lines or commas of "time level", such as "08:00 0, 11:30 100". Raises Wrong."""
    points = [_point(piece) for piece in filter(str.strip, _BETWEEN.split(text))]
    try:
        return Day(hours=tuple(h for h, _ in points), levels=tuple(level for _, level in points))
    except DayRefused as refused:
        at = "" if refused.point is None else f"Point {refused.point + 1}: "
        raise Wrong(f"{at}{refused}") from refused


def _point(piece: str) -> tuple[float, float]:
    words = piece.split()
    try:
        if len(words) < 2:
            raise NotATime(piece)
        return read_time(" ".join(words[:-1])), read_number(words[-1].removesuffix("%"))
    except (NotATime, NotANumber) as wrong:
        told = piece.strip()[:40]
        raise Wrong(f"“{told}” is not a time and a percentage, such as 08:00 0.") from wrong
