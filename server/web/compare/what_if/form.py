"""What is tried on a tank, from the address: whose lamps, which swapped or added, which wall."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from starlette.datastructures import QueryParams

from server.comparing.which_lamp import places_along
from server.db.light import optics_tank
from server.db.tanks import LampPlace
from server.models import Tank
from server.web import filters

MOST_LAMPS = 12
LEAST_HEIGHT_CM, MOST_HEIGHT_CM = 1.0, 300.0


@dataclass(frozen=True, kw_only=True)
class Tried:
    """The lamps to try over the tank (with its back wall as asked); solve: find height and power.

    source: the setup the lamps were taken from, None for what hangs now or lamps given one by one.
    """

    tank: Tank
    lamps: tuple[LampPlace, ...]
    solve: bool
    depth_cm: float | None
    values: dict[str, str]
    errors: dict[str, str] = field(default_factory=dict)


def scaled(lamps: Sequence[LampPlace], *, from_tank: Tank, to_tank: Tank) -> list[LampPlace]:
    """Lamps of one tank over another, at the same parts of its length and width."""
    return [
        replace(
            lamp,
            x_cm=round(lamp.x_cm * to_tank.length_cm / from_tank.length_cm, 1),
            y_cm=round(lamp.y_cm * to_tank.width_cm / from_tank.width_cm, 1),
        )
        for lamp in lamps
    ]


def read_tried(
    query: QueryParams,
    tank: Tank,
    start: Sequence[LampPlace],
    *,
    names: Mapping[int, str],
    unit: str,
) -> Tried:
    """`start`: the lamps to begin with; those given in the address take their place."""
    errors: dict[str, str] = {}
    keys = ("from", "swap", "add", "back", "solve", "depth")
    values = {key: query.get(key, "")[:40] for key in keys}
    typed = query.getlist("lamp")
    given = read_lamps(typed, query.getlist("levels"), names)
    if None in given or len(typed) > MOST_LAMPS:
        errors["form"] = "The lamps in this address could not be read; it starts anew."
        given = []
    lamps = [lamp for lamp in given if lamp is not None] or list(start)
    lamps = _swapped(lamps, values["swap"], names, errors)
    lamps = _added(lamps, values["add"], names, tank, errors)
    return Tried(
        tank=_with_back(tank, values["back"]),
        lamps=tuple(lamps),
        solve=values["solve"] == "yes",
        depth_cm=_depth(values["depth"], tank, unit, errors),
        values=values,
        errors=errors,
    )


def written(lamps: Sequence[LampPlace]) -> list[tuple[str, str]]:
    """Lamps as they stand in an address or in hidden fields, levels beside them."""
    fields = []
    for one in lamps:
        place = f"{one.x_cm:.1f},{one.y_cm:.1f},{one.height_cm:.1f},{one.power:.3f}"
        fields.append(("lamp", f"{one.lamp_model_id},{place},{int(one.turned)}"))
        fields.append(("levels", one.channel_levels))
    return fields


def read_lamps(
    typed: Sequence[str], levels: Sequence[str], names: Mapping[int, str]
) -> list[LampPlace | None]:
    """Lamps with the levels of their channels, which stand beside them in the same order."""
    found = [read_lamp(text, names) for text in typed[:MOST_LAMPS]]
    padded = [*levels[:MOST_LAMPS], *[""] * len(found)]
    return [
        lamp if lamp is None else replace(lamp, channel_levels=_levels(text))
        for lamp, text in zip(found, padded, strict=False)
    ]


def _levels(text: str) -> str:
    """Channel levels as a setup keeps them; '' for what is no object of names and shares."""
    try:
        told = json.loads(text[:500]) if text else {}
    except (ValueError, RecursionError):
        return ""
    right = isinstance(told, dict) and all(
        isinstance(level, int | float) and 0 <= level <= 1 for level in told.values()
    )
    return json.dumps(told, ensure_ascii=False)[:500] if right and told else ""


def read_lamp(text: str, names: Mapping[int, str]) -> LampPlace | None:
    """`model,x,y,height,power[,turned]`; None when it cannot be read or is out of reason."""
    parts = text[:120].split(",")
    if len(parts) not in (5, 6) or not (parts[0].isascii() and parts[0].isdigit()):
        return None
    try:
        x, y, height, power = (filters.read_number(part) for part in parts[1:5])
    except filters.NotANumber:
        return None
    within = (
        max(abs(x), abs(y)) <= 1000
        and LEAST_HEIGHT_CM <= height <= MOST_HEIGHT_CM
        and 0 <= power <= 1
    )
    if int(parts[0]) not in names or not within:
        return None
    return LampPlace(
        lamp_model_id=int(parts[0]),
        x_cm=x,
        y_cm=y,
        height_cm=height,
        power=power,
        turned=parts[5:] == ["1"],
    )


def _swapped(
    lamps: list[LampPlace], typed: str, names: Mapping[int, str], errors: dict[str, str]
) -> list[LampPlace]:
    model = _model(typed, "swap", names, errors)
    if model is None:
        return lamps
    return [replace(lamp, lamp_model_id=model, channel_levels="") for lamp in lamps]


def _added(
    lamps: list[LampPlace],
    typed: str,
    names: Mapping[int, str],
    tank: Tank,
    errors: dict[str, str],
) -> list[LampPlace]:
    """One more lamp; all of them are spaced evenly along the tank again."""
    model = _model(typed, "add", names, errors)
    if model is None or len(lamps) >= MOST_LAMPS:
        return lamps
    height = lamps[0].height_cm if lamps else 25.0
    power = lamps[0].power if lamps else 0.5
    more = LampPlace(lamp_model_id=model, x_cm=0, y_cm=0, height_cm=height, power=power)
    spots = places_along(optics_tank(tank), len(lamps) + 1)
    return [
        replace(lamp, x_cm=round(x, 1), y_cm=round(y, 1))
        for lamp, (x, y) in zip([*lamps, more], spots, strict=True)
    ]


def _model(typed: str, name: str, names: Mapping[int, str], errors: dict[str, str]) -> int | None:
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and int(typed) in names):
        errors[name] = "Choose a lamp of the shelf."
        return None
    return int(typed)


def _with_back(tank: Tank, typed: str) -> Tank:
    if typed not in ("clear", "black"):
        return tank
    return Tank(**(tank.model_dump() | {"wall_back": typed}))


def _depth(typed: str, tank: Tank, unit: str, errors: dict[str, str]) -> float | None:
    if not typed.strip():
        return None
    try:
        depth_cm = filters.to_cm(filters.read_number(typed), unit)
    except filters.NotANumber:
        depth_cm = -1.0
    if not 0 <= depth_cm <= tank.depth_cm:
        errors["depth"] = "Type a depth within the water of this tank."
        return None
    return depth_cm
