"""The natural day: how long it is at a latitude on a date, and a lamp's day made after it."""

import math
from datetime import date

from server.dose.day import HOURS, Day

LATITUDE_LIMITS = (-60.0, 60.0)
J2000 = date(2000, 1, 1)
SUNRISE_DEG = -0.833
"""Sun's centre at sunrise: refraction and half the disc, the usual convention."""


def declination_rad(on: date) -> float:
    """Sun's declination at noon UTC [rad], good to 0.01° between 1950 and 2050.

    Low-precision position of the Astronomical Almanac: mean longitude and anomaly from the
    days since J2000.0, then the ecliptic longitude. From memory; checked against pvlib.
    """
    days = (on - J2000).days
    mean = math.radians(280.460 + 0.9856474 * days)
    anomaly = math.radians(357.528 + 0.9856003 * days)
    longitude = mean + math.radians(1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    tilt = math.radians(23.439 - 0.0000004 * days)
    return math.asin(math.sin(tilt) * math.sin(longitude))


def day_length_h(*, latitude_deg: float, on: date) -> float:
    """Hours from sunrise to sunset [h]; 0 in polar night, 24 in polar day."""
    latitude, declination = math.radians(latitude_deg), declination_rad(on)
    above = math.sin(math.radians(SUNRISE_DEG)) - math.sin(latitude) * math.sin(declination)
    cosine = above / (math.cos(latitude) * math.cos(declination))
    return 2 / 15 * math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def natural_day(*, latitude_deg: float, on: date, noon_h: float = 13.0, steps: int = 12) -> Day:
    """A half-sine day of natural length around `noon_h` [h], as `steps` straight lines.

    Twelve lines give 0.6 % less dose than the smooth curve, which is the 2/π of its peak.
    """
    length = day_length_h(latitude_deg=latitude_deg, on=on)
    shares = [step / steps for step in range(steps + 1)]
    return Day(
        hours=tuple((noon_h + (share - 0.5) * length) % HOURS % HOURS for share in shares),
        levels=tuple(round(100 * math.sin(math.pi * share), 1) + 0.0 for share in shares),
    )
