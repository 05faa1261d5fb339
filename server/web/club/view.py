"""What the club's page shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from server.account import sentences
from server.account.account import AnimalLight, Glance
from server.db.club_figures import ClubFigures, Standing
from server.dose.groups import BY_KEY
from server.dose.unchanged import in_words
from server.drawing.gauge import Gauge, gauge
from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.web import filters
from server.web.animal_marks import MARKS

SCALE = (20.0, 800.0)


@dataclass(frozen=True, kw_only=True)
class StandingLine:
    """One animal under light that has stood."""

    group: str
    standing: Standing
    light: AnimalLight
    gauge: Gauge
    basis: str
    held: str


@dataclass(frozen=True, kw_only=True)
class ClubView:
    answer: str
    found: ClubFigures
    meter: LineChart
    meter_narrow: LineChart
    standing: tuple[StandingLine, ...]


def club_page(found: ClubFigures, known: Mapping[int, Glance], *, today: date) -> ClubView:
    """known: the accounts of all tanks listed, by their number."""
    return ClubView(
        answer=_answer(found),
        found=found,
        meter=_meter(found, 560.0),
        meter_narrow=_meter(found, 300.0),
        standing=tuple(
            _line(one, known[one.tank.id], today)
            for standing in found.standing.values()
            for one in standing
        ),
    )


def _answer(found: ClubFigures) -> str:
    if not found.tanks:
        return "No tank is shown to the club yet"
    return (
        f"The club knows {filters.count(found.tanks, 'tank')}, "
        f"{found.measured} of them measured, from {filters.count(found.readings, 'reading')}."
    )


def _meter(found: ClubFigures, width: float) -> LineChart:
    days = [count for _, count in found.meter_days]
    every = 1 if width > 400 else 3
    return line_chart(
        width=width,
        height=180.0,
        title="Days the meters were lent, month by month",
        description=f"Over twelve months {sum(days)} days, at most {max(days)} in a month.",
        x_name="",
        y_name="days lent",
        series=[Series(x=range(len(days)), y=days, shaded=True)],
        x_range=(-0.3, len(days) - 0.7),
        y_range=(0.0, max(31.0, float(max(days)))),
        x_places=tuple(
            (float(k), f"{month:%b}")
            for k, (month, _) in enumerate(found.meter_days)
            if k % every == 0
        ),
        dots=[Dot(x=k, y=count) for k, count in enumerate(days)],
    )


def _line(one: Standing, known: Glance, today: date) -> StandingLine:
    animal = one.animal
    light = next(found for found in known.animals if found.key == animal.id)
    since = known.light_since or one.setup.since
    group = BY_KEY.get(animal.group)
    return StandingLine(
        group=group.name if group else animal.group,
        standing=one,
        light=light,
        gauge=_gauge(light),
        basis=sentences.basis_words(known.basis),
        held=in_words((today - max(since, animal.placed_on)).days),
    )


def _gauge(light: AnimalLight) -> Gauge:
    return gauge(
        value=light.ppfd or None,
        wanted=(max(light.low_wanted, SCALE[0]), max(light.high_wanted, SCALE[0] + 1)),
        verdict=MARKS[light.verdict],
        scale_range=SCALE,
    )
