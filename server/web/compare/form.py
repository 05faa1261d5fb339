"""What is asked of a comparison, from the address: which setups, which depth, which range."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from starlette.datastructures import QueryParams

from server.web import filters
from server.web.tanks.typed import shown_length

MOST = 4
DEPTH_CM = (0.0, 300.0)
MOST_DEPTHS = 3
PPFD = (0.0, 5000.0)
USUAL_RANGE = (75.0, 350.0)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """setups: ids in the order asked for; depths_cm empty: choose one that suits all, the first
    is drawn; front: draw the tanks from the front instead of from above.

    values and errors: the form as typed, and the words beside its fields.
    """

    setups: tuple[int, ...]
    depths_cm: tuple[float, ...]
    low_ppfd: float
    high_ppfd: float
    front: bool = False
    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)


def read_asked(query: QueryParams, unit: str) -> Asked:
    errors: dict[str, str] = {}
    values = {name: query.get(name, "")[:40] for name in ("depth", "low", "high", "q", "view")}
    setups = _setups(query.getlist("s"), errors)
    depths = _depths(values["depth"], unit, errors)
    low = _ppfd(values, "low", USUAL_RANGE[0], errors)
    high = _ppfd(values, "high", USUAL_RANGE[1], errors)
    if low >= high and "low" not in errors and "high" not in errors:
        errors["high"] = "The upper end must be above the lower end."
        low, high = USUAL_RANGE
    return Asked(
        setups=setups,
        depths_cm=depths,
        low_ppfd=low,
        high_ppfd=high,
        front=values["view"] == "front",
        values=values,
        errors=errors,
    )


def _setups(typed: Sequence[str], errors: dict[str, str]) -> tuple[int, ...]:
    found = dict.fromkeys(
        int(text) for text in typed if text.isascii() and text.isdigit() and len(text) < 10
    )
    if len(found) > MOST:
        errors["s"] = f"At most {MOST} setups stand side by side; the first {MOST} are shown."
    return tuple(found)[:MOST]


def _depths(typed: str, unit: str, errors: dict[str, str]) -> tuple[float, ...]:
    """Up to three depths with semicolons or spaces between them, each once."""
    parts = typed.replace(";", " ").split()
    if len(parts) > MOST_DEPTHS:
        errors["depth"] = f"At most {MOST_DEPTHS} depths are compared at once."
        parts = parts[:MOST_DEPTHS]
    found = [_depth(part, unit, errors) for part in parts]
    return tuple(dict.fromkeys(depth for depth in found if depth is not None))


def _depth(typed: str, unit: str, errors: dict[str, str]) -> float | None:
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        errors["depth"] = "Type one depth or several, such as 10; 25; 40."
        return None
    if not DEPTH_CM[0] <= depth_cm <= DEPTH_CM[1]:
        errors["depth"] = f"A depth lies from 0 to {shown_length(DEPTH_CM[1], unit)} {unit}."
        return None
    return depth_cm


def _ppfd(values: dict[str, str], name: str, usual: float, errors: dict[str, str]) -> float:
    if not values[name].strip():
        return usual
    try:
        value = filters.read_number(values[name])
    except filters.NotANumber:
        value = -1.0
    if not PPFD[0] <= value <= PPFD[1]:
        errors[name] = f"Type a PPFD from 0 to {PPFD[1]:g}, such as {usual:g}."
        return usual
    return value
