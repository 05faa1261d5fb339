"""Ready shapes of reef, each a few blocks, cut to the tank they are set into.

The shapes are ours: boxes that throw the shade of what people build, in shares of the tank.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from server.optics.tank import MAX_ROCKS
from server.reef.furnishing import Rock

LEAST_CM = 1.0
"""A block cut thinner than this is left out."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """Inside measures of the tank that a shape is cut to [cm]."""

    length_cm: float
    width_cm: float
    depth_cm: float


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A ready shape: its name, what it is, and its blocks around a middle (x, y) [cm]."""

    key: str
    name: str
    words: str
    blocks: Callable[[Room, float, float], tuple[Rock, ...]]


def cut(rock: Rock, room: Room) -> Rock | None:
    """The part of a block that lies inside the tank; None where nothing of it does."""
    inside = replace(
        rock,
        left_cm=max(rock.left_cm, 0.0),
        right_cm=min(rock.right_cm, room.length_cm),
        front_cm=max(rock.front_cm, 0.0),
        back_cm=min(rock.back_cm, room.width_cm),
        top_cm=max(rock.top_cm, 0.0),
        bottom_cm=None
        if rock.bottom_cm is None or rock.bottom_cm >= room.depth_cm
        else rock.bottom_cm,
    )
    low = room.depth_cm if inside.bottom_cm is None else inside.bottom_cm
    sides = (
        inside.right_cm - inside.left_cm,
        inside.back_cm - inside.front_cm,
        low - inside.top_cm,
    )
    return inside if min(sides) >= LEAST_CM else None


def set_down(shape: Shape, room: Room, *, x_cm: float, y_cm: float, group: str) -> tuple[Rock, ...]:
    """The blocks of a shape with its middle at (x, y), cut to the tank, under one group's word."""
    cuts = (cut(rock, room) for rock in shape.blocks(room, x_cm, y_cm))
    return tuple(replace(rock, group=group) for rock in cuts if rock is not None)


def block(room: Room, *, x_cm: float, y_cm: float, top_cm: float) -> Rock | None:
    """One plain block on the floor, a fifth of the tank long and two fifths wide."""
    long, wide = room.length_cm / 5, 2 * room.width_cm / 5
    whole = _box(x_cm, y_cm, long, wide, top_cm, None)
    return cut(whole, room)


def _box(
    x: float, y: float, long: float, wide: float, top: float, bottom: float | None, name: str = ""
) -> Rock:
    return Rock(
        left_cm=round(x - long / 2, 1),
        right_cm=round(x + long / 2, 1),
        front_cm=round(y - wide / 2, 1),
        back_cm=round(y + wide / 2, 1),
        top_cm=round(top, 1),
        bottom_cm=None if bottom is None else round(bottom, 1),
        name=name,
    )


def _bommie(room: Room, x: float, y: float) -> tuple[Rock, ...]:
    """A round-shouldered head: a foot, a body, a crown."""
    side = min(room.length_cm / 3, 0.7 * room.width_cm)
    d = room.depth_cm
    return (
        _box(x, y, side, side, 0.72 * d, None),
        _box(x, y, 0.75 * side, 0.75 * side, 0.52 * d, 0.72 * d),
        _box(x, y, 0.45 * side, 0.45 * side, 0.38 * d, 0.52 * d),
    )


def _wall(room: Room, x: float, y: float) -> tuple[Rock, ...]:
    """Along the back, in three steps toward the front."""
    d, w = room.depth_cm, room.width_cm
    middle = room.length_cm / 2
    return (
        _box(middle, 0.9 * w, 0.96 * room.length_cm, 0.2 * w, 0.3 * d, None),
        _box(middle, 0.72 * w, 0.86 * room.length_cm, 0.16 * w, 0.5 * d, None),
        _box(middle, 0.55 * w, 0.7 * room.length_cm, 0.18 * w, 0.72 * d, None),
    )


def _arch(room: Room, x: float, y: float) -> tuple[Rock, ...]:
    """Two feet and a bridge: shade below it, light above."""
    long, wide, d = 0.5 * room.length_cm, 0.4 * room.width_cm, room.depth_cm
    foot = 0.24 * long
    return (
        _box(x - (long - foot) / 2, y, foot, wide, 0.5 * d, None),
        _box(x + (long - foot) / 2, y, foot, wide, 0.5 * d, None),
        _box(x, y, long, wide, 0.38 * d, 0.5 * d),
    )


def _shelf(room: Room, x: float, y: float) -> tuple[Rock, ...]:
    """A plate out of the back wall, at a third of the depth."""
    long, wide = 0.45 * room.length_cm, 0.5 * room.width_cm
    top = 0.34 * room.depth_cm
    thick = max(2.0, 0.08 * room.depth_cm)
    return (_box(x, room.width_cm - wide / 2, long, wide, top, top + thick),)


def _island(room: Room, x: float, y: float) -> tuple[Rock, ...]:
    """Low and wide, water all round."""
    long, wide, d = 0.4 * room.length_cm, 0.55 * room.width_cm, room.depth_cm
    return (
        _box(x, y, long, wide, 0.76 * d, None),
        _box(x - 0.08 * long, y, 0.55 * long, 0.6 * wide, 0.62 * d, 0.76 * d),
    )


SHAPES: Mapping[str, Shape] = {
    shape.key: shape
    for shape in (
        Shape(key="bommie", name="Bommie", words="a rounded head of rock", blocks=_bommie),
        Shape(key="wall", name="Wall", words="rock along the back, in steps", blocks=_wall),
        Shape(key="arch", name="Arch", words="two feet and a bridge", blocks=_arch),
        Shape(key="shelf", name="Shelf", words="a ledge out of the back", blocks=_shelf),
        Shape(key="island", name="Island", words="low and wide, water all round", blocks=_island),
    )
}


def has_room(rocks: tuple[Rock, ...], more: tuple[Rock, ...]) -> bool:
    """Whether that many blocks may stand in one tank."""
    return len(rocks) + len(more) <= MAX_ROCKS
