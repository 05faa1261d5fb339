"""Stretches of whole days, which of them are free, and where the next one fits.

Dates are the club's own calendar days; both ends of a stretch are included.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

ONE_DAY = timedelta(days=1)
_MONTHS: tuple[str, ...] = ("January", "February", "March", "April", "May", "June", "July")
_MONTHS += ("August", "September", "October", "November", "December")
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, order=True)
class Stretch:
    """Days in a row, from `first` to `last`, both included."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("a stretch cannot end before it begins")

    @property
    def length_days(self) -> int:
        return (self.last - self.first).days + 1

    def __iter__(self) -> Iterator[date]:
        return (self.first + timedelta(days=n) for n in range(self.length_days))

    def __contains__(self, day: date) -> bool:
        return self.first <= day <= self.last

    def overlaps(self, other: "Stretch") -> bool:
        return self.first <= other.last and other.first <= self.last


def stretch_from(first: date, length_days: int) -> Stretch:
    return Stretch(first, first + timedelta(days=length_days - 1))


def day_in_words(day: date) -> str:
    """`Tue 1 December`: the year is left out, as people do for days close by."""
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def stretch_in_words(stretch: Stretch) -> str:
    if stretch.first == stretch.last:
        return day_in_words(stretch.first)
    return f"{day_in_words(stretch.first)} to {day_in_words(stretch.last)}"


@dataclass(frozen=True, kw_only=True)
class FreeDays:
    """What of a meter's calendar is taken, and so what is free.

    lent: days that belong to a loan or are held for an offer
    resting: days on which the meter rests
    closed_from: from this day on nothing can be lent (lost, or a rest without an end)
    grace_days: days kept free on either side of what is lent
    """

    lent: frozenset[date]
    resting: frozenset[date]
    closed_from: date | None
    grace_days: int

    def plus(self, stretch: Stretch) -> "FreeDays":
        return replace(self, lent=self.lent | frozenset(stretch))

    def fits(self, stretch: Stretch) -> bool:
        return self._obstacle(stretch) is None

    def _obstacle(self, stretch: Stretch) -> date | None:
        """The last day that stands in the way, so that a search can jump beyond it."""
        if self.closed_from is not None and stretch.last >= self.closed_from:
            return stretch.last
        with_grace = range(-self.grace_days, stretch.length_days + self.grace_days)
        for n in reversed(with_grace):
            day = stretch.first + timedelta(days=n)
            if day in self.lent or (day in self.resting and day in stretch):
                return day
        return None

    def earliest(
        self, *, length_days: int, not_before: date, latest: date | None = None
    ) -> Stretch | None:
        """The first stretch of that length, wholly before `latest`; None when there is none."""
        stretch = stretch_from(not_before, length_days)
        while latest is None or stretch.last <= latest:
            if self.closed_from is not None and stretch.last >= self.closed_from:
                return None
            obstacle = self._obstacle(stretch)
            if obstacle is None:
                return stretch
            after = obstacle + ONE_DAY
            if obstacle in self.lent:
                after += timedelta(days=self.grace_days)
            stretch = stretch_from(max(after, stretch.first + ONE_DAY), length_days)
        return None

    def nearest(self, wanted: Stretch, *, within: Stretch) -> Stretch | None:
        """The free stretch of the same length that begins closest to the wanted one."""
        length_days = wanted.length_days
        for distance in range((within.last - within.first).days + 1):
            for step in (-distance, distance):
                stretch = stretch_from(wanted.first + timedelta(days=step), length_days)
                inside = within.first <= stretch.first and stretch.last <= within.last
                if inside and self.fits(stretch):
                    return stretch
        return None
