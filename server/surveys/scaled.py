"""Light changed by a factor: what any change of lamps does to what is known of it."""

import numpy as np
from numpy.typing import NDArray

from server.surveys.estimate import Estimate

Floats = NDArray[np.float64]

PER_CHANGE = 0.05
"""A light further from the one measured is known less well, by this share of the ln change."""


def times(light: Estimate, factor: Floats) -> Estimate:
    """Light changed by a factor, a little less sure the further it goes from what was measured."""
    log = np.log(np.maximum(factor, 1e-6))
    scale = np.exp(log)
    extra = PER_CHANGE * np.abs(log)
    return Estimate(
        ppfd=light.ppfd * scale,
        low=light.low * scale * np.exp(-extra),
        high=light.high * scale * np.exp(extra),
        log_mean=light.log_mean + log,
        log_sd=np.sqrt(light.log_sd**2 + extra**2),
        weight=light.weight,
    )
