"""How sure a session's readings are: every part of their doubt, in percent.

After JCGM 100:2008 (GUM), 5.1.6: where a result is a product of factors, the relative standard
uncertainties of uncorrelated factors add up as squares. Some parts belong to each reading alone and
shrink over many of them; the parts of the meter's factor are the same for all its readings and do
not. Standing differences (corner against corner, before against after) do not pay the latter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Calibration(StrEnum):
    """What is known of a meter's calibration."""

    PAPER = "its calibration's paper"
    COMPARED = "a comparison with a meter that has one"
    MAKER = "the maker's word for the model"
    NONE = "nothing"


class Immersion(StrEnum):
    """Where the immersion factor comes from."""

    OWN = "measured on this sensor"
    MODEL = "printed for the model"
    GUESSED = "guessed from other sensors"
    AIR = "not needed: read in air"


class Light(StrEnum):
    """Kinds of lamp, where no response curve of the meter is known."""

    DAYLIGHT = "daylight or halide"
    WHITE = "white LED"
    TUBE = "fluorescent tube"
    BLUE = "mostly blue LED"


# Relative standard uncertainties. None has a published source that was seen; each says why.
CALIBRATION = {
    Calibration.PAPER: 0.025,  # laboratories state ±5 % at two standard deviations (from memory)
    Calibration.COMPARED: 0.04,
    Calibration.MAKER: 0.05,
    Calibration.NONE: 0.10,  # our judgement
}
PER_YEAR = 0.015
"""Drift of a sensor's factor in a year: 2 % at most by the trade's rule (common practice, no
published source); taken as three quarters of it."""
IMMERSION = {
    Immersion.OWN: 0.01,
    Immersion.MODEL: 0.02,
    Immersion.GUESSED: 0.06,  # makers' factors lie between 1.1 and 1.4, most about 1.3
    Immersion.AIR: 0.0,
}
SPECTRAL = {
    Light.DAYLIGHT: 0.015,  # close to what sensors are calibrated with
    Light.WHITE: 0.03,
    Light.TUBE: 0.035,
    Light.BLUE: 0.07,  # cheap sensors answer to 420–450 nm by a tenth less (our judgement)
}
WITH_CURVE = 0.012  # spectral mismatch left after it was put right with the meter's own curve
COSINE = 0.02  # light comes within 50° of upright under water (Snell), where sensors are good


@dataclass(frozen=True, kw_only=True)
class Part:
    """One part of the doubt: relative standard uncertainty [%], whether all readings share it,
    whether it was stated or is our judgement, and its share of the whole variance [%]."""

    name: str
    percent: float
    shared: bool
    judged: bool
    share_percent: float


@dataclass(frozen=True, kw_only=True)
class Budget:
    """All parts, largest first. factor: of the meter's factor, which all readings share. one: of
    one reading; relative: of one reading against another of the same meter (each [%], standard).
    expanded: of one reading with k = 2, about 95 %. stated: whether anybody stated the factor's."""

    parts: tuple[Part, ...]
    factor_percent: float
    one_percent: float
    relative_percent: float
    expanded_percent: float
    stated: bool


def factor_doubt(
    *,
    calibration: Calibration = Calibration.NONE,
    stated: float | None = None,
    years: float = 0.0,
    immersion: Immersion = Immersion.MODEL,
    light: Light = Light.WHITE,
    curve: bool = False,
    cosine: float = COSINE,
) -> float:
    """Relative standard uncertainty of everything that scales a meter's readings alike."""
    parts = _factor_parts(
        calibration=calibration,
        stated=stated,
        years=years,
        immersion=immersion,
        light=light,
        curve=curve,
        cosine=cosine,
    )
    return math.sqrt(sum(size**2 for _, size, _ in parts))


def budget(
    *,
    reading: float,
    place: float,
    calibration: Calibration = Calibration.NONE,
    stated: float | None = None,
    years: float = 0.0,
    immersion: Immersion = Immersion.MODEL,
    light: Light = Light.WHITE,
    curve: bool = False,
    cosine: float = COSINE,
) -> Budget:
    """The budget of one reading of a session.

    reading, place: relative standard uncertainty of one reading from its own scatter and from not
    being quite where one thinks. stated: of the calibration, by its paper; None takes what is
    usual for its kind. years: since it was calibrated. Raises ValueError for negative sizes.
    """
    shared = _factor_parts(
        calibration=calibration,
        stated=stated,
        years=years,
        immersion=immersion,
        light=light,
        curve=curve,
        cosine=cosine,
    )
    own = (("reading", reading, False), ("place", place, False))
    if min(size for _, size, _ in (*shared, *own)) < 0:
        raise ValueError("an uncertainty must not be negative")
    whole = sum(size**2 for _, size, _ in (*shared, *own))
    parts = (*_parts(shared, whole, shared=True), *_parts(own, whole, shared=False))
    alone = math.sqrt(sum(size**2 for _, size, _ in own))
    return Budget(
        parts=tuple(sorted(parts, key=lambda part: -part.percent)),
        factor_percent=100 * math.sqrt(sum(size**2 for _, size, _ in shared)),
        one_percent=100 * math.sqrt(whole),
        relative_percent=100 * math.sqrt(2) * alone,
        expanded_percent=200 * math.sqrt(whole),
        stated=stated is not None,
    )


_Sizes = tuple[tuple[str, float, bool], ...]
"""Name, relative standard uncertainty, whether it is our judgement."""


def _factor_parts(
    *,
    calibration: Calibration,
    stated: float | None,
    years: float,
    immersion: Immersion,
    light: Light,
    curve: bool,
    cosine: float,
) -> _Sizes:
    paper = CALIBRATION[calibration] if stated is None else stated
    return (
        ("calibration", paper, stated is None),
        ("age of the calibration", PER_YEAR * years, True),
        ("immersion", IMMERSION[immersion], True),
        ("colour of the light", WITH_CURVE if curve else SPECTRAL[light], True),
        ("light from the side", cosine, cosine == COSINE),
    )


def _parts(sizes: Sequence[tuple[str, float, bool]], whole: float, *, shared: bool) -> list[Part]:
    return [
        Part(
            name=name,
            percent=100 * size,
            shared=shared,
            judged=judged,
            share_percent=100 * size**2 / whole if whole > 0 else 0.0,
        )
        for name, size, judged in sizes
    ]
