"""The rocks of a tank as each view of it sees them: cut through, or beyond the cut."""

from server.drawing.rocks import Block
from server.optics.tank import Rock, Tank


def from_above(tank: Tank, depth_cm: float) -> tuple[Block, ...]:
    """Cut at a depth: rock there is solid; what lies deeper or overhangs is outlined."""
    return tuple(
        Block(
            across=(rock.left_cm, rock.right_cm),
            along=(rock.front_cm, rock.back_cm),
            solid=rock.top_cm < depth_cm < _bottom(rock, tank),
        )
        for rock in tank.rocks
    )


def from_front(tank: Tank, y_cm: float) -> tuple[Block, ...]:
    """Cut so far from the front wall."""
    return tuple(
        Block(
            across=(rock.left_cm, rock.right_cm),
            along=(rock.top_cm, _bottom(rock, tank)),
            solid=rock.front_cm < y_cm < rock.back_cm,
        )
        for rock in tank.rocks
    )


def from_side(tank: Tank, x_cm: float) -> tuple[Block, ...]:
    """Cut so far from the left wall, seen from the right; across runs from the front wall."""
    return tuple(
        Block(
            across=(rock.front_cm, rock.back_cm),
            along=(rock.top_cm, _bottom(rock, tank)),
            solid=rock.left_cm < x_cm < rock.right_cm,
        )
        for rock in tank.rocks
    )


def _bottom(rock: Rock, tank: Tank) -> float:
    return tank.depth_cm if rock.bottom_cm is None else rock.bottom_cm
