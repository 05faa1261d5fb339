"""The words of a way to another light, the same on every page, card, feed and address."""

from collections.abc import Sequence
from datetime import date

from server.dose.way_now import WayNow, days_late
from server.wording import figures

LEAVE_UNTIL = "Leave the light as it is until then."
LOOK_FIRST = "Look at every animal, then set it and say how they look."
HOLD = "Leave the light as it is and look at the animals."
REACH_SLOWLY = "Reach this light slowly: plan the way to it."


def where_words(way: WayNow, today: date) -> str:
    """Where the way stands, in one sentence."""
    step = f"Step {way.coming.number} of {way.of}"
    if way.state == "held":
        since = figures.day(way.held_since or today)
        return f"The plan holds before step {way.coming.number} of {way.of}, since {since}."
    if way.state == "waiting":
        return f"{step} comes on {figures.day(way.coming.due_on)}."
    if days_late(way, today):
        return f"{step} has been due since {figures.day(way.coming.due_on)}."
    return f"{step} is due today."


def do_words(way: WayNow) -> str:
    """What to do about it."""
    return {"held": HOLD, "waiting": LEAVE_UNTIL, "due": LOOK_FIRST}[way.state]


def next_words(way: WayNow, today: date) -> str:
    """Both, for whoever has one line."""
    return f"{where_words(way, today)} {do_words(way)}"


WIPED = (
    "The glass returns more light now. Animals that lived behind grown glass can pale: see "
    "whether a gentle return is offered."
)


def jump_words(jumped: Sequence[tuple[str, float]]) -> str:
    """Whose light is how much more than it is used to; '' where nobody's is."""
    if not jumped:
        return ""
    name, rise = max(jumped, key=lambda one: one[1])
    much = f"{figures.percent(rise)} more" if rise < 10 else "far more"
    others = len(jumped) - 1
    too = (
        f"; so {'does' if others == 1 else 'do'} {figures.in_words(others)} more" if others else ""
    )
    return f"{name} gets {much} light than it is used to by now{too}."


def against_words(rise: float) -> str:
    """A light against what an animal is used to, `rise` being the share it is brighter."""
    if abs(rise) < 0.02:
        return "what it is used to"
    much = f"{figures.percent(abs(rise))}" if abs(rise) < 10 else "far"
    return f"{much} {'more' if rise > 0 else 'less'} than it is used to"
