"""What a keeper types about a tank."""

from starlette.datastructures import FormData

from server.db.tanks import TankWords
from server.models import Member, Tank
from server.models.tank import FLOORS, WATERS
from server.optics import tank as glass
from server.web.tanks.typed import Refused, TypedIn, shown_length, stored_length

WALLS = (
    ("clear", "clear glass"),
    ("black", "dark: painted, or black foil behind it"),
    ("0.1", "overgrown with crusts or algae"),
    ("0.6", "pale: white or light-blue foil behind it"),
)
"""Answers for a wall. The two albedos are estimates, no published source."""
FLOOR_WORDS = {
    "light_sand": "light sand",
    "dark_sand": "dark sand",
    "rockwork": "rockwork, little sand to be seen",
    "bare": "bare glass",
}
WATER_WORDS = {
    "usual": "usual: faintly yellow",
    "polished": "polished: white, fresh carbon",
    "yellowed": "yellowed: clearly yellow",
}
SIDES = ("left", "right", "front", "back")
HEADROOM_CM = (1.0, 500.0)

EMPTY: dict[str, str] = {
    "name": "",
    "length": "",
    "width": "",
    "depth": "",
    "water": "usual",
    **{f"wall_{side}": "clear" for side in SIDES},
    "floor": "light_sand",
    "cover": "",
    "headroom": "",
    "shared": "",
    "note": "",
}


def values_of(tank: Tank, unit: str) -> dict[str, str]:
    """A stored tank as its form shows it."""
    return {
        "name": tank.name,
        "length": shown_length(tank.length_cm, unit),
        "width": shown_length(tank.width_cm, unit),
        "depth": shown_length(tank.depth_cm, unit),
        "water": tank.water,
        **{f"wall_{side}": getattr(tank, f"wall_{side}") for side in SIDES},
        "floor": tank.floor,
        "cover": "yes" if tank.cover else "",
        "headroom": "" if tank.headroom_cm is None else shown_length(tank.headroom_cm, unit),
        "shared": "yes" if tank.shared else "",
        "note": tank.note,
    }


def read_tank(form: FormData, who: Member, *, was: Tank | None = None) -> TankWords | Refused:
    """A new tank, or a stored one changed."""
    typed = TypedIn(form, who.length_unit)
    words = TankWords(
        name=typed.words("name", most=80, missing="Give the tank a name, such as “Living room”."),
        length_cm=_side(typed, "length", 90.0, stored_length(was, "length_cm")),
        width_cm=_side(typed, "width", 45.0, stored_length(was, "width_cm")),
        depth_cm=_side(typed, "depth", 45.0, stored_length(was, "depth_cm")),
        water=typed.choice("water", WATERS, otherwise="usual"),
        **{f"wall_{side}": _wall(typed, side, was) for side in SIDES},
        floor=typed.choice("floor", FLOORS, otherwise="light_sand"),
        cover=typed.yes("cover"),
        headroom_cm=typed.length(
            "headroom",
            low_cm=HEADROOM_CM[0],
            high_cm=HEADROOM_CM[1],
            like_cm=60,
            needed=False,
            was_cm=None if was is None else was.headroom_cm,
        ),
        shared=typed.yes("shared"),
        note=typed.words("note", most=2000),
    )
    return typed.refused() if typed.errors else words


def _side(typed: TypedIn, name: str, like_cm: float, was_cm: float | None) -> float:
    low, high = glass.LIMITS[f"{name}_cm"]
    value = typed.length(name, low_cm=low, high_cm=high, like_cm=like_cm, was_cm=was_cm)
    assert value is not None
    return value


def _wall(typed: TypedIn, side: str, was: Tank | None) -> str:
    """A wall's answer; an albedo that came from elsewhere may stay as it is."""
    known = [value for value, _ in WALLS]
    if was is not None:
        known.append(getattr(was, f"wall_{side}"))
    return typed.choice(f"wall_{side}", known, otherwise="clear")
