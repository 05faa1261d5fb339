"""The list of calculators, in the order of the page."""

from dataclasses import dataclass
from typing import Any

from server.web.calculators.day_for_a_dose import DAY_FOR_A_DOSE
from server.web.calculators.dose import DOSE
from server.web.calculators.light_units import LIGHT_UNITS
from server.web.calculators.mounting_height import MOUNTING_HEIGHT
from server.web.calculators.photometric_file import PHOTOMETRIC_FILE
from server.web.calculators.registry import Calculator
from server.web.calculators.shimmer import SHIMMER
from server.web.calculators.spectrum import SPECTRUM
from server.web.calculators.spread import SPREAD
from server.web.calculators.watts import WATTS


@dataclass(frozen=True)
class Group:
    """Calculators that belong together."""

    name: str
    entries: tuple[Calculator[Any, Any], ...]


GROUPS = (
    Group("Light in a tank", (SPREAD, MOUNTING_HEIGHT, SHIMMER)),
    Group("Light over a day", (DOSE, DAY_FOR_A_DOSE)),
    Group("What a lamp gives", (LIGHT_UNITS, SPECTRUM, WATTS, PHOTOMETRIC_FILE)),
)
CALCULATORS = tuple(one for group in GROUPS for one in group.entries)
