"""What a keeper types when a way up is planned, and what they answer at a step."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from starlette.datastructures import FormData

from server.db.acclimation import SHOP_LIGHT
from server.dose.acclimation import DEFAULT_WEEKLY_RISE, STEP_DAYS_LIMITS, WEEKLY_RISE_LIMITS
from server.dose.ladder import Means
from server.models import Animal
from server.web.filters import day, number
from server.web.tanks.typed import Refused, TypedIn, shown_length

Past = Literal["history", "now", "shop", "unknown"]
PASTS: tuple[Past, ...] = ("history", "now", "shop", "unknown")
PAST_WORDS: dict[str, str] = {
    "history": "what it lived under here, worked out day by day",
    "now": "the light of the tank as it is now",
    "shop": f"{SHOP_LIGHT}, below",
    "unknown": "nobody knows",
}
LEAST_POWER, LEAST_HOURS = 10, 40
"""How far a way usually begins below its goal [%]: common practice, no published source."""
OUTAGES = ("power_cut", "failure")
"""Jumps whose days and size only the keeper knows."""
CANNOT_DIM = "A lamp there cannot be turned down. Change its height or its hours."
_FARTHEST = timedelta(days=366)


@dataclass(frozen=True, kw_only=True)
class WayTyped:
    """A way up as typed; `past` holds where each animal's light comes from."""

    setup_id: int
    schedule_id: int
    past: tuple[Past, ...]
    shop_ppfd: float
    shop_hours: float
    means: Means
    weekly: float
    step_days: int
    start: date


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What was answered at a step."""

    pale: bool
    note: str


def start_values(
    animals: Sequence[Animal],
    *,
    goals: Sequence[str],
    days: Sequence[str],
    past: Sequence[Past],
    dims: bool,
    room_cm: float,
    unit: str,
    start: date,
) -> dict[str, str]:
    """The form as it first stands: by power where the lamp dims, else by height and hours."""
    return {
        "setup": goals[0] if goals else "",
        "schedule": days[0] if days else "",
        **{f"from-{animal.id}": one for animal, one in zip(animals, past, strict=True)},
        "shop_ppfd": "100",
        "shop_hours": "10",
        "by_power": "yes" if dims else "",
        "least_power": str(LEAST_POWER),
        "by_height": "" if dims else "yes",
        "raised": shown_length(room_cm, unit),
        "by_hours": "" if dims else "yes",
        "least_hours": str(LEAST_HOURS),
        "weekly": number(DEFAULT_WEEKLY_RISE * 100),
        "step_days": "7",
        "start": start.isoformat(),
    }


def read_way(
    form: FormData,
    *,
    animals: Sequence[Animal],
    goals: Sequence[str],
    days: Sequence[str],
    minute_step: int,
    unit: str,
    earliest: date,
) -> WayTyped | Refused:
    """A way as typed; it may begin on the day `earliest` or later."""
    typed = TypedIn(form, unit)
    setup = typed.choice("setup", goals)
    schedule = typed.choice("schedule", days)
    past: list[Past] = []
    for animal in animals:
        name = f"from-{animal.id}"
        chosen = typed.choice(name, PASTS, otherwise="unknown")
        past.append(next(one for one in PASTS if one == chosen))
    needs_shop = "shop" in past
    shop_ppfd = typed.number(
        "shop_ppfd", low=1, high=2000, like="100", unit="µmol m⁻² s⁻¹", needed=needs_shop
    )
    shop_hours = typed.number(
        "shop_hours", low=1, high=24, like="10", unit="hours", needed=needs_shop
    )
    means = _means(typed, minute_step)
    low, high = WEEKLY_RISE_LIMITS
    weekly = typed.number("weekly", low=low * 100, high=high * 100, like="15", unit="%")
    first, last = STEP_DAYS_LIMITS
    every = typed.number("step_days", low=first, high=last, like="7", unit="days")
    start = typed.day("start", otherwise=earliest, latest=earliest + _FARTHEST)
    if start < earliest:
        typed.errors["start"] = (
            "A way begins today or later, and a week after the last step at the earliest: "
            f"{day(earliest)}."
        )
    if typed.errors or weekly is None or every is None or means is None:
        return typed.refused()
    return WayTyped(
        setup_id=int(setup),
        schedule_id=int(schedule),
        past=tuple(past),
        shop_ppfd=shop_ppfd or 0.0,
        shop_hours=shop_hours or 0.0,
        means=means,
        weekly=weekly / 100,
        step_days=round(every),
        start=start,
    )


def _means(typed: TypedIn, minute_step: int) -> Means | None:
    power, height = typed.yes("by_power"), typed.yes("by_height")
    hours = typed.yes("by_hours")
    least = typed.number("least_power", low=1, high=99, like="10", unit="%", needed=power)
    raised = typed.length("raised", low_cm=1, high_cm=300, like_cm=30, needed=height)
    lit = typed.number("least_hours", low=10, high=99, like="40", unit="%", needed=hours)
    if not (power or height or hours):
        typed.errors["by_power"] = "Choose at least one way: power, height or hours."
    if typed.errors:
        return None
    return Means(
        least_power=least / 100 if power and least else 1.0,
        most_raised_cm=float(int(raised)) if height and raised else 0.0,
        least_lit_share=lit / 100 if hours and lit else 1.0,
        minute_step=minute_step,
    )


def read_answer(form: FormData) -> Answer | Refused:
    """The one question of a step."""
    typed = TypedIn(form, "cm")
    note = typed.words("note", most=500)
    answer = typed.words("pale", most=3, missing="Answer yes or no: look at every animal first.")
    if answer not in ("", "yes", "no"):
        typed.errors["pale"] = "Answer yes or no."
    return typed.refused() if typed.errors else Answer(pale=answer == "yes", note=note)


# A jump


@dataclass(frozen=True, kw_only=True)
class JumpTyped:
    """What made the light jump: for how long it was dimmer, and what share of it was left."""

    why: str
    first_on: date
    until_on: date
    share: float


def read_jump(form: FormData, *, today: date) -> JumpTyped | Refused:
    """A power cut or a failed lamp as typed: since when, until when, how much light was left."""
    typed = TypedIn(form, "cm")
    why = typed.choice("why", OUTAGES)
    first = typed.day("first_on", otherwise=today, latest=today)
    until = typed.day("until_on", otherwise=today, latest=today)
    left = typed.number("left", low=0, high=99, like="0", unit="%", needed=False)
    if not typed.errors and not timedelta(0) < until - first <= _FARTHEST:
        typed.errors["first_on"] = "It went out before it came back, and within the last year."
    if typed.errors:
        return typed.refused()
    return JumpTyped(why=why, first_on=first, until_on=until, share=(left or 0.0) / 100)
