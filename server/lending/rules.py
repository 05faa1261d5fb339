"""The club's own rule for lending, as numbers a steward may set and sentences a member can read."""

from dataclasses import dataclass, fields
from datetime import date, timedelta

from server.lending.calendar import Stretch

HALF_A_YEAR_DAYS = 182

# What each number may be, and what it is when a club has not chosen: (least, most).
LIMITS: dict[str, tuple[int, int]] = {
    "longest_loan_days": (1, 60),
    "grace_days": (0, 14),
    "ahead_days": (7, 365),
    "open_requests_each": (1, 10),
    "picked_days_each": (1, 400),
    "window_days": (7, 365),
    "window_most_days": (1, 365),
    "offer_ahead_days": (2, 60),
    "answer_days": (1, 14),
    "unanswered_offers": (1, 5),
    "patience_days": (7, 365),
    "trouble_days": (1, 30),
}


@dataclass(frozen=True, kw_only=True)
class Rules:
    """What the club has agreed. All values are whole days, or counts where the name says so.

    longest_loan_days: the most days one loan may last
    grace_days: days kept free between two loans of one meter
    ahead_days: how far ahead days may be picked or asked for
    open_requests_each: how many requests one member may have waiting, over all meters
    picked_days_each: how many coming days one member may hold by picking them
    window_days, window_most_days: of so many days in a row one member may hold the club's meters
        on at most so many, picked or from the queue; a meter-day each
    offer_ahead_days: how long before a stretch begins it is offered to the queue
    answer_days: how long an offer stands
    unanswered_offers: after so many offers without an answer the request is closed
    patience_days: whoever waited so long is given the next free stretch, however far off
    trouble_days: the most days of a loan that goes ahead because animals are in trouble
    """

    longest_loan_days: int = 7
    grace_days: int = 0
    ahead_days: int = 90
    open_requests_each: int = 2
    picked_days_each: int = 14
    window_days: int = 91
    window_most_days: int = 21
    offer_ahead_days: int = 10
    answer_days: int = 2
    unanswered_offers: int = 2
    patience_days: int = 42
    trouble_days: int = 4

    def __post_init__(self) -> None:
        for field in fields(self):
            least, most = LIMITS[field.name]
            if not least <= getattr(self, field.name) <= most:
                raise ValueError(f"{field.name} must lie between {least} and {most}")

    @property
    def bounded(self) -> bool:
        """Whether the club bounds the days held in any window at all."""
        return self.window_most_days < self.window_days


@dataclass(frozen=True, kw_only=True)
class No:
    """A refusal: the reason in words, the field it concerns, and the nearest days that would do.

    `taken` says that the days belong to somebody else, as against a rule that forbids them.
    """

    reason: str
    field: str | None = None
    taken: bool = False
    nearest: Stretch | None = None


def count(number: int, noun: str) -> str:
    """`1 day`, `3 days`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def days(number: int) -> str:
    return count(number, "day")


def written(rules: Rules) -> tuple[str, ...]:
    """The rule as the page shows it, one sentence each, in the order in which it is applied."""
    return (
        f"One loan lasts at most {days(rules.longest_loan_days)}.",
        _grace_in_words(rules.grace_days),
        f"Days can be picked or asked for up to {days(rules.ahead_days)} ahead.",
        "Free days are yours to pick, as long as nobody who is waiting would get the meter "
        "later because of it.",
        f"Each member may have {count(rules.open_requests_each, 'request')} waiting, one for each "
        f"meter{_picked_in_words(rules)}.",
        *_share_in_words(rules),
        f"Those who waited {days(rules.patience_days)} come first and are given the next free "
        "stretch at once, however far off it lies. The waiting counts from the day of asking, "
        "from the first day that was asked for, or from the last offer that was refused or "
        "left unanswered, whichever is latest.",
        f"Then animals in trouble, when a steward agrees, for at most {days(rules.trouble_days)}.",
        "Then those who had a meter for the fewest days in the last half year "
        f"({days(HALF_A_YEAR_DAYS)}); days already promised count as had. "
        "Between equals, whoever asked first.",
        f"A stretch is offered {days(rules.offer_ahead_days)} before it begins, to the first in "
        f"this order whom it fits, and the offer stands for {days(rules.answer_days)}.",
        "Saying no costs nothing: you keep your place and are offered later days. After "
        f"{count(rules.unanswered_offers, 'offer')} without any answer the request is closed.",
        "Days that come back are first offered to those who hold later days, then to those "
        "who are waiting. They may say no and keep what they have.",
        "When the meter comes back late, the loans behind it move only as far as they must, and "
        "everyone whose days moved is told.",
    )


def _picked_in_words(rules: Rules) -> str:
    if rules.picked_days_each >= rules.ahead_days:
        return ""
    return f", and hold up to {days(rules.picked_days_each)} that were picked"


def _share_in_words(rules: Rules) -> tuple[str, ...]:
    if not rules.bounded:
        return ()
    return (
        f"Of any {days(rules.window_days)} in a row one member holds the club's meters for at most "
        f"{days(rules.window_most_days)}, picked or from the queue, and whoever has had them waits "
        "for later ones. Days that a late return or a steward moves are never taken away for it.",
    )


def _grace_in_words(grace_days: int) -> str:
    if grace_days == 0:
        return "Loans may follow each other without a free day between them."
    verb = "is" if grace_days == 1 else "are"
    return (
        f"Between two loans {days(grace_days)} {verb} kept free, for handing over and for delays."
    )


def longest_wait_for_an_offer_days(rules: Rules) -> int:
    """[days] the bound that holds for every request that fits the calendar at all.

    A request is offered a stretch at the latest when its patience has run out; days on which
    the meter is lost or rests without an end do not count.
    """
    return rules.patience_days


def latest_first_day(rules: Rules, *, since: date, others: int) -> date:
    """The last day on which a patient request can be told to begin.

    since: the day from which its waiting counts
    others: how many other members may stand in the queue
    Picked days reach no further than `ahead_days`; beyond them lie only stretches given to
    others whose patience had run out, one each, and gaps too short to be of use. Whoever holds
    their share already waits one window more at the most.
    """
    share_days = rules.window_days if rules.bounded else 0
    given_out = since + timedelta(days=rules.patience_days)
    longest_step = rules.longest_loan_days + rules.grace_days
    most_days = rules.ahead_days + rules.offer_ahead_days + (others + 2) * longest_step
    most_days += share_days
    return given_out + timedelta(days=most_days)
