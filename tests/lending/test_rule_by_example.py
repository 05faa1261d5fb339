"""The club's rule, case by case, as a member would tell it."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from server.lending import handover, moving, offers, queue, reminders
from server.lending.book import (
    Book,
    Changed,
    Had,
    Loan,
    LoanState,
    Purpose,
    Request,
    RequestState,
    Rest,
    What,
    loan_of,
    open_offer_for,
    request_of,
)
from server.lending.calendar import FreeDays, Stretch, day_in_words, stretch_from, stretch_in_words
from server.lending.fairness import days_had, in_turn, place
from server.lending.reminders import Calibration
from server.lending.rules import LIMITS, No, Rules, written

TODAY = date(2027, 3, 1)  # a Monday
RULES = Rules()


def day(n: int) -> date:
    return TODAY + timedelta(days=n)


def days(first: int, last: int) -> Stretch:
    return Stretch(day(first), day(last))


def booked(loan_id: int, member_id: int, stretch: Stretch, **more: object) -> Loan:
    loan = Loan(
        id=loan_id,
        member_id=member_id,
        stretch=stretch,
        state=LoanState.BOOKED,
        earliest=stretch.first,
    )
    return replace(loan, **more)  # type: ignore[arg-type]  # fields of the loan, by name


def asked(number: int, member_id: int, length: int = 3, **more: object) -> Request:
    request = Request(
        id=number,
        number=number,
        member_id=member_id,
        asked_on=TODAY,
        earliest=TODAY,
        days=length,
        purpose=Purpose.ROUTINE,
        since=TODAY,
    )
    return replace(request, **more)  # type: ignore[arg-type]  # fields of the request, by name


def book(*loans: Loan, requests: tuple[Request, ...] = (), **more: object) -> Book:
    made = Book(meter_name="Blue meter", loans=loans, requests=requests)
    return replace(made, **more)  # type: ignore[arg-type]  # fields of the book, by name


def yes(answer: Changed | No) -> Book:
    assert isinstance(answer, Changed), answer
    return answer.book


def no(answer: Changed | No) -> No:
    assert isinstance(answer, No)
    return answer


# The calendar


def test_free_days_are_searched_past_every_obstacle() -> None:
    free = FreeDays(
        lent=frozenset(days(2, 4)),
        resting=frozenset(days(7, 8)),
        closed_from=day(20),
        grace_days=1,
    )
    assert free.earliest(length_days=1, not_before=TODAY) == days(0, 0)
    assert free.earliest(length_days=2, not_before=TODAY) == days(9, 10)
    assert free.earliest(length_days=1, not_before=day(2)) == days(6, 6)
    assert free.earliest(length_days=12, not_before=TODAY) is None
    assert free.earliest(length_days=2, not_before=TODAY, latest=day(9)) is None


def test_the_nearest_free_days_may_lie_before_or_after() -> None:
    free = FreeDays(lent=frozenset(days(5, 9)), resting=frozenset(), closed_from=None, grace_days=0)
    assert free.nearest(days(5, 6), within=days(0, 90)) == days(3, 4)
    assert free.nearest(days(8, 9), within=days(0, 90)) == days(10, 11)
    assert free.nearest(days(5, 6), within=days(5, 9)) is None


def test_a_stretch_cannot_end_before_it_begins() -> None:
    with pytest.raises(ValueError, match="before it begins"):
        days(3, 2)


def test_days_are_said_as_people_say_them() -> None:
    assert day_in_words(TODAY) == "Mon 1 March"
    assert stretch_in_words(days(0, 0)) == "Mon 1 March"
    assert stretch_in_words(days(0, 2)) == "Mon 1 March to Wed 3 March"


# Whose turn it is


def test_fewest_days_in_the_last_half_year_go_first_promised_days_included() -> None:
    long_ago = booked(1, 1, days(-190, -184), state=LoanState.ENDED)
    lately = booked(2, 2, days(-20, -18), state=LoanState.ENDED)
    promised = booked(3, 3, days(5, 6))
    requests = (asked(1, 2), asked(2, 3), asked(3, 1))
    held = book(long_ago, lately, promised, requests=requests)
    assert [days_had(held, member, today=TODAY) for member in (1, 2, 3)] == [0, 3, 2]
    assert [one.member_id for one in in_turn(held, RULES, today=TODAY)] == [1, 3, 2]


def test_days_with_the_clubs_other_meters_count_too() -> None:
    had = (Had(member_id=1, stretch=days(-5, -4)),)
    held = book(requests=(asked(1, 1), asked(2, 2)), elsewhere=had)
    assert [one.member_id for one in in_turn(held, RULES, today=TODAY)] == [2, 1]


def test_the_page_says_why_somebody_goes_first() -> None:
    lately = booked(1, 1, days(-20, -14), state=LoanState.ENDED)
    held = book(lately, requests=(asked(1, 1), asked(2, 2)))
    mine, other = held.requests[1], held.requests[0]
    first = place(held, RULES, mine, today=TODAY)
    assert (first.number, first.why) == (
        1,
        "You go first. One asked before you and had it for 7 days in the last half year; "
        "you had it for 0 days, so you go first.",
    )
    second = place(held, RULES, other, today=TODAY)
    assert second.why == "One before you: one had it for fewer days in the last half year."


def test_animals_in_trouble_go_ahead_only_when_a_steward_agrees_and_for_few_days() -> None:
    trouble = asked(2, 2, 7, purpose=Purpose.TROUBLE)
    held = book(requests=(asked(1, 1), trouble))
    assert [one.id for one in in_turn(held, RULES, today=TODAY)] == [1, 2]
    agreed = yes(queue.agree(held, RULES, 2, agreed=True))
    assert [one.id for one in in_turn(agreed, RULES, today=TODAY)] == [2, 1]
    assert agreed.requests[1].days == RULES.trouble_days
    back = yes(queue.agree(agreed, RULES, 2, agreed=False))
    assert [one.id for one in in_turn(back, RULES, today=TODAY)] == [1, 2]
    no(queue.agree(held, RULES, 1, agreed=True))


def test_patience_beats_trouble_and_is_given_days_at_once_however_far_off() -> None:
    waited = asked(1, 1, 7, since=day(-RULES.patience_days))
    trouble = asked(2, 2, purpose=Purpose.TROUBLE, agreed=True)
    full = booked(9, 9, days(1, 60))
    held = book(full, requests=(trouble, waited))
    assert [one.id for one in in_turn(held, RULES, today=TODAY)] == [1, 2]
    settled = offers.settle(held, RULES, today=TODAY).book
    offer = open_offer_for(settled, 1)
    assert offer is not None and offer.stretch == days(61, 67)
    assert open_offer_for(settled, 2) is None, "trouble waits until the days are near"


def waits_behind_newcomers(rules: Rules) -> int:
    """Days until one who had the meter much is offered it, while newcomers keep asking."""
    had = tuple(Had(member_id=1, stretch=stretch_from(day(k), 7)) for k in (-180, -170))
    lent = booked(999, 999, days(0, 12))
    held = book(lent, requests=(asked(1, 1, 7),), elsewhere=had)
    for n in range(90):
        today = day(n)
        if n % 4 == 0:
            newcomer = asked(n + 2, n + 2, 7, earliest=today)
            held = yes(queue.join(held, rules, newcomer, today=today))
        held = offers.settle(held, rules, today=today).book
        # What is over no longer counts here; only the queue matters.
        had = (Had(member_id=1, stretch=stretch_from(today, 30)),)
        held = replace(held, elsewhere=had)
        for loan in held.loans:
            if loan.state is LoanState.OFFERED:
                if loan.member_id == 1:
                    return n
                held = yes(offers.take(held, rules, loan.id, today=today))
    return 90


def test_without_patience_newcomers_could_starve_one_and_with_it_they_cannot() -> None:
    assert waits_behind_newcomers(replace(RULES, patience_days=365)) == 90
    assert waits_behind_newcomers(RULES) <= RULES.patience_days


# Asking


def test_one_place_each_and_so_many_requests_over_all_meters() -> None:
    held = book(requests=(asked(1, 1),))
    assert "one place each" in no(queue.join(held, RULES, asked(2, 1), today=TODAY)).reason
    elsewhere = book(requests_elsewhere=(2, 2))
    refused = no(queue.join(elsewhere, RULES, asked(2, 2), today=TODAY))
    assert "2 requests waiting" in refused.reason


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"days": 0}, "days"),
        ({"days": 8}, "days"),
        ({"earliest": day(-1)}, "earliest"),
        ({"earliest": day(91)}, "earliest"),
        ({"latest": day(2)}, "latest"),
    ],
)
def test_a_wish_the_rule_forbids_names_its_field(change: dict[str, object], field: str) -> None:
    request = replace(asked(1, 1), **change)  # type: ignore[arg-type]  # fields, by name
    assert no(queue.join(book(), RULES, request, today=TODAY)).field == field


def test_picking_may_not_delay_anybody_who_waits() -> None:
    held = book(booked(1, 9, days(0, 13)), requests=(asked(1, 1, 3),))
    refused = no(queue.pick(held, RULES, 2, days(14, 15), today=TODAY))
    assert refused.taken and "somebody who is waiting" in refused.reason
    assert refused.nearest == days(17, 18)
    yes(queue.pick(held, RULES, 2, days(17, 18), today=TODAY))


def test_picked_days_are_kept_within_their_number_and_grace() -> None:
    rules = replace(RULES, picked_days_each=5, grace_days=1)
    held = yes(queue.pick(book(), rules, 1, days(10, 13), today=TODAY))
    assert no(queue.pick(held, rules, 1, days(20, 21), today=TODAY)).field == "to"
    assert no(queue.pick(held, rules, 2, days(14, 14), today=TODAY)).taken
    yes(queue.pick(held, rules, 2, days(15, 15), today=TODAY))


def test_of_any_so_many_days_a_member_holds_only_a_share() -> None:
    rules = replace(RULES, window_days=30, window_most_days=9)
    held = yes(queue.pick(book(), rules, 1, days(10, 15), today=TODAY))
    refused = no(queue.pick(held, rules, 1, days(20, 23), today=TODAY))
    assert (refused.field, refused.taken) == ("to", False)
    assert "10 days of the 30 from" in refused.reason and "allows 9" in refused.reason
    yes(queue.pick(held, rules, 1, days(20, 22), today=TODAY))
    # Thirty days from day 10 end with day 39, so six and three are back within the share.
    yes(queue.pick(held, rules, 1, days(37, 39), today=TODAY))
    assert no(queue.pick(held, rules, 1, days(36, 39), today=TODAY))
    yes(queue.pick(held, rules, 1, days(37, 42), today=TODAY))  # day 37 leaves 12, 13, 14, 15 …


def test_days_with_another_meter_count_into_the_share() -> None:
    rules = replace(RULES, window_days=30, window_most_days=9)
    had = (Had(member_id=1, stretch=days(-8, -2)), Had(member_id=2, stretch=days(-8, -2)))
    held = replace(book(), elsewhere=had)
    assert no(queue.pick(held, rules, 1, days(1, 3), today=TODAY))
    yes(queue.pick(held, rules, 3, days(1, 3), today=TODAY))
    offered = replace(book(), elsewhere=(Had(member_id=1, stretch=days(4, 10), offered=True),))
    assert no(queue.pick(offered, rules, 1, days(1, 3), today=TODAY))
    assert days_had(offered, 1, today=TODAY) == 0


def test_the_queue_waits_until_the_share_allows_it() -> None:
    rules = replace(RULES, window_days=20, window_most_days=6, patience_days=7)
    mine = booked(1, 1, days(2, 6))
    held = book(mine, requests=(asked(5, 1, 3, since=day(-9)), asked(6, 2, 3, since=day(-9))))
    settled = offers.settle(held, rules, today=TODAY).book
    [first] = [one for one in settled.loans if one.request_id == 5]
    [other] = [one for one in settled.loans if one.request_id == 6]
    # By hand: the 20 days that end with day 23 begin with day 4, and hold 4, 5, 6 and 21, 22, 23.
    assert first.stretch == days(21, 23) and other.stretch == days(7, 9)


def test_a_request_over_the_share_is_refused_by_name() -> None:
    rules = replace(RULES, window_days=30, window_most_days=4)
    wish = asked(5, 1, 5)
    refused = no(queue.join(book(), rules, wish, today=TODAY))
    assert refused.field == "days" and "4 days of any 30" in refused.reason


@pytest.mark.parametrize(("window", "most"), [(91, 28), (40, 9)])
def test_back_to_back_picks_cannot_fill_the_year(window: int, most: int) -> None:
    """339 of 365 days went to one member before there was a share."""
    open_hands = {"longest_loan_days": 14, "ahead_days": 365, "picked_days_each": 400}
    rules = Rules(**open_hands, window_days=window, window_most_days=most)
    held = book()
    for first in range(1, 365):
        for length in (14, 7, 3, 1):
            wanted = stretch_from(day(first), length)
            answer = queue.pick(held, rules, 1, wanted, today=TODAY)
            if isinstance(answer, Changed):
                held = answer.book
                break
    taken = {each for loan in held.loans for each in loan.stretch}
    most_in_year = most * -(-365 // window)
    assert most <= len(taken) <= most_in_year
    for start in range(-window, 366):
        assert sum(day(start) <= each < day(start + window) for each in taken) <= most


# Going round


def test_days_given_back_are_offered_to_those_behind_who_may_say_no() -> None:
    mine = booked(1, 1, days(3, 6))
    behind = booked(2, 2, days(7, 9), request_id=5, earliest=TODAY)
    served = asked(5, 2, 3, state=RequestState.SERVED)
    held = book(mine, behind, requests=(served, asked(6, 3, 2)))
    held = replace(held, requests=(served,))
    freed = yes(moving.give_back(held, 1, today=TODAY))
    settled = offers.settle(freed, RULES, today=TODAY).book
    [offer] = [one for one in settled.loans if one.state is LoanState.OFFERED]
    assert (offer.instead_of, offer.stretch) == (2, days(1, 3))
    said_no = yes(offers.decline(settled, offer.id, today=TODAY))
    said_no = offers.settle(said_no, RULES, today=TODAY).book
    kept = loan_of(said_no, 2)
    assert kept is not None and kept.stretch == days(7, 9) and kept.state is LoanState.BOOKED
    assert not [one for one in said_no.loans if one.state is LoanState.OFFERED]
    said_yes = yes(offers.take(settled, RULES, offer.id, today=TODAY))
    moved = loan_of(said_yes, 2)
    assert moved is not None and moved.stretch == days(1, 3)


def test_saying_no_keeps_the_place_and_brings_later_days() -> None:
    held = offers.settle(
        book(requests=(asked(1, 1), asked(2, 2, earliest=day(30)))), RULES, today=TODAY
    ).book
    offer = open_offer_for(held, 1)
    assert offer is not None and offer.stretch == days(1, 3)
    held = yes(offers.decline(held, offer.id, today=TODAY))
    assert [one.id for one in in_turn(held, RULES, today=TODAY)] == [1, 2]
    held = offers.settle(held, RULES, today=TODAY).book
    again = open_offer_for(held, 1)
    assert again is not None and again.stretch == days(4, 6)


def test_an_offer_without_answer_lapses_and_the_second_one_closes_the_request() -> None:
    held = offers.settle(book(requests=(asked(1, 1),)), RULES, today=TODAY).book
    for n in range(1, 30):
        held = offers.settle(held, RULES, today=day(n)).book
    request = request_of(held, 1)
    assert request is not None
    assert (request.state, request.unanswered) == (RequestState.CLOSED, 2)
    lapsed = [loan for loan in held.loans if loan.state is LoanState.LAPSED]
    assert len(lapsed) == 2 and len(held.loans) == 2


def test_a_late_return_uses_up_free_days_before_it_moves_anybody() -> None:
    out = booked(1, 1, days(-3, -1), state=LoanState.OUT, taken_on=day(-3))
    held = book(out, booked(2, 2, days(1, 2)), booked(3, 3, days(4, 5)), booked(4, 4, days(9, 9)))
    changed = handover.say_late(held, RULES, day(1), today=TODAY)
    moved = yes(changed)
    assert [loan.stretch for loan in moved.loans] == [
        days(-3, 1),
        days(2, 3),
        days(4, 5),
        days(9, 9),
    ]
    assert isinstance(changed, Changed)
    assert [line.member_id for line in changed.lines if line.what is What.MOVED] == [2]


def test_a_late_meter_moves_nobody_onto_a_day_of_rest() -> None:
    out = booked(1, 1, days(-3, 0), state=LoanState.OUT, taken_on=day(-3))
    resting = Rest(id=1, first=day(3), last=day(4), reason="calibration")
    held = book(out, booked(2, 2, days(1, 2)), rests=(resting,))
    moved = yes(handover.say_late(held, RULES, day(1), today=TODAY))
    assert moved.loans[1].stretch == days(5, 6)


def test_a_rest_without_end_gives_days_back_and_keeps_places() -> None:
    promised = booked(1, 1, days(3, 4), request_id=5)
    held = book(promised, requests=(asked(5, 1, state=RequestState.SERVED),))
    endless = Rest(id=1, first=day(2), last=None, reason="being mended")
    changed = moving.rest(held, endless, today=TODAY)
    after = yes(changed)
    assert after.loans[0].state is LoanState.GIVEN_BACK
    assert after.requests[0].state is RequestState.OPEN
    assert isinstance(changed, Changed)
    assert any(line.told and line.member_id == 1 for line in changed.lines)


def test_a_stewards_move_needs_a_reason_and_free_days() -> None:
    held = book(booked(1, 1, days(3, 4)), booked(2, 2, days(6, 7)))
    assert no(moving.move(held, 1, days(8, 9), reason=" ", today=TODAY)).field == "reason"
    assert no(moving.move(held, 1, days(7, 8), reason="Because.", today=TODAY)).taken
    moved = yes(moving.move(held, 1, days(4, 5), reason="Because.", today=TODAY))
    assert moved.loans[0].stretch == days(4, 5)


def test_somebody_else_cannot_collect_out_of_turn_nor_too_early() -> None:
    held = book(booked(1, 1, days(2, 3)), booked(2, 2, days(5, 6)))
    assert "Somebody else is next" in no(handover.receive(held, 2, today=TODAY)).reason
    assert "the evening before" in no(handover.receive(held, 1, today=TODAY)).reason
    evening = yes(handover.receive(held, 1, today=day(1)))
    assert evening.loans[0].state is LoanState.OUT


# Reminders


def keys(held: Book, today: date) -> list[str]:
    return [one.key.split(":")[0] for one in reminders.due(held, today=today)]


def test_reminders_come_before_a_loan_begins_and_ends_and_when_it_is_overdue() -> None:
    coming = book(booked(1, 1, days(3, 5)))
    assert [keys(coming, day(n)) for n in range(5)] == [[], [], ["begins"], ["begins"], []]
    out = book(booked(1, 1, days(3, 5), state=LoanState.OUT))
    found = [keys(out, day(n)) for n in range(3, 9)]
    overdue = ["overdue", "overdue-steward"]
    assert found == [[], ["ends"], ["ends"], overdue, [], overdue]


def test_a_reminder_has_one_key_for_both_days_and_a_new_one_when_the_loan_moves() -> None:
    held = book(booked(1, 1, days(3, 5)))
    before = reminders.due(held, today=day(2))[0].key
    assert reminders.due(held, today=day(3))[0].key == before
    moved = book(booked(1, 1, days(4, 6)))
    assert reminders.due(moved, today=day(3))[0].key != before


def test_calibrations_are_announced_to_stewards_two_weeks_ahead() -> None:
    calibration = (Calibration(id=1, due_on=day(14)),)
    [reminder] = reminders.due(book(), today=TODAY, calibrations=calibration)
    assert reminder.member_id is None and "is due" in reminder.words
    assert reminders.due(book(), today=day(-1), calibrations=calibration) == ()


# The rule itself


def test_every_number_of_the_rule_stands_in_its_sentences() -> None:
    numbers = {
        "longest_loan_days": 11,
        "grace_days": 13,
        "ahead_days": 97,
        "open_requests_each": 9,
        "picked_days_each": 37,
        "window_days": 83,
        "window_most_days": 29,
        "offer_ahead_days": 17,
        "answer_days": 12,
        "unanswered_offers": 5,
        "patience_days": 53,
        "trouble_days": 19,
    }
    assert set(numbers) == set(LIMITS)
    text = " ".join(written(Rules(**numbers)))
    for name, number in numbers.items():
        assert f"{number} " in text, name


def test_a_rule_outside_its_limits_is_refused() -> None:
    for name, (least, most) in LIMITS.items():
        for number in (least - 1, most + 1):
            with pytest.raises(ValueError, match=name):
                Rules(**{name: number})
