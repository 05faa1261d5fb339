"""The sun through a window: where it stands, what a clear sky leaves of it, and as an emitter.

Place of the sun: the low-precision formulas of Meeus, Astronomical Algorithms, ch. 25, as spread by
NOAA (from memory; good to some hundredths of a degree, checked against pvlib in the tests). Light
of a clear sky square to the sun's rays: Meinel & Meinel 1976, I = 1353 · 0.7^(AM^0.678) W m⁻², with
the air mass of Kasten & Young 1989 (both from memory; haze and cloud only take away). Photons: 45 %
of sunlight's energy lies within 400–700 nm (Monteith, from memory), 4.57 µmol per joule of it
(Thimijan & Heins 1983). Only light that meets the water's surface counts, not what comes in by the
glass sides; the sky's own light is left out.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

import numpy as np

from server.optics.emitters import Emitter
from server.optics.interface import slab_reflectance
from server.optics.photometry import IntensityTable
from server.optics.tank import Tank

Pane = Literal["none", "single", "double"]

_SHEETS: dict[Pane, int] = {"none": 0, "single": 1, "double": 2}

SUN_W_M2 = 1353.0
PAR_SHARE, UMOL_PER_J = 0.45, 4.57
CLEAR_SHEET = 0.97
"""What a 4 mm sheet of window glass leaves besides its reflections: our choice; coatings take
more, so that a coated double pane may let in a third less than said here."""

LOWEST_DEG = 3.0
"""Below this height trees, houses and air leave no beam worth planning with: our choice."""

_FURTHEST_CM, _HIGHEST_CM = 1500.0, 900.0
_EDGE = 1.03


@dataclass(frozen=True, kw_only=True)
class SunPlace:
    """height_deg above the horizon, and compass_deg from north over east."""

    height_deg: float
    compass_deg: float


@dataclass(frozen=True, kw_only=True)
class Window:
    """A window the sun shines through onto the tank.

    faces_deg: compass direction it looks to, 0 north, 90 east. from_hour, to_hour: local hours of
    day between which the keeper sees sun on the water; the sun must stand before the window too.
    Raises ValueError for hours or directions outside their ranges.
    """

    faces_deg: float
    from_hour: float = 0.0
    to_hour: float = 24.0
    pane: Pane = "double"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.faces_deg) and 0.0 <= self.faces_deg < 360.0):
            raise ValueError(f"faces_deg must lie from 0 to below 360, not {self.faces_deg}")
        if not 0.0 <= self.from_hour < self.to_hour <= 24.0:
            raise ValueError("from_hour must lie before to_hour, both within 0 and 24")
        if self.pane not in _SHEETS:
            raise ValueError(f"pane must be one of {', '.join(_SHEETS)}, not {self.pane}")


def sun_place(latitude_deg: float, longitude_deg: float, when: datetime) -> SunPlace:
    """Where the sun's middle stands, without the air's refraction; `when` carries its zone."""
    days = (when.astimezone(UTC) - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400
    mean_place = math.radians((280.46646 + 0.98564736 * days) % 360)
    anomaly = math.radians((357.52911 + 0.98560028 * days) % 360)
    centre = 1.914602 * math.sin(anomaly) + 0.019993 * math.sin(2 * anomaly)
    centre += 0.000289 * math.sin(3 * anomaly)
    along = mean_place + math.radians(centre)
    tilt = math.radians(23.439291 - 3.563e-7 * days)
    declination = math.asin(math.sin(tilt) * math.sin(along))
    ascension = math.atan2(math.cos(tilt) * math.sin(along), math.cos(along))
    star_time = math.radians((280.46062 + 360.98564737 * days + longitude_deg) % 360)
    hour, north = star_time - ascension, math.radians(latitude_deg)
    height = math.sin(north) * math.sin(declination)
    height += math.cos(north) * math.cos(declination) * math.cos(hour)
    west = math.cos(declination) * math.sin(hour)
    south = math.sin(north) * math.cos(declination) * math.cos(hour)
    south -= math.cos(north) * math.sin(declination)
    return SunPlace(
        height_deg=math.degrees(math.asin(max(-1.0, min(1.0, height)))),
        compass_deg=(math.degrees(math.atan2(west, south)) + 180.0) % 360.0,
    )


def clear_sky_ppfd(height_deg: float) -> float:
    """PPFD square to the rays of the sun at that height under a clear sky [µmol m⁻² s⁻¹]."""
    if height_deg <= 0.0:
        return 0.0
    air = 1.0 / (math.sin(math.radians(height_deg)) + 0.50572 * (height_deg + 6.07995) ** -1.6364)
    return float(SUN_W_M2 * 0.7 ** (air**0.678) * PAR_SHARE * UMOL_PER_J)


def pane_lets_in(cosine: float, pane: Pane) -> float:
    """Share of light that passes a window at an angle to its normal, sheet after sheet.

    Between two sheets light goes to and fro: T = T₁² / (1 − R₁²).
    """
    back = float(slab_reflectance(cosine, n_from=1.0, n_beyond=1.0))
    through = (1.0 - back) * CLEAR_SHEET
    if _SHEETS[pane] == 2:
        return through**2 / (1.0 - back**2)
    return through if _SHEETS[pane] else 1.0


def sun_through(
    tank: Tank,
    window: Window,
    *,
    latitude_deg: float,
    longitude_deg: float,
    when: datetime,
    front_faces_deg: float,
) -> Emitter | None:
    """The sun as an emitter far away, or None while it does not shine in.

    when: local time with its zone; its hour is held against the window's. front_faces_deg: compass
    direction the tank's front looks to.
    """
    hour = when.hour + when.minute / 60 + when.second / 3600
    sun = sun_place(latitude_deg, longitude_deg, when)
    height = math.radians(sun.height_deg)
    before = math.cos(height) * math.cos(math.radians(sun.compass_deg - window.faces_deg))
    if sun.height_deg < LOWEST_DEG or before <= 0.0 or not (
        window.from_hour <= hour <= window.to_hour
    ):  # fmt: skip
        return None
    square = clear_sky_ppfd(sun.height_deg) * pane_lets_in(before, window.pane)
    # The tank's x runs to the keeper's right as he looks at the front, y away from him.
    from_x_deg = front_faces_deg - 90.0 - sun.compass_deg
    return far_emitter(
        tank, height_deg=sun.height_deg, from_x_deg=from_x_deg,
        level_ppfd=square * math.sin(height),
    )  # fmt: skip


def far_emitter(tank: Tank, *, height_deg: float, from_x_deg: float, level_ppfd: float) -> Emitter:
    """A source far off that lights the whole surface evenly from one direction.

    height_deg: above the horizon. from_x_deg: where it stands, from the x axis towards the y axis.
    level_ppfd: what a level sensor above the water gets [µmol m⁻² s⁻¹]. Its rays spread by a few
    degrees over the tank; its table sends light to the surface and somewhat beside it, and
    `ppf_umol_s` is all of that.
    """
    slope = math.tan(math.radians(height_deg))
    away = min(_FURTHEST_CM, _HIGHEST_CM / slope)
    turn = math.radians(from_x_deg)
    x = tank.length_cm / 2 + away * math.cos(turn)
    y = tank.width_cm / 2 + away * math.sin(turn)
    height = away * slope
    table = _window_of(tank, x, y, height)
    # E = I cos³θ / H², and the table is 1 / cos³θ: even over the surface.
    return Emitter(
        x_cm=x, y_cm=y, height_cm=height, intensity=table,
        ppf_umol_s=level_ppfd * height**2 / 1e4 * table.flux,
    )  # fmt: skip


def _window_of(tank: Tank, x_cm: float, y_cm: float, height_cm: float) -> IntensityTable:
    """Directions from a far place to the surface, a little wider, with light even on the level."""
    middle = np.array([tank.length_cm, tank.width_cm]) / 2
    corners = np.array([(a, b) for a in (-1, 1) for b in (-1, 1)]) * middle * _EDGE
    apart = middle + corners - np.array([x_cm, y_cm])
    aim = math.degrees(math.atan2(*(middle - np.array([x_cm, y_cm]))[::-1]))
    turned = (np.degrees(np.arctan2(apart[:, 1], apart[:, 0])) - aim + 180.0) % 360.0 - 180.0
    away = np.hypot(apart[:, 0], apart[:, 1])
    outside = np.maximum(np.abs(middle - np.array([x_cm, y_cm])) - middle * _EDGE, 0.0)
    nearest = float(np.hypot(outside[0], outside[1]))
    theta = np.degrees(np.arctan(np.linspace(nearest, float(away.max()), 60) / height_cm))
    level = 1.0 / np.cos(np.radians(theta)) ** 3
    reach = float(np.abs(turned).max()) + 0.2
    if reach > 120.0:  # it stands over the tank
        return IntensityTable(theta_deg=theta, phi_deg=np.zeros(1), intensity=level[None, :])
    edges = np.array([-reach - 0.2, -reach, reach, reach + 0.2])
    phi = (aim + edges) % 360.0
    order = np.argsort(phi)
    shines = np.array([0.0, 1.0, 1.0, 0.0])[order]
    return IntensityTable(
        theta_deg=theta, phi_deg=phi[order], intensity=shines[:, None] * level[None, :]
    )
