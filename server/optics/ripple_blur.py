"""How far moving water smears the edges of light, so that no line is drawn sharper than it is.

A surface tilted by a small angle α turns a steep ray under it by α (1 − 1/n). Below an edge (a rim,
a brace, a lamp's border at the surface; a rock under it) the ray then lands that angle times the
height aside. For ripples of one length and height the slope is a sine, its root mean square
π h / (√2 λ). Snell's law for small angles, derived; checked against exact refraction in the tests.
"""

import math

from server.optics.shimmer import Ripple

USUAL = Ripple(length_cm=12.0, height_cm=0.5)
"""Ripples of a tank with its pumps running: a judgement, no published source. Their slope is 5°."""


def edge_width_cm(
    below_edge_cm: float, *, ripple: Ripple = USUAL, refractive_index: float = 1.339
) -> float:
    """Width over which an edge is smeared in the course of seconds [cm].

    below_edge_cm: height of what casts the edge above where it falls, under water. Twice the root
    mean square of the swing: two thirds of the time the edge lies within. Raises ValueError for a
    negative height.
    """
    if not (math.isfinite(below_edge_cm) and below_edge_cm >= 0.0):
        raise ValueError(f"below_edge_cm must be at least 0, not {below_edge_cm}")
    return 2.0 * below_edge_cm * slope(ripple) * (1.0 - 1.0 / refractive_index)


def slope(ripple: Ripple) -> float:
    """Root mean square slope of the surface along the way the ripples run [rad]."""
    return math.pi * ripple.height_cm / (math.sqrt(2.0) * ripple.length_cm)
