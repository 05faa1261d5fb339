"""Which factors a round of readings is multiplied by, and where they come from, in words."""

from server.models import Meter, MeterCalibration
from server.web import filters


def multiplied(immersion: float, calibration: float) -> str:
    """What happens to each value of a session between the display and the map."""
    factor = immersion * calibration
    if immersion == calibration == 1:
        return "Shown as the meter showed them; no factor was applied."
    return (
        f"Each value as read is multiplied once by {factor:.4g}: immersion factor "
        f"{immersion:g} times calibration factor {calibration:g}."
    )


def calibration_words(factor: float, in_force: MeterCalibration | None) -> str:
    """A session's calibration factor beside the one the meter's book had in force that day."""
    if in_force is None:
        return f"{factor:g}" if factor == 1 else f"{factor:g}, as typed"
    done = filters.day(in_force.done_on)
    if factor == in_force.factor:
        return f"{factor:g}, in force since {done}"
    return f"{factor:g}, as typed; in force on that day was {in_force.factor:g}, since {done}"


def meter_words(meter: Meter, in_force: MeterCalibration | None) -> str:
    """A meter to choose, with the factors it brings."""
    words = f"{meter.name} (immersion factor {meter.immersion_factor:g}"
    if in_force is not None:
        words += f", calibration {in_force.factor:g} since {filters.day(in_force.done_on)}"
    return f"{words})"
