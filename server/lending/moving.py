"""Moving what is already promised: late returns, rests, and a steward's decision."""

from dataclasses import replace
from datetime import date
from typing import Literal

from server.lending.book import (
    COMING,
    Book,
    Changed,
    Line,
    Loan,
    LoanState,
    RequestState,
    Rest,
    What,
    altered,
    earlier_offer_for,
    free_days,
    in_order_of_days,
    loan_of,
    moved,
    out_loan,
    request_of,
    told,
    with_loan,
    with_request,
)
from server.lending.calendar import ONE_DAY, Stretch, day_in_words, stretch_in_words
from server.lending.rules import No


def make_way(book: Book, *, today: date, after: date = date.min, why: str) -> Changed:
    """Move what begins on or before `after`, and what that pushes in turn, and no more.

    The order of the loans stays, lengths stay, days kept free between loans are used up
    first, and nobody is put on a day on which the meter rests.
    """
    changed = Changed(book=book)
    free_from = after + ONE_DAY
    for loan in in_order_of_days(book.loans, COMING):
        if loan.instead_of is not None:
            continue
        stretch = _earliest_awake(changed.book, loan, max(loan.stretch.first, free_from))
        begun = _has_begun(changed.book, loan, today=today)
        if stretch is None or (begun and stretch != loan.stretch):
            changed = changed.then(_back_to_the_queue(changed.book, loan, why, today=today))
            continue
        if stretch != loan.stretch:
            changed = changed.then(_drop_earlier_offers(changed.book, stretch))
            changed = changed.then(moved(changed.book, loan, stretch, why))
        free_from = stretch.last + ONE_DAY
    return changed


def _has_begun(book: Book, loan: Loan, *, today: date) -> bool:
    """Booked days that began with no handover on record, while nobody else had the meter."""
    return loan.stretch.first < today and out_loan(book) is None


def keep_until(book: Book, loan: Loan, last: date, why: str, *, today: date) -> Changed:
    """Lengthen a loan that is out; those behind move only as far as they must."""
    longer = altered(loan, stretch=Stretch(loan.stretch.first, last))
    words = (
        f"{book.meter_name} was due on {day_in_words(loan.stretch.last)}; "
        f"the loan now runs until {day_in_words(last)}."
    )
    changed = Changed(
        book=_without_rest_on(with_loan(book, longer), longer.stretch),
        lines=(told(What.LATE, words, loan=longer),),
    )
    changed = changed.then(_drop_earlier_offers(changed.book, longer.stretch))
    return changed.then(make_way(changed.book, today=today, after=last, why=why))


def _without_rest_on(book: Book, out: Stretch) -> Book:
    """A meter that is still out cannot rest: what is left of the rest begins when it is back."""
    kept = []
    for one in book.rests:
        touched = one.first <= out.last and (one.last is None or one.last >= out.first)
        if not touched:
            kept.append(one)
        elif one.last is None or one.last > out.last:
            kept.append(replace(one, first=out.last + ONE_DAY))
    return replace(book, rests=tuple(kept))


def _earliest_awake(book: Book, loan: Loan, not_before: date) -> Stretch | None:
    """The first stretch of the loan's length on which the meter does not rest."""
    bare = replace(book, loans=())
    free = free_days(bare, grace_days=0)
    return free.earliest(length_days=loan.stretch.length_days, not_before=not_before)


def _drop_earlier_offers(book: Book, needed: Stretch) -> Changed:
    """Offers of earlier days that somebody else must now have."""
    changed = Changed(book=book)
    for offer in book.loans:
        standing = offer.state is LoanState.OFFERED and offer.instead_of is not None
        if standing and offer.stretch.overlaps(needed):
            words = (
                f"The earlier days {stretch_in_words(offer.stretch)} are no longer free. "
                "You keep the days you have."
            )
            now = with_loan(changed.book, altered(offer, state=LoanState.LAPSED))
            changed = changed.then(Changed(book=now, lines=(told(What.LAPSED, words, loan=offer),)))
    return changed


def _back_to_the_queue(book: Book, loan: Loan, why: str, *, today: date) -> Changed:
    """Days that cannot be kept: given back, and the place in the queue is kept.

    Days that are over stay in the history as they were.
    """
    if _has_begun(book, loan, today=today):
        past = altered(
            loan, state=LoanState.ENDED, stretch=Stretch(loan.stretch.first, today - ONE_DAY)
        )
        words = f"{why} The rest of your days with {book.meter_name} is given back."
        return Changed(book=with_loan(book, past), lines=(told(What.GAVE_BACK, words, loan=past),))
    earlier = earlier_offer_for(book, loan.id)
    if earlier is not None:
        book = with_loan(book, altered(earlier, state=LoanState.LAPSED))
    book = with_loan(book, altered(loan, state=LoanState.GIVEN_BACK, answer_by=None))
    words = (
        f"{why} Your days with {book.meter_name}, {stretch_in_words(loan.stretch)}, are given back."
    )
    request = request_of(book, loan.request_id)
    others = [
        one
        for one in book.requests
        if one.member_id == loan.member_id
        and one.state is RequestState.OPEN
        and one.id != loan.request_id
    ]
    if request is not None and not others:
        book = with_request(book, replace(request, state=RequestState.OPEN))
        words += " You are back in the queue, in the place you had."
    return Changed(book=book, lines=(told(What.GAVE_BACK, words, loan=loan),))


def move(book: Book, loan_id: int, to: Stretch, *, reason: str, today: date) -> Changed | No:
    """A steward moves a loan, and says why; the days must be free of others."""
    loan = loan_of(book, loan_id)
    if loan is None or loan.state not in (LoanState.BOOKED, LoanState.OUT):
        return No(reason="Only loans that are booked or out can be moved.")
    if not reason.strip():
        return No(field="reason", reason="Say why: the member reads this reason.")
    begun = loan.state is LoanState.OUT or loan.stretch.first < today
    if begun and to.first != loan.stretch.first:
        return No(field="from", reason="The loan has begun; only its last day can change.")
    if to.first < today and not begun:
        return No(field="from", reason="The first day lies in the past; today is the earliest.")
    if to.last < today:
        return No(field="to", reason="The last day lies in the past; today is the earliest.")
    own = frozenset({loan.id, *(one.id for one in book.loans if one.instead_of == loan.id)})
    free = free_days(book, grace_days=0, without=own)
    if not free.fits(to):
        return No(field="from", reason="Some of these days are taken or resting.", taken=True)
    return moved(book, loan, to, f"A steward moved your loan: {reason.strip()}")


def rest(
    book: Book,
    which: Rest,
    *,
    today: date,
    how: Literal["move", "give_back"] = "move",
) -> Changed | No:
    """Let the meter rest; its loans are moved or given back, and each member is told."""
    refusal = _may_not_rest(book, which, today=today)
    if refusal is not None:
        return refusal
    why = f"{book.meter_name} rests from {day_in_words(which.first)}: {which.reason.strip()}."
    changed = _bring_back_before(replace(book, rests=(*book.rests, which)), which, why)
    touched = [
        loan
        for loan in in_order_of_days(changed.book.loans, COMING)
        if loan.stretch.last >= which.first
        and (which.last is None or loan.stretch.first <= which.last)
    ]
    if how == "give_back":
        for loan in touched:
            changed = changed.then(_back_or_lapse(changed.book, loan, why, today=today))
    line = Line(what=What.RESTED, words=why)
    changed = Changed(book=changed.book, lines=(*changed.lines, line))
    return changed.then(_clear(changed.book, why, today=today))


def _may_not_rest(book: Book, which: Rest, *, today: date) -> No | None:
    if not which.reason.strip():
        return No(field="reason", reason="Say why it rests; those who are waiting read it.")
    if which.first < today:
        return No(field="first", reason="The first day lies in the past; today is the earliest.")
    if which.last is not None and which.last < which.first:
        return No(field="last", reason="The last day comes before the first.")
    out = out_loan(book)
    if out is not None and which.first <= max(today, out.stretch.first):
        return No(
            field="first",
            reason="The meter is out with a member; let the rest begin after it came back.",
        )
    return None


def _bring_back_before(book: Book, which: Rest, why: str) -> Changed:
    out = out_loan(book)
    if out is None or out.stretch.last < which.first:
        return Changed(book=book)
    shorter = altered(out, stretch=Stretch(out.stretch.first, which.first - ONE_DAY))
    words = f"{why} Please bring it back by {day_in_words(shorter.stretch.last)}."
    return Changed(book=with_loan(book, shorter), lines=(told(What.MOVED, words, loan=shorter),))


def _back_or_lapse(book: Book, loan: Loan, why: str, *, today: date) -> Changed:
    if loan.instead_of is None:
        return _back_to_the_queue(book, loan, why, today=today)
    return Changed(book=with_loan(book, altered(loan, state=LoanState.LAPSED)))


def _clear(book: Book, why: str, *, today: date) -> Changed:
    """Move whatever lies on the days of a rest, and what that pushes in turn."""
    changed = Changed(book=book)
    for offer in book.loans:
        if offer.state is LoanState.OFFERED and offer.instead_of is not None:
            changed = changed.then(_back_or_lapse(changed.book, offer, why, today=today))
    return changed.then(make_way(changed.book, today=today, why=why))


def wake(book: Book, rest_id: int, *, today: date) -> Changed | No:
    """End a rest; from today on the meter can be lent again."""
    found = next((one for one in book.rests if one.id == rest_id), None)
    if found is None:
        return No(reason="This rest is no longer on the calendar.")
    if found.last is not None and found.last < today:
        return No(reason="This rest is already over.")
    others = tuple(one for one in book.rests if one.id != rest_id)
    if found.first < today:
        others = (*others, replace(found, last=today - ONE_DAY))
    line = Line(what=What.RESTED, words=f"{book.meter_name} is ready again.")
    return Changed(book=replace(book, rests=others), lines=(line,))


def lose(book: Book, *, today: date, reason: str) -> Changed | No:
    """The meter is lost: whatever is coming is given back, the queue waits."""
    if book.lost:
        return No(reason=f"{book.meter_name} is already marked as lost.")
    why = f"{book.meter_name} is lost."
    if reason.strip():
        why = f"{book.meter_name} is lost: {reason.strip()}."
    changed = Changed(book=replace(book, lost=True), lines=(Line(what=What.LOST, words=why),))
    out = out_loan(book)
    if out is not None:
        last = min(max(out.stretch.first, today), max(out.stretch.last, out.stretch.first))
        ended = altered(out, state=LoanState.ENDED, stretch=Stretch(out.stretch.first, last))
        lines = (told(What.ENDED, why, loan=ended),)
        changed = changed.then(Changed(book=with_loan(changed.book, ended), lines=lines))
    for loan in in_order_of_days(changed.book.loans, COMING):
        changed = changed.then(_back_or_lapse(changed.book, loan, why, today=today))
    return changed


def find(book: Book) -> Changed | No:
    if not book.lost:
        return No(reason=f"{book.meter_name} is not lost.")
    line = Line(what=What.FOUND, words=f"{book.meter_name} was found.")
    return Changed(book=replace(book, lost=False), lines=(line,))


def give_back(
    book: Book, loan_id: int, *, today: date, days: Stretch | None = None
) -> Changed | No:
    """Give days back that have not begun: all of them, or some from either end."""
    loan = loan_of(book, loan_id)
    if loan is None or loan.state not in (LoanState.BOOKED, LoanState.OUT):
        return No(reason="Only days that are still to come can be given back.")
    first = loan.stretch.first
    if loan.state is LoanState.OUT:
        first = max(today + ONE_DAY, first + ONE_DAY)
    elif first < today:
        first = today
    if first > loan.stretch.last:
        return No(reason="No days are left to give back; hand the meter over when you are done.")
    days = days or Stretch(first, loan.stretch.last)
    refusal = _not_from_an_end(loan, days, first)
    if refusal is not None:
        return refusal
    earlier = earlier_offer_for(book, loan.id)
    if earlier is not None:
        book = with_loan(book, altered(earlier, state=LoanState.LAPSED))
    words = f"Gave back {stretch_in_words(days)} with {book.meter_name}."
    line = replace(told(What.GAVE_BACK, words, loan=loan), told=False)
    return Changed(book=with_loan(book, _without_days(loan, days)), lines=(line,))


def _not_from_an_end(loan: Loan, days: Stretch, first: date) -> No | None:
    if days.first < first or days.last > loan.stretch.last:
        return No(field="days", reason="These days are over, or not part of the loan.")
    if days.last != loan.stretch.last and days.first != loan.stretch.first:
        reason = "Days can be given back from the beginning or the end, not from the middle."
        return No(field="days", reason=reason)
    return None


def _without_days(loan: Loan, days: Stretch) -> Loan:
    if days == loan.stretch:
        return altered(loan, state=LoanState.GIVEN_BACK)
    if days.last == loan.stretch.last:
        return altered(loan, stretch=Stretch(loan.stretch.first, days.first - ONE_DAY))
    return altered(loan, stretch=Stretch(days.last + ONE_DAY, loan.stretch.last))
