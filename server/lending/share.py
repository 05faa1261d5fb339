"""How many days one member may hold the club's meters within any so many days in a row."""

from collections import Counter
from collections.abc import Mapping
from datetime import date, timedelta

from server.lending.book import HOLDING, Book, days_of
from server.lending.calendar import ONE_DAY, FreeDays, Stretch, day_in_words
from server.lending.rules import No, Rules, days

Held = Mapping[date, int]
"""How many of the club's meters a member holds on a day."""


def held_by(book: Book, member_id: int, *, without: frozenset[int] = frozenset()) -> Held:
    """A member's days with any meter, past and promised, offers that stand included."""
    mine = (
        day
        for loan in book.loans
        if loan.member_id == member_id and loan.state in HOLDING and loan.id not in without
        for day in days_of(book, loan)
    )
    elsewhere = (day for one in book.elsewhere if one.member_id == member_id for day in one.stretch)
    return Counter([*mine, *elsewhere])


def fullest_window(held: Held, wanted: Stretch, rules: Rules) -> tuple[int, Stretch]:
    """The most days held in a window that touches `wanted`, with those days in, and the window."""
    length = timedelta(days=rules.window_days - 1)
    first = wanted.first - length
    taken = {
        day: held.get(day, 0) + (day in wanted) for day in Stretch(first, wanted.last + length)
    }
    in_window = sum(taken[day] for day in Stretch(first, wanted.first))
    most, where = in_window, first
    while first < wanted.last:
        in_window += taken[first + length + ONE_DAY] - taken[first]
        first += ONE_DAY
        if in_window > most:
            most, where = in_window, first
    return most, Stretch(where, where + length)


def too_many(held: Held, wanted: Stretch, rules: Rules) -> No | None:
    """Why a member may not have these days as well; None where they may."""
    most, window = fullest_window(held, wanted, rules)
    if not rules.bounded or most <= rules.window_most_days:
        return None
    return No(
        field="to",
        reason=f"With these you would hold the club's meters for {days(most)} of the "
        f"{rules.window_days} from {day_in_words(window.first)} to {day_in_words(window.last)}; "
        f"the club's rule allows {rules.window_most_days}. Choose later days, or fewer.",
    )


def earliest(
    free: FreeDays,
    held: Held,
    rules: Rules,
    *,
    length_days: int,
    not_before: date,
    latest: date | None = None,
) -> Stretch | None:
    """The first free stretch of that length that leaves the member within their share.

    A stretch longer than the whole share (asked for before the rule was set) counts as one.
    """
    allowed = max(rules.window_most_days, length_days)
    while True:
        fit = free.earliest(length_days=length_days, not_before=not_before, latest=latest)
        if fit is None or not rules.bounded:
            return fit
        if sum(held.values()) + length_days <= allowed:
            return fit
        if fullest_window(held, fit, rules)[0] <= allowed:
            return fit
        not_before = fit.first + ONE_DAY
