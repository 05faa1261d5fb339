"""Small things that let light drift, and when they come round again."""

from dataclasses import dataclass
from datetime import date, timedelta

DAYS_LIMITS = (1, 1500)


@dataclass(frozen=True, kw_only=True)
class Chore:
    """A chore: every `days` [d] unless the keeper changes it; `lamp_kinds` empty means any."""

    key: str
    name: str
    why: str
    days: int
    basis: str
    lamp_kinds: tuple[str, ...] = ()
    cover_only: bool = False


CHORES: tuple[Chore, ...] = (
    Chore(
        key="lens",
        name="Wipe the lens",
        why=(
            "Salt and dust take light before it reaches the water. "
            "Unplug the lamp and let it cool first."
        ),
        days=30,
        basis="common practice, no published source",
    ),
    Chore(
        key="pane",
        name="Wipe the cover pane",
        why="A salted pane dims the whole tank.",
        days=14,
        basis="common practice, no published source",
        cover_only=True,
    ),
    Chore(
        key="carbon",
        name="Change the carbon",
        why=(
            "Yellowed water takes blue light first. After a long wait use less carbon: suddenly "
            "clear water is suddenly more light."
        ),
        days=42,
        basis="common practice, no published source",
    ),
    Chore(
        key="tubes",
        name="Change the tubes, one at a time",
        why=(
            "Tubes lose light over months. A new one is more light at once: hang the lamp higher "
            "or shorten the day, and acclimate."
        ),
        days=300,
        basis="common practice (9–12 months), no published source",
        lamp_kinds=("fluorescent_tube", "mixed"),
    ),
    Chore(
        key="burner",
        name="Change the burner",
        why=(
            "Its light falls and its colour shifts. Let it cool, never run it with a cracked "
            "envelope or without its cover: short-wave UV burns skin and eyes."
        ),
        days=330,
        basis="common practice (9–12 months), no published source",
        lamp_kinds=("metal_halide", "mixed"),
    ),
    Chore(
        key="measure",
        name="Measure again",
        why="Only the meter shows slow drift. Take the same points as last time.",
        days=183,
        basis="our choice; sensors themselves drift within two years (Nunez et al. 2022, abstract)",
    ),
    Chore(
        key="hanging",
        name="Check the hanging, the drip loops and the residual-current switch",
        why=(
            "Salt eats wire and screws over the water. Press the test button. Follow your local "
            "code; leave fixed wiring to a licensed electrician."
        ),
        days=90,
        basis="common practice, no published source",
    ),
)

BY_KEY: dict[str, Chore] = {chore.key: chore for chore in CHORES}


@dataclass(frozen=True, kw_only=True)
class Due:
    """A chore that comes round on a date; `days_late` is negative before it."""

    chore: Chore
    days: int
    last_on: date | None
    due_on: date
    days_late: int


def fitting(*, lamp_kinds: frozenset[str], cover: bool) -> tuple[Chore, ...]:
    """The chores that make sense for a tank with these kinds of lamp."""
    return tuple(
        chore
        for chore in CHORES
        if (not chore.lamp_kinds or lamp_kinds & set(chore.lamp_kinds))
        and (cover or not chore.cover_only)
    )


def due(
    chore: Chore, *, last_on: date | None, counted_from: date, days: int | None, today: date
) -> Due:
    """When a chore comes round: after it was last done, else after `counted_from`."""
    every = days or chore.days
    start = last_on or counted_from
    due_on = start + min(timedelta(days=every), date.max - start)  # the calendar ends
    return Due(
        chore=chore,
        days=every,
        last_on=last_on,
        due_on=due_on,
        days_late=(today - due_on).days,
    )
