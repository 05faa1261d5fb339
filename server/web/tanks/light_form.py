"""What a keeper types when lamps are hung, moved, dimmed or taken away.

The lamps of one setup come as numbered rows: `lamp-0-model`, `lamp-0-x`, `lamp-0-y`,
`lamp-0-height`, `lamp-0-power`, `lamp-0-turned`, `lamp-0-away`, and `lamp-0-channel-0` and so
on for lamps with several channels; `lamps` says how many rows there are.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial

from starlette.datastructures import FormData

from server.account.ability_words import refused_power
from server.db.abilities import ability_of
from server.db.light import Stated
from server.db.tanks import LampPlace
from server.models import HungLamp, LampModel, Member, Tank
from server.optics import lamp
from server.web import filters
from server.web.signed_in import text
from server.web.tanks.typed import Refused, TypedIn, shown_length, stored_length

MOST_LAMPS = 12
USUAL_HEIGHT_CM = 30.0
_OUTSIDE_CM = 100.0
STATES = ("hung", "plan")


@dataclass(frozen=True, kw_only=True)
class LightTyped:
    """One setup as typed."""

    lamps: tuple[LampPlace, ...]
    since: date
    reason: str
    name: str
    state: str


def rows_in(form: FormData) -> int:
    """How many rows of lamps the form came with."""
    told = text(form, "lamps", most=3)
    return min(int(told), MOST_LAMPS) if told.isascii() and told.isdigit() else 0


def typed_values(form: FormData) -> dict[str, str]:
    """Everything typed, unread: for showing the form again with one more row."""
    known = ("lamps", "since", "reason", "name", "state")
    return {
        name: text(form, name) for name in form if name in known or name.startswith("lamp-")
    } | {"lamps": str(rows_in(form))}


def models_in(form: FormData) -> list[int]:
    """Ids of the lamp models chosen in the form, as far as they are numbers."""
    chosen = (text(form, f"lamp-{n}-model", most=9) for n in range(rows_in(form)))
    return [int(value) for value in chosen if value.isascii() and value.isdigit()]


def blank_row(n: int, tank: Tank, unit: str, stated: Stated | None = None) -> dict[str, str]:
    """A new lamp: over the middle, at a usual height, half power."""
    height_cm, power = USUAL_HEIGHT_CM, 0.5
    if stated is not None:
        can = ability_of(stated, tank)
        if can.heights_stated:
            height_cm = (can.lowest_cm + can.highest_cm) / 2
        power = min(can.levels, key=lambda level: abs(level - power))
    return {
        f"lamp-{n}-model": "" if stated is None else str(stated.row.id),
        f"lamp-{n}-x": shown_length(tank.length_cm / 2, unit),
        f"lamp-{n}-y": shown_length(tank.width_cm / 2, unit),
        f"lamp-{n}-height": shown_length(height_cm, unit),
        f"lamp-{n}-power": _percent(power),
        f"lamp-{n}-turned": "",
        f"lamp-{n}-away": "",
    }


def row_values(
    n: int, hung: HungLamp, channels: Sequence[str], levels: Mapping[str, float], unit: str
) -> dict[str, str]:
    """A lamp that hangs, as its row of the form shows it."""
    return {
        f"lamp-{n}-model": str(hung.lamp_model_id),
        f"lamp-{n}-x": shown_length(hung.x_cm, unit),
        f"lamp-{n}-y": shown_length(hung.y_cm, unit),
        f"lamp-{n}-height": shown_length(hung.height_cm, unit),
        f"lamp-{n}-power": _percent(hung.power),
        f"lamp-{n}-turned": "yes" if hung.turned else "",
        f"lamp-{n}-away": "",
    } | {
        f"lamp-{n}-channel-{k}": _percent(levels.get(name, 1.0)) for k, name in enumerate(channels)
    }


def read_light(
    form: FormData,
    who: Member,
    tank: Tank,
    *,
    shelf: Sequence[LampModel],
    stated: Mapping[int, Stated],
    was: Sequence[HungLamp],
    today: date,
    asks_why: bool,
) -> LightTyped | Refused:
    """A setup as typed. stated: the chosen models with their channels; was: lamps now hung."""
    typed = TypedIn(form, who.length_unit)
    typed.values["lamps"] = str(rows_in(form))
    lamps = []
    for n in range(rows_in(form)):
        place = _read_row(typed, n, tank, shelf, stated, was[n] if n < len(was) else None)
        if place is not None:
            lamps.append(place)
    state = typed.choice("state", STATES, otherwise="hung")
    why = "Say why, in a few words: in half a year you will want to know."
    found = LightTyped(
        lamps=tuple(lamps),
        since=typed.day("since", otherwise=today, latest=today),
        reason=typed.words("reason", most=500, missing=why if asks_why and state == "hung" else ""),
        name=typed.words("name", most=80),
        state=state,
    )
    if not lamps and not was and "lamp-0-model" not in typed.errors:
        typed.errors["lamp-0-model"] = "Choose the lamp that hangs over the tank."
    return typed.refused() if typed.errors else found


def _read_row(
    typed: TypedIn,
    n: int,
    tank: Tank,
    shelf: Sequence[LampModel],
    stated: Mapping[int, Stated],
    was: HungLamp | None,
) -> LampPlace | None:
    """One row; None when it is left empty or the lamp was taken away."""
    prefix = f"lamp-{n}-"
    if typed.yes(f"{prefix}away"):
        return None
    known = [str(model.id) for model in shelf]
    if was is not None:
        known.append(str(was.lamp_model_id))
    model = typed.choice(f"{prefix}model", known, otherwise="")
    kept = partial(stored_length, was)
    place = LampPlace(
        lamp_model_id=int(model or 0),
        x_cm=_across(typed, f"{prefix}x", tank.length_cm, kept("x_cm")),
        y_cm=_across(typed, f"{prefix}y", tank.width_cm, kept("y_cm")),
        height_cm=_height(typed, f"{prefix}height", kept("height_cm")),
        power=_power(typed, f"{prefix}power", stated.get(int(model or 0)), was),
        turned=typed.yes(f"{prefix}turned"),
        channel_levels=_levels(typed, prefix, stated.get(int(model or 0))),
    )
    if model:
        return place
    for name in [name for name in typed.errors if name.startswith(prefix)]:
        if name != f"{prefix}model":
            del typed.errors[name]
    return None


def _across(typed: TypedIn, name: str, extent_cm: float, was_cm: float | None) -> float:
    value = typed.length(
        name,
        low_cm=-_OUTSIDE_CM,
        high_cm=extent_cm + _OUTSIDE_CM,
        like_cm=extent_cm / 2,
        was_cm=was_cm,
    )
    assert value is not None
    return value


def _height(typed: TypedIn, name: str, was_cm: float | None) -> float:
    low, high = lamp.LIMITS["height_cm"]
    value = typed.length(name, low_cm=low, high_cm=high, like_cm=USUAL_HEIGHT_CM, was_cm=was_cm)
    assert value is not None
    return value


def _share(typed: TypedIn, name: str) -> float:
    value = typed.number(name, low=0, high=100, like="60", unit="%")
    assert value is not None
    return value / 100


def _power(typed: TypedIn, name: str, stated: Stated | None, was: HungLamp | None) -> float:
    """What the lamp is set to, as far as its control can be; what hangs already is not asked."""
    power = _share(typed, name)
    kept = was is not None and abs(was.power - power) < 5e-4
    same_lamp = stated is None or (was is not None and was.lamp_model_id == stated.row.id)
    if stated is None or name in typed.errors or (kept and same_lamp):
        return power
    can = ability_of(stated)
    if not can.runs_at(power):
        typed.errors[name] = refused_power(can)
    return power


def _levels(typed: TypedIn, prefix: str, stated: Stated | None) -> str:
    """Levels of the channels that are turned down, as the column keeps them."""
    if stated is None:
        return ""
    levels = {}
    for k, channel in enumerate(stated.lamp.channels):
        name = f"{prefix}channel-{k}"
        if typed.form.get(name) not in (None, ""):
            levels[channel.name] = _share(typed, name)
    dimmed = {name: level for name, level in levels.items() if level < 1}
    return json.dumps(dimmed, ensure_ascii=False) if dimmed else ""


def _percent(share: float) -> str:
    words = filters.number(100 * share, 1)
    return words.removesuffix(".0")
