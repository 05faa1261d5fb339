"""What a keeper types about the day of a tank's lamps.

One shape for all lamps (a plain ramp, a natural day, or points); days of single lamps and channels
are in `lamp_form`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from starlette.datastructures import FormData

from server.db.days import DayWords, GroupDay
from server.dose.control import KIND_NAMES
from server.dose.day import Day, DayRefused
from server.dose.shapes import Trapezoid
from server.dose.sun import LATITUDE_LIMITS, natural_day
from server.web.day.lamp_form import (
    MOST_LETTERS,
    LampFields,
    read_lamps,
    read_points,
    shown,
)
from server.web.filters import number
from server.web.tanks.typed import Refused, TypedIn
from server.web.times import NotATime, read_time, shown_time

SHAPES = ("ramp", "natural", "points")
STATES = ("set", "plan")
BLANK = {
    "shape": "ramp",
    "on": "10:00",
    "off": "20:00",
    "ramp": "60",
    "level": "100",
    "moon": "",
    "moon_until": "",
    "latitude": "",
    "noon": "13:00",
    "points": "",
    "control": "",
    "view_from": "",
    "view_to": "",
    "follows": "",
    "since": "",
    "reason": "",
    "state": "set",
}


@dataclass(frozen=True, kw_only=True)
class DayTyped:
    """A schedule as typed."""

    words: DayWords
    days: tuple[GroupDay, ...]


def values_of(
    words: DayWords, days: Sequence[GroupDay], lamps: Sequence[LampFields], clock: str
) -> dict[str, str]:
    """A stored schedule as the form shows it."""
    whole = next((group.day for group in days if group.lamp_model_id is None), None)
    values = {
        **BLANK,
        **dict.fromkeys((name for lamp in lamps for name in lamp.names), ""),
        **_shape_values(whole, clock),
        "control": words.control,
        "follows": "yes" if words.follows_clock else "",
        "view_from": "" if words.view_from_h is None else shown_time(words.view_from_h, clock),
        "view_to": "" if words.view_to_h is None else shown_time(words.view_to_h, clock),
    }
    for name, held in shown(days, lamps, whole):
        values[name] = held if isinstance(held, str) else points_text(held, clock)
    return values


def points_text(day: Day, clock: str = "24") -> str:
    """A day as its lines: a time and a percentage."""
    return "\n".join(
        f"{shown_time(hour, clock)} {number(level, 1).removesuffix('.0')}"
        for hour, level in zip(day.hours, day.levels, strict=True)
    )


def _shape_values(day: Day | None, clock: str) -> dict[str, str]:
    if day is None:
        return {}
    points = {"points": points_text(day, clock)}
    moon = _moon(day)
    plain = _plain(_without_moon(day) if moon else day)
    if plain is None:
        return {"shape": "points"} | points
    moon_values = (
        {"moon": number(moon[0], 1).removesuffix(".0"), "moon_until": shown_time(moon[1], clock)}
        if moon
        else {}
    )
    return (
        moon_values
        | {
            "shape": "ramp",
            "on": shown_time(plain.on_h, clock),
            "off": shown_time(plain.on_h + plain.lit_hours, clock),
            "ramp": number(plain.ramp_hours * 60),
            "level": number(plain.level, 1).removesuffix(".0"),
        }
        | points
    )


def _moon(day: Day) -> tuple[float, float] | None:
    """Level [%] and end [h] of moonlight after a plain ramp, where the day ends in one."""
    if len(day.hours) != 6 or day.levels[5] or not 0 < day.levels[4] == day.levels[3] <= 20:
        return None
    return (day.levels[4], day.hours[4]) if day.hours[4] == day.hours[5] else None


def _without_moon(day: Day) -> Day:
    return Day(hours=day.hours[:4], levels=(*day.levels[:3], 0.0))


def _plain(day: Day) -> Trapezoid | None:
    """The day as a plain ramp, where it is one."""
    if len(day.hours) != 4 or day.levels[0] or day.levels[3] or day.levels[1] != day.levels[2]:
        return None
    on, up, down, off = day.hours
    rise, fall, lit = (up - on) % 24, (off - down) % 24, (off - on) % 24
    if abs(rise - fall) > 1e-6 or lit <= 0:
        return None
    return Trapezoid(on_h=on, lit_hours=lit, ramp_hours=rise, level=day.levels[1])


def read_day(
    form: FormData,
    *,
    lamps: Sequence[LampFields],
    time_zone: str,
    today: date,
    asks_why: str,
) -> DayTyped | Refused:
    """A schedule as typed. `asks_why`: the words when no reason is given, empty if none is due."""
    typed = TypedIn(form, "cm")
    for name in (*BLANK, *(name for lamp in lamps for name in lamp.names)):
        typed.words(name, most=MOST_LETTERS)  # kept as typed, whichever shape is chosen
    whole = _whole_day(typed, today)
    days = [] if whole is None else [GroupDay(day=whole)]
    days += read_lamps(typed, lamps, whole)
    state = typed.choice("state", STATES, otherwise="set")
    words = DayWords(
        since=typed.day("since", otherwise=today, latest=today),
        time_zone=time_zone,
        state=state,
        follows_clock=typed.yes("follows"),
        control=typed.choice("control", ["", *KIND_NAMES], otherwise=""),
        view_from_h=_time(typed, "view_from", needed=False),
        view_to_h=_time(typed, "view_to", needed=False),
        reason=typed.words("reason", most=500, missing=asks_why if state == "set" else ""),
    )
    return typed.refused() if typed.errors else DayTyped(words=words, days=tuple(days))


def _whole_day(typed: TypedIn, today: date) -> Day | None:
    shape = typed.choice("shape", SHAPES, otherwise="ramp")
    if shape == "points":
        text = typed.words("points", most=4000, missing="Write one point a line, such as 08:00 0.")
        return read_points(typed, "points", text) if text else None
    if shape == "natural":
        return _natural(typed, today)
    return _ramp(typed)


def _natural(typed: TypedIn, today: date) -> Day | None:
    low, high = LATITUDE_LIMITS
    latitude = typed.number("latitude", low=low, high=high, like="18", unit="degrees")
    noon = _time(typed, "noon")
    if latitude is None or noon is None or typed.errors:
        return None
    day = natural_day(latitude_deg=latitude, on=today, noon_h=noon)
    minutes = tuple(round(hour * 60) % 1440 / 60 for hour in day.hours)
    return Day(hours=minutes, levels=tuple(float(round(level)) for level in day.levels))


def _ramp(typed: TypedIn) -> Day | None:
    on, off = _time(typed, "on"), _time(typed, "off")
    ramp = typed.number("ramp", low=0, high=360, like="60", unit="minutes")
    level = typed.number("level", low=1, high=100, like="100", unit="%")
    if typed.errors or None in (on, off, ramp, level):
        return None
    assert on is not None and off is not None and ramp is not None and level is not None
    try:
        day = Trapezoid(
            on_h=on, lit_hours=(off - on) % 24 or 24.0, ramp_hours=ramp / 60, level=level
        ).day
    except DayRefused as refused:
        typed.errors["ramp"] = str(refused)
        return None
    return _with_moon(typed, day, on, off)


def _with_moon(typed: TypedIn, day: Day, on: float, off: float) -> Day | None:
    """Moonlight from lights off to a time, at its own level."""
    moon = typed.number("moon", low=0, high=20, like="1", unit="%", needed=False)
    until = _time(typed, "moon_until", needed=False)
    if not moon or typed.errors:
        return None if typed.errors else day
    if until is None:
        typed.errors["moon_until"] = "Say when the moonlight ends."
        return None
    if (until - off) % 24 > (on - off) % 24 or until == off:
        typed.errors["moon_until"] = "Moonlight ends between lights off and lights on."
        return None
    hours, levels = list(day.hours), list(day.levels)
    if levels[-1] == 0:  # the ramp ends at moonlight and stays there
        levels[-1] = moon
    return Day(hours=(*hours, until, until), levels=(*levels, moon, 0.0))


def _time(typed: TypedIn, name: str, *, needed: bool = True) -> float | None:
    value = typed.words(name, most=20)
    if not value and not needed:
        return None
    try:
        return read_time(value)
    except NotATime:
        typed.errors[name] = f"Type a time of day such as {BLANK.get(name) or '21:00'}."
        return None
