"""A lit tank as the JSON addresses take it: tank, water and emitters, checked field by field."""

from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from server.optics import emitters as lights
from server.optics import tank as glass
from server.optics.emitters import Emitter
from server.optics.photometry import table_of
from server.optics.tank import Brace, Film, Rock, Tank, Walls, Water, box_faults
from server.web.problem import Refusal

MOST_EMITTERS = 400
MOST_BANDS = 20
MOST_ANGLES = 91
MOST_LABEL = 80

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Share = Annotated[Number, Field(ge=0, le=1)]


def _within(limits: tuple[float, float]) -> object:
    return Field(ge=limits[0], le=limits[1])


Length = Annotated[Number, _within(glass.LIMITS["length_cm"])]
Depth = Annotated[Number, _within(glass.LIMITS["depth_cm"])]
PerM = Annotated[Number, _within(glass.LIMITS["absorption_per_m"])]
Along = Annotated[Number, _within(lights.LIMITS["x_cm"])]
Across = Annotated[Number, _within(lights.LIMITS["y_cm"])]
Height = Annotated[Number, _within(lights.LIMITS["height_cm"])]
Flux = Annotated[Number, _within(lights.LIMITS["ppf_umol_s"])]
Beam = Annotated[Number, _within(lights.LIMITS["beam_deg"])]
TubeLength = Annotated[Number, _within(lights.LIMITS["length_cm"])]
Side = Annotated[Number, _within(lights.LIMITS["side_cm"])]
Tilt = Annotated[Number, _within(lights.LIMITS["tilt_deg"])]
Toward = Annotated[Number, _within(lights.LIMITS["toward_deg"])]
Wall = Literal["clear", "black"] | Share


def _a_table(pairs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Refuses what no lens can be: angles that do not rise, or a table without light."""
    table_of(pairs)
    return pairs


Intensity = Annotated[
    list[tuple[Annotated[Number, Field(ge=0, le=90)], Annotated[Number, Field(ge=0, le=1e9)]]],
    Field(min_length=2, max_length=MOST_ANGLES),
    AfterValidator(_a_table),
]
"""Relative intensity against the angle from the lamp's axis, as [degrees, intensity] pairs."""


class Strict(BaseModel):
    """No field that is not known, none left out."""

    model_config = ConfigDict(extra="forbid")


class WallsAsked(Strict):
    """Each wall clear glass, black, or a diffuse albedo 0–1."""

    left: Wall
    right: Wall
    front: Wall
    back: Wall


class BoxAsked(Strict):
    """Edges along the tank; where they must lie depends on the tank, which looks at them."""

    left_cm: Number
    right_cm: Number
    front_cm: Number
    back_cm: Number


class RockAsked(BoxAsked):
    """A box from `top_cm` down to `bottom_cm` below the surface, or to the floor."""

    top_cm: Number
    bottom_cm: Number | None = None
    albedo: Share = glass.ROCK_ALBEDO


class BraceAsked(BoxAsked):
    """An opaque strip on the water."""


class FilmAsked(Strict):
    """Share of light that growth on each clear wall lets by."""

    left: Share = 1.0
    right: Share = 1.0
    front: Share = 1.0
    back: Share = 1.0


class TankAsked(Strict):
    """Inside measures; `depth_cm` is the water's. What stands in and on it may be left out."""

    length_cm: Length
    width_cm: Length
    depth_cm: Depth
    walls: WallsAsked
    floor_albedo: Share
    cover: Annotated[bool, Field(strict=True)]
    rocks: Annotated[list[RockAsked], Field(max_length=glass.MAX_ROCKS)] = []
    braces: Annotated[list[BraceAsked], Field(max_length=glass.MAX_BRACES)] = []
    film: FilmAsked = FilmAsked()
    lid: Share = 1.0

    def tank(self) -> Tank:
        """The engine's tank. Raises Refusal that names edges of rocks and braces not inside it."""
        faults = [
            (f"tank.{name}.{k}.{edge}", words)
            for name, things in (("rocks", self.rocks), ("braces", self.braces))
            for k, thing in enumerate(things)
            for edge, words in box_faults(
                thing.model_dump(), self.length_cm, self.width_cm, self.depth_cm
            )
        ]
        if faults:
            raise Refusal(422, "Some fields could not be taken.", errors=faults[:100])
        return Tank(
            length_cm=self.length_cm,
            width_cm=self.width_cm,
            depth_cm=self.depth_cm,
            walls=Walls(**self.walls.model_dump()),
            floor_albedo=self.floor_albedo,
            cover=self.cover,
            rocks=tuple(Rock(**one.model_dump()) for one in self.rocks),
            braces=tuple(Brace(**one.model_dump()) for one in self.braces),
            film=Film(**self.film.model_dump()),
            lid=self.lid,
        )


class WaterAsked(Strict):
    """Absorption as one number, or as [share, per metre] pairs whose shares sum to 1."""

    refractive_index: Annotated[Number, _within(glass.LIMITS["refractive_index"])]
    absorption_per_m: PerM | Annotated[list[tuple[Share, PerM]], Field(max_length=MOST_BANDS)]

    @model_validator(mode="after")
    def _shares_sum_to_one(self) -> "WaterAsked":
        if isinstance(self.absorption_per_m, list):
            glass.check_absorption(tuple(self.absorption_per_m))
        return self

    def water(self) -> Water:
        told = self.absorption_per_m
        bands = tuple(told) if isinstance(told, list) else ((1.0, told),)
        return Water(refractive_index=self.refractive_index, absorption=bands)


class Unhung(Strict):
    """A light without its height: where it is, its photon flux, its beam or its table, its lean."""

    x_cm: Along
    y_cm: Across
    ppf_umol_s: Flux
    intensity: Intensity | None = None
    beam_deg: Annotated[Beam | None, Field(validate_default=True)] = None
    tilt_deg: Tilt = 0.0
    toward_deg: Toward = 0.0
    lamp: Annotated[str, Field(min_length=1, max_length=MOST_LABEL)] | None = None
    """Which lamp it belongs to; only the measured map makes use of it."""

    @field_validator("beam_deg", mode="after")
    @classmethod
    def _shines_somehow(cls, beam_deg: float | None, told: ValidationInfo) -> float | None:
        if beam_deg is None and told.data.get("intensity", ()) is None:
            raise ValueError("is needed, or an intensity table in its place")
        return beam_deg

    def emitter(self, height_cm: float | None = None) -> Emitter:
        """The engine's emitter; `height_cm` where the request itself carries none."""
        told = self.model_dump(exclude={"lamp"})
        told.setdefault("height_cm", height_cm)
        told["intensity"] = None if self.intensity is None else table_of(self.intensity)
        return Emitter(**told)


class UnhungPoint(Unhung):
    shape: Literal["point"]


class UnhungTube(Unhung):
    shape: Literal["tube"]
    length_cm: TubeLength


class UnhungSquare(Unhung):
    shape: Literal["square"]
    side_cm: Side


class Point(UnhungPoint):
    height_cm: Height


class Tube(UnhungTube):
    height_cm: Height


class Square(UnhungSquare):
    height_cm: Height


UnhungEmitters = Annotated[
    list[Annotated[UnhungPoint | UnhungTube | UnhungSquare, Field(discriminator="shape")]],
    Field(min_length=1, max_length=MOST_EMITTERS),
]
Emitters = Annotated[
    list[Annotated[Point | Tube | Square, Field(discriminator="shape")]],
    Field(min_length=1, max_length=MOST_EMITTERS),
]
