"""A tank and the lamps over it, as a visitor types them into the light calculators."""

from dataclasses import dataclass
from typing import Any

from server.db.light import FLOORS
from server.optics.emitters import LIMITS as LIGHT_LIMITS
from server.optics.emitters import Emitter
from server.optics.lamp import kind_spectrum
from server.optics.tank import LIMITS as TANK_LIMITS
from server.optics.tank import Tank, Wall, Walls, Water
from server.optics.tint import TINTS, absorption_bands
from server.web.fields import choice, length, maybe, number, tick, whole
from server.web.forms import Field, Filled

WALL_NAMES = (
    ("clear", "clear glass"),
    ("black", "dark"),
    ("0.3", "mid-tone, not shiny"),
    ("0.7", "white, not shiny"),
)
FLOOR_NAMES = (
    ("bare", "bare glass"),
    ("light_sand", "light sand"),
    ("dark_sand", "dark sand"),
    ("rockwork", "mostly rock"),
)
WATER_NAMES = (
    ("polished", "polished, almost colourless"),
    ("usual", "usual"),
    ("yellowed", "yellowed"),
)
SHAPE_NAMES = (
    ("square", "a square face: LEDs close together"),
    ("point", "one small spot"),
    ("tube", "a tube along the tank"),
)
SIDES = ("left", "right", "front", "back")
MOST_LAMPS = 8
EMPTY_MIDDLE = "Empty means the middle."


def _tank_length(
    name: str, label: str, least: float, most: float, like: tuple[float, str]
) -> Field[float]:
    low, high = TANK_LIMITS["depth_cm" if name == "depth" else "length_cm"]
    return length(
        name, label, (max(low, least), min(high, most)), like_cm=like[0], start=f"{like[0]:g}",
        start_in=like[1],
    )  # fmt: skip


LENGTH = _tank_length("length", "Tank inside, length", 5, 1e9, (120, "48"))
WIDTH = _tank_length("width", "front to back", 5, 1e9, (50, "20"))
DEPTH = _tank_length("depth", "depth of the water", 2, 300, (55, "22"))
PPF = number(
    "ppf", "Photon flux of each lamp", (0.1, LIGHT_LIMITS["ppf_umol_s"][1]), like="150",
    unit="µmol s⁻¹", start="150", where="PPF on the lamp's data sheet, at the power it runs.",
)  # fmt: skip
BEAM = number(
    "beam", "Beam angle", (5, 170), like="90", unit="degrees", start="90",
    where="On the lamp's box, often as lens angle.",
)  # fmt: skip
LAMPS = whole(
    "lamps", "Number of lamps", (1, MOST_LAMPS), like="2", start="2",
    hint="Spread evenly along the tank.",
)  # fmt: skip
SHAPE = choice("shape", "Each lamp shines from", SHAPE_NAMES)
SIZE = length(
    "size", "Side of its face, or length of the tube", (0.1, 500), like_cm=15, start="15",
    start_in="6",
)  # fmt: skip
X = maybe(
    length("x", "A single lamp's middle, from the left", (-200, 2200), like_cm=60,
           hint=EMPTY_MIDDLE)
)  # fmt: skip
Y = maybe(length("y", "from the front", (-200, 2200), like_cm=25, hint=EMPTY_MIDDLE))
WALLS = {side: choice(f"wall_{side}", f"{side.capitalize()} wall", WALL_NAMES) for side in SIDES}
FLOOR = choice("floor", "Floor", FLOOR_NAMES, start="light_sand")
WATER = choice("water", "Water", WATER_NAMES, start="usual")
CELL = maybe(
    length("cell", "Cells of the chart", (0.5, 100), like_cm=2, start="2", start_in="0.8",
           hint="Side of each.")
)  # fmt: skip
COVER = tick("cover", "A clear glass cover lies over the water")
TANK_AND_LAMPS: tuple[Field[Any], ...] = (LENGTH, WIDTH, DEPTH, PPF, BEAM, LAMPS)
MORE_ABOUT_THEM: tuple[Field[Any], ...] = (
    SHAPE, maybe(SIZE), X, Y, *WALLS.values(), FLOOR, WATER, CELL, COVER,
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A tank, its water, and lamps at a height of 1 cm where the form asks for none."""

    tank: Tank
    water: Water
    emitters: tuple[Emitter, ...]
    cell_cm: float


def read_scene(form: Filled, *, height_cm: float) -> Scene:
    """The tank and its lamps at one height; some scene where something was refused."""
    tank, water = _tank(form), _water(form)
    beam, ppf, count = form[BEAM], form[PPF], form[LAMPS]
    shape = form[SHAPE]
    size = form[maybe(SIZE)] if shape == "point" else form[SIZE]
    x, y, cell = form[X], form[Y], form[CELL]
    emitters = tuple(
        Emitter(
            shape=shape,  # type: ignore[arg-type]  # one of SHAPE_NAMES' keys
            x_cm=place_x,
            y_cm=place_y,
            height_cm=height_cm,
            ppf_umol_s=ppf,
            beam_deg=beam,
            length_cm=size if shape == "tube" else None,
            side_cm=size if shape == "square" else None,
        )
        for place_x, place_y in _places(tank, count, x, y)
    )
    return Scene(tank=tank, water=water, emitters=emitters, cell_cm=cell or 2.0)


def _tank(form: Filled) -> Tank:
    return Tank(
        length_cm=form[LENGTH],
        width_cm=form[WIDTH],
        depth_cm=form[DEPTH],
        walls=Walls(**{side: _wall(form[field]) for side, field in WALLS.items()}),
        floor_albedo=FLOORS[form[FLOOR]].albedo,
        cover=form[COVER],
    )


def _wall(chosen: str) -> Wall:
    if chosen == "clear" or chosen == "black":
        return chosen  # type: ignore[return-value]  # narrowed just above
    return float(chosen)


def _water(form: Filled) -> Water:
    tint = TINTS[form[WATER]]
    return Water(absorption=absorption_bands(kind_spectrum("led_cluster"), tint))


def _places(
    tank: Tank, count: int, x_cm: float | None, y_cm: float | None
) -> list[tuple[float, float]]:
    """One lamp where it was said, several in equal parts of the length."""
    middle = tank.width_cm / 2 if y_cm is None else y_cm
    if count == 1 and x_cm is not None:
        return [(x_cm, middle)]
    return [((k + 0.5) * tank.length_cm / count, middle) for k in range(count)]
