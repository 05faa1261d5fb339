"""POST /api/dose: the light of a day, as JSON."""

import re
from typing import Annotated

from pydantic import ConfigDict, Field

from server.dose.day import MOST_POINTS, Day, DayRefused
from server.dose.dose import Dose, dose
from server.web.answers import Answer
from server.web.calculators.light_asked import NOT_TAKEN
from server.web.problem import Refusal
from server.web.scene_json import Number, Strict

MOST_PPFD = 10_000.0
_HH_MM = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_Ppfd = Annotated[Number, Field(ge=0, le=MOST_PPFD)]


class DoseRequest(Strict):
    """A day's light: levels in percent of the peak, straight lines between the points."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "peak_ppfd": 200,
                    "day": [["08:00", 0], ["11:30", 100], ["16:30", 100], ["20:00", 0]],
                    "compensation_ppfd": 60,
                    "saturation_ppfd": 250,
                }
            ]
        },
    )

    peak_ppfd: _Ppfd = Field(description="PPFD at 100 percent, µmol m⁻² s⁻¹")
    day: list[tuple[Annotated[str, Field(strict=True)], Number]] = Field(
        description=(
            "Points [local time HH:MM, percent of peak], in the order of the day; the line from "
            "the last point runs through midnight to the first. Two points at one time are a step."
        ),
        min_length=1,
        max_length=MOST_POINTS,
    )
    compensation_ppfd: _Ppfd
    saturation_ppfd: Annotated[Number, Field(ge=1e-3, le=MOST_PPFD)]


class DoseAnswer(Answer):
    """The day's dose and the hours that feed."""

    dli_mol_m2_d: float
    lit_hours: float
    full_hours: float
    feeding_hours: float
    saturated_hours: float
    saturation_share: float


def dose_of_a_day(asked: DoseRequest) -> Dose:
    """DLI, hours of light, and tanh photosynthesis of a day against lit hours all saturated."""
    return dose(
        _day(asked.day),
        peak_ppfd=asked.peak_ppfd,
        compensation_ppfd=asked.compensation_ppfd,
        saturation_ppfd=asked.saturation_ppfd,
    )


def _day(points: list[tuple[str, float]]) -> Day:
    wrong = [
        (f"day.{number}.0", "must be a local time as HH:MM, from 00:00 to 23:59")
        for number, (time, _) in enumerate(points)
        if not _HH_MM.fullmatch(time)
    ]
    if wrong:
        raise Refusal(422, NOT_TAKEN, errors=wrong)
    hours = tuple(int(time[:2]) + int(time[3:]) / 60 for time, _ in points)
    try:
        return Day(hours=hours, levels=tuple(level for _, level in points))
    except DayRefused as refused:
        field = "day" if refused.point is None else f"day.{refused.point}"
        raise Refusal(422, NOT_TAKEN, errors=[(field, str(refused))]) from refused
