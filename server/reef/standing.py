"""What an animal can stand on: tops of rocks and the sand, seen from above or from the front."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.reef.furnishing import Rock

CLEARANCE_CM = 3.0
"""Room an animal needs between a surface and the rock above it: our choice."""


@dataclass(frozen=True, kw_only=True)
class Surface:
    """Something to stand on at one place: its depth [cm] and the rock it belongs to (None: sand).

    open_cm: free water above it, up to the next rock or the surface [cm].
    """

    depth_cm: float
    rock: int | None
    open_cm: float

    @property
    def words(self) -> str:
        """'on rock 3' or 'on the sand'; rocks are counted from one."""
        return "on the sand" if self.rock is None else f"on rock {self.rock + 1}"


def surfaces_at(
    rocks: Sequence[Rock], *, x_cm: float, y_cm: float, depth_cm: float
) -> tuple[Surface, ...]:
    """Every surface at a place, from the top down; the sand last, unless a rock stands there.

    depth_cm: of the water.
    """
    here = sorted(
        (rock.top_cm, _bottom(rock, depth_cm), number)
        for number, rock in enumerate(rocks)
        if rock.left_cm <= x_cm <= rock.right_cm and rock.front_cm <= y_cm <= rock.back_cm
    )
    found: list[Surface] = []
    ceiling = 0.0  # underside of what is above; the water's surface at first
    for top, bottom, number in here:
        if top - ceiling >= CLEARANCE_CM or (not found and ceiling == 0.0):
            found.append(Surface(depth_cm=top, rock=number, open_cm=top - ceiling))
        ceiling = max(ceiling, bottom)
    if depth_cm - ceiling >= CLEARANCE_CM:
        found.append(Surface(depth_cm=depth_cm, rock=None, open_cm=depth_cm - ceiling))
    return tuple(found)


def _bottom(rock: Rock, depth_cm: float) -> float:
    return depth_cm if rock.bottom_cm is None else rock.bottom_cm


def snapped(
    rocks: Sequence[Rock], *, x_cm: float, y_cm: float, near_cm: float | None, depth_cm: float
) -> Surface:
    """The surface under a finger: nearest to the depth pointed at, or the topmost from above.

    near_cm: the depth pointed at in a view from the front; None in the view from above. An animal
    that was pointed into a rock comes to stand on it.
    """
    found = surfaces_at(rocks, x_cm=x_cm, y_cm=y_cm, depth_cm=depth_cm)
    if not found:
        return Surface(depth_cm=depth_cm, rock=None, open_cm=0.0)
    if near_cm is None:
        return found[0]
    return min(found, key=lambda one: (abs(one.depth_cm - near_cm), one.depth_cm))


def inside_rock(
    rocks: Sequence[Rock], *, x_cm: float, y_cm: float, at_depth_cm: float, depth_cm: float
) -> int | None:
    """Which rock a place lies in, strictly between top and underside; None where it is open."""
    for number, rock in enumerate(rocks):
        across = rock.left_cm < x_cm < rock.right_cm and rock.front_cm < y_cm < rock.back_cm
        if across and rock.top_cm < at_depth_cm < _bottom(rock, depth_cm):
            return number
    return None
