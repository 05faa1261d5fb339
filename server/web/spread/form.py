"""What a visitor types into the two light calculators; the address carries it."""

from dataclasses import dataclass

from starlette.datastructures import QueryParams

from server.models import Member
from server.optics.mounting import Target
from server.web.filters import NotANumber, read_number
from server.web.spread.api import MOST_DEPTHS, work_refused
from server.web.spread.scene_form import (
    LAMP_DEFAULTS,
    MORE_DEFAULTS,
    TANK_DEFAULTS,
    Scene,
    read_scene,
    typed_in,
)
from server.web.tanks.typed import Refused, TypedIn

SPREAD_DEFAULTS = TANK_DEFAULTS | LAMP_DEFAULTS | MORE_DEFAULTS | {
    "height": "25", "look": "", "low": "", "high": "", "photons": "",
}  # fmt: skip
MOUNTING_DEFAULTS = TANK_DEFAULTS | LAMP_DEFAULTS | MORE_DEFAULTS | {
    "low": "150", "high": "300", "depths": "15; 30",
    "lowest": "10", "highest": "60", "headroom": "", "least_power": "10",
}  # fmt: skip
TOO_MUCH = "With cells this small the answer would take too long: ask for larger cells."


@dataclass(frozen=True, kw_only=True)
class SpreadTyped:
    """A lit tank, the depth to draw, and a range to compare with where one was typed."""

    scene: Scene
    look_cm: float
    wanted: tuple[float, float] | None
    account: bool
    values: dict[str, str]
    unit: str


@dataclass(frozen=True, kw_only=True)
class MountingTyped:
    """A tank and lamps to be hung, the light wanted, and what lamp and room allow."""

    scene: Scene
    target: Target
    height_range_cm: tuple[float, float]
    headroom_cm: float | None
    power_range: tuple[float, float]
    values: dict[str, str]
    unit: str


def read_spread(query: QueryParams, who: Member | None) -> SpreadTyped | Refused:
    """The spread calculator's address; an empty one shows the worked example."""
    typed = typed_in(query, who, SPREAD_DEFAULTS)
    height = typed.length("height", low_cm=0.5, high_cm=500, like_cm=25)
    scene = read_scene(typed, height_cm=height or 1.0)
    look = _look(typed, scene)
    wanted = _wanted(typed, needed=False)
    account = typed.yes("photons")
    if scene and work_refused(
        scene.tank, scene.water, scene.emitters, depths_cm=[0.0, look], cell_cm=scene.cell_cm
    ):
        typed.errors["cell"] = TOO_MUCH
    if typed.errors or scene is None:
        return typed.refused()
    return SpreadTyped(
        scene=scene,
        look_cm=look,
        wanted=wanted,
        account=account,
        values=typed.values,
        unit=typed.unit,
    )


def read_mounting(query: QueryParams, who: Member | None) -> MountingTyped | Refused:
    """The mounting-height calculator's address; an empty one shows the worked example."""
    typed = typed_in(query, who, MOUNTING_DEFAULTS)
    lowest = typed.length("lowest", low_cm=0.5, high_cm=500, like_cm=10)
    highest = typed.length("highest", low_cm=0.5, high_cm=500, like_cm=60)
    headroom = typed.length("headroom", low_cm=0.5, high_cm=500, like_cm=60, needed=False)
    power = typed.number("least_power", low=0, high=100, like="10", unit="%", needed=False)
    scene = read_scene(typed, height_cm=lowest or 1.0)
    wanted = _wanted(typed, needed=True)
    depths = _depths(typed, scene)
    if not typed.errors and lowest is not None and highest is not None:
        _heights(typed, lowest, highest, headroom)
    if (
        scene
        and depths
        and work_refused(
            scene.tank,
            scene.water,
            scene.emitters,
            depths_cm=depths,
            cell_cm=scene.cell_cm,
            times=30,
        )
    ):
        typed.errors["cell"] = TOO_MUCH
    if typed.errors or scene is None or wanted is None or lowest is None or highest is None:
        return typed.refused()
    return MountingTyped(
        scene=scene,
        target=Target(low_ppfd=wanted[0], high_ppfd=wanted[1], depths_cm=depths),
        height_range_cm=(lowest, highest),
        headroom_cm=headroom,
        power_range=((power or 0.0) / 100.0, 1.0),
        values=typed.values,
        unit=typed.unit,
    )


def _look(typed: TypedIn, scene: Scene | None) -> float:
    """The depth to draw: as typed, or half way down."""
    most = scene.tank.depth_cm if scene else 300.0
    look = typed.length("look", low_cm=0.0, high_cm=most, like_cm=most / 2, needed=False)
    return most / 2 if look is None else min(look, most)


def _wanted(typed: TypedIn, *, needed: bool) -> tuple[float, float] | None:
    unit = "µmol m⁻² s⁻¹"
    low = typed.number("low", low=0, high=3000, like="150", unit=unit, needed=needed)
    high = typed.number("high", low=1, high=5000, like="300", unit=unit, needed=needed)
    if low is None and high is None:
        return None
    low, high = low or 0.0, 5000.0 if high is None else high
    if high <= low and not {"low", "high"} & set(typed.errors):
        typed.errors["high"] = "The most must be more than the least."
    return low, high


def _depths(typed: TypedIn, scene: Scene | None) -> tuple[float, ...]:
    """Depths between semicolons or spaces, in the reader's unit."""
    words = typed.words("depths", most=200, missing="Type one depth or more, such as 15; 30.")
    found = []
    for piece in words.replace(";", " ").split():
        try:
            depth = read_number(piece) * (2.54 if typed.unit == "in" else 1.0)
        except NotANumber:
            typed.errors["depths"] = f"“{piece[:20]}” is not a depth; write them like 15; 30."
            return ()
        most = scene.tank.depth_cm if scene else 300.0
        if not 0.0 <= depth <= most:
            typed.errors["depths"] = f"“{piece[:20]}” is not within the water of this tank."
            return ()
        found.append(depth)
    if len(found) > min(12, MOST_DEPTHS):
        typed.errors["depths"] = "Keep this to twelve depths."
    return tuple(found)


def _heights(typed: TypedIn, lowest: float, highest: float, headroom: float | None) -> None:
    if highest < lowest:
        typed.errors["highest"] = "The highest place must not lie below the lowest."
    elif headroom is not None and headroom < lowest:
        typed.errors["headroom"] = "The room above the water ends below the lamp's lowest place."
