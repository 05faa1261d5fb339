"""POST /api/measured-map: readings against the plan, as JSON."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated, Literal, Protocol

import numpy as np
from fastapi import APIRouter
from pydantic import (
    Field,
    SerializerFunctionWrapHandler,
    ValidationInfo,
    field_validator,
    model_serializer,
)

from server.optics.rocks import inside
from server.optics.tank import Tank
from server.surveys import explanation, misfit, next_reading, verdict
from server.surveys.effort import work
from server.surveys.estimate import Fit, MeasuredMap, estimate
from server.surveys.findings import Finding, findings
from server.surveys.plan import Animal, Plan, Reading, lamps_from, points_of
from server.surveys.priors import MOST_FACTOR_DOUBT, Meters
from server.surveys.verdict import Judged, Verdict
from server.web.problem import RESPONSES, Refusal
from server.web.scene_json import Emitters, Number, Strict, TankAsked, WaterAsked

router = APIRouter(tags=["calculators"])

MOST_READINGS = 1000
MOST_PLACES = 5000
MOST_PPFD = 100_000.0
MOST_ANIMALS = 60
MOST_NAME = 200
MOST_WORK = 200_000_000
"""Pairs of lamp piece and place, counted once per mirrored tank: a few seconds of one core."""

_Distance = Annotated[Number, Field(ge=0, le=2000)]


class PlaceAsked(Strict):
    """A place in the water."""

    x_cm: _Distance
    y_cm: _Distance
    depth_cm: _Distance


class ReadingAsked(PlaceAsked):
    """A reading, its sensor's factors already applied."""

    ppfd: Annotated[Number, Field(ge=0, le=MOST_PPFD)]


class MeterAsked(Strict):
    """The meter: relative standard uncertainty of all that scales its readings alike."""

    factor_uncertainty: Annotated[Number, Field(ge=0, le=MOST_FACTOR_DOUBT)] = 0.0


class AnimalAsked(PlaceAsked):
    """Where an animal lives and the light it should get."""

    name: Annotated[str, Field(min_length=1, max_length=MOST_NAME)]
    low_ppfd: Annotated[Number, Field(ge=0, le=MOST_PPFD)]
    high_ppfd: Annotated[Number, Field(ge=0, le=MOST_PPFD)]

    @field_validator("high_ppfd")
    @classmethod
    def _rises(cls, high_ppfd: float, told: ValidationInfo) -> float:
        if high_ppfd < told.data.get("low_ppfd", 0.0):
            raise ValueError("must not be below low_ppfd")
        return high_ppfd


class MeasuredMapAsked(Strict):
    """A plan, what was measured, and where the light is wanted."""

    tank: TankAsked
    water: WaterAsked
    emitters: Emitters
    readings: Annotated[list[ReadingAsked], Field(max_length=MOST_READINGS)]
    at: Annotated[list[PlaceAsked], Field(max_length=MOST_PLACES)]
    meter: MeterAsked = MeterAsked()
    animals: Annotated[list[AnimalAsked], Field(max_length=MOST_ANIMALS, default_factory=list)]


class LightThere(Strict):
    """PPFD at one place with its 80 % interval."""

    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float
    low: float
    high: float


class FitAnswer(Strict):
    """The plan's numbers as the readings make them, each with its 80 % interval."""

    output_factor: float
    output_factor_interval: tuple[float, float]
    beam_deg: float | None
    beam_deg_interval: tuple[float, float] | None
    absorption_per_m: float
    absorption_per_m_interval: tuple[float, float]
    typical_error_percent: float | None = Field(
        description="Median distance of a reading from what all the others foretell"
    )
    explanation: list[str]


class NextReadingAnswer(Strict):
    """The place to measure next and why; `worth_it` is false when it no longer pays."""

    x_cm: float
    y_cm: float
    depth_cm: float
    why: str
    worth_it: bool
    narrows_percent: float


class MisfitAnswer(Strict):
    """A reading that does not fit; `reading` counts from 0."""

    reading: int
    expected_ppfd: float
    words: str


class Chances(Strict):
    """Of the three that an animal's light can be; they sum to 1."""

    too_dim: float
    in_range: float
    too_bright: float


class AnimalAnswer(Strict):
    """An animal's light with its 80 % interval, and what follows at four chances in five."""

    name: str
    ppfd: float
    low: float
    high: float
    verdict: Literal["too_dim", "in_range", "too_bright", "not_known"]
    chances: Chances


class FindingAnswer(Strict):
    """One thing that is likely not as planned, and how to look; `reading` counts from 0."""

    kind: Literal["lamp", "lens", "place", "lean", "wall", "shade", "sensor", "reading"]
    chance: float
    words: str
    lamp: str | None = None
    wall: str | None = None
    reading: int | None = None

    @model_serializer(mode="wrap")
    def _what_it_names(self, told: SerializerFunctionWrapHandler) -> dict[str, object]:
        """Without the names that do not belong to its kind."""
        return {name: value for name, value in told(self).items() if value is not None}


class MeasuredMapAnswer(Strict):
    """The measured map."""

    at: list[LightThere]
    fit: FitAnswer
    next_reading: NextReadingAnswer
    misfits: list[MisfitAnswer]
    animals: list[AnimalAnswer]
    findings: list[FindingAnswer]


@router.post(
    "/api/measured-map",
    responses=RESPONSES,
    summary="Readings against the plan",
)
def measured_map(asked: MeasuredMapAsked) -> MeasuredMapAnswer:
    """The plan's output, beam and water corrected by the readings, with honest intervals."""
    tank = asked.tank.tank()
    _inside(tank, "readings", asked.readings)
    _inside(tank, "at", asked.at)
    _inside(tank, "animals", asked.animals)
    emitters = [one.emitter() for one in asked.emitters]
    if not any(one.ppf_umol_s > 0 for one in emitters):
        words = "at least one emitter must give light: ppf_umol_s above 0"
        raise Refusal(422, "Some fields could not be taken.", errors=[("emitters", words)])
    labels = [one.lamp for one in asked.emitters]
    plan = Plan(tank=tank, water=asked.water.water(), lamps=lamps_from(emitters, labels))
    places = len(asked.at) + len(asked.animals)
    if work(plan, readings=len(asked.readings), places=places) > MOST_WORK:
        words = "this would take too long: ask for fewer emitters or places, or a less narrow tank"
        raise Refusal(422, "This is too much for one request.", errors=[("emitters", words)])
    readings = [Reading(**one.model_dump()) for one in asked.readings]
    meters = Meters(unnamed=asked.meter.factor_uncertainty)
    animals = [Animal(**one.model_dump()) for one in asked.animals]
    return _answer(estimate(plan, readings, meters=meters), asked.at, animals)


def _answer(
    found: MeasuredMap, at: Sequence[PlaceAsked], animals: Sequence[Animal]
) -> MeasuredMapAnswer:
    answers = found.answers(points_of(at))
    light = found.read(answers)
    judged = verdict.verdicts(found, animals)
    following = next_reading.next_reading(found, animals=animals, asked=answers, judged=judged)
    return MeasuredMapAnswer(
        at=[
            LightThere(
                **place.model_dump(),
                ppfd=float(light.ppfd[i]),
                low=float(light.low[i]),
                high=float(light.high[i]),
            )
            for i, place in enumerate(at)
        ],
        fit=_fit(found.fit, [told.words for told in explanation.explained(found)]),
        next_reading=NextReadingAnswer(
            x_cm=following.x_cm,
            y_cm=following.y_cm,
            depth_cm=following.depth_cm,
            why=following.why,
            worth_it=following.worth_it,
            narrows_percent=100 * following.narrows,
        ),
        misfits=[
            MisfitAnswer(reading=one.number - 1, expected_ppfd=one.expected_ppfd, words=one.words)
            for one in misfit.misfits(found)
        ],
        animals=[_animal(one) for one in judged],
        findings=[_finding(one) for one in findings(found)],
    )


def _animal(judged: Judged) -> AnimalAnswer:
    return AnimalAnswer(
        name=judged.animal.name,
        ppfd=judged.ppfd,
        low=judged.low,
        high=judged.high,
        verdict=_VERDICTS[judged.verdict],
        chances=Chances(
            too_dim=judged.chance_dim,
            in_range=judged.chance_in_range,
            too_bright=judged.chance_bright,
        ),
    )


_VERDICTS: dict[Verdict, Literal["too_dim", "in_range", "too_bright", "not_known"]] = {
    Verdict.TOO_DIM: "too_dim",
    Verdict.IN_RANGE: "in_range",
    Verdict.TOO_BRIGHT: "too_bright",
    Verdict.NOT_KNOWN: "not_known",
}


def _finding(one: Finding) -> FindingAnswer:
    return FindingAnswer.model_validate(asdict(one))


def _fit(fit: Fit, words: list[str]) -> FitAnswer:
    output, beam, water = fit.output_factor, fit.beam_deg, fit.absorption_per_m
    return FitAnswer(
        output_factor=output.value,
        output_factor_interval=(output.low, output.high),
        beam_deg=beam.value if beam else None,
        beam_deg_interval=(beam.low, beam.high) if beam else None,
        absorption_per_m=water.value,
        absorption_per_m_interval=(water.low, water.high),
        typical_error_percent=fit.typical_error_percent,
        explanation=words,
    )


class _Placed(Protocol):
    x_cm: float
    y_cm: float
    depth_cm: float


def _inside(tank: Tank, field: str, places: Sequence[_Placed]) -> None:
    """Refuses places outside the water or inside a rock, each by its name."""
    sides = {"x_cm": tank.length_cm, "y_cm": tank.width_cm, "depth_cm": tank.depth_cm}
    wrong = [
        (f"{field}.{number}.{name}", f"must lie within the tank, 0 to {side:g} cm")
        for number, place in enumerate(places)
        for name, side in sides.items()
        if getattr(place, name) > side
    ]
    if not wrong and tank.rocks and places:
        rock = inside(tank, *np.array([(p.x_cm, p.y_cm, p.depth_cm) for p in places]).T)
        wrong = [
            (f"{field}.{number}.depth_cm", f"lies inside tank.rocks.{rock[number]}")
            for number in np.flatnonzero(rock >= 0)
        ]
    if wrong:
        raise Refusal(422, "Some fields could not be taken.", errors=wrong[:100])
