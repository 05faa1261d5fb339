"""How the meter goes round: offers, answers to them, and what each new day brings."""

from dataclasses import replace
from datetime import date, timedelta

from server.lending.book import (
    HOLDING,
    Book,
    Changed,
    Line,
    Loan,
    LoanState,
    Request,
    RequestState,
    What,
    altered,
    earlier_offer_for,
    free_days,
    in_order_of_days,
    loan_of,
    new_loan_id,
    out_loan,
    request_of,
    told,
    with_loan,
    with_request,
)
from server.lending.calendar import ONE_DAY, Stretch, day_in_words, stretch_in_words
from server.lending.fairness import Turn, turn, waiting
from server.lending.moving import keep_until
from server.lending.queue import NOTICE_DAYS, forecast
from server.lending.rules import No, Rules, count
from server.lending.share import earliest, held_by

# Nobody is asked about days that are only one day earlier than those they have.
WORTH_MOVING_DAYS = 2


def settle(book: Book, rules: Rules, *, today: date) -> Changed:
    """Bring the book up to today. Doing it twice changes nothing more."""
    changed = Changed(book=book)
    changed = changed.then(_let_offers_lapse(changed.book, rules, today=today))
    changed = changed.then(_keep_late_loan(changed.book, today=today))
    changed = changed.then(_end_past_loans(changed.book, today=today))
    changed = changed.then(_close_impossible_requests(changed.book, today=today))
    return changed.then(_make_offers(changed.book, rules, today=today))


def take(book: Book, rules: Rules, loan_id: int, *, today: date) -> Changed | No:
    """Say yes to an offer."""
    offer = loan_of(book, loan_id)
    if offer is None or offer.state is not LoanState.OFFERED:
        return No(reason="This offer no longer stands.")
    if offer.instead_of is not None:
        return _take_earlier(book, offer, offer.instead_of)
    book = with_loan(book, altered(offer, state=LoanState.BOOKED, answer_by=None))
    request = request_of(book, offer.request_id)
    if request is not None:
        book = with_request(book, replace(request, state=RequestState.SERVED))
    words = f"Took {stretch_in_words(offer.stretch)} with {book.meter_name}."
    return Changed(book=book, lines=(_quiet(What.TOOK, words, offer),))


def _take_earlier(book: Book, offer: Loan, loan_id: int) -> Changed | No:
    loan = loan_of(book, loan_id)
    if loan is None or loan.state is not LoanState.BOOKED:
        return No(reason="This offer no longer stands.")
    book = with_loan(book, altered(offer, state=LoanState.DECLINED))
    book = with_loan(book, altered(loan, stretch=offer.stretch))
    words = (
        f"Took earlier days with {book.meter_name}: {stretch_in_words(offer.stretch)} "
        f"instead of {stretch_in_words(loan.stretch)}."
    )
    return Changed(book=book, lines=(_quiet(What.TOOK, words, loan),))


def decline(
    book: Book, loan_id: int, *, today: date, not_before: date | None = None
) -> Changed | No:
    """Say no to an offer and keep one's place; `not_before` is when days would suit again."""
    offer = loan_of(book, loan_id)
    if offer is None or offer.state is not LoanState.OFFERED:
        return No(reason="This offer no longer stands.")
    later = not_before or offer.stretch.last + ONE_DAY
    if later <= offer.stretch.first:
        return No(field="not_before", reason="Choose a day after the one you were offered.")
    book = _set_aside(book, offer, LoanState.DECLINED, later, today=today)
    words = f"Said no to {stretch_in_words(offer.stretch)} with {book.meter_name}."
    return Changed(book=book, lines=(_quiet(What.DECLINED, words, offer),))


def _set_aside(book: Book, offer: Loan, state: LoanState, later: date, *, today: date) -> Book:
    """The offer is over; whoever had it wants nothing before `later`."""
    book = with_loan(book, altered(offer, state=state))
    if offer.instead_of is not None:
        loan = loan_of(book, offer.instead_of)
        # Being asked once for earlier days is enough; they keep what they have.
        return with_loan(book, replace(loan, earliest=loan.stretch.first)) if loan else book
    request = request_of(book, offer.request_id)
    if request is None:
        return book
    return with_request(book, replace(request, earliest=later, since=max(today, later)))


def _quiet(what: What, words: str, loan: Loan) -> Line:
    return replace(told(what, words, loan=loan), told=False)


def _let_offers_lapse(book: Book, rules: Rules, *, today: date) -> Changed:
    changed = Changed(book=book)
    for offer in book.loans:
        ran_out = offer.answer_by is not None and offer.answer_by < today
        if offer.state is LoanState.OFFERED and ran_out:
            changed = changed.then(_lapse(changed.book, rules, offer, today=today))
    return changed


def _lapse(book: Book, rules: Rules, offer: Loan, *, today: date) -> Changed:
    book = _set_aside(book, offer, LoanState.LAPSED, offer.stretch.last + ONE_DAY, today=today)
    words = f"The offer of {stretch_in_words(offer.stretch)} with {book.meter_name} ran out."
    if offer.instead_of is not None:
        return Changed(
            book=book,
            lines=(told(What.LAPSED, f"{words} You keep the days you have.", loan=offer),),
        )
    request = request_of(book, offer.request_id)
    if request is None:
        return Changed(book=book, lines=(told(What.LAPSED, words, loan=offer),))
    request = replace(request, unanswered=request.unanswered + 1)
    if request.unanswered < rules.unanswered_offers:
        words += " You keep your place and will be offered later days."
        lines = (told(What.LAPSED, words, loan=offer),)
        return Changed(book=with_request(book, request), lines=lines)
    words += (
        f" That was {count(request.unanswered, 'offer')} without an answer, so your request "
        "is closed. You can ask again at any time."
    )
    book = with_request(book, replace(request, state=RequestState.CLOSED))
    return Changed(book=book, lines=(told(What.CLOSED, words, loan=offer),))


def _keep_late_loan(book: Book, *, today: date) -> Changed:
    """A loan that is still out holds every day up to yesterday; what follows makes way.

    Today itself is left to whoever comes next: the handing over may still happen.
    """
    loan = out_loan(book)
    yesterday = today - ONE_DAY
    if loan is None or loan.stretch.last >= yesterday:
        return Changed(book=book)
    return keep_until(book, loan, yesterday, "The meter has not come back in time.", today=today)


def _end_past_loans(book: Book, *, today: date) -> Changed:
    """Booked days that are over without any handover on record."""
    changed = Changed(book=book)
    for loan in book.loans:
        if loan.state is LoanState.BOOKED and loan.stretch.last < today:
            words = f"{stretch_in_words(loan.stretch)} went by with no handover on record."
            ended = altered(loan, state=LoanState.ENDED)
            lines = (_quiet(What.ENDED, words, loan),)
            changed = changed.then(Changed(book=with_loan(changed.book, ended), lines=lines))
    return changed


def _close_impossible_requests(book: Book, *, today: date) -> Changed:
    changed = Changed(book=book)
    first = today + timedelta(days=NOTICE_DAYS)
    offered = {loan.request_id for loan in book.loans if loan.state is LoanState.OFFERED}
    for request in book.requests:
        if request.state is not RequestState.OPEN or request.id in offered:
            continue
        needed = max(first, request.earliest) + timedelta(days=request.days - 1)
        if request.latest is not None and request.latest < needed:
            changed = changed.then(_close(changed.book, request))
    return changed


def _close(book: Book, request: Request) -> Changed:
    words = (
        f"Your request for {book.meter_name} is closed: no stretch could be offered that would "
        "be over by the last day you gave. You can ask again with a later one."
    )
    book = with_request(book, replace(request, state=RequestState.CLOSED))
    return Changed(book=book, lines=(told(What.CLOSED, words, request=request),))


def _make_offers(book: Book, rules: Rules, *, today: date) -> Changed:
    """The patient and the troubled first, then those who hold later days, then the others."""
    changed = _offer_to_waiting(book, rules, (Turn.PATIENT, Turn.TROUBLE), today=today)
    changed = changed.then(_offer_earlier_days(changed.book, rules, today=today))
    return changed.then(_offer_to_waiting(changed.book, rules, tuple(Turn), today=today))


def _offer_to_waiting(book: Book, rules: Rules, turns: tuple[Turn, ...], *, today: date) -> Changed:
    changed = Changed(book=book)
    expected = forecast(book, rules, today=today)
    soon = today + timedelta(days=rules.offer_ahead_days)
    for request in waiting(book, rules, today=today):
        stretch = expected[request.id]
        which = turn(request, rules, today=today)
        if stretch is None or which not in turns:
            continue
        if stretch.first <= soon or which is Turn.PATIENT:
            changed = changed.then(_offer(changed.book, rules, request, stretch, today=today))
    return changed


def _offer(book: Book, rules: Rules, request: Request, stretch: Stretch, *, today: date) -> Changed:
    offer = Loan(
        id=new_loan_id(book),
        member_id=request.member_id,
        stretch=stretch,
        state=LoanState.OFFERED,
        earliest=request.earliest,
        request_id=request.id,
        answer_by=answer_by(rules, stretch, today=today),
    )
    words = (
        f"{book.meter_name} is free for you {stretch_in_words(stretch)}. "
        f"Take these days by the end of {day_in_words(offer.answer_by or today)}."
    )
    return Changed(book=with_loan(book, offer), lines=(told(What.OFFERED, words, loan=offer),))


def answer_by(rules: Rules, stretch: Stretch, *, today: date) -> date:
    """The last day for answering; always before the first day that is offered."""
    return min(today + timedelta(days=rules.answer_days), stretch.first - ONE_DAY)


def _offer_earlier_days(book: Book, rules: Rules, *, today: date) -> Changed:
    changed = Changed(book=book)
    for loan in in_order_of_days(book.loans, frozenset({LoanState.BOOKED})):
        if loan.request_id is not None and earlier_offer_for(changed.book, loan.id) is None:
            changed = changed.then(_offer_earlier(changed.book, rules, loan, today=today))
    return changed


def _offer_earlier(book: Book, rules: Rules, loan: Loan, *, today: date) -> Changed:
    first = max(loan.earliest, today + timedelta(days=NOTICE_DAYS))
    worth = loan.stretch.first - timedelta(days=WORTH_MOVING_DAYS)
    if first > worth:
        return Changed(book=book)
    free = free_days(book, grace_days=rules.grace_days, without=frozenset({loan.id}))
    stretch = earliest(
        free,
        held_by(book, loan.member_id, without=frozenset({loan.id})),
        rules,
        length_days=loan.stretch.length_days,
        not_before=first,
    )
    if stretch is None or stretch.first > worth:
        return Changed(book=book)
    offer = Loan(
        id=new_loan_id(book),
        member_id=loan.member_id,
        stretch=stretch,
        state=LoanState.OFFERED,
        earliest=loan.earliest,
        request_id=loan.request_id,
        instead_of=loan.id,
        answer_by=answer_by(rules, stretch, today=today),
    )
    words = (
        f"Days came free: you may have {book.meter_name} {stretch_in_words(stretch)} instead of "
        f"{stretch_in_words(loan.stretch)}. Answer by the end of "
        f"{day_in_words(offer.answer_by or today)}; if you say no, you keep the days you have."
    )
    return Changed(book=with_loan(book, offer), lines=(told(What.OFFERED, words, loan=offer),))


def holder_on(book: Book, day: date) -> Loan | None:
    """Whose day it was, is or will be; offers hold their days too."""
    holding = (loan for loan in book.loans if loan.state in HOLDING and day in loan.stretch)
    return next((loan for loan in holding if loan.instead_of is None), None)
