"""Two years of one meter among sixty members, lent by the club's rule and by fixed weeks.

Run it: python tests/benchmarks/lending_two_years.py

Both ways of lending see the same members, the same wishes on the same days, and the same
habits: who forgets to answer, who brings the meter back early or late, who gives up. Fixed
weeks are what a list in a chat group comes to: whoever asks gets the first free calendar week,
in the order of asking, one open place each. A member whose week begins after the last day that
would help says so at once and the week stays free for the next one who asks. All members,
wishes and habits are made up.

In the busy club more is wished for than one meter can do, which is when fairness matters. In
the quiet one nearly every wish is met, so loans per member spread as wide as the wishes do.
"""

import argparse
import random
import statistics
import sys
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from server.lending import handover, moving, offers, queue
from server.lending.book import (
    Book,
    Changed,
    LoanState,
    Purpose,
    Request,
    in_order_of_days,
    loan_of,
    out_loan,
)
from server.lending.calendar import ONE_DAY
from server.lending.rules import No, Rules

FIRST_DAY = date(2027, 1, 4)  # a Monday
# Wishes a year of the keen quarter and of everybody else.
BUSY, QUIET = (5.0, 1.3), (3.2, 0.8)
WEEK_DAYS = 7


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What a member wants on a day, and how they will behave."""

    number: int
    member_id: int
    asked_on: date
    days: int
    purpose: Purpose
    gives_up_after_days: int
    answers_after_days: int
    says_no: bool
    back_days: int  # below nought: early; above: late
    gives_all_back: bool


@dataclass
class Record:
    """What came of it: waits from asking to the first day, loans and days by member."""

    waits_days: list[int] = field(default_factory=list)
    gave_up: int = 0
    loans: Counter[int] = field(default_factory=Counter)
    used: set[date] = field(default_factory=set)
    days: Counter[int] = field(default_factory=Counter)
    asked: Counter[int] = field(default_factory=Counter)

    def lend(self, member_id: int, asked_on: date, first: date, last: date) -> None:
        self.waits_days.append((first - asked_on).days)
        self.loans[member_id] += 1
        for n in range((last - first).days + 1):
            self.used.add(first + timedelta(days=n))
            self.days[member_id] += 1


def wishes(*, members: int, days: int, seed: int, yearly: tuple[float, float] = BUSY) -> list[Wish]:
    """A quarter of the members are keen and want the meter about four times as often."""
    draw = random.Random(seed)
    found: list[Wish] = []
    for n in range(days):
        today = FIRST_DAY + timedelta(days=n)
        for member_id in range(1, members + 1):
            keen = member_id <= members // 4
            if draw.random() < yearly[0 if keen else 1] / 365:
                found.append(_wish(draw, len(found) + 1, member_id, today))
    return found


def _wish(draw: random.Random, number: int, member_id: int, today: date) -> Wish:
    purpose = draw.choices(tuple(Purpose), weights=(4, 1, 4, 2))[0]
    return Wish(
        number=number,
        member_id=member_id,
        asked_on=today,
        days=draw.choices((2, 3, 4, 5, 7), weights=(2, 4, 4, 2, 1))[0],
        purpose=purpose,
        gives_up_after_days=draw.choice((28, 60, 90, 120)),
        answers_after_days=draw.choices((0, 1, 5), weights=(6, 3, 1))[0],
        says_no=draw.random() < 0.1,
        back_days=draw.choices((-2, -1, 0, 1, 3), weights=(1, 2, 14, 2, 1))[0],
        gives_all_back=draw.random() < 0.04,
    )


# By the club's rule


@dataclass
class ByTheRule:
    rules: Rules
    book: Book = field(default_factory=lambda: Book(meter_name="Meter"))
    wish_of: dict[int, Wish] = field(default_factory=dict)
    offered_on: dict[int, date] = field(default_factory=dict)
    refused: set[int] = field(default_factory=set)
    record: Record = field(default_factory=Record)

    def run(self, everything: list[Wish], *, days: int) -> Record:
        by_day: dict[date, list[Wish]] = {}
        for wish in everything:
            by_day.setdefault(wish.asked_on, []).append(wish)
        for n in range(days):
            self.day(FIRST_DAY + timedelta(days=n), by_day)
        for loan in self.book.loans:
            if loan.state is LoanState.ENDED and loan.request_id is not None:
                wish = self.wish_of[loan.request_id]
                self.record.lend(
                    wish.member_id, wish.asked_on, loan.stretch.first, loan.stretch.last
                )
        served = len(self.record.waits_days)
        self.record.gave_up = sum(self.record.asked.values()) - served
        return self.record

    def day(self, today: date, by_day: dict[date, list[Wish]]) -> None:
        self.keep(offers.settle(self.book, self.rules, today=today), today)
        for wish in by_day.get(today, []):
            self.ask(wish, today)
        self.answer_offers(today)
        self.hand_over(today)

    def keep(self, changed: Changed | No, today: date) -> bool:
        if isinstance(changed, No):
            return False
        self.book = offers.settle(changed.book, self.rules, today=today).book
        for loan in self.book.loans:
            if loan.state is LoanState.OFFERED:
                self.offered_on.setdefault(loan.id, today)
        return True

    def ask(self, wish: Wish, today: date) -> None:
        request = Request(
            id=wish.number,
            number=wish.number,
            member_id=wish.member_id,
            asked_on=today,
            earliest=today,
            latest=today + timedelta(days=wish.gives_up_after_days),
            days=wish.days,
            purpose=wish.purpose,
            since=today,
        )
        if self.keep(queue.join(self.book, self.rules, request, today=today), today):
            self.wish_of[wish.number] = wish
            self.record.asked[wish.member_id] += 1
            if wish.purpose is Purpose.TROUBLE:
                agreed = queue.agree(self.book, self.rules, wish.number, agreed=True)
                self.keep(agreed, today)

    def answer_offers(self, today: date) -> None:
        for offer in self.book.loans:
            current = loan_of(self.book, offer.id)
            if current is None or current.state is not LoanState.OFFERED:
                continue
            wish = self.wish_of[offer.request_id or 0]
            if (today - self.offered_on[offer.id]).days < wish.answers_after_days:
                continue
            says_no = wish.says_no and wish.number not in self.refused
            if says_no:
                self.refused.add(wish.number)
                self.keep(offers.decline(self.book, offer.id, today=today), today)
            elif self.keep(offers.take(self.book, self.rules, offer.id, today=today), today):
                self.maybe_give_back(wish, today)

    def maybe_give_back(self, wish: Wish, today: date) -> None:
        if not wish.gives_all_back:
            return
        for loan in self.book.loans:
            if loan.request_id == wish.number and loan.state is LoanState.BOOKED:
                self.keep(moving.give_back(self.book, loan.id, today=today), today)

    def hand_over(self, today: date) -> None:
        """The next one collects on their first day, as soon as the meter is there."""
        out = out_loan(self.book)
        coming = in_order_of_days(self.book.loans, frozenset({LoanState.BOOKED}))
        if out is not None:
            wish = self.wish_of[out.request_id or 0]
            planned_last = self.planned_last(out.id, wish)
            if today < planned_last:
                return
            if not coming or coming[0].stretch.first > today:
                self.keep(handover.bring_back(self.book, today=today), today)
                return
        if coming and coming[0].stretch.first <= today:
            self.keep(handover.receive(self.book, coming[0].id, today=today), today)

    def planned_last(self, loan_id: int, wish: Wish) -> date:
        loan = loan_of(self.book, loan_id)
        assert loan is not None and loan.taken_on is not None
        last = loan.taken_on + timedelta(days=wish.days - 1 + wish.back_days)
        return max(last, loan.taken_on)


# By fixed weeks


def by_fixed_weeks(everything: list[Wish], *, days: int) -> Record:
    record = Record()
    taken: dict[date, Wish] = {}
    until: dict[int, date] = {}  # when a member's place in the list is used up
    end = FIRST_DAY + timedelta(days=days)
    for wish in everything:
        if until.get(wish.member_id, FIRST_DAY) > wish.asked_on:
            continue
        record.asked[wish.member_id] += 1
        monday = _monday_after(wish.asked_on)
        while monday in taken:
            monday += timedelta(days=WEEK_DAYS)
        if monday + timedelta(days=wish.days - 1) > wish.asked_on + timedelta(
            days=wish.gives_up_after_days
        ):
            record.gave_up += 1
            continue
        taken[monday] = wish
        until[wish.member_id] = monday
        if wish.gives_all_back:
            del taken[monday]
            record.gave_up += 1
    for monday, wish in taken.items():
        if monday + timedelta(days=WEEK_DAYS) > end:
            record.gave_up += 1
            continue
        # Nobody else can have the rest of a fixed week; late by less than it hurts nobody.
        kept = min(WEEK_DAYS, max(1, wish.days + wish.back_days))
        record.lend(wish.member_id, wish.asked_on, monday, monday + timedelta(days=kept) - ONE_DAY)
    return record


def _monday_after(day: date) -> date:
    return day + timedelta(days=WEEK_DAYS - day.weekday())


# The table


@dataclass(frozen=True, kw_only=True)
class Summary:
    asked: int
    served: int
    median_wait_days: float
    longest_wait_days: int
    share_of_days_used: float
    spread: float
    least_loans: int
    most_loans: int
    without: int


def summary(record: Record, *, members: int, days: int) -> Summary:
    """`spread` is the standard deviation of loans per member over their mean."""
    loans = [record.loans[member_id] for member_id in range(1, members + 1)]
    return Summary(
        asked=sum(record.asked.values()),
        served=len(record.waits_days),
        median_wait_days=statistics.median(record.waits_days),
        longest_wait_days=max(record.waits_days),
        share_of_days_used=len(record.used) / days,
        spread=statistics.pstdev(loans) / statistics.fmean(loans),
        least_loans=min(loans),
        most_loans=max(loans),
        without=sum(
            record.loans[one] == 0 and record.asked[one] > 0 for one in range(1, members + 1)
        ),
    )


def compare(
    *, members: int, days: int, seed: int, yearly: tuple[float, float] = BUSY
) -> tuple[Summary, Summary]:
    everything = wishes(members=members, days=days, seed=seed, yearly=yearly)
    ours = ByTheRule(rules=Rules()).run(everything, days=days)
    theirs = by_fixed_weeks(everything, days=days)
    return (
        summary(ours, members=members, days=days),
        summary(theirs, members=members, days=days),
    )


def table(ours: Summary, theirs: Summary) -> str:
    rows = [
        ("requests", f"{ours.asked}", f"{theirs.asked}"),
        ("loans", f"{ours.served}", f"{theirs.served}"),
        ("median wait [days]", f"{ours.median_wait_days:.0f}", f"{theirs.median_wait_days:.0f}"),
        ("longest wait [days]", f"{ours.longest_wait_days}", f"{theirs.longest_wait_days}"),
        (
            "share of days used",
            f"{ours.share_of_days_used:.0%}",
            f"{theirs.share_of_days_used:.0%}",
        ),
        (
            "loans per member, fewest to most",
            f"{ours.least_loans} to {ours.most_loans}",
            f"{theirs.least_loans} to {theirs.most_loans}",
        ),
        ("spread of loans (deviation / mean)", f"{ours.spread:.2f}", f"{theirs.spread:.2f}"),
        ("members who asked and never had it", f"{ours.without}", f"{theirs.without}"),
    ]
    head = f"{'':36}{'the club rule':>16}{'fixed weeks':>16}"
    return "\n".join([head, *(f"{name:36}{one:>16}{two:>16}" for name, one, two in rows)])


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    arguments.add_argument("--members", type=int, default=60)
    arguments.add_argument("--years", type=int, default=2)
    arguments.add_argument("--seeds", type=int, default=3)
    given = arguments.parse_args()
    for name, yearly in (("busy", BUSY), ("quiet", QUIET)):
        for seed in range(1, given.seeds + 1):
            ours, theirs = compare(
                members=given.members, days=365 * given.years, seed=seed, yearly=yearly
            )
            print(f"A {name} club: {given.members} members, {given.years} years, draw {seed}")
            print(table(ours, theirs), end="\n\n")


if __name__ == "__main__":
    main()
