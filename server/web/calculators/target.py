"""The light wanted, as the calculators of a lit tank ask for it."""

from typing import Any

from server.web.forms import Field, Filled

UNIT = "µmol m⁻² s⁻¹"
TOO_MUCH = "With cells this small the answer would take too long: ask for larger cells."


def not_above(form: Filled, high_field: Field[Any], low: float, high: float) -> tuple[float, float]:
    """A range of PPFD; says so where its end lies below its beginning."""
    if high <= low and not {"low", "high"} & set(form.errors):
        form.wrong(high_field, "The most must be more than the least.")
    return low, high
