"""POST /api/spread and POST /api/mounting-height."""

from collections.abc import Sequence
from typing import Annotated

from pydantic import Field, model_validator

from server.optics import field, mounting
from server.optics.emitters import LIMITS as LIGHT_LIMITS
from server.optics.emitters import Emitter
from server.optics.remedies import remedies
from server.optics.sources import lowest_edge_cm
from server.optics.spread_measures import footprint
from server.optics.tank import Tank, Water
from server.web.calculators.light_asked import NOT_TAKEN
from server.web.problem import Refusal
from server.web.scene_json import (
    Emitters,
    Number,
    Share,
    Strict,
    TankAsked,
    UnhungEmitters,
    WaterAsked,
)

MOST_CELLS = 250_000
"""Cells of all depths together that one request may ask for."""

MOST_WORK = 60_000_000
"""Pairs of lamp piece and cell: a few seconds of one core."""

MOST_DEPTHS = 60
MOUNTING_CELL_CM = 2.0

Depths = Annotated[
    list[Annotated[Number, Field(ge=0, le=1000)]], Field(min_length=1, max_length=MOST_DEPTHS)
]
Cell = Annotated[Number, Field(ge=0.2, le=200)]
Ppfd = Annotated[Number, Field(ge=0, le=100_000)]
HangHeight = Annotated[
    Number, Field(ge=LIGHT_LIMITS["height_cm"][0], le=LIGHT_LIMITS["height_cm"][1])
]
Refused = list[tuple[str, str]]


class SpreadAsked(Strict):
    """A lit tank, and the depths at which its light is wanted."""

    tank: TankAsked
    water: WaterAsked
    emitters: Emitters
    depths_cm: Depths
    cell_cm: Cell


class FootprintAnswer(Strict):
    """Where the light is at least half its greatest value; a width may end at a wall."""

    peak_x_cm: float
    peak_y_cm: float
    width_x_cm: float
    width_y_cm: float
    to_wall_x: bool
    to_wall_y: bool
    area_share: float


class PlaneAnswer(Strict):
    """PPFD over one depth, one row per y; uniformity is min / mean.

    A cell whose middle lies in a rock is null, and left out of mean, min and max.
    """

    depth_cm: float
    x_cm: list[float]
    y_cm: list[float]
    ppfd: list[list[float | None]]
    mean: float
    min: float
    max: float
    uniformity: float
    half_value_footprint: FootprintAnswer | None


class SpreadAnswer(Strict):
    """The light on each depth, and the part of all photons that crosses into the water."""

    planes: list[PlaneAnswer]
    share_into_water: float


class TargetAsked(Strict):
    """The PPFD wanted, on which depths."""

    low_ppfd: Ppfd
    high_ppfd: Ppfd
    depths_cm: Depths

    @model_validator(mode="after")
    def _rises(self) -> "TargetAsked":
        if self.high_ppfd <= self.low_ppfd:
            raise ValueError("high_ppfd must lie above low_ppfd")
        return self


class MountingAsked(Strict):
    """A tank and lights without a height; `depths_cm` here is not looked at, the target's are."""

    tank: TankAsked
    water: WaterAsked
    emitters: UnhungEmitters
    target: TargetAsked
    height_range_cm: tuple[HangHeight, HangHeight]
    power_range: tuple[Share, Share]
    depths_cm: Depths | None = None
    cell_cm: Cell = MOUNTING_CELL_CM

    @model_validator(mode="after")
    def _ranges_rise(self) -> "MountingAsked":
        if self.height_range_cm[1] < self.height_range_cm[0]:
            raise ValueError("height_range_cm must be [lowest, highest]")
        if self.power_range[1] < self.power_range[0]:
            raise ValueError("power_range must be [least, most]")
        return self


class HeightAnswer(Strict):
    """The best power at one height."""

    height_cm: float
    power: float
    share_in_range: float


class RemedyAnswer(Strict):
    """A change that was tried: what, and the best share of cells in range it would give."""

    change: str
    words: str
    share_in_range: float


class MountingAnswer(Strict):
    """The best height and power, all heights tried, and what would help where the target fails."""

    height_cm: float
    power: float
    share_in_range: float
    min_ppfd: float
    max_ppfd: float
    mean_ppfd: float
    uniformity: float
    share_too_dim: float
    share_too_bright: float
    share_into_water: float
    curve: list[HeightAnswer]
    not_met: str = Field(description="Which part of the target cannot be met; empty where all is")
    would_help: list[RemedyAnswer]


def spread(asked: SpreadAsked) -> SpreadAnswer:
    """PPFD on each depth: direct light, what walls return, and what floor and surface return."""
    tank, water = asked.tank.tank(), asked.water.water()
    emitters = [one.emitter() for one in asked.emitters]
    refuse(
        hung_in_water(emitters)
        or depths_refused(tank, "depths_cm", asked.depths_cm)
        or work_refused(tank, water, emitters, depths_cm=asked.depths_cm, cell_cm=asked.cell_cm)
    )
    found = field.planes(tank, water, emitters, depths_cm=asked.depths_cm, cell_cm=asked.cell_cm)
    return SpreadAnswer(
        planes=[_plane(plane) for plane in found],
        share_into_water=field.share_into_water(tank, water, emitters),
    )


def mounting_height(asked: MountingAsked) -> MountingAnswer:
    """The height and power that put most cells of the target's depths in range."""
    tank, water = asked.tank.tank(), asked.water.water()
    target = mounting.Target(
        low_ppfd=asked.target.low_ppfd,
        high_ppfd=asked.target.high_ppfd,
        depths_cm=tuple(asked.target.depths_cm),
    )
    lowest = [one.emitter(asked.height_range_cm[0]) for one in asked.emitters]
    refuse(
        hung_in_water(lowest)
        or depths_refused(tank, "target.depths_cm", asked.target.depths_cm)
        or work_refused(
            tank, water, lowest, depths_cm=target.depths_cm, cell_cm=asked.cell_cm, times=30
        )
    )
    advice = mounting.mounting_height(
        tank, water, lowest, target=target, height_range_cm=asked.height_range_cm,
        power_range=asked.power_range, cell_cm=asked.cell_cm,
    )  # fmt: skip
    found = remedies(
        tank, water, lowest, advice, target=target, height_range_cm=asked.height_range_cm,
        power_range=asked.power_range, cell_cm=asked.cell_cm,
    )  # fmt: skip
    best = advice.best
    hung = [one.emitter(best.height_cm) for one in asked.emitters]
    return MountingAnswer(
        height_cm=best.height_cm,
        power=best.power,
        share_in_range=best.share_in_range,
        min_ppfd=best.min_ppfd,
        max_ppfd=best.max_ppfd,
        mean_ppfd=best.mean_ppfd,
        uniformity=best.uniformity,
        share_too_dim=best.share_below,
        share_too_bright=best.share_above,
        share_into_water=field.share_into_water(tank, water, hung),
        curve=[
            HeightAnswer(
                height_cm=one.height_cm, power=one.power, share_in_range=one.share_in_range
            )
            for one in advice.curve
        ],
        not_met=found.not_met,
        would_help=[
            RemedyAnswer(change=one.change, words=one.words, share_in_range=one.share_in_range)
            for one in found.tried
        ],
    )


def hung_in_water(emitters: Sequence[Emitter]) -> Refused:
    """Leaning lamps of which a part would hang in the water, each by its name."""
    return [
        (
            f"emitters.{k}.tilt_deg",
            "at this height the lamp's lower edge would hang in the water",
        )
        for k, one in enumerate(emitters)
        if lowest_edge_cm(one) < 0.0
    ]


def depths_refused(tank: Tank, name: str, depths_cm: Sequence[float]) -> Refused:
    """Depths outside the water, each by its name."""
    return [
        (f"{name}.{k}", f"must lie within the water, 0 to {tank.depth_cm:g} cm")
        for k, depth in enumerate(depths_cm)
        if depth > tank.depth_cm
    ]


def work_refused(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    depths_cm: Sequence[float],
    cell_cm: float,
    times: int = 1,
) -> Refused:
    """Names cell_cm where the request would keep the machine busy for long."""
    cells = field.cell_count(tank.length_cm, cell_cm) * field.cell_count(tank.width_cm, cell_cm)
    if cells * len(depths_cm) > MOST_CELLS:
        most = f"{MOST_CELLS} cells over all depths"
        return [("cell_cm", f"this is more than {most}: ask for larger cells or fewer depths")]
    work = field.work(tank, water, emitters, depths_cm=depths_cm, cell_cm=cell_cm)
    if work * times > MOST_WORK * (5 if times > 1 else 1):
        return [("cell_cm", "this would take too long: larger cells, fewer depths or emitters")]
    return []


def refuse(errors: Refused) -> None:
    if errors:
        raise Refusal(422, NOT_TAKEN, errors=errors[:100])


def _plane(plane: field.Plane) -> PlaneAnswer:
    half = footprint(plane)
    return PlaneAnswer(
        depth_cm=plane.depth_cm,
        x_cm=plane.x_cm.tolist(),
        y_cm=plane.y_cm.tolist(),
        ppfd=[[value if value == value else None for value in row] for row in plane.ppfd.tolist()],
        mean=plane.mean,
        min=plane.min,
        max=plane.max,
        uniformity=plane.uniformity,
        half_value_footprint=None
        if half is None
        else FootprintAnswer(
            peak_x_cm=half.peak_x_cm,
            peak_y_cm=half.peak_y_cm,
            width_x_cm=half.width_x_cm,
            width_y_cm=half.width_y_cm,
            to_wall_x=half.to_wall_x,
            to_wall_y=half.to_wall_y,
            area_share=half.area_share,
        ),
    )
