"""The address of the plan page with lamps tried elsewhere."""

from collections.abc import Sequence
from urllib.parse import urlencode

from server.db.tanks import LampPlace
from server.web.forms import shown_length
from server.wording import figures


def plan_address(
    tank_id: int, setup_id: int, hung: Sequence[LampPlace], tried: Sequence[LampPlace], unit: str
) -> str:
    """The plan page of a setup; only what differs from how it hangs is written out."""
    values = {"setup": str(setup_id), "unit": unit}
    for n, (now, then) in enumerate(zip(hung, tried, strict=True)):
        if then.power != now.power:
            values[f"p{n}"] = figures.number(100 * then.power, 1).removesuffix(".0")
        if then.height_cm != now.height_cm:
            values[f"h{n}"] = shown_length(then.height_cm, unit)
        if then.x_cm != now.x_cm:
            values[f"x{n}"] = shown_length(then.x_cm, unit)
        if then.y_cm != now.y_cm:
            values[f"y{n}"] = shown_length(then.y_cm, unit)
    return f"/tanks/{tank_id}/plan?{urlencode(values)}"
