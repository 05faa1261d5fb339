"""The depth at which a measured map is drawn from above."""

from collections.abc import Sequence

from server.models import Animal, Tank
from server.web import filters
from server.web.ask import Asked
from server.web.forms import OWN_UNIT, Field, Filled, Form, Wrong, shown_length
from server.web.three_views import usual_depth


def read_depth(ask: Asked, tank: Tank, animals: Sequence[Animal]) -> tuple[Filled, float]:
    """The form of the address, and the depth it asks for [cm]; the usual one where it fails."""
    usual_cm = usual_depth(tank, animals)
    depth = _depth(tank, usual_cm)
    form = Form(depth).in_address(ask, lengths={"depth": usual_cm})
    if not form.text("depth"):
        form = Form(depth).showing(unit=ask.unit, lengths={"depth": usual_cm})
    return form, form[depth]


def _depth(tank: Tank, usual_cm: float) -> Field[float]:
    def read(typed: str, form: Filled) -> float:
        deepest = f"{shown_length(tank.depth_cm, form.unit)} {form.unit}"
        try:
            depth_cm = filters.to_cm(filters.read_number(typed), form.unit)
        except filters.NotANumber as wrong:
            raise Wrong("Type one depth, such as 20.") from wrong
        if not 0 <= depth_cm <= tank.depth_cm + 0.05:
            raise Wrong(f"The water is {deepest} deep: type a depth from 0 to {deepest}.")
        return min(depth_cm, tank.depth_cm)

    return Field(
        name="depth", label="Depth", read=read, otherwise=usual_cm, kind="number", needed=False,
        unit=OWN_UNIT, most=40,
    )  # fmt: skip
