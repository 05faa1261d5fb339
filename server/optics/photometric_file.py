"""What a photometric file says once it was read, and how it is refused when it cannot be."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.optics.broken_file import BrokenFile
from server.optics.photometry import IntensityTable

Floats = NDArray[np.float64]

MAX_ANGLES = 1000
MAX_BYTES = 1_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotometricFile:
    """A lamp as a laboratory measured it.

    standard: "LM-63-2002", "EULUMDAT" and so on. title: maker and name as the file words them.
    table: candela by direction, phi = 0 in the file's plane C0 (across the lamp's length).
    lamp_lm: lumens of the bare lamps the file is relative to; None when it is absolute.
    watts: input watts where stated. opening_cm: luminous length, width and height.
    notes: what a careful reader should know, in sentences.
    """

    standard: str
    title: str
    table: IntensityTable
    lamp_lm: float | None
    watts: float | None
    opening_cm: tuple[float, float, float]
    notes: tuple[str, ...]

    @property
    def flux_lm(self) -> float:
        """Luminous flux of the whole lamp [lm]: the table's exact integral."""
        return self.table.flux

    @property
    def beam_across_deg(self) -> float:
        """Half-value beam [°] in the file's plane C0."""
        return self.table.beam_deg(0.0)

    @property
    def beam_along_deg(self) -> float:
        """Half-value beam [°] in the file's plane C90."""
        return self.table.beam_deg(90.0)

    @property
    def light_output_ratio(self) -> float | None:
        """Part of the bare lamps' lumens that leaves the fixture, where the file tells."""
        return None if self.lamp_lm is None else self.flux_lm / self.lamp_lm


def unfolded(planes_deg: Floats, rows: Floats, mirrors: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Planes and their mirror images over the full circle, sorted: (phi, intensity).

    A mirror m turns plane C into m − C: 0 mirrors across the plane C0–C180, 180 across
    C90–C270. With both, the half turn comes by itself.
    """
    full: dict[float, int] = {}
    for row, plane in enumerate(planes_deg):
        images = [plane]
        for mirror in mirrors:
            images += [mirror - image for image in images]
        for image in images:
            full.setdefault(round(float(np.mod(image, 360.0)), 6) % 360.0, row)
    phi = np.array(sorted(full))
    return phi, rows[[full[angle] for angle in phi]]


def table_of(theta: Floats, phi: Floats, rows: Floats, line: int) -> IntensityTable:
    """The table, its refusals turned into words about the file."""
    if np.any(rows < 0):
        raise BrokenFile(line, "an intensity is negative")
    try:
        return IntensityTable(theta_deg=theta, phi_deg=phi, intensity=rows)
    except ValueError as wrong:
        raise BrokenFile(line, str(wrong)) from None
