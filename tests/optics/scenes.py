"""Lit tanks for tests: the brute-force fields that are carried, and small ones made on the spot."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from server.optics.emitters import Emitter
from server.optics.photometry import table_of
from server.optics.tank import Brace, Film, Rock, Tank, Walls, Water

FOLDER = Path(__file__).parents[1] / "published" / "light_fields"
NAMES = sorted(path.stem for path in FOLDER.glob("*.json"))


@dataclass(frozen=True)
class Traced:
    """A brute-force field: `ppfd` and `se` have the shape (depths, ny, nx)."""

    name: str
    tank: Tank
    water: Water
    emitters: tuple[Emitter, ...]
    depths_cm: tuple[float, ...]
    cell_cm: float
    share_into_water: float
    means: tuple[float, ...]
    ppfd: np.ndarray
    se: np.ndarray


def scene(request: dict[str, Any]) -> tuple[Tank, Water, tuple[Emitter, ...]]:
    """The domain inputs of a request in the form of POST /api/spread."""
    told = dict(request["tank"])
    told["walls"] = Walls(**told["walls"])
    told["rocks"] = tuple(Rock(**one) for one in told.get("rocks", []))
    told["braces"] = tuple(Brace(**one) for one in told.get("braces", []))
    told["film"] = Film(**told.get("film", {}))
    tank = Tank(**told)
    bands = request["water"]["absorption_per_m"]
    absorption = tuple(map(tuple, bands)) if isinstance(bands, list) else ((1.0, bands),)
    water = Water(refractive_index=request["water"]["refractive_index"], absorption=absorption)
    return tank, water, tuple(_emitter(one) for one in request["emitters"])


def _emitter(told: dict[str, Any]) -> Emitter:
    pairs = told.get("intensity")
    table = table_of([(angle, level) for angle, level in pairs]) if pairs else None
    return Emitter(**{**told, "intensity": table})


FURNISHED = Path(__file__).parents[1] / "published" / "furnished_fields"
FURNISHED_NAMES = sorted(path.stem for path in FURNISHED.glob("*.json"))


def furnished(name: str) -> Traced:
    """A tank with rocks, braces, film, lid, leaning lamps or tables (ten billion photons each).

    NaN where a rock fills any part of a cell.
    """
    told = json.loads((FURNISHED / f"{name}.json").read_text(encoding="utf-8"))
    tank, water, emitters = scene(told["request"])
    with np.load(FURNISHED / "fields.npz") as fields:
        ppfd = fields[name].astype(np.float64)
    return Traced(
        name=name, tank=tank, water=water, emitters=emitters,
        depths_cm=tuple(told["request"]["depths_cm"]), cell_cm=told["request"]["cell_cm"],
        share_into_water=told["share_into_water"], means=tuple(told["means"]), ppfd=ppfd,
        se=told["median_se_share"] * ppfd,
    )  # fmt: skip


def traced(name: str) -> Traced:
    """One of the carried fields (150 million photons each, made for this project)."""
    told = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    tank, water, emitters = scene(told["request"])
    with np.load(FOLDER / "standard_errors.npz") as errors:
        se = errors[name].astype(np.float64)
    return Traced(
        name=name,
        tank=tank,
        water=water,
        emitters=emitters,
        depths_cm=tuple(told["request"]["depths_cm"]),
        cell_cm=told["request"]["cell_cm"],
        share_into_water=told["share_into_water"],
        means=tuple(plane["mean"] for plane in told["planes"]),
        ppfd=np.array([plane["ppfd"] for plane in told["planes"]]),
        se=se,
    )
