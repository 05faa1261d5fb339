"""The club's rule for lending, as it stands."""

import secrets
from dataclasses import asdict
from datetime import datetime

from sqlmodel import Session

from server.db.members import now
from server.lending.rules import Rules
from server.models import LendingAct, LendingRule


def lending_rule(db: Session) -> Rules:
    """The numbers the club chose, or those it starts with."""
    row = db.get(LendingRule, 1)
    if row is None:
        return Rules()
    return Rules(**{name: getattr(row, name) for name in asdict(Rules())})


def set_lending_rule(db: Session, rules: Rules, *, by_id: int | None) -> None:
    was = lending_rule(db)
    row = _row(db)
    for name, value in asdict(rules).items():
        setattr(row, name, value)
    row.changed_by_id, row.changed_at = by_id, now()
    db.add(row)
    changes = [
        f"{name.replace('_', ' ')} from {old} to {asdict(rules)[name]}"
        for name, old in asdict(was).items()
        if asdict(rules)[name] != old
    ]
    if changes:
        words = "Changed the rule: " + ", ".join(changes) + "."
        db.add(LendingAct(at=now(), day=now().date(), by_id=by_id, what="rule", words=words[:1000]))


def rule_changed(db: Session) -> tuple[int | None, datetime] | None:
    """Who set the rule last, and when; None when nobody ever did."""
    row = db.get(LendingRule, 1)
    return (row.changed_by_id, row.changed_at) if row and row.changed_by_id else None


def calendar_name(db: Session) -> str:
    """What the ids of all calendar entries end with; made once, in a writing session."""
    return _row(db).calendar_name


def calendar_name_of(db: Session) -> str:
    """The same for a reading session; there is a row as soon as anything was lent."""
    row = db.get(LendingRule, 1)
    return row.calendar_name if row else "not-lent-yet"


def _row(db: Session) -> LendingRule:
    row = db.get(LendingRule, 1)
    if row is None:
        row = LendingRule(
            id=1, **asdict(Rules()), calendar_name=secrets.token_hex(12), changed_at=now()
        )
        db.add(row)
        db.flush()
    return row
