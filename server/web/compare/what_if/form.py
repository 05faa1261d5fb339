"""What is tried on a tank, from the address: whose lamps, which swapped or added, which wall."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from starlette.datastructures import QueryParams

from server.account.ability import (
    Ability,
    Hang,
    Hanging,
    all_fit,
    as_it_can,
    even_places,
    most_over,
)
from server.db.abilities import ability_of
from server.db.light import Stated
from server.db.tanks import LampPlace
from server.models import Tank
from server.web import filters
from server.web.fields import choice, length, maybe
from server.web.forms import Field, Filled, Form

BACKS = ("clear", "black")
SOLVE = choice(
    "solve", "Height and power", [("", "as they are"), ("yes", "find the best for the animals")]
)
BACK = choice("back", "Back wall", [("", "as it is"), ("clear", "clear"), ("black", "dark")])
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


def what_if_form(tank: Tank, names: Mapping[int, str]) -> Form:
    """The form of one tank; `names`: lamps of the shelf by id."""
    return Form(
        _lamp_of("swap", "Swap every lamp for", names),
        _lamp_of("add", "Add one", names),
        BACK,
        SOLVE,
        depth_of(tank),
    )


def depth_of(tank: Tank) -> Field[float | None]:
    middle = round(tank.depth_cm / 2)
    return maybe(length("depth", "Depth shown", (0, tank.depth_cm), like_cm=middle))


def _lamp_of(name: str, label: str, names: Mapping[int, str]) -> Field[str]:
    known = [("", "no change"), *((str(key), words) for key, words in names.items())]
    return choice(name, label, known, wrong="Choose a lamp of the shelf.")


def read_tried(
    form: Filled,
    query: QueryParams,
    tank: Tank,
    start: Sequence[LampPlace],
    *,
    models: Mapping[int, Stated],
) -> Tried:
    """`start`: the lamps to begin with; those given in the address take their place."""
    typed = query.getlist("lamp")
    given = read_lamps(typed, query.getlist("levels"), models)
    if None in given or len(typed) > MOST_LAMPS:
        form.wrong("form", "The lamps in this address could not be read; it starts anew.")
        given = []
    lamps = [lamp for lamp in given if lamp is not None] or list(start)
    over = _Over(tank=tank, models=models, errors=form.errors)
    if query.get("from") and not typed:
        lamps = over.fitted(lamps)
    lamps = over.swapped(lamps, form[form.fields["swap"]])
    lamps = over.added(lamps, form[form.fields["add"]])
    lamps = [lamp if lamp in start else over.as_it_can(lamp) for lamp in lamps]
    return Tried(
        tank=_with_back(tank, form[BACK]),
        lamps=tuple(lamps),
        solve=form[SOLVE] == "yes",
        depth_cm=form[depth_of(tank)],
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
    typed: Sequence[str], levels: Sequence[str], models: Mapping[int, Stated]
) -> list[LampPlace | None]:
    """Lamps with the levels of their channels, which stand beside them in the same order."""
    found = [read_lamp(text, models) for text in typed[:MOST_LAMPS]]
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


def read_lamp(text: str, models: Mapping[int, Stated]) -> LampPlace | None:
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
    if int(parts[0]) not in models or not within:
        return None
    return LampPlace(
        lamp_model_id=int(parts[0]),
        x_cm=x,
        y_cm=y,
        height_cm=height,
        power=power,
        turned=parts[5:] == ["1"],
    )


@dataclass(frozen=True, kw_only=True)
class _Over:
    """Lamps of the shelf put over one tank, each only as it can hang there."""

    tank: Tank
    models: Mapping[int, Stated]
    errors: dict[str, str]

    def swapped(self, lamps: list[LampPlace], typed: str) -> list[LampPlace]:
        """Every lamp swapped for another; they stay where they hang if the new ones fit there."""
        if not typed or not lamps:
            return lamps
        swapped = [replace(lamp, lamp_model_id=int(typed), channel_levels="") for lamp in lamps]
        if all_fit(self.glass_cm, [self._hanging(lamp) for lamp in swapped]):
            return swapped
        return self._spread("swap", swapped) or lamps

    def fitted(self, lamps: list[LampPlace]) -> list[LampPlace]:
        """Lamps of another tank where they hang there, or spread evenly where that overlaps."""
        if all_fit(self.glass_cm, [self._hanging(lamp) for lamp in lamps]):
            return lamps
        return self._spread("form", lamps)

    def added(self, lamps: list[LampPlace], typed: str) -> list[LampPlace]:
        """One more lamp; all of them are spaced evenly over the tank again."""
        if not typed or len(lamps) >= MOST_LAMPS:
            return lamps
        height = lamps[0].height_cm if lamps else 25.0
        power = lamps[0].power if lamps else 0.5
        more = LampPlace(lamp_model_id=int(typed), x_cm=0, y_cm=0, height_cm=height, power=power)
        return self._spread("add", [*lamps, more]) or lamps

    def as_it_can(self, lamp: LampPlace) -> LampPlace:
        """The lamp at the nearest level and height it can do."""
        hang = as_it_can(self._hang(lamp), self._can(lamp))
        return replace(lamp, power=hang.power, height_cm=hang.height_cm)

    @property
    def glass_cm(self) -> tuple[float, float]:
        return self.tank.length_cm, self.tank.width_cm

    def _spread(self, name: str, lamps: list[LampPlace]) -> list[LampPlace]:
        """The lamps side by side within the rim; none, with words, where they have no room."""
        longest = max((self._can(lamp) for lamp in lamps), key=lambda can: max(can.size_cm))
        spots = even_places(self.glass_cm, longest, len(lamps))
        found = [
            replace(lamp, x_cm=round(x, 1), y_cm=round(y, 1))
            for lamp, (x, y) in zip(lamps, spots, strict=False)
        ]
        if not spots or not all_fit(self.glass_cm, [self._hanging(lamp) for lamp in found]):
            self.errors[name] = (
                f"There is no room for {len(lamps)} over this glass: {longest.name} fits "
                f"{min(most_over(self.glass_cm, longest), MOST_LAMPS)} times."
            )
            return []
        return found

    def _can(self, lamp: LampPlace) -> Ability:
        return ability_of(self.models[lamp.lamp_model_id], self.tank, turned=lamp.turned)

    def _hang(self, lamp: LampPlace) -> Hang:
        return Hang(power=lamp.power, height_cm=lamp.height_cm, x_cm=lamp.x_cm, y_cm=lamp.y_cm)

    def _hanging(self, lamp: LampPlace) -> Hanging:
        return Hanging(hang=self._hang(lamp), ability=self._can(lamp))


def _with_back(tank: Tank, typed: str) -> Tank:
    if typed not in BACKS:
        return tank
    return Tank(**(tank.model_dump() | {"wall_back": typed}))
