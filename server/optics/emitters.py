"""What shines: points, tubes and squares over a tank, with a beam angle or a measured table."""

import math
from dataclasses import dataclass
from typing import Literal

from server.optics.photometry import IntensityTable
from server.optics.tank import check_absorption

Shape = Literal["point", "tube", "square"]

LIMITS = {
    "x_cm": (-2000.0, 4000.0),
    "y_cm": (-2000.0, 4000.0),
    "height_cm": (0.1, 1000.0),
    "ppf_umol_s": (0.0, 1e5),
    "beam_deg": (2.0, 178.0),
    "length_cm": (0.1, 2000.0),
    "side_cm": (0.1, 500.0),
    "tilt_deg": (0.0, 60.0),
    "toward_deg": (-360.0, 360.0),
}
"""Least and greatest value that is accepted for each measure (both included)."""


@dataclass(frozen=True, kw_only=True)
class Emitter:
    """One light that faces straight down, or leans.

    x_cm, y_cm: its middle. height_cm: from the water's surface up to the emitting face.
    ppf_umol_s: photon flux [µmol s⁻¹] as it shines now, power included.
    beam_deg: full angle at half intensity, I(θ) = I₀ cosᵐ θ with m = ln 0.5 / ln cos(beam/2);
        or `intensity`, a measured table that takes its place.
    length_cm: of a tube, which runs along the axis `along`. side_cm: of a square.
    tilt_deg: lean from straight down, the face turned with it; toward_deg: where it leans, 0 to
        the right wall, 90 to the back.
    absorption: (share, per metre) pairs for this light's own colours; None takes the water's.
    Raises ValueError for measures outside LIMITS or missing.
    """

    shape: Shape = "point"
    x_cm: float
    y_cm: float
    height_cm: float
    ppf_umol_s: float
    beam_deg: float | None = None
    length_cm: float | None = None
    side_cm: float | None = None
    along: Literal["x", "y"] = "x"
    intensity: IntensityTable | None = None
    absorption: tuple[tuple[float, float], ...] | None = None
    tilt_deg: float = 0.0
    toward_deg: float = 0.0

    def __post_init__(self) -> None:
        for name in ("x_cm", "y_cm", "height_cm", "ppf_umol_s", "tilt_deg", "toward_deg"):
            _within(name, getattr(self, name))
        if self.intensity is None:
            _within("beam_deg", self.beam_deg)
        if self.shape == "tube":
            _within("length_cm", self.length_cm)
        if self.shape == "square":
            _within("side_cm", self.side_cm)
        if self.absorption is not None:
            check_absorption(self.absorption)

    @property
    def size_cm(self) -> tuple[float, float]:
        """Extent along x and y; a point has none."""
        if self.shape == "tube":
            length = self.length_cm or 0.0
            return (length, 0.0) if self.along == "x" else (0.0, length)
        side = (self.side_cm or 0.0) if self.shape == "square" else 0.0
        return side, side


def _within(name: str, value: float | None) -> None:
    low, high = LIMITS[name]
    if value is None:
        raise ValueError(f"{name} is missing: a number from {low:g} to {high:g}")
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value}")
