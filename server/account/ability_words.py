"""What a lamp can do, in words: one place for every page that says so."""

from server.account.ability import Ability
from server.wording import figures


def dims_words(can: Ability) -> str:
    """'smoothly, down to 10 %', 'in steps of 5 %, down to 10 %', 'not at all: on or off'."""
    if can.dims == "no":
        return "not at all: on or off"
    least = _percent(can.levels[0])
    if can.dims == "smooth":
        return f"smoothly, down to {least}"
    return f"in steps of {_percent(can.level_step)}, down to {least}"


def heights_words(can: Ability, unit: str) -> str:
    """Between which heights it may hang over this tank."""
    if can.highest_cm < can.lowest_cm:
        return (
            f"It needs {figures.length(can.lowest_cm, unit)} above the water; there is room for "
            f"{figures.length(can.highest_cm, unit)}."
        )
    low = figures.length_number(can.lowest_cm, unit)
    return f"{low} to {figures.length(can.highest_cm, unit)}"


def refused_power(can: Ability) -> str:
    """Why a power cannot be set, and what can."""
    if can.dims == "no":
        return f"{can.name} does not dim: it is on at 100 %, or off at 0 %."
    least = _percent(can.levels[0])
    steps = f" in steps of {_percent(can.level_step)}" if can.dims == "steps" else ""
    return f"{can.name} can be set from {least} to 100 %{steps}, or off at 0 %."


def _percent(share: float) -> str:
    return f"{figures.number(100 * share, 1).removesuffix('.0')} %"
