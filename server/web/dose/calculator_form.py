"""What a visitor types into the dose calculators; the address carries it."""

import re
from dataclasses import dataclass
from datetime import date

from starlette.datastructures import FormData, QueryParams

from server.dose.day import Day, DayRefused
from server.dose.groups import BY_KEY, Group
from server.dose.photosynthesis import LEAST_BEST_RATIO
from server.dose.shapes import DLI_LIMITS, Trapezoid, Viewing
from server.dose.sun import LATITUDE_LIMITS, natural_day
from server.web.dose.times import NotATime, read_time
from server.web.filters import NotANumber, read_number
from server.web.tanks.typed import Refused, TypedIn

# A comma before a time divides points; any other is a decimal comma.
_BETWEEN_POINTS = re.compile(r"[;\n]|,(?=\s*\d{1,2}\s*(?:[:.h]\d\d|[apAP]))")
PPFD_LIMITS = (1.0, 3000.0)
DEFAULTS = {
    "peak": "200",
    "on": "10:00",
    "off": "20:00",
    "ramp": "60",
    "group": "small_polyp",
    "points": "",
    "latitude": "",
    "on_date": "",
    "compensation": "",
    "saturation": "",
    "best": "",
}
BACK_DEFAULTS = {
    "dli": "6",
    "peak_limit": "250",
    "from": "16:00",
    "to": "22:00",
    "ramp": "60",
    "compensation": "",
    "saturation": "",
    "hours": "",
}


@dataclass(frozen=True)
class DoseTyped:
    """A day to be added up; compensation, saturation and the best light only where typed."""

    peak_ppfd: float
    day: Day
    group: Group
    compensation_ppfd: float | None
    saturation_ppfd: float | None
    best_ppfd: float | None
    values: dict[str, str]


@dataclass(frozen=True)
class BackTyped:
    """A dose wanted, and the limits of the day that should give it."""

    dli_mol_m2_d: float
    peak_limit_ppfd: float
    ramp_hours: float
    viewing: Viewing
    compensation_ppfd: float | None
    saturation_ppfd: float | None
    lit_hours: float | None
    values: dict[str, str]


def read_dose(query: QueryParams, *, today: date) -> DoseTyped | Refused:
    """The dose calculator's address; an empty one shows the worked example."""
    typed = _typed(query, DEFAULTS)
    peak = _ppfd(typed, "peak", like="200")
    group = BY_KEY[typed.choice("group", BY_KEY, otherwise="small_polyp")]
    compensation = _ppfd(typed, "compensation", like="60", needed=False)
    saturation = _ppfd(typed, "saturation", like="250", needed=False)
    best = _ppfd(typed, "best", like="800", needed=False)
    if best is not None and (saturation is None or best <= LEAST_BEST_RATIO * saturation):
        typed.errors["best"] = (
            "Type the saturation point too; the best light lies above 2.72 times of it."
        )
    day = _day(typed, today)
    if typed.errors or day is None or peak is None:
        return typed.refused()
    return DoseTyped(peak, day, group, compensation, saturation, best, typed.values)


def read_back(query: QueryParams) -> BackTyped | Refused:
    """The address of the way back from a dose."""
    typed = _typed(query, BACK_DEFAULTS)
    low, high = DLI_LIMITS
    wanted = typed.number("dli", low=low, high=high, like="6", unit="mol m⁻² d⁻¹")
    limit = _ppfd(typed, "peak_limit", like="250")
    ramp = typed.number("ramp", low=0, high=360, like="60", unit="minutes")
    start, end = _time(typed, "from", like="16:00"), _time(typed, "to", like="22:00")
    compensation = _ppfd(typed, "compensation", like="60", needed=False)
    saturation = _ppfd(typed, "saturation", like="250", needed=False)
    lit = typed.number("hours", low=1, high=24, like="10", unit="hours", needed=False)
    if lit is not None and ramp is not None and 2 * ramp / 60 > lit:
        typed.errors["ramp"] = "Both ramps together must fit into the lit hours."
    if typed.errors or wanted is None or limit is None or ramp is None:
        return typed.refused()
    viewing = Viewing(from_h=start, to_h=end)
    return BackTyped(wanted, limit, ramp / 60, viewing, compensation, saturation, lit, typed.values)


def _typed(query: QueryParams, defaults: dict[str, str]) -> TypedIn:
    """Fields that are not in the address take the worked example's value."""
    known = {name: query[name] for name in defaults if name in query}
    start = {} if known else defaults
    empty = dict.fromkeys(defaults, "")
    return TypedIn(FormData(list({**empty, **start, **known}.items())), "cm")


def _ppfd(typed: TypedIn, name: str, *, like: str, needed: bool = True) -> float | None:
    low, high = PPFD_LIMITS
    return typed.number(name, low=low, high=high, like=like, unit="µmol m⁻² s⁻¹", needed=needed)


def _time(typed: TypedIn, name: str, *, like: str) -> float:
    value = typed.words(name, most=20)
    try:
        return read_time(value)
    except NotATime:
        typed.errors[name] = f"Type a time of day such as {like}."
        return 0.0


def _day(typed: TypedIn, today: date) -> Day | None:
    """The day from its points, else from a latitude, else from on, off and ramp."""
    for name in ("on", "off", "ramp"):  # kept as typed, also where the day comes from elsewhere
        typed.words(name, most=20)
    points = typed.words("points", most=4000)
    latitude, on_date = typed.words("latitude", most=20), typed.words("on_date", most=20)
    if points:
        return read_points(typed, "points", points)
    if latitude:
        return _natural(typed, latitude, on_date, today)
    return _trapezoid(typed)


def _trapezoid(typed: TypedIn) -> Day | None:
    on, off = _time(typed, "on", like="10:00"), _time(typed, "off", like="20:00")
    ramp = typed.number("ramp", low=0, high=360, like="60", unit="minutes")
    if typed.errors or ramp is None:
        return None
    try:
        return Trapezoid(on_h=on, lit_hours=(off - on) % 24 or 24.0, ramp_hours=ramp / 60).day
    except DayRefused as refused:
        typed.errors["ramp"] = str(refused)
        return None


def _natural(typed: TypedIn, latitude: str, on_date: str, today: date) -> Day | None:
    low, high = LATITUDE_LIMITS
    degrees = typed.number("latitude", low=low, high=high, like="18", unit="degrees")
    try:
        on = date.fromisoformat(on_date) if on_date else today
    except ValueError:
        typed.errors["on_date"] = f"Write the day as year-month-day, such as {today}."
        return None
    if degrees is None or typed.errors:
        return None
    return natural_day(latitude_deg=degrees, on=on)


def read_points(typed: TypedIn, name: str, text: str) -> Day | None:
    """A day from lines or commas of "time level", such as "08:00 0, 11:30 100"."""
    hours, levels = [], []
    for piece in filter(str.strip, _BETWEEN_POINTS.split(text)):
        words = piece.split()
        try:
            level = read_number(words[-1].removesuffix("%")) if len(words) > 1 else None
            hours.append(read_time(" ".join(words[:-1])))
        except (NotATime, NotANumber):
            level = None
        if level is None:
            typed.errors[name] = (
                f"“{piece.strip()[:40]}” is not a time and a percentage, such as 08:00 0."
            )
            return None
        levels.append(level)
    try:
        return Day(hours=tuple(hours), levels=tuple(levels))
    except DayRefused as refused:
        at = "" if refused.point is None else f"Point {refused.point + 1}: "
        typed.errors[name] = f"{at}{refused}"
        return None
