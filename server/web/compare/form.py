"""What is asked of a comparison, from the address: which setups, which depth, which range."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from starlette.datastructures import QueryParams

from server.web import filters
from server.web.tanks.typed import shown_length

MOST = 4
DEPTH_CM = (0.0, 300.0)
PPFD = (0.0, 5000.0)
USUAL_RANGE = (75.0, 350.0)


@dataclass(frozen=True, kw_only=True)
class Asked:
    """setups: ids in the order asked for; depth_cm None: choose one that suits all.

    values and errors: the form as typed, and the words beside its fields.
    """

    setups: tuple[int, ...]
    depth_cm: float | None
    low_ppfd: float
    high_ppfd: float
    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)


def read_asked(query: QueryParams, unit: str) -> Asked:
    errors: dict[str, str] = {}
    values = {name: query.get(name, "")[:40] for name in ("depth", "low", "high", "q")}
    setups = _setups(query.getlist("s"), errors)
    depth = _length(values["depth"], unit, errors)
    low = _ppfd(values, "low", USUAL_RANGE[0], errors)
    high = _ppfd(values, "high", USUAL_RANGE[1], errors)
    if low >= high and "low" not in errors and "high" not in errors:
        errors["high"] = "The upper end must be above the lower end."
        low, high = USUAL_RANGE
    return Asked(
        setups=setups,
        depth_cm=depth,
        low_ppfd=low,
        high_ppfd=high,
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


def _length(typed: str, unit: str, errors: dict[str, str]) -> float | None:
    if not typed.strip():
        return None
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        errors["depth"] = "Type one depth, such as 20."
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
