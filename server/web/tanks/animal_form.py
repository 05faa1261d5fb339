"""What a keeper types about an animal: who, where, and the light it should get."""

from dataclasses import dataclass
from datetime import date
from functools import partial

from starlette.datastructures import FormData

from server.db.tanks import AnimalWords
from server.dose.groups import BY_KEY, Group
from server.models import Animal, Member, Tank
from server.web import filters
from server.web.tanks.typed import Refused, TypedIn, shown_length, stored_length

PPFD_LIMITS = (0.0, 3000.0)
"""More than full sun at noon on the sea's surface, about 2000, is no light of a tank."""
OWN_RANGE = "typed by the keeper"


@dataclass(frozen=True)
class Range:
    """The PPFD an animal should get, and where that comes from."""

    low: float
    high: float
    source: str


def values_of(animal: Animal, unit: str) -> dict[str, str]:
    """A stored animal as its form shows it."""
    return {
        "name": animal.name,
        "group": animal.group,
        "x": shown_length(animal.x_cm, unit),
        "y": shown_length(animal.y_cm, unit),
        "depth": shown_length(animal.depth_cm, unit),
        "low": _shown(animal.low_ppfd),
        "high": _shown(animal.high_ppfd),
        "range_source": animal.range_source,
        "compensation": _shown(animal.compensation_ppfd),
        "saturation": _shown(animal.saturation_ppfd),
        "placed_on": animal.placed_on.isoformat(),
        "note": animal.note,
    }


def empty(today: date) -> dict[str, str]:
    """A new animal; its range is left to its group."""
    names = ("name", "group", "x", "y", "depth", "low", "high", "range_source")
    more = ("compensation", "saturation", "note")
    return dict.fromkeys(names + more, "") | {"placed_on": today.isoformat()}


def read_animal(
    form: FormData, who: Member, tank: Tank, *, today: date, was: Animal | None = None
) -> AnimalWords | Refused:
    """A new animal, or a stored one changed or moved."""
    typed = TypedIn(form, who.length_unit)
    name = typed.words("name", most=80, missing="Name the animal, such as “Green grove”.")
    group = BY_KEY[typed.choice("group", BY_KEY)]
    light = _range(typed, group, was)
    kept = partial(stored_length, was)
    words = AnimalWords(
        name=name,
        group=group.key,
        x_cm=_within(typed, "x", tank.length_cm, kept("x_cm")),
        y_cm=_within(typed, "y", tank.width_cm, kept("y_cm")),
        depth_cm=_within(typed, "depth", tank.depth_cm, kept("depth_cm")),
        low_ppfd=light.low,
        high_ppfd=light.high,
        range_source=light.source,
        compensation_ppfd=_ppfd(typed, "compensation"),
        saturation_ppfd=_ppfd(typed, "saturation"),
        placed_on=typed.day("placed_on", otherwise=was.placed_on if was else today, latest=today),
        note=typed.words("note", most=500),
    )
    _check_curve(typed, words)
    return typed.refused() if typed.errors else words


def read_left_on(form: FormData, animal: Animal, *, today: date) -> date | Refused:
    """The day an animal left."""
    typed = TypedIn(form, "cm")
    day = typed.day("left_on", otherwise=today, latest=today)
    if day < animal.placed_on and not typed.errors:
        typed.errors["left_on"] = f"It came on {filters.day(animal.placed_on)}; choose a later day."
    return typed.refused() if typed.errors else day


def _range(typed: TypedIn, group: Group, was: Animal | None) -> Range:
    """The range as typed; left empty, or left as another group's start, it is this group's."""
    low, high = _ppfd(typed, "low"), _ppfd(typed, "high")
    told = typed.words("range_source", most=300)
    start = Range(group.low_ppfd, group.high_ppfd, group.start_basis)
    before = BY_KEY.get(was.group) if was else None
    if low is None and high is None:
        return start
    if before is not None and before.key != group.key and _is_start(before, low, high):
        return start
    low = start.low if low is None else low
    high = start.high if high is None else high
    if high <= low and not {"low", "high"} & typed.errors.keys():
        typed.errors["high"] = f"This must be more than the least, {_shown(low)}."
    if _is_start(group, low, high):
        return start
    stale = {other.start_basis for other in BY_KEY.values()} | {""}
    return Range(low, high, OWN_RANGE if told in stale else told)


def _is_start(group: Group, low: float | None, high: float | None) -> bool:
    return (low, high) == (group.low_ppfd, group.high_ppfd)


def _check_curve(typed: TypedIn, words: AnimalWords) -> None:
    low, high = words.compensation_ppfd, words.saturation_ppfd
    if low is not None and high is not None and high <= low:
        typed.errors["saturation"] = "Saturation lies above compensation; one of the two is wrong."


def _within(typed: TypedIn, name: str, extent_cm: float, was_cm: float | None) -> float:
    kept = was_cm if was_cm is not None and was_cm <= extent_cm else None
    value = typed.length(name, low_cm=0.0, high_cm=extent_cm, like_cm=extent_cm / 2, was_cm=kept)
    assert value is not None
    return value


def _ppfd(typed: TypedIn, name: str) -> float | None:
    low, high = PPFD_LIMITS
    return typed.number(name, low=low, high=high, like="150", unit="µmol m⁻² s⁻¹", needed=False)


def _shown(value: float | None) -> str:
    return "" if value is None else filters.number(value, 1).removesuffix(".0")
