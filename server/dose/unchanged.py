"""Leaving it alone: how long the light has been unchanged, and what that can show by now."""

from dataclasses import dataclass
from datetime import date, timedelta

FIRST_LOOK_DAYS = 21
"""Our derivation from published times (three weeks of adjusting): nothing is judged before."""
JUDGE_MONTHS = (9, 12)
"""When a change of light is judged as a whole: common practice, no published source."""
DAYS_PER_MONTH = 30.4375


@dataclass(frozen=True, kw_only=True)
class Sign:
    """Something a change of light takes time to show. `days` [d] until it can be seen."""

    days: int
    what: str
    basis: str


SIGNS: tuple[Sign, ...] = (
    Sign(
        days=14,
        what="how many algae the animals hold (paler or browner tissue)",
        basis="published: first phase within two weeks, Front Mar Sci 2015, fmars.2015.00045",
    ),
    Sign(
        days=FIRST_LOOK_DAYS,
        what="whether branching corals have adjusted their photosynthesis",
        basis=(
            "published: within 21 days, J Exp Biol 222:jeb195982; more than 20 days, DiPerna "
            "et al. 2018, PLoS ONE 13:e0203882"
        ),
    ),
    Sign(
        days=183,
        what="the lasting pigment of the algae",
        basis="published: second phase about six months, Front Mar Sci 2015, fmars.2015.00045",
    ),
    Sign(
        days=round(JUDGE_MONTHS[0] * DAYS_PER_MONTH),
        what="growth and shape",
        basis="common practice, no published source",
    ),
)


@dataclass(frozen=True, kw_only=True)
class Unchanged:
    """A tank's light since its last change.

    `days` [d] unchanged; `first_look_on` and `judge_from`, `judge_until`: dates; `not_shown`:
    signs the last change has not had time to show.
    """

    since: date
    days: int
    first_look_on: date
    judge_from: date
    judge_until: date
    not_shown: tuple[Sign, ...]

    @property
    def early(self) -> bool:
        """Whether a change now comes before the last one can be judged."""
        return bool(self.not_shown)


def unchanged(*, changed_on: date, today: date) -> Unchanged:
    """How the light stands on `today` when it was last changed on `changed_on`."""
    days = max((today - changed_on).days, 0)
    return Unchanged(
        since=changed_on,
        days=days,
        first_look_on=changed_on + timedelta(days=FIRST_LOOK_DAYS),
        judge_from=_months_after(changed_on, JUDGE_MONTHS[0]),
        judge_until=_months_after(changed_on, JUDGE_MONTHS[1]),
        not_shown=tuple(sign for sign in SIGNS if days < sign.days),
    )


def _months_after(day: date, months: int) -> date:
    return day + timedelta(days=round(months * DAYS_PER_MONTH))


def in_words(days: int) -> str:
    """A number of days as people say it: days, then weeks, then months."""
    if days < 14:
        return f"{days} day{'' if days == 1 else 's'}"
    if days < 60:
        return f"{days // 7} weeks"
    return f"{days / DAYS_PER_MONTH:.0f} months"
