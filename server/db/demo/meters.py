"""The made-up meters: calibrations, and loans past, present and to come."""

from datetime import date, timedelta

from sqlmodel import Session

from server.db import books, loans, meters
from server.db.demo import sheets
from server.db.demo.tanks import noon
from server.db.lending_rule import set_lending_rule
from server.lending.book import Purpose
from server.lending.rules import Rules
from server.models import Loan, LoanDay, MeterCalibration


def fill(db: Session, *, members: dict[str, int], today: date) -> dict[str, int]:
    """Meters with their papers and loans; gives their ids by key."""
    ids = {row["key"]: _meter(db, row) for row in sheets.rows("meters")}
    for row in sheets.rows("meter_calibrations"):
        db.add(_calibration(row, ids, members, today))
    for row in sheets.rows("loans"):
        _loan(db, row, ids, members, today)
    db.flush()
    _go_round(db, ids, members, today)
    return ids


def _go_round(db: Session, ids: dict[str, int], members: dict[str, int], today: date) -> None:
    """The demo club looks a year ahead and lets members pick freely, 28 days of any 91; some ask
    by the queue."""
    rule = Rules(longest_loan_days=14, ahead_days=365, picked_days_each=400, window_most_days=28)
    set_lending_rule(db, rule, by_id=members["mara"])
    for row in sheets.rows("meter_requests"):
        meter = books.locked(db, ids[row["meter"]])
        assert meter is not None
        loans.join(
            db,
            meter,
            members[row["member"]],
            earliest=today + timedelta(days=int(row["earliest"])),
            latest=today + timedelta(days=int(row["latest"])),
            days=int(row["days"]),
            purpose=Purpose(row["purpose"]),
            today=today,
        )


def _meter(db: Session, row: sheets.Row) -> int:
    found = meters.add_meter(
        db,
        name=row["name"],
        reads=row["reads"],
        immersion_factor=sheets.sure_number(row, "immersion_factor"),
        case_contents="\n".join(row["case_contents"].split("|")),
        keeper=row["keeper"],
    )
    found.state = row["state"]
    db.add(found)
    return found.id


def _calibration(
    row: sheets.Row, ids: dict[str, int], members: dict[str, int], today: date
) -> MeterCalibration:
    done_on = sheets.days_ago(row, "days_ago", today)
    return MeterCalibration(
        meter_id=ids[row["meter"]],
        done_on=done_on,
        factor=sheets.sure_number(row, "factor"),
        due_on=today + timedelta(days=int(row["due_in_days"])),
        note=row["note"],
        entered_by_id=members["mara"],
        created_at=noon(done_on),
    )


def _loan(
    db: Session, row: sheets.Row, ids: dict[str, int], members: dict[str, int], today: date
) -> None:
    """A loan with its day rows, which keep the meter in one hand."""
    first, last = (today + timedelta(days=int(row[name])) for name in ("first_day", "last_day"))
    loan = Loan(
        meter_id=ids[row["meter"]],
        member_id=members[row["member"]],
        first_day=first,
        last_day=last,
        purpose=row["purpose"],
        state=row["state"],
        taken_on=first if row["state"] in ("out", "ended") else None,
        returned_on=last if row["state"] == "ended" else None,
        created_at=noon(min(first, today) - timedelta(days=5)),
    )
    db.add(loan)
    db.flush()
    days = (first + timedelta(days=n) for n in range((last - first).days + 1))
    db.add_all(LoanDay(meter_id=loan.meter_id, day=day, loan_id=loan.id) for day in days)
