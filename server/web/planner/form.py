"""What the address of a plan says: which cuts to draw, and how the lamps would hang.

Everything is optional; what is missing is as the setup hangs now. What cannot be read keeps its
words beside its field, and the chart is drawn as if it had not been typed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from starlette.datastructures import FormData

from server.db.tanks import LampPlace, place_of
from server.models import Animal, HungLamp, Tank
from server.optics import lamp
from server.web import filters
from server.web.tanks.typed import TypedIn, shown_length
from server.web.three_views import usual_depth

UNITS = ("cm", "in")
OUTSIDE_CM = 100.0
"""How far a lamp's middle may hang beside the tank."""
MOST_LIFT_CM = 100.0


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """A plan as asked for.

    lamps: as they would hang, the common lift included; hung: as they hang now.
    depth_cm: of the view from above; front_y_cm, side_x_cm: where the other two are cut.
    focus: the animal whose range the tints show, None for PPFD. values, errors: as typed.
    """

    unit: str
    hung: tuple[LampPlace, ...]
    lamps: tuple[LampPlace, ...]
    depth_cm: float
    front_y_cm: float
    side_x_cm: float
    focus: Animal | None
    values: dict[str, str]
    errors: dict[str, str]

    @property
    def changed(self) -> bool:
        """Whether anything hangs otherwise than now."""
        return self.lamps != self.hung


def read(
    typed: Mapping[str, str],
    *,
    tank: Tank,
    hung: Sequence[HungLamp],
    animals: Sequence[Animal],
    reader_unit: str,
) -> WhatIf:
    """The address's own unit comes first, so that a plan sent to a friend stays the same plan."""
    unit = typed.get("unit", "") if typed.get("unit", "") in UNITS else reader_unit
    form = TypedIn(FormData(list(typed.items())), unit)
    places = tuple(place_of(one) for one in hung)
    lift_cm = _lift(form)
    lamps = tuple(_lamp(form, n, place, tank, lift_cm) for n, place in enumerate(places))
    return WhatIf(
        unit=unit,
        hung=places,
        lamps=lamps,
        depth_cm=_cut(form, "depth", tank.depth_cm, usual_depth(tank, animals)),
        front_y_cm=_cut(form, "y", tank.width_cm, tank.width_cm / 2),
        side_x_cm=_cut(form, "x", tank.length_cm, tank.length_cm / 2),
        focus=_focus(typed, animals),
        values=form.values,
        errors=form.errors,
    )


def _lift(form: TypedIn) -> float:
    return _length(form, "lift", 0.0, low=-MOST_LIFT_CM, high=MOST_LIFT_CM)


def _lamp(form: TypedIn, n: int, place: LampPlace, tank: Tank, lift_cm: float) -> LampPlace:
    low, high = lamp.LIMITS["height_cm"]
    height_cm = _length(form, f"h{n}", place.height_cm, low=low, high=high)
    return replace(
        place,
        x_cm=_length(form, f"x{n}", place.x_cm, low=-OUTSIDE_CM, high=tank.length_cm + OUTSIDE_CM),
        y_cm=_length(form, f"y{n}", place.y_cm, low=-OUTSIDE_CM, high=tank.width_cm + OUTSIDE_CM),
        height_cm=min(max(height_cm + lift_cm, low), high),
        power=_power(form, f"p{n}", place.power),
    )


def _cut(form: TypedIn, name: str, most_cm: float, otherwise_cm: float) -> float:
    return _length(form, name, otherwise_cm, low=0.0, high=most_cm)


def _length(form: TypedIn, name: str, otherwise_cm: float, *, low: float, high: float) -> float:
    """A length; nothing typed, or nothing readable, means `otherwise_cm`."""
    shown = shown_length(otherwise_cm, form.unit)
    if not _given(form, name, shown):
        return otherwise_cm
    value = form.length(name, low_cm=low, high_cm=high, like_cm=otherwise_cm, was_cm=otherwise_cm)
    return otherwise_cm if name in form.errors or value is None else value


def _power(form: TypedIn, name: str, otherwise: float) -> float:
    shown = percent(otherwise)
    if not _given(form, name, shown) or form.values[name] == shown:
        return otherwise
    value = form.number(name, low=0, high=100, like="60", unit="%")
    return otherwise if name in form.errors or value is None else value / 100


def _given(form: TypedIn, name: str, shown: str) -> bool:
    """Whether the field came filled in; fills its shown value with what stands now if not."""
    words = form.words(name, most=40)
    if words:
        return name not in form.errors
    form.values[name] = shown
    return False


def _focus(typed: Mapping[str, str], animals: Sequence[Animal]) -> Animal | None:
    return next((one for one in animals if str(one.id) == typed.get("focus", "")), None)


def percent(share: float) -> str:
    """A power as its field shows it: 85, 72.5."""
    return filters.number(100 * share, 1).removesuffix(".0")
