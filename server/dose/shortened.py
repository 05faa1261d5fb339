"""A day made shorter: all its light pressed together about its middle."""

import numpy as np

from server.dose.day import Day, added, course, unrolled
from server.dose.together import Days


def shortened(days: Days, share: float) -> Days:
    """Days of channel groups pressed together about their common middle.

    Each is lit for `share` (0–1) of its time; points keep their levels. Light that runs all
    night cannot be shortened and stays.
    """
    if share >= 1:
        return days
    middle = _middle_h(days)
    return tuple(_pressed(_from_darkest(day), share, middle) for day in days)


def _middle_h(days: Days) -> float:
    """Middle of all the light [h]: its centre of mass on the circle of 24 hours."""
    one = added(course(day, peak_ppfd=1) for day in days)
    light = one.hours * (one.start_ppfd + one.end_ppfd)
    turn = np.exp(2j * np.pi * (one.start_h + one.end_h) / 48) @ light
    return float(np.angle(turn) / (2 * np.pi) * 24) % 24


def _from_darkest(day: Day) -> Day:
    """The same day listed from the end of its darkest, then longest, stretch between points."""
    ends = [*day.hours[1:], day.hours[0]]
    levels = [*day.levels[1:], day.levels[0]]
    dark = [
        (-(level + to_level), (end - hour) % 24)
        for hour, end, level, to_level in zip(day.hours, ends, day.levels, levels, strict=True)
    ]
    first = (dark.index(max(dark)) + 1) % len(dark)
    return Day(
        hours=day.hours[first:] + day.hours[:first], levels=day.levels[first:] + day.levels[:first]
    )


def _pressed(day: Day, share: float, middle_h: float) -> Day:
    counted = unrolled(day.hours)
    middle = middle_h if middle_h >= counted[0] else middle_h + 24
    return Day(
        hours=tuple((middle + share * (hour - middle)) % 24 % 24 for hour in counted),
        levels=day.levels,
    )
