"""Asking for the meter: joining and leaving the queue, and picking free days.

Every function takes the book and today, and answers with the changed book or with `No`.
"""

from dataclasses import replace
from datetime import date, timedelta

from server.lending.book import (
    COMING,
    Book,
    Changed,
    Line,
    Loan,
    LoanState,
    Purpose,
    Request,
    RequestState,
    What,
    altered,
    free_days,
    new_loan_id,
    open_offer_for,
    request_of,
    told,
    with_loan,
    with_request,
)
from server.lending.calendar import Stretch, day_in_words, stretch_in_words
from server.lending.fairness import waiting
from server.lending.rules import No, Rules, count
from server.lending.rules import days as days_in_words
from server.lending.share import earliest, held_by, too_many

# An offer or a move never begins on the very day it is made.
NOTICE_DAYS = 1
SOMEBODY_WAITS = "These days are free, but somebody who is waiting would get the meter later."


def forecast(book: Book, rules: Rules, *, today: date) -> dict[int, Stretch | None]:
    """For each waiting request, in order, the earliest stretch that fits as things stand.

    Everyone keeps their stretch from those behind, so nobody behind can delay anybody before.
    """
    free = free_days(book, grace_days=rules.grace_days)
    expected: dict[int, Stretch | None] = {}
    for request in waiting(book, rules, today=today):
        fit = earliest(
            free,
            held_by(book, request.member_id),
            rules,
            length_days=request.days,
            not_before=max(request.earliest, today + timedelta(days=NOTICE_DAYS)),
            latest=request.latest,
        )
        expected[request.id] = fit
        if fit is not None:
            free = free.plus(fit)
    return expected


def join(book: Book, rules: Rules, request: Request, *, today: date) -> Changed | No:
    """Take a place in the queue; the request comes with its id and number already given."""
    refusal = may_join(
        book,
        rules,
        member_id=request.member_id,
        earliest=request.earliest,
        latest=request.latest,
        days=request.days,
        today=today,
    )
    if refusal is not None:
        return refusal
    words = f"Asked for {book.meter_name} for {days_in_words(request.days)}."
    line = Line(what=What.ASKED, words=words, member_id=request.member_id, request_id=request.id)
    asked = replace(
        request, asked_on=today, since=max(today, request.earliest), state=RequestState.OPEN
    )
    return Changed(book=with_request(book, asked), lines=(line,))


def may_join(
    book: Book,
    rules: Rules,
    *,
    member_id: int,
    earliest: date,
    latest: date | None,
    days: int,
    today: date,
) -> No | None:
    """Why not, or None. Days: `latest` is the day by which the loan must be over."""
    if any(one.member_id == member_id and one.state is RequestState.OPEN for one in book.requests):
        return No(reason=f"You are already waiting for {book.meter_name}; one place each.")
    open_ones = book.requests_elsewhere.count(member_id)
    if open_ones >= rules.open_requests_each:
        return No(
            reason=f"You have {count(open_ones, 'request')} waiting for other meters, and the "
            f"club's rule allows {rules.open_requests_each} at a time."
        )
    if not 1 <= days <= rules.longest_loan_days:
        most = days_in_words(rules.longest_loan_days)
        return No(field="days", reason=f"A loan lasts from 1 to {most}.")
    if rules.bounded and days > rules.window_most_days:
        most = days_in_words(rules.window_most_days)
        return No(
            field="days",
            reason=f"The club's rule allows {most} of any {rules.window_days}; ask for fewer.",
        )
    return _dates_may_not_be(rules, earliest=earliest, latest=latest, days=days, today=today)


def _dates_may_not_be(
    rules: Rules, *, earliest: date, latest: date | None, days: int, today: date
) -> No | None:
    if earliest < today:
        return No(field="earliest", reason="The first day lies in the past; today is the earliest.")
    furthest = today + timedelta(days=rules.ahead_days)
    if earliest > furthest:
        ahead = days_in_words(rules.ahead_days)
        return No(
            field="earliest", reason=f"The club looks {ahead} ahead, to {day_in_words(furthest)}."
        )
    first_offer = max(earliest, today + timedelta(days=NOTICE_DAYS))
    needed = first_offer + timedelta(days=days - 1)
    if latest is not None and latest < needed:
        return No(
            field="latest",
            reason=f"{days_in_words(days).capitalize()} from {day_in_words(first_offer)} last "
            f"until {day_in_words(needed)}; choose that day or a later one, or fewer days.",
        )
    return None


def withdraw(book: Book, request_id: int, *, why: str = "") -> Changed | No:
    """Leave the queue; an offer that stands is let go."""
    request = request_of(book, request_id)
    if request is None or request.state is not RequestState.OPEN:
        return No(reason="This request is no longer waiting.")
    offer = open_offer_for(book, request.id)
    if offer is not None:
        book = with_loan(book, altered(offer, state=LoanState.DECLINED))
    book = with_request(book, replace(request, state=RequestState.WITHDRAWN))
    line = Line(
        what=What.WITHDREW,
        words=why or f"Left the queue for {book.meter_name}.",
        member_id=request.member_id,
        request_id=request.id,
    )
    return Changed(book=book, lines=(line,))


def agree(book: Book, rules: Rules, request_id: int, *, agreed: bool) -> Changed | No:
    """A steward agrees, or no longer agrees, that animals in trouble let a request go ahead."""
    request = request_of(book, request_id)
    if request is None or request.state is not RequestState.OPEN:
        return No(reason="This request is no longer waiting.")
    if request.purpose is not Purpose.TROUBLE:
        return No(reason="Only requests for animals in trouble can go ahead of the others.")
    if not agreed:
        book = with_request(book, replace(request, agreed=False))
        words = "A steward decided that your request waits in its usual place."
        return Changed(book=book, lines=(told(What.AGREED, words, request=request),))
    shorter = min(request.days, rules.trouble_days)
    book = with_request(book, replace(request, agreed=True, days=shorter))
    words = (
        "A steward agreed: your animals are in trouble, so you go ahead, "
        f"for {days_in_words(shorter)}."
    )
    return Changed(book=book, lines=(told(What.AGREED, words, request=request),))


def pick(book: Book, rules: Rules, member_id: int, wanted: Stretch, *, today: date) -> Changed | No:
    """Book free days, as long as nobody who waits would get the meter later because of it."""
    refusal = _may_not_pick(book, rules, member_id, wanted, today=today)
    if refusal is not None:
        return refusal
    loan = Loan(
        id=new_loan_id(book),
        member_id=member_id,
        stretch=wanted,
        state=LoanState.BOOKED,
        earliest=wanted.first,
    )
    picked = with_loan(book, loan)
    if _delays_others(book, picked, rules, member_id, today=today):
        return No(reason=SOMEBODY_WAITS, taken=True)
    words = f"Booked {book.meter_name} for {stretch_in_words(wanted)}."
    line = Line(what=What.PICKED, words=words, member_id=member_id, loan_id=loan.id)
    return Changed(book=picked, lines=(line,))


def _delays_others(book: Book, picked: Book, rules: Rules, member_id: int, *, today: date) -> bool:
    """Whether anybody else would get the meter later. A picker who waits as well is put further
    back by their own share, and what they leave may not be what suits the next."""
    if not any(one.member_id == member_id for one in waiting(book, rules, today=today)):
        return False
    was, now = (forecast(each, rules, today=today) for each in (book, picked))
    others = {one.id for one in book.requests if one.member_id != member_id}
    return any(_later(was[each], now.get(each)) for each in others & was.keys())


def _later(before: Stretch | None, after: Stretch | None) -> bool:
    return before is not None and (after is None or after > before)


def _may_not_pick(
    book: Book, rules: Rules, member_id: int, wanted: Stretch, *, today: date
) -> No | None:
    furthest = today + timedelta(days=rules.ahead_days)
    if wanted.first < today:
        return No(field="from", reason="The first day lies in the past; today is the earliest.")
    if wanted.length_days > rules.longest_loan_days:
        most = days_in_words(rules.longest_loan_days)
        return No(field="to", reason=f"A loan lasts at most {most}, both ends counted.")
    if wanted.last > furthest:
        reason = (
            f"The club looks {days_in_words(rules.ahead_days)} ahead, to {day_in_words(furthest)}."
        )
        return No(field="to", reason=reason)
    taken = _taken(book, rules, wanted, today=today)
    if taken is not None:
        return taken
    held = _days_picked(book, member_id) + wanted.length_days
    if held > rules.picked_days_each:
        return No(
            field="to",
            reason=f"With these you would hold {days_in_words(held)} that you picked; the club's "
            f"rule allows {rules.picked_days_each}. Give some back, or join the queue.",
        )
    return too_many(held_by(book, member_id), wanted, rules)


def _days_picked(book: Book, member_id: int) -> int:
    return sum(
        loan.stretch.length_days
        for loan in book.loans
        if loan.member_id == member_id and loan.request_id is None and loan.state in COMING
    )


def _taken(book: Book, rules: Rules, wanted: Stretch, *, today: date) -> No | None:
    if book.lost:
        return No(reason=f"{book.meter_name} is lost.", taken=True)
    free = free_days(book, grace_days=rules.grace_days)
    promised = free
    for stretch in forecast(book, rules, today=today).values():
        promised = promised.plus(stretch) if stretch is not None else promised
    if promised.fits(wanted):
        return None
    within = Stretch(today, today + timedelta(days=rules.ahead_days))
    nearest = promised.nearest(wanted, within=within)
    reason = SOMEBODY_WAITS if free.fits(wanted) else f"{_taken_in_words(book, wanted)}."
    if nearest is not None:
        reason += f" The nearest free days are {stretch_in_words(nearest)}."
    return No(reason=reason, taken=True, nearest=nearest)


def _taken_in_words(book: Book, wanted: Stretch) -> str:
    bare = free_days(book, grace_days=0)
    lent = [day for day in wanted if day in bare.lent]
    if lent:
        return f"{day_in_words(lent[0])} is taken"
    if not bare.fits(wanted):
        return f"{book.meter_name} rests on some of these days"
    return "These days lie too close to another loan"
