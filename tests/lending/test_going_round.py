"""A club is driven through years of days, and the book must keep its promises after each step."""

import os
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from server.lending import handover, moving, offers, queue
from server.lending.book import (
    COMING,
    HOLDING,
    Book,
    Changed,
    Line,
    Loan,
    LoanState,
    Purpose,
    Request,
    RequestState,
    Rest,
    What,
    days_of,
    free_days,
    open_offer_for,
    out_loan,
)
from server.lending.calendar import ONE_DAY, FreeDays, Stretch, stretch_from
from server.lending.fairness import in_turn, waiting
from server.lending.rules import No, Rules, latest_first_day

FIRST_DAY = date(2027, 1, 1)
MEMBERS = range(1, 7)
LENT = (LoanState.BOOKED, LoanState.OUT, LoanState.ENDED)
LONG = os.environ.get("UNDERLAMP_LONG") == "1"


@dataclass
class Club:
    """The book, the clock, and what an onlooker writes down without looking at the rules."""

    rules: Rules
    book: Book = field(default_factory=lambda: Book(meter_name="Meter A"))
    today: date = FIRST_DAY
    lines: list[Line] = field(default_factory=list)
    whose_day: dict[date, int | None] = field(default_factory=dict)
    in_hands: dict[date, int] = field(default_factory=dict)
    asked: int = 0
    delays_days: int = 0

    def did(self, answer: Changed | No) -> bool:
        if isinstance(answer, No):
            assert answer.reason.endswith((".", "!")), "a refusal is a sentence"
            return False
        self.keep(answer)
        self.keep(offers.settle(self.book, self.rules, today=self.today))
        return True

    def keep(self, changed: Changed) -> None:
        check_offers_follow_the_rule(self, changed)
        check_nobody_is_given_more_than_their_share(self, changed)
        self.book = changed.book
        self.lines += changed.lines

    def ask(
        self, member_id: int, days: int, purpose: Purpose, wait: int, latest: int | None
    ) -> bool:
        number = self.asked + 1
        request = Request(
            id=number,
            number=number,
            member_id=member_id,
            asked_on=self.today,
            earliest=self.today + timedelta(days=wait),
            latest=None if latest is None else self.today + timedelta(days=latest),
            days=days,
            purpose=purpose,
            since=self.today,
        )
        joined = self.did(queue.join(self.book, self.rules, request, today=self.today))
        self.asked += joined
        return joined

    def next_day(self) -> None:
        out = out_loan(self.book)
        if out is not None and out.stretch.first <= self.today:
            self.in_hands[self.today] = out.member_id
        if out is not None and out.stretch.last < self.today:
            self.delays_days += 1
        if not self.meter_can_be_lent():
            self.delays_days += 1
        self.today += ONE_DAY
        self.keep(offers.settle(self.book, self.rules, today=self.today))
        past = self.today - ONE_DAY
        self.whose_day[past] = who_has(self.book, past)

    def meter_can_be_lent(self) -> bool:
        day = Stretch(self.today, self.today)
        return free_days(replace(self.book, loans=()), grace_days=0).fits(day)

    def standing_offers(self) -> list[Loan]:
        return [loan for loan in self.book.loans if loan.state is LoanState.OFFERED]

    def loans(self, *states: LoanState) -> list[Loan]:
        return [loan for loan in self.book.loans if loan.state in states]


def who_has(book: Book, day: date) -> int | None:
    had = [loan.member_id for loan in book.loans if loan.state in LENT and day in loan.stretch]
    assert len(had) <= 1
    return had[0] if had else None


def goes_before(book: Book, rules: Rules, one: Request, other: Request, today: date) -> bool:
    """The written rule once more, pair by pair, in words as close to the page as can be."""
    patient = [(today - each.since).days >= rules.patience_days for each in (one, other)]
    if patient[0] != patient[1]:
        return patient[0]
    if patient[0]:
        return (one.since, one.number) < (other.since, other.number)
    if one.agreed != other.agreed:
        return one.agreed
    if one.agreed:
        return one.number < other.number
    had = [days_with_a_meter(book, each.member_id, today) for each in (one, other)]
    return one.number < other.number if had[0] == had[1] else had[0] < had[1]


def days_with_a_meter(book: Book, member_id: int, today: date) -> int:
    half_a_year_ago = today - timedelta(days=182)
    return sum(
        1
        for loan in book.loans
        if loan.member_id == member_id
        and loan.state in (LoanState.BOOKED, LoanState.OUT, LoanState.ENDED)
        for day in loan.stretch
        if day >= half_a_year_ago
    )


def check_offers_follow_the_rule(club: Club, changed: Changed) -> None:
    """An offer never takes days from those who go before the one it is made to."""
    before = {loan.id for loan in club.book.loans}
    new = [
        loan
        for loan in changed.book.loans
        if loan.id not in before and loan.state is LoanState.OFFERED and loan.instead_of is None
    ]
    for offer in new:
        mine = next(one for one in changed.book.requests if one.id == offer.request_id)
        ahead = [
            other
            for other in waiting(changed.book, club.rules, today=club.today)
            if goes_before(changed.book, club.rules, other, mine, club.today)
        ]
        without = free_days(
            changed.book, grace_days=club.rules.grace_days, without=frozenset({offer.id})
        )
        with_it = free_days(changed.book, grace_days=club.rules.grace_days)
        fair = served_in_turn(ahead, without, club, changed.book)
        assert fair == served_in_turn(ahead, with_it, club, changed.book)


def served_in_turn(
    requests: list[Request], free: FreeDays, club: Club, book: Book
) -> list[Stretch | None]:
    stretches = []
    for one in requests:
        stretch = first_within_share(club, book, one, free)
        stretches.append(stretch)
        free = free.plus(stretch) if stretch else free
    return stretches


def first_within_share(club: Club, book: Book, request: Request, free: FreeDays) -> Stretch | None:
    """Day by day: the first free stretch that leaves the member within their share of the book."""
    first = max(request.earliest, club.today + ONE_DAY)
    while True:
        found = free.earliest(length_days=request.days, not_before=first, latest=request.latest)
        if found is None or within_share(club, book, request.member_id, found):
            return found
        first = found.first + ONE_DAY


def within_share(
    club: Club, book: Book, member_id: int, more: Stretch, without: tuple[int | None, ...] = ()
) -> bool:
    """Counted window by window, without looking at how the rule counts. A stretch that a steward
    made longer than the whole share may still be kept, or offered earlier, as it is."""
    days = [
        day
        for loan in book.loans
        if loan.member_id == member_id and loan.state in HOLDING and loan.id not in without
        for day in days_of(book, loan)
    ] + list(more)
    starts = range(1 - club.rules.window_days, more.length_days)
    windows = (more.first + timedelta(days=n) for n in starts)
    length = timedelta(days=club.rules.window_days)
    most = max(club.rules.window_most_days, more.length_days)
    return all(sum(start <= day < start + length for day in days) <= most for start in windows)


def check_nobody_is_given_more_than_their_share(club: Club, changed: Changed) -> None:
    """New picks and offers; what a late return or a steward moves is not taken away."""
    before = {loan.id for loan in club.book.loans}
    for loan in changed.book.loans:
        if loan.id not in before and loan.state in HOLDING:
            without = (loan.id, loan.instead_of)
            assert within_share(club, changed.book, loan.member_id, loan.stretch, without)


class GoingRound(RuleBasedStateMachine):
    @initialize(
        grace_days=st.integers(0, 2),
        patience_days=st.integers(10, 25),
        offer_ahead_days=st.integers(2, 12),
        unanswered_offers=st.integers(1, 3),
        window_days=st.integers(7, 20),
        window_most_days=st.integers(3, 9),
    )
    def open_club(self, **chosen: int) -> None:
        chosen |= {"longest_loan_days": 5, "ahead_days": 20, "trouble_days": 2}
        self.club = Club(rules=Rules(**chosen, picked_days_each=8, answer_days=2))

    @rule(days=st.one_of(st.integers(1, 4), st.integers(5, 40)))
    def days_go_by(self, days: int) -> None:
        for _ in range(days):
            self.club.next_day()
            self.check_everything()

    @rule(
        member_id=st.sampled_from(MEMBERS),
        days=st.integers(0, 6),
        purpose=st.sampled_from(Purpose),
        wait=st.integers(-1, 12),
        latest=st.one_of(st.none(), st.integers(0, 40)),
    )
    def join(self, **asked: object) -> None:
        self.club.ask(**asked)  # type: ignore[arg-type]  # hypothesis draws by keyword

    @rule(member_id=st.sampled_from(MEMBERS), after=st.integers(-1, 22), days=st.integers(1, 6))
    def pick(self, member_id: int, after: int, days: int) -> None:
        club = self.club
        expected = queue.forecast(club.book, club.rules, today=club.today)
        wanted = stretch_from(club.today + timedelta(days=after), days)
        answer = queue.pick(club.book, club.rules, member_id, wanted, today=club.today)
        if isinstance(answer, No):
            if answer.nearest is not None:
                again = queue.pick(
                    club.book, club.rules, member_id, answer.nearest, today=club.today
                )
                assert not isinstance(again, No) or not again.taken
        else:
            later = queue.forecast(answer.book, club.rules, today=club.today)
            assert later.keys() == expected.keys()
            # Picking counts as having had, which may only put the picker further back.
            others = {one.id for one in club.book.requests if one.member_id != member_id}
            for request_id in others & expected.keys():
                was, now = expected[request_id], later[request_id]
                assert was is None or (now is not None and now <= was)
        club.did(answer)

    @precondition(lambda self: self.club.standing_offers())
    @rule(data=st.data(), yes=st.booleans())
    def answer_an_offer(self, data: st.DataObject, yes: bool) -> None:
        club = self.club
        offer = data.draw(st.sampled_from(club.standing_offers()))
        if yes:
            assert club.did(offers.take(club.book, club.rules, offer.id, today=club.today))
            return
        numbers = {one.id: one.number for one in club.book.requests}
        assert club.did(offers.decline(club.book, offer.id, today=club.today))
        assert {one.id: one.number for one in club.book.requests} == numbers
        if offer.instead_of is not None:
            kept = next(loan for loan in club.book.loans if loan.id == offer.instead_of)
            assert kept.state is LoanState.BOOKED

    @precondition(lambda self: self.club.loans(LoanState.BOOKED))
    @rule(data=st.data())
    def hand_over(self, data: st.DataObject) -> None:
        club = self.club
        loan = data.draw(st.sampled_from(club.loans(LoanState.BOOKED)))
        club.did(handover.receive(club.book, loan.id, today=club.today))

    @precondition(lambda self: self.club.loans(LoanState.BOOKED))
    @rule()
    def next_one_collects(self) -> None:
        club = self.club
        loan = handover.next_loan(club.book)
        assert loan is not None
        club.did(handover.receive(club.book, loan.id, today=club.today))

    @precondition(lambda self: out_loan(self.club.book))
    @rule()
    def bring_back(self) -> None:
        assert self.club.did(handover.bring_back(self.club.book, today=self.club.today))

    @precondition(lambda self: out_loan(self.club.book))
    @rule(days=st.integers(1, 8))
    def say_late(self, days: int) -> None:
        club = self.club
        out = out_loan(club.book)
        assert out is not None
        until = out.stretch.last + timedelta(days=days)
        before = {loan.id: loan for loan in club.book.loans}
        answer = handover.say_late(club.book, club.rules, until, today=club.today)
        if isinstance(answer, Changed):
            check_moved_no_further_than_needed(before, answer, until)
            club.delays_days += days
        club.did(answer)

    @precondition(lambda self: self.club.loans(LoanState.BOOKED, LoanState.OUT))
    @rule(data=st.data())
    def give_back(self, data: st.DataObject) -> None:
        club = self.club
        loan = data.draw(st.sampled_from(club.loans(LoanState.BOOKED, LoanState.OUT)))
        length = loan.stretch.length_days
        first, last = sorted(data.draw(st.tuples(*[st.integers(0, length - 1)] * 2)))
        days = Stretch(
            loan.stretch.first + timedelta(days=first), loan.stretch.first + timedelta(days=last)
        )
        chosen = data.draw(st.sampled_from([None, days]))
        club.did(moving.give_back(club.book, loan.id, days=chosen, today=club.today))

    @precondition(lambda self: self.club.loans(LoanState.BOOKED, LoanState.OUT))
    @rule(data=st.data(), after=st.integers(-1, 15), days=st.integers(1, 6))
    def steward_moves(self, data: st.DataObject, after: int, days: int) -> None:
        club = self.club
        loan = data.draw(st.sampled_from(club.loans(LoanState.BOOKED, LoanState.OUT)))
        to = stretch_from(club.today + timedelta(days=after), days)
        if club.did(
            moving.move(club.book, loan.id, to, reason="The club meets.", today=club.today)
        ):
            club.delays_days += after + days + 1

    @rule(
        after=st.integers(-1, 12),
        days=st.one_of(st.none(), st.integers(1, 6)),
        how=st.sampled_from(["move", "give_back"]),
    )
    def steward_lets_rest(self, after: int, days: int | None, how: str) -> None:
        club = self.club
        first = club.today + timedelta(days=after)
        which = Rest(
            id=len(club.lines) + 1000,
            first=first,
            last=None if days is None else first + timedelta(days=days - 1),
            reason="calibration",
        )
        club.did(moving.rest(club.book, which, how=how, today=club.today))

    @precondition(lambda self: self.club.book.rests)
    @rule()
    def steward_wakes(self) -> None:
        club = self.club
        club.did(moving.wake(club.book, club.book.rests[-1].id, today=club.today))

    @rule()
    def steward_loses_and_finds(self) -> None:
        club = self.club
        assert club.did(moving.lose(club.book, today=club.today, reason="left on a bus"))
        assert not club.loans(*COMING, LoanState.OUT)
        assert club.did(moving.find(club.book))

    @precondition(lambda self: in_turn(self.club.book, self.club.rules, today=self.club.today))
    @rule(data=st.data(), leave=st.booleans(), agreed=st.booleans())
    def leave_or_let_ahead(self, data: st.DataObject, leave: bool, agreed: bool) -> None:
        club = self.club
        request = data.draw(st.sampled_from(in_turn(club.book, club.rules, today=club.today)))
        if leave:
            assert club.did(queue.withdraw(club.book, request.id))
        else:
            club.did(queue.agree(club.book, club.rules, request.id, agreed=agreed))

    @invariant()
    def everything_holds(self) -> None:
        if hasattr(self, "club"):
            self.check_everything()

    def check_everything(self) -> None:
        check_no_meter_in_two_hands(self.club)
        check_no_member_twice_in_the_queue(self.club)
        check_order_is_the_written_rule(self.club)
        check_nobody_starves(self.club)
        check_history_adds_up(self.club)
        check_settling_twice_changes_nothing(self.club)


def check_no_meter_in_two_hands(club: Club) -> None:
    seen: dict[date, int] = {}
    resting = free_days(replace(club.book, loans=()), grace_days=0)
    for loan in club.book.loans:
        if loan.state not in HOLDING:
            continue
        for day in days_of(club.book, loan):
            assert day not in seen, f"{day} belongs to {seen[day]} and to {loan.id}"
            seen[day] = loan.id
            if loan.state is not LoanState.ENDED:
                assert resting.fits(Stretch(day, day)), "lent on a day of rest"
    assert len(club.loans(LoanState.OUT)) <= 1


def check_no_member_twice_in_the_queue(club: Club) -> None:
    members = [one.member_id for one in club.book.requests if one.state is RequestState.OPEN]
    assert len(members) == len(set(members))


def check_order_is_the_written_rule(club: Club) -> None:
    order = in_turn(club.book, club.rules, today=club.today)
    for at, one in enumerate(order):
        for other in order[at + 1 :]:
            assert goes_before(club.book, club.rules, one, other, club.today)


def check_nobody_starves(club: Club) -> None:
    free = free_days(club.book, grace_days=club.rules.grace_days)
    for request in waiting(club.book, club.rules, today=club.today):
        some = first_within_share(club, club.book, request, free)
        if some is not None:
            assert (club.today - request.since).days < club.rules.patience_days
    for request in club.book.requests:
        offer = open_offer_for(club.book, request.id)
        if offer is not None and not club.book.rests:
            bound = latest_first_day(club.rules, since=request.since, others=len(MEMBERS) - 1)
            assert offer.stretch.first <= bound + timedelta(days=club.delays_days)


def check_history_adds_up(club: Club) -> None:
    """What is past stays as it was, agrees with who had it in hand, and sums to the loans."""
    had: dict[int, int] = {}
    for day, member_id in club.whose_day.items():
        assert who_has(club.book, day) == member_id, f"history of {day} was rewritten"
        if day in club.in_hands:
            assert member_id == club.in_hands[day]
        if member_id is not None:
            had[member_id] = had.get(member_id, 0) + 1
    for member_id in MEMBERS:
        lent = sum(
            max(0, (min(loan.stretch.last, club.today - ONE_DAY) - loan.stretch.first).days + 1)
            for loan in club.loans(*LENT)
            if loan.member_id == member_id
        )
        assert lent == had.get(member_id, 0)
    assert sum(line.what is What.ASKED for line in club.lines) == len(club.book.requests)
    offered = {line.loan_id for line in club.lines if line.what is What.OFFERED}
    picked = {line.loan_id for line in club.lines if line.what is What.PICKED}
    assert offered | picked == {loan.id for loan in club.book.loans}
    assert not offered & picked


def check_settling_twice_changes_nothing(club: Club) -> None:
    again = offers.settle(club.book, club.rules, today=club.today)
    assert again.book == club.book
    assert again.lines == ()


def check_moved_no_further_than_needed(
    before: dict[int, Loan], answer: Changed, until: date
) -> None:
    """Each loan that moved begins right after what is before it, or right after a rest."""
    loans = {loan.id: loan for loan in answer.book.loans}
    lent = {day for loan in loans.values() if loan.state in HOLDING for day in loan.stretch}
    resting = free_days(replace(answer.book, loans=()), grace_days=0)
    told = {line.loan_id for line in answer.lines if line.told}
    for loan_id, was in before.items():
        now = loans[loan_id]
        if was.state not in COMING or now.state not in COMING or was.stretch == now.stretch:
            continue
        assert loan_id in told
        assert now.stretch.length_days == was.stretch.length_days
        assert now.stretch.first > was.stretch.first
        day_before = now.stretch.first - ONE_DAY
        own_old_days = day_before in was.stretch or day_before < was.stretch.first
        one_day_sooner = Stretch(day_before, now.stretch.last - ONE_DAY)
        assert day_before in lent or not resting.fits(one_day_sooner) or not own_old_days


GoingRound.TestCase.settings = settings(
    max_examples=1500 if LONG else 60,
    stateful_step_count=120 if LONG else 60,
    deadline=None,
    # Making a failure smaller can take minutes; the long form does it.
    phases=tuple(Phase) if LONG else (Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
TestGoingRound = GoingRound.TestCase
