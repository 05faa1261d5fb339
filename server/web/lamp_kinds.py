"""The words of the kinds of lamp, used wherever a kind is shown; and how an estimate is written."""

import math

from server.web.filters import significant

KIND_NAMES = {
    "led_cluster": "LED cluster",
    "led_panel": "LED panel",
    "led_bar": "LED bar",
    "fluorescent_tube": "Fluorescent tubes",
    "metal_halide": "Metal halide",
    "mixed": "Mixed: tubes and LEDs",
}
KINDS = tuple(KIND_NAMES.items())


def rough(flux: float) -> str:
    """An estimated flux with two digits, for it is not surer than that."""
    step = 10.0 ** (math.floor(math.log10(flux)) - 1)
    return significant(round(flux / step) * step, 2)
