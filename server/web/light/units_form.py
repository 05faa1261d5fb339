"""What a visitor types into the light-unit calculator; the address carries it."""

from dataclasses import dataclass
from typing import cast

from starlette.datastructures import QueryParams

from server.models import Member
from server.optics.light_units import UNIT_NAMES, VALUE_LIMITS, Unit
from server.optics.spectrum import Spectrum
from server.web.light.light_form import light_fields, read_light, typed_in
from server.web.light.spectrum_form import mixed
from server.web.tanks.typed import Refused

DEFAULTS = {**light_fields(), "value": "1000", "unit": "lux", "light": "royal_blue"}


@dataclass(frozen=True)
class UnitsTyped:
    """A reading in one unit of a stated light."""

    value: float
    unit: Unit
    spectrum: Spectrum
    values: dict[str, str]


def read_units(query: QueryParams, who: Member | None) -> UnitsTyped | Refused:
    """The light-unit calculator's address."""
    typed = typed_in(query, who, DEFAULTS)
    value = typed.number("value", low=VALUE_LIMITS[0], high=1e6, like="1000")
    unit = cast(Unit, typed.choice("unit", UNIT_NAMES, otherwise="lux"))
    record = read_light(typed)
    spectrum = None
    if record is not None and not typed.errors:
        spectrum = mixed(typed.errors, "light", [{"share": 1.0, "spectrum": record}])
    if typed.errors or value is None or spectrum is None:
        return typed.refused()
    return UnitsTyped(value, unit, spectrum, typed.values)
