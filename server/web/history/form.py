"""What a keeper types about chores and into a tank's history."""

from dataclasses import dataclass
from datetime import date

from server.dose.chores import BY_KEY, DAYS_LIMITS
from server.web import times
from server.web.fields import choice, day, lines, maybe, whole
from server.web.forms import Field, Filled, Form

WORDS = lines(
    "words",
    "What happened",
    most=1000,
    missing="Write what happened.",
    hint="Such as: new carbon, the clam closed early, moved the red frag.",
    extra={"rows": 3},
)
ON = maybe(day("on", "When"))
NOTE = Form(WORDS, ON)

CHORE = choice("chore", "Chore", [(key, chore.name) for key, chore in BY_KEY.items()], start="")
DONE_ON = maybe(day("done_on", "Done on"))
DONE = Form(CHORE, DONE_ON)

EVERY_DAYS = {
    key: maybe(
        whole(
            f"every-{key}",
            chore.name,
            (0, DAYS_LIMITS[1]),
            like=str(chore.days),
            unit="days",
            hint=f"{chore.basis}. 0 means never.",
        )
    )
    for key, chore in BY_KEY.items()
}
EVERY = Form(*EVERY_DAYS.values())


@dataclass(frozen=True, kw_only=True)
class Note:
    """A line for the history."""

    on: date
    words: str


def read_note(form: Filled, *, today: date) -> Note:
    """Raises Refused."""
    typed = Note(words=form[WORDS], on=_day(form, ON, today))
    form.check()
    return typed


def read_done(form: Filled, *, today: date) -> tuple[str, date]:
    """Which chore was done, and when. Raises Refused."""
    chore, on = form[CHORE], _day(form, DONE_ON, today)
    form.check()
    return chore, on


def read_every(form: Filled) -> dict[str, int]:
    """How often each chore is wanted [d]; 0 is never. Empty leaves one as it is. Raises Refused."""
    typed = {key: form[field] for key, field in EVERY_DAYS.items()}
    form.check()
    return {key: days for key, days in typed.items() if days is not None}


def _day(form: Filled, asked: Field[date | None], today: date) -> date:
    """Empty means today; what has not come yet cannot have happened."""
    on = form[asked] or today
    if on > today:
        form.wrong(asked, f"Choose a day from {times.EARLIEST} to {today}.")
    return on
