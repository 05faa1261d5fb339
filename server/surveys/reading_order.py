"""Which points to read, and in which order: fewest moves of the arm, top to bottom.

Top to bottom because a hand at the sand clouds the water for every reading after it. Within
one depth the path over the points is made short by turning stretches and moving points (2-opt,
Croes 1958, and or-opt; both from memory), which for a dozen points finds the shortest or
nearly so.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from server.surveys.places import KEEP_OFF_CM

LAYER_CM = 4.0  # points this close in depth are read in one go
USUAL_POINTS = 12


@dataclass(frozen=True, kw_only=True)
class Point:
    """A place to read. `name` says what is there ("Acropora", "middle, under the lamp")."""

    x_cm: float
    y_cm: float
    depth_cm: float
    name: str = ""


def reading_points(
    *,
    length_cm: float,
    width_cm: float,
    depth_cm: float,
    animals: Sequence[Point] = (),
    count: int = USUAL_POINTS,
) -> tuple[Point, ...]:
    """The points of a first session: every animal, then the emptiest places of the tank.

    Each further point is the candidate farthest from all points so far (Gonzalez 1985,
    farthest-point traversal; from memory), over three depths: just under the surface, the
    middle, and over the floor. In order of reading.
    """
    chosen = _apart(animals)[:count]
    candidates = _candidates(length_cm, width_cm, depth_cm)
    if not chosen:
        chosen.append(candidates.pop(0))
    scale = (length_cm, width_cm, depth_cm)
    while len(chosen) < count and candidates:
        best = max(candidates, key=lambda c: min(_gap(c, p, scale) for p in chosen))
        chosen.append(best)
        candidates.remove(best)
    return in_order(chosen)


def _apart(animals: Sequence[Point]) -> list[Point]:
    kept: list[Point] = []
    for animal in animals:
        if all(math.dist(_place(animal), _place(one)) > KEEP_OFF_CM for one in kept):
            kept.append(animal)
    return kept


def _candidates(length_cm: float, width_cm: float, depth_cm: float) -> list[Point]:
    """Middle of the tank first, then five places across, three deep, three depths."""

    def inside(share: float, size: float) -> float:
        keep = min(KEEP_OFF_CM, size / 4)
        return round(min(max(share * size, keep), size - keep))

    across = (0.5, 0.1, 0.9, 0.3, 0.7)
    back = (0.5, 0.15, 0.85)
    down = (0.5, 0.1, 0.9)
    return [
        Point(
            x_cm=inside(x, length_cm),
            y_cm=inside(y, width_cm),
            depth_cm=inside(d, depth_cm),
        )
        for d in down
        for y in back
        for x in across
    ]


def _gap(a: Point, b: Point, scale: tuple[float, float, float]) -> float:
    """Distance in shares of the tank: a tank is lit unevenly along each of its sides."""
    return math.dist(
        [c / s for c, s in zip(_place(a), scale, strict=True)],
        [c / s for c, s in zip(_place(b), scale, strict=True)],
    )


def _place(point: Point) -> tuple[float, float, float]:
    return point.x_cm, point.y_cm, point.depth_cm


def in_order(points: Sequence[Point], *, start: Point | None = None) -> tuple[Point, ...]:
    """Points from top to bottom, and within one depth along a short path.

    `start` is where the arm is now; each layer begins near the end of the one above.
    """
    ordered: list[Point] = []
    hand = start
    for layer in _layers(points):
        path = _short_path(layer, hand)
        ordered.extend(path)
        hand = path[-1]
    return tuple(ordered)


def _layers(points: Sequence[Point]) -> list[list[Point]]:
    layers: list[list[Point]] = []
    for point in sorted(points, key=lambda p: (p.depth_cm, p.x_cm, p.y_cm)):
        if layers and point.depth_cm - layers[-1][0].depth_cm <= LAYER_CM:
            layers[-1].append(point)
        else:
            layers.append([point])
    return layers


def _short_path(layer: list[Point], hand: Point | None) -> list[Point]:
    """The shortest of the paths that begin at each point, go to the nearest and are improved."""
    paths = (_improved(_nearest_first(layer, first), hand) for first in layer)
    return min(paths, key=lambda path: _length(path, hand))


def _nearest_first(layer: list[Point], first: Point) -> list[Point]:
    left = [point for point in layer if point is not first]
    path = [first]
    while left:
        nearest = min(left, key=lambda p: _move(path[-1], p))
        left.remove(nearest)
        path.append(nearest)
    return path


def _improved(path: list[Point], hand: Point | None) -> list[Point]:
    length = _length(path, hand)
    improved = True
    while improved:
        improved = False
        for other in _changes(path):
            shorter = _length(other, hand)
            if shorter < length - 1e-9:
                path, length, improved = other, shorter, True
                break
    return path


def _changes(path: list[Point]) -> Iterator[list[Point]]:
    """A stretch turned round (2-opt), or one point moved elsewhere (or-opt)."""
    for i in range(len(path)):
        for j in range(i + 1, len(path)):
            yield path[:i] + path[i : j + 1][::-1] + path[j + 1 :]
        rest = path[:i] + path[i + 1 :]
        for j in range(len(path)):
            yield [*rest[:j], path[i], *rest[j:]]


def _length(path: Sequence[Point], hand: Point | None) -> float:
    steps = [hand, *path] if hand else list(path)
    return sum(_move(a, b) for a, b in pairwise(steps))


def _move(a: Point, b: Point) -> float:
    """How far the arm moves over the tank; depth within a layer costs nothing."""
    return math.hypot(a.x_cm - b.x_cm, a.y_cm - b.y_cm)
