"""A lit tank as the JSON addresses take it: tank, water and emitters, checked field by field."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from server.optics import emitters as lights
from server.optics import tank as glass
from server.optics.emitters import Emitter
from server.optics.tank import Tank, Walls, Water

MOST_EMITTERS = 400
MOST_BANDS = 20

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
Wall = Literal["clear", "black"] | Share


class Strict(BaseModel):
    """No field that is not known, none left out."""

    model_config = ConfigDict(extra="forbid")


class WallsAsked(Strict):
    """Each wall clear glass, black, or a diffuse albedo 0–1."""

    left: Wall
    right: Wall
    front: Wall
    back: Wall


class TankAsked(Strict):
    """Inside measures; `depth_cm` is the water's."""

    length_cm: Length
    width_cm: Length
    depth_cm: Depth
    walls: WallsAsked
    floor_albedo: Share
    cover: Annotated[bool, Field(strict=True)]

    def tank(self) -> Tank:
        return Tank(
            length_cm=self.length_cm,
            width_cm=self.width_cm,
            depth_cm=self.depth_cm,
            walls=Walls(**self.walls.model_dump()),
            floor_albedo=self.floor_albedo,
            cover=self.cover,
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
    """A light without its height: where it is, its photon flux, its beam."""

    x_cm: Along
    y_cm: Across
    ppf_umol_s: Flux
    beam_deg: Beam

    def emitter(self, height_cm: float | None = None) -> Emitter:
        """The engine's emitter; `height_cm` where the request itself carries none."""
        told = self.model_dump()
        told.setdefault("height_cm", height_cm)
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
