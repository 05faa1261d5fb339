"""What the address of a plan says: which cuts to draw, and how the lamps would hang.

Everything is optional; what is missing is as the setup hangs now. What cannot be read keeps its
words beside its field, and the chart is drawn as if it had not been typed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from server.db.tanks import LampPlace, place_of
from server.models import Animal, HungLamp, Tank
from server.optics import lamp
from server.web import filters
from server.web.fields import length, line, number
from server.web.forms import Field, Filled, Form
from server.web.three_views import usual_depth

UNITS = ("cm", "in")
OUTSIDE_CM = 100.0
"""How far a lamp's middle may hang beside the tank."""
MOST_LIFT_CM = 100.0

NAME = line(
    "name", "A name for it", most=80, extra={"maxlength": "80"},
    hint="Such as “higher, for the new staghorn”. It is kept as a plan; what hangs now stays "
    "as it is.",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """A plan as asked for.

    lamps: as they would hang, the common lift included; hung: as they hang now.
    depth_cm: of the view from above; front_y_cm, side_x_cm: where the other two are cut.
    focus: the animal whose range the tints show, None for PPFD. form: as typed.
    """

    hung: tuple[LampPlace, ...]
    lamps: tuple[LampPlace, ...]
    depth_cm: float
    front_y_cm: float
    side_x_cm: float
    focus: Animal | None
    form: Filled

    @property
    def unit(self) -> str:
        return self.form.unit

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
    places = tuple(place_of(one) for one in hung)
    lift = _length("lift", "Raise all lamps by", 0.0, -MOST_LIFT_CM, MOST_LIFT_CM)
    usual_cm = usual_depth(tank, animals)
    depth = _length("depth", "Depth of the view from above", usual_cm, 0.0, tank.depth_cm)
    width, along = tank.width_cm, tank.length_cm
    front = _length("y", "Front view cut, from the front wall", width / 2, 0.0, width)
    side = _length("x", "Side view cut, from the left wall", along / 2, 0.0, along)
    lamps = [_LampFields.of(n, place, tank) for n, place in enumerate(places)]
    form = _filled(typed, [lift, *(f for one in lamps for f in one.all), depth, front, side], unit)
    return WhatIf(
        hung=places,
        lamps=tuple(one.read(form, form[lift]) for one in lamps),
        depth_cm=form[depth],
        front_y_cm=form[front],
        side_x_cm=form[side],
        focus=next((one for one in animals if str(one.id) == typed.get("focus", "")), None),
        form=form,
    )


@dataclass(frozen=True, kw_only=True)
class _LampFields:
    """The fields of one lamp; each starts from how the lamp hangs."""

    place: LampPlace
    height: Field[float]
    power: Field[float]
    x: Field[float]
    y: Field[float]

    @classmethod
    def of(cls, n: int, place: LampPlace, tank: Tank) -> "_LampFields":
        low, high, beside = *lamp.LIMITS["height_cm"], OUTSIDE_CM
        left, front = "Middle, from the left wall", "Middle, from the front wall"
        power = number(f"p{n}", "Power", (0, 100), like="60", unit="%", start=percent(place.power))
        return cls(
            place=place,
            height=_length(f"h{n}", "Height over water", place.height_cm, low, high),
            power=power.but(otherwise=100 * place.power),
            x=_length(f"x{n}", left, place.x_cm, -beside, tank.length_cm + beside),
            y=_length(f"y{n}", front, place.y_cm, -beside, tank.width_cm + beside),
        )

    @property
    def all(self) -> tuple[Field[float], ...]:
        return self.height, self.power, self.x, self.y

    def read(self, form: Filled, lift_cm: float) -> LampPlace:
        low, high = lamp.LIMITS["height_cm"]
        height_cm, power = form[self.height], form[self.power]
        as_hung = form.text(self.power.name) in (self.power.start, "") or (
            self.power.name in form.errors
        )
        return replace(
            self.place,
            x_cm=form[self.x],
            y_cm=form[self.y],
            height_cm=min(max(height_cm + lift_cm, low), high),
            power=self.place.power if as_hung else power / 100,
        )


def _filled(typed: Mapping[str, str], fields: Sequence[Field[float]], unit: str) -> Filled:
    """The form as typed; what is missing or empty shows how it hangs now."""
    lengths = {one.name: one.otherwise for one in fields if one.unit != "%"}
    form = Form(*fields, NAME).showing(unit=unit, lengths=lengths)
    powers = {one.name: one.start for one in fields if one.unit == "%"}
    given = {name: words for name in form.fields if (words := _words(typed, name))}
    return replace(form, values=form.values | powers | given)


def _words(typed: Mapping[str, str], name: str) -> str:
    return typed.get(name, "").replace("\x00", "").strip()[:200]


def _length(
    name: str, label: str, otherwise_cm: float, low_cm: float, high_cm: float
) -> Field[float]:
    """A length that is as it hangs now where nothing readable was typed."""
    found = length(name, label, (low_cm, high_cm), like_cm=otherwise_cm)
    return found.but(otherwise=otherwise_cm)


def percent(share: float) -> str:
    """A power as its field shows it: 85, 72.5."""
    return filters.number(100 * share, 1).removesuffix(".0")
