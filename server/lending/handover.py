"""From hand to hand: collecting the meter, passing it on, bringing it back, being late."""

from datetime import date, timedelta

from server.lending.book import (
    COMING,
    Book,
    Changed,
    Loan,
    LoanState,
    What,
    altered,
    earlier_offer_for,
    free_days,
    in_order_of_days,
    loan_of,
    out_loan,
    told,
    with_loan,
)
from server.lending.calendar import ONE_DAY, Stretch, day_in_words
from server.lending.moving import keep_until
from server.lending.rules import No, Rules, days


def next_loan(book: Book) -> Loan | None:
    """Whose turn it is after the present holder: the first booked loan, offers aside."""
    return next(iter(in_order_of_days(book.loans, frozenset({LoanState.BOOKED}))), None)


def receive(book: Book, loan_id: int, *, today: date) -> Changed | No:
    """The member of that loan now has the meter, from its keeper or from whoever had it.

    Whoever had it has the rest of today on their account, unless the new loan begins today.
    """
    loan = loan_of(book, loan_id)
    if loan is None or loan.state is not LoanState.BOOKED:
        return No(reason="This loan is not waiting for a handover.")
    if book.lost:
        return No(reason=f"{book.meter_name} is marked as lost; a steward can mark it as found.")
    first_up = next_loan(book)
    if first_up is not None and first_up.id != loan.id:
        return No(reason=f"Somebody else is next, from {day_in_words(first_up.stretch.first)}.")
    before = out_loan(book)
    if before is not None:
        return _pass_on(book, before, loan, today=today)
    if loan.stretch.first > today + ONE_DAY:
        first = day_in_words(loan.stretch.first - ONE_DAY)
        return No(reason=f"This loan can be collected from {first} on, the evening before.")
    return _now_out(book, loan, today=today)


def _pass_on(book: Book, before: Loan, loan: Loan, *, today: date) -> Changed | No:
    if before.stretch.first > today:
        return No(reason="The loan of whoever has it has not begun; pass it on from then on.")
    early = loan.stretch.first > today + ONE_DAY
    if early and _somebody_between(book, loan, today=today):
        return No(reason="The days between are held for somebody else; wait for your first day.")
    last = min(_last_day_with(book, before, today), loan.stretch.first - ONE_DAY)
    book = with_loan(book, _ended(before, last, today=today))
    if early:
        earlier = earlier_offer_for(book, loan.id)
        if earlier is not None:
            book = with_loan(book, altered(earlier, state=LoanState.LAPSED))
        loan = altered(loan, stretch=Stretch(today + ONE_DAY, loan.stretch.last))
    changed = Changed(
        book=book,
        lines=(told(What.HANDED_OVER, f"You handed over {book.meter_name}.", loan=before),),
    )
    return changed.then(_now_out(changed.book, loan, today=today))


def _somebody_between(book: Book, loan: Loan, *, today: date) -> bool:
    between = Stretch(today + ONE_DAY, loan.stretch.first - ONE_DAY)
    resting = any(
        one.first <= between.last and (one.last is None or one.last >= between.first)
        for one in book.rests
    )
    return resting or any(
        one.state in COMING and one.stretch.overlaps(between) and one.instead_of != loan.id
        for one in book.loans
        if one.id != loan.id
    )


def _now_out(book: Book, loan: Loan, *, today: date) -> Changed:
    out = altered(loan, state=LoanState.OUT, taken_on=today)
    words = (
        f"You have {book.meter_name} now. Hand it on or bring it back by "
        f"{day_in_words(out.stretch.last)}."
    )
    earlier = earlier_offer_for(book, loan.id)
    if earlier is not None:
        book = with_loan(book, altered(earlier, state=LoanState.LAPSED))
    return Changed(book=with_loan(book, out), lines=(told(What.HANDED_OVER, words, loan=out),))


def _ended(loan: Loan, last: date, *, today: date) -> Loan:
    kept = Stretch(loan.stretch.first, last)
    return altered(loan, state=LoanState.ENDED, stretch=kept, returned_on=today)


def bring_back(book: Book, *, today: date) -> Changed | No:
    """The holder brings the meter to its keeper; days that are left become free."""
    loan = out_loan(book)
    if loan is None:
        return No(reason=f"{book.meter_name} is not out with anybody.")
    words = f"{book.meter_name} is back. Thank you."
    lines = (told(What.BROUGHT_BACK, words, loan=loan),)
    if loan.stretch.first > today:
        back = altered(loan, state=LoanState.GIVEN_BACK, returned_on=today)
        return Changed(book=with_loan(book, back), lines=lines)
    ended = _ended(loan, _last_day_with(book, loan, today), today=today)
    return Changed(book=with_loan(book, ended), lines=lines)


def _last_day_with(book: Book, loan: Loan, today: date) -> date:
    """A late meter keeps today too, unless today belongs to somebody else or is for resting."""
    free = free_days(book, grace_days=0, without=frozenset({loan.id}))
    return today if free.fits(Stretch(today, today)) else loan.stretch.last


def say_late(book: Book, rules: Rules, until: date, *, today: date) -> Changed | No:
    """The holder says that it will be late, so that those behind know at once."""
    loan = out_loan(book)
    if loan is None:
        return No(reason=f"{book.meter_name} is not out with anybody.")
    if until <= max(loan.stretch.last, today - ONE_DAY):
        return No(field="until", reason="Choose a day after the one it is due.")
    furthest = max(loan.stretch.last, today) + timedelta(days=rules.longest_loan_days)
    if until > furthest:
        return No(
            field="until",
            reason=f"At most {days(rules.longest_loan_days)} more, until {day_in_words(furthest)}; "
            "speak to a steward if you need longer.",
        )
    return keep_until(book, loan, until, "The holder will bring the meter back late.", today=today)
