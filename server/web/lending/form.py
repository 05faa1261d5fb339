"""What members and stewards type about meters and days."""

from dataclasses import dataclass, fields
from datetime import date, timedelta

from server.lending.book import Purpose
from server.lending.calendar import Stretch
from server.lending.rules import LIMITS, No, Rules
from server.models import Meter
from server.web.fields import choice, day, line, lines, maybe, number, whole
from server.web.filters import significant
from server.web.forms import Field, Filled, Form, Refused
from server.web.lending.words import PURPOSES

FACTOR_LIMITS = (0.2, 5.0)
_LAST_FIRST = "The last day comes before the first."


def refuse(form: Filled, no: No, names: dict[str, str] | None = None) -> Refused:
    """A refusal of the rules, beside the field it concerns or over the whole form; to be raised."""
    return form.refuse((names or {}).get(no.field or "", no.field or "form"), no.reason)


# Asking for days

FROM = day("from", "First day")
TO = maybe(day("to", "Last day"))
PURPOSE = choice(
    "purpose", "What for", tuple((key.value, words) for key, words in PURPOSES.items()),
    kind="radios", start="routine", wrong="Choose what you want it for.",
)  # fmt: skip
DAYS = whole("days", "How many days", (1, LIMITS["longest_loan_days"][1]), start="3")
EARLIEST = day("earliest", "From when")
LATEST = maybe(
    day("latest", "Over by, at the latest", hint="Leave it empty when any time will do.")
)
CONDITION = lines("condition", "Note something", most=1000, extra={"rows": 2})
METER = Form(FROM, TO, PURPOSE, DAYS, EARLIEST, LATEST, CONDITION)
"""The forms of a meter's page: picking days, joining the queue, noting something."""


@dataclass(frozen=True, kw_only=True)
class Wished:
    """A wish for days, as it goes into the queue."""

    earliest: date
    latest: date | None
    days: int
    purpose: Purpose


def read_days(form: Filled) -> Stretch:
    """Days in a row; an empty last day means one day only. Raises Refused."""
    return _stretch(form, FROM, TO)


def read_wish(form: Filled) -> Wished:
    """Raises Refused."""
    days, earliest, latest, purpose = form[DAYS], form[EARLIEST], form[LATEST], form[PURPOSE]
    form.check()
    return Wished(earliest=earliest, latest=latest, days=days, purpose=Purpose(purpose))


def _stretch(form: Filled, first: Field[date], last: Field[date | None]) -> Stretch:
    begins, ends = form[first], form[last]
    if ends is not None and ends < begins:
        form.wrong(last, _LAST_FIRST)
    form.check()
    return Stretch(begins, ends or begins)


# One loan

NOT_BEFORE = maybe(
    day("not_before", "These days do not suit me. From when would days suit?",
        hint="Leave it empty for any later days. You keep your place.")
)  # fmt: skip
GIVEN_BACK = line("days", "Which days", most=40, kind="select")
REASON = line(
    "reason", "Why", most=300, missing="Say why: the member reads this reason.",
    hint="The member reads this.", extra={"wide": True},
)  # fmt: skip
LOAN = Form(NOT_BEFORE, GIVEN_BACK, FROM, TO, REASON)


@dataclass(frozen=True, kw_only=True)
class Moved:
    to: Stretch
    reason: str


def read_move(form: Filled) -> Moved:
    """Raises Refused."""
    reason = form[REASON]
    return Moved(to=_stretch(form, FROM, TO), reason=reason)


def read_given_back(form: Filled) -> Stretch:
    """Days as the list offers them: first/last. Raises Refused."""
    first, _, last = form[GIVEN_BACK].partition("/")
    try:
        return Stretch(date.fromisoformat(first), date.fromisoformat(last or first))
    except ValueError as wrong:
        raise form.refuse(GIVEN_BACK, "Choose which days to give back.") from wrong


# Handing over, and where it was

UNTIL = day("until", "Until when")
NOTE = lines("note", "Anything the next one should know", most=900)
HANDOVER = Form(UNTIL, NOTE)
ON_DAY = maybe(day("day", "On which day"))
HISTORY = Form(ON_DAY)


# For stewards

REST_FIRST = day("rest_first", "First day")
REST_LAST = maybe(day("rest_last", "Last day", hint="Leave it empty when nobody knows yet."))
REST_REASON = line(
    "rest_reason", "Why", most=150, hint="Like: calibration. Those who are booked read it.",
    missing="Say why it rests; those who are waiting read it.",
)  # fmt: skip
REST_HOW = choice(
    "rest_how", "Loans on these days",
    (("move", "are moved to the next days that fit"),
     ("give_back", "are given back; who was in the queue keeps the place")), kind="radios",
)  # fmt: skip
DONE_ON = day("done_on", "Done on")
FACTOR = number(
    "factor", "Factor", FACTOR_LIMITS, like="1.08", start="1.00",
    where="On the certificate; 1 when the sensor read true.",
)  # fmt: skip
DUE_ON = maybe(
    day("due_on", "Due again on",
        hint="Many papers say every two years. Leave it empty for none.")
)  # fmt: skip
CALIBRATION_NOTE = line("calibration_note", "Note", most=400)
LOST_REASON = line("lost_reason", "What is known", most=150)
MIND = Form(
    REST_FIRST, REST_LAST, REST_REASON, REST_HOW, DONE_ON, FACTOR, DUE_ON, CALIBRATION_NOTE,
    LOST_REASON,
)  # fmt: skip
"""The forms of the page on which a steward minds a meter."""

NAME = line(
    "name", "Name", most=60, missing="Give the meter a name, like Blue meter.",
    hint="As members call it, like Blue meter.",
)  # fmt: skip
READS = line(
    "reads", "What it reads", most=120, missing="Say what it reads, like PPFD 400–700 nm.",
    start="PPFD 400–700 nm",
)  # fmt: skip
IMMERSION = number(
    "immersion_factor", "Immersion factor", FACTOR_LIMITS, like="1.08", start="1.00",
    where="Stated in the sensor’s papers; 1 when the readout already includes it.",
)  # fmt: skip
CASE = lines(
    "case_contents", "What belongs in the case", most=1500, start="meter\nsensor on its cable",
    hint="One thing a line; it is ticked at every handover.", extra={"rows": 5},
)  # fmt: skip
KEEPER = line("keeper", "Who keeps it between loans, and where", most=200, extra={"wide": True})
PAPERS = Form(NAME, READS, IMMERSION, CASE, KEEPER)


@dataclass(frozen=True, kw_only=True)
class RestTyped:
    first: date
    last: date | None
    reason: str
    give_back: bool


@dataclass(frozen=True, kw_only=True)
class CalibrationTyped:
    done_on: date
    factor: float
    due_on: date | None
    note: str


@dataclass(frozen=True, kw_only=True)
class MeterTyped:
    name: str
    reads: str
    immersion_factor: float
    case_contents: str
    keeper: str


def mind_values(today: date) -> dict[str, str]:
    """What the forms of minding begin with."""
    return {"done_on": str(today), "rest_first": str(today + timedelta(days=1))}


def read_rest(form: Filled) -> RestTyped:
    """Raises Refused."""
    reason, how = form[REST_REASON], form[REST_HOW]
    first, last = form[REST_FIRST], form[REST_LAST]
    if last is not None and last < first:
        form.wrong(REST_LAST, _LAST_FIRST)
    form.check()
    return RestTyped(first=first, last=last, reason=reason, give_back=how == "give_back")


def read_calibration(form: Filled, *, today: date) -> CalibrationTyped:
    """Raises Refused."""
    done_on, due_on = form[DONE_ON], form[DUE_ON]
    typed = CalibrationTyped(
        done_on=done_on, factor=form[FACTOR], due_on=due_on, note=form[CALIBRATION_NOTE]
    )
    if done_on > today:
        form.wrong(DONE_ON, "This day is still to come.")
    if due_on is not None and due_on <= done_on:
        form.wrong(DUE_ON, "Choose a day after the calibration.")
    form.check()
    return typed


def meter_values(meter: Meter) -> dict[str, str]:
    """A stored meter as its form shows it."""
    return {
        "name": meter.name,
        "reads": meter.reads,
        "immersion_factor": significant(meter.immersion_factor),
        "case_contents": meter.case_contents,
        "keeper": meter.keeper,
    }


def read_meter(form: Filled) -> MeterTyped:
    """Raises Refused."""
    typed = MeterTyped(
        name=form[NAME],
        reads=form[READS],
        immersion_factor=form[IMMERSION],
        case_contents=form[CASE],
        keeper=form[KEEPER],
    )
    form.check()
    return typed


# The club's rule

RULE_LABELS = {
    "longest_loan_days": ("A loan lasts at most", "days"),
    "grace_days": ("Kept free between two loans", "days"),
    "ahead_days": ("How far ahead days can be picked or asked for", "days"),
    "open_requests_each": ("Requests waiting for each member, over all meters", ""),
    "picked_days_each": ("Coming days one member may hold by picking", "days"),
    "window_days": ("Any so many days in a row …", "days"),
    "window_most_days": (
        "… of which one member may hold the meters (as many as above: no bound)",
        "days",
    ),
    "offer_ahead_days": ("Offered before the first day", "days"),
    "answer_days": ("An offer stands for", "days"),
    "unanswered_offers": ("Offers without an answer until a request is closed", ""),
    "patience_days": ("Patience: after waiting so long, first and at once", "days"),
    "trouble_days": ("Animals in trouble: at most", "days"),
}
_RULE = {
    name: whole(name, label, LIMITS[name], unit=unit) for name, (label, unit) in RULE_LABELS.items()
}
RULE = Form(*_RULE.values())


def rule_values(rules: Rules) -> dict[str, str]:
    return {name: str(getattr(rules, name)) for name in RULE_LABELS}


def read_rule(form: Filled) -> Rules:
    """Raises Refused."""
    numbers = {one.name: form[_RULE[one.name]] for one in fields(Rules)}
    form.check()
    return Rules(**numbers)
