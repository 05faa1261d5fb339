"""What the club's page shows."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from server.db.club_figures import ClubFigures, Standing
from server.dose.groups import BY_KEY
from server.dose.unchanged import in_words
from server.drawing.gauge import Gauge, gauge
from server.drawing.line_chart import Dot, LineChart, Series, line_chart
from server.drawing.marks import Verdict
from server.models import Member
from server.web import filters

SCALE = (20.0, 800.0)


@dataclass(frozen=True, kw_only=True)
class StandingLine:
    """One animal under light that has stood."""

    group: str
    animal: str
    tank_id: int
    tank: str
    ppfd: str
    wants: str
    gauge: Gauge
    words: str
    held: str


@dataclass(frozen=True, kw_only=True)
class ClubView:
    answer: str
    figures: tuple[tuple[str, str], ...]
    meter: LineChart
    meter_narrow: LineChart
    meter_rows: tuple[tuple[str, str], ...]
    standing: tuple[StandingLine, ...]


_WORDS: dict[Verdict, str] = {
    "below": "too dim",
    "within": "in range",
    "above": "too bright",
    "unknown": "not known",
}


def club_page(
    who: Member, found: ClubFigures, ppfd: Mapping[int, float], *, today: date
) -> ClubView:
    return ClubView(
        answer=_answer(found),
        figures=(
            ("Tanks shown to the club", str(found.tanks)),
            ("of these measured", str(found.measured)),
            ("Measurement sessions", str(found.sessions)),
            ("Readings", f"{found.readings:,}".replace(",", "\u202f")),
        ),
        meter=_meter(found, 560.0),
        meter_narrow=_meter(found, 300.0),
        meter_rows=tuple((f"{month:%B %Y}", str(days)) for month, days in found.meter_days),
        standing=tuple(
            _line(one, ppfd[one.animal.id], today)
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


def _line(one: Standing, ppfd: float, today: date) -> StandingLine:
    animal = one.animal
    verdict = _verdict(ppfd, animal.low_ppfd, animal.high_ppfd)
    group = BY_KEY.get(animal.group)
    return StandingLine(
        group=group.name if group else animal.group,
        animal=animal.name,
        tank_id=one.tank.id,
        tank=one.tank.name,
        ppfd=filters.ppfd(ppfd),
        wants=f"{filters.ppfd(animal.low_ppfd)}–{filters.ppfd(animal.high_ppfd)}",
        gauge=gauge(
            value=ppfd if ppfd > 0 else None,
            wanted=(max(animal.low_ppfd, SCALE[0]), max(animal.high_ppfd, SCALE[0] + 1)),
            verdict=verdict,
            scale_range=SCALE,
        ),
        words=_WORDS[verdict],
        held=in_words((today - max(one.setup.since, animal.placed_on)).days),
    )


def _verdict(ppfd: float, low: float, high: float) -> Verdict:
    if ppfd <= 0:
        return "unknown"
    if ppfd < low:
        return "below"
    return "above" if ppfd > high else "within"
