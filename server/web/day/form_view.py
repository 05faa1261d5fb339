"""What the form of a tank's day shows: what was typed, and the day drawn from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.account.typed_words import typed_percent
from server.db.daylight import dims, lamp_days
from server.db.days import GroupDay
from server.db.moments import Moment
from server.db.typed_now import on_the_wall
from server.dose.control import KIND_NAMES
from server.models import Tank
from server.web.day.lamp_form import LampFields, used
from server.web.day_chart import DayCharts
from server.web.lamp_lines import percent_charts
from server.web.staying import StayView, stay_view

CONTROL_OPTIONS = (("", "As the lamps' own pages say"), *KIND_NAMES.items())
OWN_CONTROL_OPTIONS = (("", "As said for all lamps"), *KIND_NAMES.items())


@dataclass(frozen=True, kw_only=True)
class DayFormView:
    """The form of a tank's day."""

    id: int
    name: str
    values: dict[str, str]
    errors: dict[str, str]
    lamps: tuple[tuple[LampFields, bool], ...]
    power: str
    controls: tuple[tuple[str, str], ...]
    own_controls: tuple[tuple[str, str], ...]
    control_told: str
    first: bool
    early: StayView | None
    charts: DayCharts | None
    lost: tuple[str, ...]
    able: str
    more: bool
    lamps_open: bool


def day_form(
    tank: Tank,
    now: Moment,
    *,
    lamps: tuple[LampFields, ...],
    values: dict[str, str],
    errors: dict[str, str],
    today: date,
    preview: Sequence[GroupDay] = (),
    clock: str,
) -> DayFormView:
    """The form, with the day drawn as far as it can be read."""
    shown = preview or (on_the_wall(now.schedule, now.days, today) if now.schedule else ())
    # A control that was refused is shown as typed, but nothing can be drawn for it.
    control = "" if "control" in errors else values["control"]
    drawn = lamp_days(now.hung, shown, control=control) if shown and now.hung else ()
    changed = now.changed_on if now.schedule is not None else None
    early = stay_view(changed, today)
    told = {KIND_NAMES[lamp.control] for lamp in lamp_days(now.hung, (), control="")}
    return DayFormView(
        id=tank.id,
        name=tank.name,
        values=values,
        errors=errors,
        lamps=tuple((lamp, used(values, errors, lamp)) for lamp in lamps),
        power=_power_words(now),
        controls=CONTROL_OPTIONS,
        own_controls=OWN_CONTROL_OPTIONS,
        control_told=", ".join(sorted(told)),
        first=now.schedule is None,
        early=early if early and early.not_shown else None,
        charts=percent_charts(now.hung, shown, control, clock) if drawn else None,
        lost=tuple(dict.fromkeys(said for lamp in drawn for said in lamp.fit.lost)),
        able=", ".join(dict.fromkeys(KIND_NAMES[lamp.control] for lamp in drawn)),
        more=any(values[name] for name in ("moon", "control", "view_from", "follows"))
        or any(name in errors for name in ("moon", "moon_until", "view_from", "view_to")),
        lamps_open=any(used(values, errors, lamp) for lamp in lamps),
    )


def _power_words(now: Moment) -> str:
    """What 100 % of the day is on the lamps' controls."""
    powers = [100 * one.row.power for one in now.hung if dims(one)]
    if not powers:
        return ""
    least, most = typed_percent(min(powers)), typed_percent(max(powers))
    span = most if least == most else f"{least} to {most}, lamp by lamp"
    return f"100 % is all the lamps are to give: {span} on their controls, as they hang now."
