"""Doing something to a meter's book, under its lock."""

from collections.abc import Callable

from server.db import books, loans
from server.lending.book import Book, Changed
from server.lending.rules import No, Rules
from server.web.ask import Asked
from server.web.signed_in import NotFound

Rule = Callable[[Book, Rules], Changed | No]


def done_to(ask: Asked, meter_id: int, rule: Rule) -> No | None:
    """Lets the rule act on the meter's book of today; its refusal, or None when it was done."""
    today = ask.today
    with ask.write() as db:
        meter = books.locked(db, meter_id)
        if meter is None:
            raise NotFound("There is no such meter.")
        answer = loans.act(db, meter, rule, today=today, by_id=ask.who.id)
    return answer if isinstance(answer, No) else None
