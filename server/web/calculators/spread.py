"""The light in a tank: how much reaches each place under these lamps."""

from dataclasses import dataclass

import numpy as np

from server.drawing import axes, tank_view
from server.drawing.overheads import Overhead
from server.drawing.tank_view import Levels, TankView
from server.optics.balance import balance
from server.optics.emitters import Emitter
from server.optics.field import Plane, planes, share_into_water
from server.optics.spread_measures import footprint, share_within
from server.web import chart_levels
from server.web.ask import Asked
from server.web.calculators.registry import Calculator, Json
from server.web.calculators.scene import MORE_ABOUT_THEM, TANK_AND_LAMPS, Scene, read_scene
from server.web.calculators.spread_json import SpreadAnswer, work_refused
from server.web.calculators.spread_json import spread as spread_asked
from server.web.calculators.target import TOO_MUCH, UNIT, not_above
from server.web.charts import Both, both
from server.web.fields import length as length_field
from server.web.fields import maybe, tick
from server.web.fields import number as number_field
from server.web.filters import length, length_number, number, percent, ppfd
from server.web.forms import Filled, Form

DESK, PHONE = 760.0, 328.0
MOST_PER_CM = 9.0
SURE = (
    "The arithmetic agrees with following photons one by one to about 1 %. What is stated about "
    "a lamp is seldom that exact, and pumps ripple the surface: expect a meter to read something "
    "like a fifth more or less (common practice, no published source). A few readings settle it."
)


HEIGHT = length_field(
    "height", "Height over the water", (0.5, 500), like_cm=25, start="25", start_in="10",
    hint="From the water up to the face that shines.",
)  # fmt: skip
LOOK = length_field(
    "look", "Depth to draw", (0.0, 300.0), like_cm=30, hint="Empty means half way down."
)
LOW = maybe(number_field("low", "Compare with a range, from", (0, 3000), like="150", unit=UNIT))
HIGH = maybe(number_field("high", "to", (1, 5000), like="300", unit=UNIT))
PHOTONS = tick("photons", "Add up where the photons end", hint="Takes a moment longer.")


@dataclass(frozen=True, kw_only=True)
class Typed:
    """A lit tank, the depth to draw, and a range to compare with where one was typed."""

    scene: Scene
    look_cm: float
    wanted: tuple[float, float] | None
    account: bool
    unit: str


@dataclass(frozen=True)
class Found:
    """The light on some depths, the looked-at one among them, and the share that gets in."""

    planes: list[Plane]
    looked: Plane
    entering: float


@dataclass(frozen=True)
class View:
    answer: str
    do: str
    charts: Both[TankView]
    facts: tuple[tuple[str, str], ...]
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    places: tuple[tuple[str, ...], ...]
    place_columns: tuple[tuple[str, str], ...]
    photons: tuple[tuple[str, str], ...]
    sure: str = SURE


def read(form: Filled, ask: Asked) -> Typed:
    scene = read_scene(form, height_cm=form[HEIGHT])
    look, wanted, account = _look(form, scene), _wanted(form), form[PHOTONS]
    form.check()
    if work_refused(
        scene.tank, scene.water, scene.emitters, depths_cm=[0.0, look], cell_cm=scene.cell_cm
    ):
        raise form.refuse("cell", TOO_MUCH)
    return Typed(scene=scene, look_cm=look, wanted=wanted, account=account, unit=form.unit)


def _look(form: Filled, scene: Scene) -> float:
    """The depth to draw: as typed, or half way down."""
    most = scene.tank.depth_cm
    within = length_field("look", LOOK.label, (0.0, most), like_cm=most / 2)
    look = form[maybe(within)]
    return most / 2 if look is None else min(look, most)


def _wanted(form: Filled) -> tuple[float, float] | None:
    low, high = form[LOW], form[HIGH]
    if low is None and high is None:
        return None
    return not_above(form, HIGH, low or 0.0, 5000.0 if high is None else high)


def work(typed: Typed) -> Found:
    scene, depth = typed.scene, typed.scene.tank.depth_cm
    depths = sorted({0.1 * depth, 0.5 * depth, 0.95 * depth, typed.look_cm})
    found = planes(scene.tank, scene.water, scene.emitters, depths_cm=depths, cell_cm=scene.cell_cm)
    entering = share_into_water(scene.tank, scene.water, scene.emitters)
    return Found(list(found), found[depths.index(typed.look_cm)], entering)


def show(typed: Typed, found: Found) -> View:
    looked, unit = found.looked, typed.unit
    return View(
        answer=(
            f"{length(typed.look_cm, unit)} deep the light is {ppfd(looked.mean)} µmol m⁻² s⁻¹ "
            f"on average, from {ppfd(looked.min)} to {ppfd(looked.max)}."
        ),
        do=_do(looked, found.entering, typed),
        charts=both(lambda width: _chart(looked, typed, width), wide=DESK, narrow=PHONE),
        facts=_facts(looked, found.entering, typed),
        columns=_columns(typed),
        rows=tuple(_row(plane, typed) for plane in found.planes),
        place_columns=_place_columns(looked, unit),
        places=_places(looked, unit),
        photons=_photons(typed) if typed.account else (),
    )


def _do(looked: Plane, entering: float, typed: Typed) -> str:
    if looked.max <= 0.0:
        return "No light gets into the water: move the lamps over the tank."
    if typed.wanted:
        low, high = typed.wanted
        share = share_within(looked, low_ppfd=low, high_ppfd=high)
        words = f"{percent(share)} of this depth lies within {ppfd(low)}–{ppfd(high)}."
        return words + " Let the mounting height calculator find a better height and power."
    missing = 1.0 - entering
    if missing > 0.4:
        return (
            f"{percent(missing)} of the photons miss the water: hang lower or use narrower lenses."
        )
    if looked.uniformity < 0.4:
        return (
            "The dimmest corner gets less than half the mean: more lamps, or higher, evens it out."
        )
    return "The light is fairly even; what grows in the middle can grow near the sides too."


def _facts(looked: Plane, entering: float, typed: Typed) -> tuple[tuple[str, str], ...]:
    unit = typed.unit
    half = footprint(looked)
    facts = [
        ("Into the water", f"{percent(entering)} of the lamps' photons"),
        ("Miss the water", f"{percent(1.0 - entering)}: beside the rim, or off surface and cover"),
        ("Evenness", f"{number(looked.uniformity, 2)} (dimmest cell over mean)"),
    ]
    if half is not None:
        facts.append(
            (
                "Half-value width",
                f"{_width(half.width_x_cm, half.to_wall_x, unit)} along, "
                f"{_width(half.width_y_cm, half.to_wall_y, unit)} across, round the brightest "
                f"place, {length(half.peak_x_cm, unit)} from the left and "
                f"{length(half.peak_y_cm, unit)} from the front",
            )
        )
    return tuple(facts)


ACCOUNTED_WITHIN = 0.01
"""Share of what entered by which the photons' ends may miss it before the page says so."""


def _photons(typed: Typed) -> tuple[tuple[str, str], ...]:
    """Where the lamps' photons end, as shares of all they send out."""
    scene = typed.scene
    found = balance(scene.tank, scene.water, scene.emitters)
    parts = [
        ("beside the rim, or off surface and cover", found.emitted - found.entered),
        ("taken by the water", found.water),
        ("taken by the floor", found.floor),
        ("taken by dark and matt walls", found.walls),
        ("out through clear walls", found.out_of_walls),
        ("back out through the surface", found.out_of_surface),
    ]
    if abs(found.found_again - 1.0) > ACCOUNTED_WITHIN:
        # Said rather than spread over the others: the sum does not close.
        parts.append(("not accounted for", (1.0 - found.found_again) * found.entered))
    return tuple((words, percent(part / found.emitted, 1)) for words, part in parts)


def _width(value_cm: float, to_wall: bool, unit: str) -> str:
    words = length(value_cm, unit)
    return f"{words} (ends at a wall)" if to_wall else words


def _columns(typed: Typed) -> tuple[tuple[str, str], ...]:
    base = [(f"Depth, {typed.unit}", "number"), ("mean", "number"), ("least", "number"),
            ("most", "number"), ("evenness", "number")]  # fmt: skip
    return tuple(base + ([("in range", "number")] if typed.wanted else []))


def _row(plane: Plane, typed: Typed) -> tuple[str, ...]:
    row = [
        length_number(plane.depth_cm, typed.unit),
        ppfd(plane.mean),
        ppfd(plane.min),
        ppfd(plane.max),
        number(plane.uniformity, 2),
    ]
    if typed.wanted:
        low, high = typed.wanted
        row.append(percent(share_within(plane, low_ppfd=low, high_ppfd=high)))
    return tuple(row)


def _place_columns(plane: Plane, unit: str) -> tuple[tuple[str, str], ...]:
    across = _spread_out(plane.x_cm.size, 9)
    return (
        (f"From the front, {unit}", "number"),
        *((length_number(float(plane.x_cm[k]), unit), "number") for k in across),
    )


def _places(plane: Plane, unit: str) -> tuple[tuple[str, ...], ...]:
    """PPFD at places spread over the depth: the chart's own numbers."""
    across, along = _spread_out(plane.x_cm.size, 9), _spread_out(plane.y_cm.size, 6)
    return tuple(
        (
            length_number(float(plane.y_cm[j]), unit),
            *(ppfd(float(plane.ppfd[j, k])) for k in across),
        )
        for j in along
    )


def _spread_out(size: int, most: int) -> list[int]:
    return sorted({int(k) for k in np.linspace(0, size - 1, min(size, most)).round()})


def _chart(plane: Plane, typed: Typed, width: float) -> TankView:
    tank, unit = typed.scene.tank, typed.unit
    depth = length(plane.depth_cm, unit)
    room = width - tank_view.LEFT - tank_view.RIGHT
    return tank_view.plan(
        plane.ppfd,
        length=tank.length_cm,
        width=tank.width_cm,
        per_cm=min(room / tank.length_cm, 420.0 / tank.width_cm, MOST_PER_CM),
        unit=_unit(unit),
        levels=_levels(typed),
        title=f"The tank from above, {depth} deep",
        description=(
            f"PPFD from {ppfd(plane.min)} to {ppfd(plane.max)} µmol m⁻² s⁻¹, mean "
            f"{ppfd(plane.mean)}; lamps as outlines. The table below has the numbers."
        ),
        axis_words=f"{unit} from the left wall · front wall below",
        overheads=[_outline(one) for one in typed.scene.emitters],
    )


def _levels(typed: Typed) -> Levels:
    return chart_levels.zone(*typed.wanted) if typed.wanted else chart_levels.PPFD


def _outline(one: Emitter) -> Overhead:
    along, across = one.size_cm
    return Overhead(
        across=one.x_cm, along=one.y_cm, width=max(along, 3.0), length=max(across, 3.0), words=""
    )


def _unit(unit: str) -> axes.Unit:
    return axes.CENTIMETRES if unit == "cm" else axes.INCHES


SPREAD = Calculator(
    key="spread",
    name="The light in a tank",
    question="How much light reaches each place under these lamps?",
    asks="Your tank and lamps",
    button="Work out the light",
    form=Form(*TANK_AND_LAMPS, HEIGHT, maybe(LOOK), LOW, HIGH, *MORE_ABOUT_THEM, PHOTONS),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/spread",
        summary="The light in a tank",
        work=spread_asked,
        answer=SpreadAnswer,
    ),
    fill=True,
)
