"""How a lamp's emitters are laid out, as a form asks it: for the shimmer calculator and lamps."""

from collections.abc import Mapping, Sequence
from typing import Any

from server.models import LampChannel, LampModel
from server.optics.lamp import LIMITS, MAX_EMITTERS, Layout
from server.web.fields import choice, length, whole
from server.web.forms import Field, Filled

Options = Sequence[tuple[str, str]]
LAYOUTS = (
    ("point", "One small spot: a single LED or a tight cluster under one lens"),
    ("grid", "Single LEDs spread over a panel or bar"),
    ("square", "Glowing faces: a dense cluster, a reflector, or several of them"),
    ("tubes", "Tubes side by side"),
)
COUNT_X = whole(
    "count_x", "How many along the lamp", LIMITS["count_x"], like="4", hint="LEDs or faces."
)
COUNT_Y = whole(
    "count_y", "How many across it", LIMITS["count_y"], like="4", hint="Rows, or tubes."
)
PITCH_X = length(
    "pitch_x", "Apart along", LIMITS["pitch_x_cm"], like_cm=4, hint="Middle to middle."
)
PITCH_Y = length(
    "pitch_y", "Apart across", LIMITS["pitch_y_cm"], like_cm=4, hint="Middle to middle."
)
SIDE = length(
    "side", "Side of a glowing face", LIMITS["side_cm"], like_cm=6, hint="For faces only."
)
TUBE = length(
    "tube_length", "Length of the tubes", LIMITS["tube_length_cm"], like_cm=85,
    hint="For tubes only: the lit glass.",
)  # fmt: skip
_SIZES: tuple[Field[Any], ...] = (COUNT_X, COUNT_Y, PITCH_X, PITCH_Y, SIDE, TUBE)
LAYOUT_NAMES = ("layout", *(one.name for one in _SIZES))


def kind_of_layout(known: Options = LAYOUTS, label: str = "The lamp shines from") -> Field[str]:
    return choice("layout", label, known)


def layout_fields(
    known: Options = LAYOUTS,
    label: str = "The lamp shines from",
    start: Mapping[str, tuple[str, str]] | None = None,
) -> tuple[Field[Any], ...]:
    """The fields of a layout. start: by name what a field begins with, in cm and in inches."""
    fields: tuple[Field[Any], ...] = (kind_of_layout(known, label), *_SIZES)
    begun = {
        name: {"start": cm, "start_in": inches} for name, (cm, inches) in (start or {}).items()
    }
    return tuple(one.but(needed=False, **begun.get(one.name, {})) for one in fields)


def layout_values(row: LampModel | LampChannel) -> dict[str, str]:
    """A stored layout as its form shows it; its lengths are `layout_lengths`."""
    kind = "grid"
    if row.tube_length_cm is not None:
        kind = "tubes"
    elif row.side_cm is not None:
        kind = "square"
    elif (row.count_x or 1) * (row.count_y or 1) == 1:
        kind = "point"
    return {
        "layout": kind,
        "count_x": str(row.count_x or 1),
        "count_y": str(row.count_y or 1),
    }


def layout_lengths(row: LampModel | LampChannel | None) -> dict[str, float | None]:
    """Stored lengths [cm] by field, which do not creep when inches come back unchanged."""
    names = ("pitch_x", "pitch_y", "side", "tube_length")
    return {name: getattr(row, f"{name}_cm", None) or None for name in names}


def read_layout(form: Filled, *, known: Options = LAYOUTS) -> Layout:
    """The layout; after an error a harmless one. Fields of another kind stay unread."""
    kind = form[kind_of_layout(known)]
    if kind == "point":
        return Layout()
    along = 1 if kind == "tubes" else _count(form, COUNT_X, needed=kind == "grid")
    across = _count(form, COUNT_Y, needed=kind != "square")
    pitch_x, pitch_y = _pitch(form, PITCH_X, along), _pitch(form, PITCH_Y, across)
    side = form[SIDE] if kind == "square" else None
    tube = form[TUBE] if kind == "tubes" else None
    if along * across > MAX_EMITTERS:
        form.wrong(COUNT_X, f"At most {MAX_EMITTERS} emitters, not {along * across}.")
    if form.errors:
        return Layout()
    return Layout(
        count_x=along,
        count_y=across,
        pitch_x_cm=pitch_x,
        pitch_y_cm=pitch_y,
        side_cm=side,
        tube_length_cm=tube,
    )


def _count(form: Filled, field: Field[int], *, needed: bool) -> int:
    return form[field] if needed or form.text(field.name) else 1


def _pitch(form: Filled, field: Field[float], count: int) -> float:
    """How far apart; asked for only where there is more than one."""
    return 0.0 if count == 1 else form[field]
