"""How much work a measured map would be, for those who answer strangers."""

import numpy as np

from server.optics.sources import pieces_at_most
from server.surveys import lattice
from server.surveys.plan import Plan

CHANGES = 26  # plans with one number changed that are worked out on the lattice
MOST_MIRRORED = 12  # mirrored tanks to each side that the engine follows
SPREAD = 1.3  # how far sideways light under water goes per depth, at most


def work(plan: Plan, *, readings: int, places: int) -> int:
    """Pairs of lamp piece and place over all mirrored tanks; 20 to 40 million take a second."""
    tank = plan.tank
    nodes = len(lattice.over(tank.length_cm, tank.width_cm, tank.depth_cm).points)
    asked = CHANGES * nodes + 20 * readings + 16 * places  # likely suspects are asked about too
    pieces = pieces_at_most(tank, plan.water, plan.emitters, depth_cm=tank.depth_cm)
    walls = tank.walls
    mirrored = _mirrored(tank.length_cm, tank.depth_cm, walls.left, walls.right)
    mirrored *= _mirrored(tank.width_cm, tank.depth_cm, walls.front, walls.back)
    return asked * pieces * mirrored


def _mirrored(side_cm: float, depth_cm: float, one: object, other: object) -> int:
    """Mirrored tanks along one direction, the real one among them."""
    if "clear" not in (one, other):
        return 1
    most = int(np.clip(np.ceil(SPREAD * depth_cm / side_cm), 1, MOST_MIRRORED))
    return 1 + (2 * most if one == other else 2)
