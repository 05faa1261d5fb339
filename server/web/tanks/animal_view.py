"""What the form for an animal shows."""

from dataclasses import dataclass
from datetime import date

from server.account import sentences
from server.account.sentences import range_words
from server.db.accounts import Told
from server.dose.groups import GROUPS, Group, Published
from server.models import Animal, Member, Tank
from server.web import filters
from server.web.tanks import animal_form as reading
from server.web.tanks.charts import Charts, charts
from server.web.tanks.typed import Refused, merged


@dataclass(frozen=True, kw_only=True)
class GroupLine:
    """One group of animals: the light to start from, and what is published about it."""

    key: str
    name: str
    examples: str
    range_words: str
    low: str
    high: str
    basis: str
    published: tuple[str, ...]
    note: str


@dataclass(frozen=True, kw_only=True)
class AnimalFormView:
    tank_id: int
    tank_name: str
    title: str
    action: str
    animal_id: int | None
    left_on: str
    unit: str
    values: dict[str, str]
    errors: dict[str, str]
    groups: tuple[GroupLine, ...]
    options: tuple[tuple[str, str], ...]
    deepest: str
    more_open: bool
    charts: Charts
    taps: tuple[str, str, str]


def animal_form(
    who: Member,
    tank: Tank,
    *,
    animal: Animal | None,
    told: Told,
    refused: Refused | None,
    today: date,
) -> AnimalFormView:
    """A new animal's form or a stored one's, with the tank's light to place it in."""
    unit = who.length_unit
    start = reading.empty(today) if animal is None else reading.values_of(animal, unit)
    errors = refused.errors if refused else {}
    kind = sentences.basis_words(told.glance.basis)
    depth_cm = animal.depth_cm if animal else None
    return AnimalFormView(
        tank_id=tank.id,
        tank_name=tank.name,
        title=f"A new animal in {tank.name}" if animal is None else f"Change {animal.name}",
        action=f"/tanks/{tank.id}/animals/{animal.id if animal else 'new'}",
        animal_id=None if animal is None else animal.id,
        left_on="" if animal is None or animal.left_on is None else filters.day(animal.left_on),
        unit=unit,
        values=merged({"left_on": today.isoformat()} | start, refused),
        errors=errors,
        groups=tuple(_group(group) for group in GROUPS),
        options=tuple((group.key, group.name) for group in GROUPS),
        deepest=filters.length(tank.depth_cm, unit),
        more_open=bool(errors.keys() & {"compensation", "saturation", "placed_on", "note"}),
        charts=charts(
            tank,
            told.plan,
            told.rows.hung,
            told.glance.animals,
            unit=unit,
            depth_cm=depth_cm,
            kind=kind,
        ),
        taps=(
            _in_unit(tank.length_cm, unit),
            _in_unit(tank.width_cm, unit),
            _in_unit(tank.depth_cm, unit),
        ),
    )


def _group(group: Group) -> GroupLine:
    return GroupLine(
        key=group.key,
        name=group.name,
        examples=group.examples,
        range_words=range_words(group.low_ppfd, group.high_ppfd),
        low=filters.ppfd(group.low_ppfd),
        high=filters.ppfd(group.high_ppfd),
        basis=group.start_basis,
        published=tuple(_published(figure) for figure in group.published),
        note=group.note,
    )


def _published(figure: Published) -> str:
    low, high = filters.ppfd(figure.low_ppfd), filters.ppfd(figure.high_ppfd)
    band = low if low == high else f"{low}–{high}"
    return f"{figure.animal}, {figure.quantity} {band}: {figure.condition}. {figure.source}"


def _in_unit(value_cm: float, unit: str) -> str:
    return f"{value_cm if unit == 'cm' else value_cm / filters.CM_PER_INCH:.4f}"
