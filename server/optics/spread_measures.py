"""Measures people use for the spread of light over one level of a tank."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.field import Plane

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Footprint:
    """Where the light of one level is at least half its greatest value.

    peak_x_cm, peak_y_cm: the brightest cell. width_x_cm, width_y_cm: distance between the half
    values on both sides of it along x and y, ended by the walls where the light does not fall
    that far; to_wall_x, to_wall_y tell whether it was. area_share: part of all cells inside.
    """

    peak_ppfd: float
    peak_x_cm: float
    peak_y_cm: float
    width_x_cm: float
    width_y_cm: float
    to_wall_x: bool
    to_wall_y: bool
    area_share: float


def footprint(plane: Plane) -> Footprint | None:
    """Half-value footprint of a level, or None where no light arrives."""
    peak = plane.max
    if peak <= 0.0:
        return None
    ppfd = np.nan_to_num(plane.ppfd, nan=0.0)  # rock ends a stretch as shade does
    row, column = np.unravel_index(int(ppfd.argmax()), ppfd.shape)
    width_x, to_wall_x = _width(plane.x_cm, ppfd[row, :], int(column), peak / 2.0)
    width_y, to_wall_y = _width(plane.y_cm, ppfd[:, column], int(row), peak / 2.0)
    return Footprint(
        peak_ppfd=peak,
        peak_x_cm=float(plane.x_cm[column]),
        peak_y_cm=float(plane.y_cm[row]),
        width_x_cm=width_x,
        width_y_cm=width_y,
        to_wall_x=to_wall_x,
        to_wall_y=to_wall_y,
        area_share=float(np.mean(plane.in_water >= peak / 2.0)),
    )


def share_within(plane: Plane, *, low_ppfd: float, high_ppfd: float) -> float:
    """Part of the level's cells whose PPFD lies from low to high, both included."""
    return float(np.mean((plane.in_water >= low_ppfd) & (plane.in_water <= high_ppfd)))


def _width(place_cm: Floats, ppfd: Floats, peak: int, half: float) -> tuple[float, bool]:
    """Distance between the half values on both sides of the peak, and whether a wall ended it."""
    step = float(place_cm[1] - place_cm[0]) if place_cm.size > 1 else 2.0 * float(place_cm[0])
    up, wall_up = _reach(ppfd[peak:], half)
    down, wall_down = _reach(ppfd[peak::-1], half)
    return step * (up + down), wall_up or wall_down


def _reach(outward: Floats, half: float) -> tuple[float, bool]:
    """Cells from the peak to the first half value, by a straight line; else to the wall."""
    below = np.flatnonzero(outward < half)
    if below.size == 0:
        return outward.size - 0.5, True
    first = int(below[0])
    inner, outer = float(outward[first - 1]), float(outward[first])
    return first - 1 + (inner - half) / (inner - outer), False
