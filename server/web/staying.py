"""How long a tank's light has been left alone, as several pages say it."""

from dataclasses import dataclass
from datetime import date

from server.dose.unchanged import Unchanged, in_words, unchanged
from server.web import filters


@dataclass(frozen=True, kw_only=True)
class StayView:
    """How long the light has been left alone."""

    words: str
    judged: str
    not_shown: tuple[tuple[str, str], ...]


def stay_view(changed_on: date | None, today: date) -> StayView | None:
    """How long the light has been unchanged and what it cannot have shown yet."""
    if changed_on is None:
        return None
    found = unchanged(changed_on=changed_on, today=today)
    return StayView(
        words=_stay_words(found),
        judged=(
            f"First look from {filters.day(found.first_look_on)} (three weeks, our derivation "
            f"from published times); judged as a whole between {filters.day(found.judge_from)} "
            f"and {filters.day(found.judge_until)} (9–12 months, common practice)."
        ),
        not_shown=tuple((sign.what, sign.basis) for sign in found.not_shown),
    )


def _stay_words(found: Unchanged) -> str:
    if found.days == 0:
        return "The light was changed today."
    since = filters.day(found.since)
    return f"The light has been unchanged for {in_words(found.days)}, since {since}."
