"""What is left over once every number is put right: a smooth, correlated field.

A Gaussian process with Matérn's kernel of smoothness 3/2 (Rasmussen & Williams 2006, Gaussian
Processes for Machine Learning, eq. 4.17): neighbours share their departure, far places do not.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def correlation(distance_cm: Floats, range_cm: float) -> Floats:
    """Matérn 3/2: (1 + √3 d/ℓ) exp(−√3 d/ℓ)."""
    scaled = np.sqrt(3.0) * distance_cm / range_cm
    return np.asarray((1.0 + scaled) * np.exp(-scaled), dtype=np.float64)


def distances(one: Floats, other: Floats) -> Floats:
    """Distances between two sets of places (n, 3) and (m, 3), shape (n, m) [cm]."""
    gap = one[:, None, :] - other[None, :, :]
    return np.asarray(np.sqrt((gap**2).sum(axis=2)), dtype=np.float64)
