"""Peak and dose of many places at once, lit by channel groups with days of their own."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.dose.day import Day, along, course, dli

FloatArray = NDArray[np.float64]
Days = tuple[Day, ...]
"""The day of each channel group."""


@dataclass(frozen=True, kw_only=True)
class Shape:
    """Days of channel groups as numbers to multiply light with.

    `corners` [moments, groups]: share of full light at every corner of any day;
    `mol_per_ppfd` [groups]: dose per µmol m⁻² s⁻¹ at full.
    """

    corners: FloatArray
    mol_per_ppfd: FloatArray


@dataclass(frozen=True, kw_only=True)
class Light:
    """Brightest moment `peak` [µmol m⁻² s⁻¹] and dose `dli` [mol m⁻² d⁻¹] of each place [n]."""

    peak: FloatArray
    dli: FloatArray


def shape_of(days: Days) -> Shape:
    """The days made ready; exact, as lines cannot pass their corners."""
    lines = [course(day, peak_ppfd=1.0) for day in days]
    edges = np.unique(np.concatenate([np.append(one.start_h, one.end_h) for one in lines]))
    both_sides = [np.concatenate(along(one, edges[:-1], edges[1:])) for one in lines]
    return Shape(corners=np.array(both_sides).T, mol_per_ppfd=np.array([dli(one) for one in lines]))


def light_of(full_ppfd: FloatArray, shape: Shape) -> Light:
    """Peak and dose where each group gives `full_ppfd` [groups, n] fully on."""
    peak: FloatArray = (shape.corners @ full_ppfd).max(axis=0)
    return Light(peak=peak, dli=shape.mol_per_ppfd @ full_ppfd)
