"""How a lamp's emitters are laid out, as a form asks it; for the shimmer calculator and lamps."""

from collections.abc import Sequence

from server.models import LampChannel, LampModel
from server.optics.lamp import LIMITS, MAX_EMITTERS, Layout
from server.web.tanks.typed import TypedIn, shown_length

LAYOUTS = (
    ("point", "One small spot: a single LED or a tight cluster under one lens"),
    ("grid", "Single LEDs spread over a panel or bar"),
    ("square", "Glowing faces: a dense cluster, a reflector, or several of them"),
    ("tubes", "Tubes side by side"),
)
FIELDS = ("layout", "count_x", "count_y", "pitch_x", "pitch_y", "side", "tube_length")


def layout_values(row: LampModel | LampChannel, unit: str) -> dict[str, str]:
    """A stored layout as its form shows it."""
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
        "pitch_x": _shown(row.pitch_x_cm, unit),
        "pitch_y": _shown(row.pitch_y_cm, unit),
        "side": _shown(row.side_cm, unit),
        "tube_length": _shown(row.tube_length_cm, unit),
    }


def read_layout(
    typed: TypedIn,
    *,
    known: Sequence[tuple[str, str]] = LAYOUTS,
    was: LampModel | LampChannel | None = None,
) -> Layout | None:
    """The layout; None where it was refused. Fields of another kind are only kept as typed.

    was: the stored row, whose lengths do not creep when inches come back unchanged.
    """
    for name in FIELDS[1:]:
        typed.words(name, most=20)
    kind = typed.choice("layout", [key for key, _ in known], otherwise=known[0][0])
    if kind == "point":
        return Layout()
    along = 1 if kind == "tubes" else _count(typed, "count_x", needed=kind == "grid")
    across = _count(typed, "count_y", needed=kind != "square")
    pitch_x = _pitch(typed, "pitch_x", along, was)
    pitch_y = _pitch(typed, "pitch_y", across, was)
    side = _length(typed, "side", 6, was) if kind == "square" else None
    tube = _length(typed, "tube_length", 85, was) if kind == "tubes" else None
    if along * across > MAX_EMITTERS:
        typed.errors["count_x"] = f"At most {MAX_EMITTERS} emitters, not {along * across}."
    if typed.errors:
        return None
    return Layout(
        count_x=along,
        count_y=across,
        pitch_x_cm=pitch_x,
        pitch_y_cm=pitch_y,
        side_cm=side,
        tube_length_cm=tube,
    )


def _count(typed: TypedIn, name: str, *, needed: bool) -> int:
    low, high = LIMITS[name]
    value = typed.number(name, low=low, high=high, like="4", needed=needed) or 1.0
    if value != int(value):
        typed.errors[name] = "Type a whole number, such as 4."
    return int(value)


def _pitch(typed: TypedIn, name: str, count: int, was: LampModel | LampChannel | None) -> float:
    """How far apart; asked for only where there is more than one."""
    if count == 1:
        return 0.0
    return _length(typed, name, 4, was)


def _length(
    typed: TypedIn, name: str, like_cm: float, was: LampModel | LampChannel | None
) -> float:
    low, high = LIMITS[f"{name}_cm"]
    stored = getattr(was, f"{name}_cm", None)
    value = typed.length(name, low_cm=low, high_cm=high, like_cm=like_cm, was_cm=stored)
    return 0.0 if value is None else value


def _shown(value_cm: float | None, unit: str) -> str:
    return "" if not value_cm else shown_length(value_cm, unit)
