"""A tank and the lamps over it, as a visitor types them into the light calculators."""

from dataclasses import dataclass

from starlette.datastructures import FormData, QueryParams

from server.db.light import FLOORS
from server.models import Member
from server.optics.emitters import LIMITS as LIGHT_LIMITS
from server.optics.emitters import Emitter
from server.optics.lamp import kind_spectrum
from server.optics.tank import LIMITS as TANK_LIMITS
from server.optics.tank import Tank, Wall, Walls, Water
from server.optics.tint import TINTS, absorption_bands
from server.web.tanks.typed import TypedIn

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

TANK_DEFAULTS = {"length": "120", "width": "50", "depth": "55"}
LAMP_DEFAULTS = {"ppf": "150", "beam": "90", "lamps": "2"}
MORE_DEFAULTS = {
    "shape": "square",
    "size": "15",
    "x": "",
    "y": "",
    "wall_left": "clear",
    "wall_right": "clear",
    "wall_front": "clear",
    "wall_back": "clear",
    "floor": "light_sand",
    "cover": "",
    "water": "usual",
    "cell": "2",
}
INCH_DEFAULTS = {
    "length": "48",
    "width": "20",
    "depth": "22",
    "size": "6",
    "cell": "0.8",
    "height": "10",
    "depths": "6; 12",
    "lowest": "4",
    "highest": "24",
}


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A tank, its water, and lamps at a height of 1 cm where the form asks for none."""

    tank: Tank
    water: Water
    emitters: tuple[Emitter, ...]
    cell_cm: float


def read_scene(typed: TypedIn, *, height_cm: float) -> Scene | None:
    """The tank and its lamps at one height; None where something was refused."""
    tank = _tank(typed)
    beam = typed.number("beam", low=5, high=170, like="90", unit="degrees")
    ppf = typed.number(
        "ppf", low=0.1, high=LIGHT_LIMITS["ppf_umol_s"][1], like="150", unit="µmol s⁻¹"
    )
    count = typed.number("lamps", low=1, high=MOST_LAMPS, like="2")
    if count is not None and count != int(count):
        typed.errors["lamps"] = "Type a whole number, such as 2."
    shape = typed.choice("shape", [key for key, _ in SHAPE_NAMES], otherwise="square")
    size = typed.length("size", low_cm=0.1, high_cm=500, like_cm=15, needed=shape != "point")
    x = typed.length("x", low_cm=-200, high_cm=2200, like_cm=60, needed=False)
    y = typed.length("y", low_cm=-200, high_cm=2200, like_cm=25, needed=False)
    water = _water(typed)
    cell = typed.length("cell", low_cm=0.5, high_cm=100, like_cm=2, needed=False)
    if typed.errors or tank is None or beam is None or ppf is None or count is None:
        return None
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
        for place_x, place_y in _places(tank, int(count), x, y)
    )
    return Scene(tank=tank, water=water, emitters=emitters, cell_cm=cell or 2.0)


def _tank(typed: TypedIn) -> Tank | None:
    low, high = TANK_LIMITS["length_cm"]
    length = typed.length("length", low_cm=max(low, 5), high_cm=high, like_cm=120)
    width = typed.length("width", low_cm=max(low, 5), high_cm=high, like_cm=50)
    low, high = TANK_LIMITS["depth_cm"]
    depth = typed.length("depth", low_cm=max(low, 2), high_cm=300, like_cm=55)
    sides = {side: _wall(typed, f"wall_{side}") for side in SIDES}
    floor = FLOORS[typed.choice("floor", FLOORS, otherwise="light_sand")]
    cover = typed.yes("cover")
    if typed.errors or length is None or width is None or depth is None:
        return None
    return Tank(
        length_cm=length,
        width_cm=width,
        depth_cm=depth,
        walls=Walls(**sides),
        floor_albedo=floor.albedo,
        cover=cover,
    )


def _wall(typed: TypedIn, name: str) -> Wall:
    chosen = typed.choice(name, [key for key, _ in WALL_NAMES], otherwise="clear")
    if chosen == "clear" or chosen == "black":
        return chosen  # type: ignore[return-value]  # narrowed just above
    return float(chosen)


def _water(typed: TypedIn) -> Water:
    tint = TINTS[typed.choice("water", TINTS, otherwise="usual")]
    return Water(absorption=absorption_bands(kind_spectrum("led_cluster"), tint))


def _places(
    tank: Tank, count: int, x_cm: float | None, y_cm: float | None
) -> list[tuple[float, float]]:
    """One lamp where it was said, several in equal parts of the length."""
    middle = tank.width_cm / 2 if y_cm is None else y_cm
    if count == 1 and x_cm is not None:
        return [(x_cm, middle)]
    return [((k + 0.5) * tank.length_cm / count, middle) for k in range(count)]


def typed_in(query: QueryParams, who: Member | None, defaults: dict[str, str]) -> TypedIn:
    """An address being read; what it leaves out takes the worked example's value."""
    inches = INCH_DEFAULTS if unit_of(who) == "in" else {}
    known = {name: query[name] for name in defaults if name in query}
    values = {**defaults, **{k: v for k, v in inches.items() if k in defaults}, **known}
    return TypedIn(FormData(list(values.items())), unit_of(who))


def unit_of(who: Member | None) -> str:
    return who.length_unit if who else "cm"
