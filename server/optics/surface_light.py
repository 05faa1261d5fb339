"""What the surface and a pane let into the water, remembered for quick look-ups."""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.interface import into_water

Floats = NDArray[np.float64]

_STEPS = 8192


@lru_cache(maxsize=32)
def _table(refractive_index: float, cover: bool) -> Floats:
    """By even steps of the square root of the cosine, which is gentle where light grazes."""
    root = np.linspace(0.0, 1.0, _STEPS)
    return into_water(root**2, n_water=refractive_index, cover=cover)


def passed_at(cosine: Floats, refractive_index: float, cover: bool) -> Floats:
    """Share that passes into the water at each cosine in air; nearest of 8192 steps."""
    index = (np.sqrt(cosine) * (_STEPS - 1) + 0.5).astype(np.intp)
    return _table(refractive_index, cover).take(index)
