"""The days a club keeps free between two loans, in what the queue foretells."""

from dataclasses import replace

from server.lending.queue import forecast
from tests.lending.test_rule_by_example import RULES, TODAY, asked, book, booked, days


def test_the_forecast_keeps_the_free_days_after_a_loan_and_between_the_waiting() -> None:
    with_grace = replace(RULES, grace_days=2)
    shelf = book(booked(1, 7, days(2, 4)), requests=(asked(1, 8), asked(2, 9)))
    assert forecast(shelf, with_grace, today=TODAY) == {1: days(7, 9), 2: days(12, 14)}
    assert forecast(shelf, replace(RULES, grace_days=0), today=TODAY) == {
        1: days(5, 7),
        2: days(8, 10),
    }
