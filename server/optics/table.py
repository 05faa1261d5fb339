"""Reading the published tables that travel beside this module."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_FOLDER = Path(__file__).parent / "tables"


def columns(name: str) -> tuple[Floats, ...]:
    """The columns of tables/<name>.csv in order, as float arrays of one length."""
    rows = np.loadtxt(_FOLDER / f"{name}.csv", delimiter=",", comments="#", ndmin=2)
    return tuple(np.ascontiguousarray(column) for column in rows.T)


def smooth(at: Floats, x: Floats, y: Floats) -> Floats:
    """Cubic through the four nearest rows of an evenly spaced table (Lagrange), 0 outside it.

    For smooth standard curves given every 5 nm: a straight line between rows would read up to
    0.2 % low near the top of V(λ).
    """
    step = x[1] - x[0]
    start = np.clip(np.floor((at - x[0]) / step).astype(int) - 1, 0, x.size - 4)
    t = (at - x[start]) / step
    weights = (
        -(t - 1) * (t - 2) * (t - 3) / 6,
        t * (t - 2) * (t - 3) / 2,
        -t * (t - 1) * (t - 3) / 2,
        t * (t - 1) * (t - 2) / 6,
    )
    value = sum(weight * y[start + k] for k, weight in enumerate(weights))
    return np.where((at < x[0]) | (at > x[-1]), 0.0, value)
