"""SVG path words: smooth curves through evenly spaced points, written short.

A curve is drawn as quadratic pieces that meet half-way between the points, so it has one
tangent everywhere and no kinks. SVG's `t` repeats such a piece with two numbers. Rounding to
0.1 is fed back from piece to piece: without that the mirrored handles would wander.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
"""Points [n, 2] in SVG units."""


@lru_cache(maxsize=4096)
def _tenths(value: int) -> str:
    whole, part = divmod(abs(value), 10)
    text = (str(whole) if whole or not part else "") + (f".{part}" if part else "")
    return f"-{text}" if value < 0 else text


def _pair(x: int, y: int) -> str:
    second = _tenths(y)
    return _tenths(x) + (second if second.startswith("-") else f" {second}")


def _rounded(points: Points) -> list[tuple[int, int]]:
    return [(x, y) for x, y in np.rint(points * 10).astype(int).tolist()]


def polyline(points: Points, *, closed: bool = False) -> str:
    """Straight pieces through all points."""
    first, *rest = _rounded(points)
    words = [f"M{_pair(*first)}"]
    at = first
    for point in rest:
        if point != at:
            words.append(f"l{_pair(point[0] - at[0], point[1] - at[1])}")
            at = point
    return "".join(words) + ("z" if closed else "")


def curve(points: Points, *, closed: bool = False) -> str:
    """A smooth curve along the points; an open one begins and ends exactly at its end points."""
    exact = _rounded(points)
    if closed:
        start = _half(exact[-1], exact[0])
        ends = [_half(a, b) for a, b in zip(exact, [*exact[1:], exact[0]], strict=True)]
        return f"M{_pair(*start)}{_pieces(start, exact, [*ends[:-1], start])}z"
    return f"M{_pair(*exact[0])}{onward(points)}"


def onward(points: Points) -> str:
    """As `curve`, without its first move: to be hung on a path that stands at points[0]."""
    exact = _rounded(points)
    if len(exact) < 3:
        return f"L{_pair(*exact[-1])}"
    handles = exact[1:-1]
    ends = [_half(a, b) for a, b in pairwise(handles)]
    return _pieces(exact[0], handles, [*ends, exact[-1]])


def through(points: Points) -> str:
    """Straight on to each point, wherever the path stands."""
    return "".join(f"L{_pair(*point)}" for point in _rounded(points))


def _half(a: tuple[int, int], b: tuple[int, int]) -> tuple[int, int]:
    return (a[0] + b[0]) // 2, (a[1] + b[1]) // 2


def _pieces(
    start: tuple[int, int], handles: Sequence[tuple[int, int]], ends: Sequence[tuple[int, int]]
) -> str:
    """Quadratic pieces from start over each handle to each end, as q and then t words."""
    at, handle = start, handles[0]
    words = []
    for number, (wanted, end) in enumerate(zip(handles, ends, strict=True)):
        last = number == len(handles) - 1
        # The next handle is this one mirrored in the end point: choose the end so that it
        # lands on the next wanted handle whatever was rounded before.
        if not last:
            end = _half(handle, handles[number + 1])
        step = _pair(end[0] - at[0], end[1] - at[1])
        if number == 0:
            words.append(f"q{_pair(wanted[0] - at[0], wanted[1] - at[1])} {step}")
        else:
            words.append(f"t{step}")
        at, handle = end, (2 * end[0] - handle[0], 2 * end[1] - handle[1])
    return "".join(words)


def lines(ends: Iterable[tuple[float, float, float, float]]) -> str:
    """Separate straight strokes x1 y1 x2 y2 in one path."""
    return "".join(polyline(np.array([[a, b], [c, d]])) for a, b, c, d in ends)
