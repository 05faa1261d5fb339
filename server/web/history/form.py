"""What a keeper types about chores and into a tank's history."""

from dataclasses import dataclass
from datetime import date

from starlette.datastructures import FormData

from server.dose.chores import BY_KEY, DAYS_LIMITS
from server.web.tanks.typed import Refused, TypedIn


@dataclass(frozen=True, kw_only=True)
class Note:
    """A line for the history."""

    on: date
    words: str


def read_note(form: FormData, *, today: date) -> Note | Refused:
    typed = TypedIn(form, "cm")
    words = typed.words("words", most=1000, missing="Write what happened.")
    on = typed.day("on", otherwise=today, latest=today)
    return typed.refused() if typed.errors else Note(on=on, words=words)


def read_done(form: FormData, *, today: date) -> tuple[str, date] | Refused:
    """Which chore was done, and when."""
    typed = TypedIn(form, "cm")
    chore = typed.choice("chore", BY_KEY)
    on = typed.day("done_on", otherwise=today, latest=today)
    return typed.refused() if typed.errors else (chore, on)


def read_every(form: FormData) -> dict[str, int] | Refused:
    """How often each chore is wanted [d]; 0 is never. Empty leaves one as it is."""
    typed = TypedIn(form, "cm")
    every = {}
    for key, chore in BY_KEY.items():
        days = typed.number(
            f"every-{key}",
            low=0,
            high=DAYS_LIMITS[1],
            like=str(chore.days),
            unit="days",
            needed=False,
        )
        if days is not None:
            every[key] = round(days)
    return typed.refused() if typed.errors else every
