"""What is told about a photometric file: on its calculator page and on a lamp's page."""

from dataclasses import dataclass

import numpy as np

from server.drawing.polar import Polar, polar
from server.optics.photometric_file import PhotometricFile
from server.optics.photometry import IntensityTable
from server.web.filters import length, number, percent, significant

_STEP_DEG = 3.0


@dataclass(frozen=True)
class FileTold:
    """A file that was read, ready to place."""

    name: str
    answer: str
    do: str
    sure: str
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    rose: Polar


def file_told(file: PhotometricFile, *, name: str, unit: str) -> FileTold:
    """The answer, the figures and the rose of a file."""
    table = file.table
    return FileTold(
        name=name,
        answer=(
            f"Half-value beam {_beams(table)}; {percent(table.share_down)} of the light goes "
            "downwards."
        ),
        do=(
            "Add this file to the lamp on the club's shelf: it takes the place of the beam angle. "
            "Its lumens are not PPFD; the lamp's photon flux is stated beside it."
        ),
        sure=(
            "As sure as the laboratory's measurement. All colours are taken to leave the lamp in "
            "the same directions, and the lamp is taken as far away against its size."
        ),
        facts=_facts(file, unit),
        notes=file.notes,
        rose=rose(table, "Intensity by direction"),
    )


def rose(table: IntensityTable, title: str) -> Polar:
    """Intensity across (C0–C180) and, where it differs, along (C90–C270) the lamp."""
    angles = np.arange(-90.0, 90.1, _STEP_DEG)
    across = _plane(table, 0.0, angles)
    along = _plane(table, 90.0, angles)
    differs = bool(np.abs(across - along).max() > 0.02 * max(across.max(), 1e-9))
    return polar(
        width=320,
        title=title,
        description=f"Half-value beam {_beams(table)}.",
        angles_deg=[float(angle) for angle in angles],
        values=[float(value) for value in across],
        other=([float(a) for a in angles], [float(v) for v in along]) if differs else None,
        edge_deg=table.beam_deg(0.0),
    )


def _plane(table: IntensityTable, phi: float, angles: np.ndarray) -> np.ndarray:
    side = np.where(angles >= 0, phi, phi + 180.0)
    return np.asarray(table.at(np.abs(angles), side))


def _beams(table: IntensityTable) -> str:
    across, along = table.beam_deg(0.0), table.beam_deg(90.0)
    if abs(across - along) < 1:
        return f"{number(across)}°"
    return f"{number(across)}° across the lamp and {number(along)}° along it"


def _facts(file: PhotometricFile, unit: str) -> tuple[tuple[str, str], ...]:
    table = file.table
    ratio = file.light_output_ratio
    rows = [
        ("Standard", file.standard),
        ("Lamp", file.title or "not named"),
        ("Flux", f"{significant(file.flux_lm, 4)} lm from the intensities"),
        ("By the zonal sum", f"{significant(table.zonal_flux, 4)} lm"),
        ("Straight down", f"{significant(float(table.at(0.0, 0.0)), 4)} cd"),
        ("Planes and angles", f"{table.phi_deg.size} × {table.theta_deg.size} after unfolding"),
    ]
    if ratio is not None:
        rows.append(("Light output ratio", f"{percent(ratio, 1)} of the bare lamps' lumens"))
    if file.watts is not None:
        rows.append(("Input", f"{file.watts:g} W"))
    if max(file.opening_cm) > 0:
        sizes = " × ".join(length(side, unit) for side in file.opening_cm)
        rows.append(("Luminous opening", f"{sizes} (length, width, height)"))
    return tuple(rows)
