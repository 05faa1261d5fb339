"""What the form of a tank's day shows: what was typed, and the day drawn from it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.db.daylight import lamp_days
from server.db.days import GroupDay
from server.db.moments import Moment
from server.db.typed_now import on_the_wall
from server.dose.control import KIND_NAMES
from server.models import Tank
from server.web.day.form import ChannelField
from server.web.day.lamp_lines import percent_charts
from server.web.day.view import StayView, stay_view
from server.web.day_chart import DayCharts
from server.web.tanks.typed import Refused

CONTROL_OPTIONS = (("", "As the lamps' own pages say"), *KIND_NAMES.items())


@dataclass(frozen=True, kw_only=True)
class DayFormView:
    """The form of a tank's day."""

    id: int
    name: str
    values: dict[str, str]
    errors: dict[str, str]
    channels: tuple[ChannelField, ...]
    controls: tuple[tuple[str, str], ...]
    control_told: str
    first: bool
    early: StayView | None
    charts: DayCharts | None
    lost: tuple[str, ...]
    able: str
    more: bool
    channels_open: bool


def day_form(
    tank: Tank,
    now: Moment,
    *,
    channels: tuple[ChannelField, ...],
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
    lamps = lamp_days(now.hung, shown, control=control) if shown and now.hung else ()
    changed = now.changed_on if now.schedule is not None else None
    early = stay_view(changed, today)
    told = {KIND_NAMES[lamp.control] for lamp in lamp_days(now.hung, (), control="")}
    return DayFormView(
        id=tank.id,
        name=tank.name,
        values=values,
        errors=errors,
        channels=channels,
        controls=CONTROL_OPTIONS,
        control_told=", ".join(sorted(told)),
        first=now.schedule is None,
        early=early if early and early.not_shown else None,
        charts=percent_charts(now.hung, shown, control, clock) if lamps else None,
        lost=tuple(dict.fromkeys(said for lamp in lamps for said in lamp.fit.lost)),
        able=", ".join(dict.fromkeys(KIND_NAMES[lamp.control] for lamp in lamps)),
        more=any(values[name] for name in ("moon", "control", "view_from", "follows"))
        or any(name in errors for name in ("moon", "moon_until", "view_from", "view_to")),
        channels_open=any(values.get(one.name) or one.name in errors for one in channels),
    )


def refused_values(values: dict[str, str], refused: Refused) -> dict[str, str]:
    """What was typed, over what the form would have shown."""
    return {**values, **refused.values}
