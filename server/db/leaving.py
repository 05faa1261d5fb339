"""Everything a member has, in one file; and a member leaving the club.

Private tanks go with the one who kept them. Shared tanks, their measurements and past loans
stay for the club, without the name.
"""

import csv
import io
import json
import re
import zipfile
from datetime import date
from functools import partial

from sqlalchemy import select as select_rows
from sqlmodel import Session, col, delete, select

from server.db import books, club_day, loans, members, meters, tanks
from server.db.bundle import contents, pack
from server.lending import moving, queue
from server.lending.book import Book, Changed, LoanState, RequestState
from server.lending.rules import No, Rules
from server.models import (
    AccessToken,
    ColumnMapping,
    Invitation,
    KnownBrowser,
    Loan,
    Member,
    Message,
    Meter,
    OutgoingMail,
    SignIn,
    Tank,
    Upload,
)
from server.surveys.table_write import harmless

NAMELESS = "A former member"


class OnlySteward(Exception):
    """The club would be left without a steward."""


class StillHolds(Exception):
    """The member has a meter in their hands; it has to be handed over first."""


def everything_of(db: Session, member: Member) -> bytes:
    """A zip with the member's account, loans and a bundle of each tank."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("account.json", _account(member))
        bundle.writestr("loans.csv", _loans(db, member.id))
        bundle.writestr("messages.csv", _messages(db, member.id))
        for tank in _all_tanks(db, member.id):
            name = re.sub(r"[^A-Za-z0-9]+", "-", tank.name).strip("-").lower() or "tank"
            bundle.writestr(f"tanks/{tank.id}-{name[:40]}.zip", pack.pack(db, tank.id))
    return packed.getvalue()


def leave(db: Session, member_id: int) -> None:
    """Takes the member's name and everything private out of the club.

    Raises OnlySteward or StillHolds when that has to be settled first.
    """
    member = db.get_one(Member, member_id)
    if member.role == "steward" and members.steward_count(db) < 2:
        raise OnlySteward
    if _holds_a_meter(db, member_id):
        raise StillHolds
    _give_back_what_is_to_come(db, member_id)
    for tank in _all_tanks(db, member_id):
        if not tank.shared:
            remove_tank(db, tank.id)
    _forget(db, member_id)
    member.name, member.email, member.password_hash = NAMELESS, None, None
    member.feed_secret, member.role = None, "member"
    member.left_at = members.now()
    db.add(member)


def remove_tank(db: Session, tank_id: int) -> None:
    """Deletes a tank with all that belongs to it; lamp models stay on the shelf."""
    db.exec(delete(Upload).where(col(Upload.tank_id) == tank_id))
    found = pack.gather(db, tank_id)
    for name in reversed(contents.TABLES):
        if name not in contents.SHELF:
            table = contents.table(name)
            for row in found[name]:
                key = [column == row[column.name] for column in table.primary_key.columns]
                db.connection().execute(table.delete().where(*key))


def _all_tanks(db: Session, member_id: int) -> list[Tank]:
    return tanks.own_tanks(db, member_id) + tanks.own_tanks(db, member_id, archived=True)


def _holds_a_meter(db: Session, member_id: int) -> bool:
    out = select(Loan).where(Loan.member_id == member_id, Loan.state == "out")
    return db.exec(out.limit(1)).first() is not None


def _give_back_what_is_to_come(db: Session, member_id: int) -> None:
    """Places in queues and days not begun go back by the club's rule, so that others move up."""
    today = club_day.today(db)
    for meter in meters.all_meters(db):
        locked = books.locked(db, meter.id)
        if locked is None:
            continue
        book = loans.book(db, locked, today=today)
        for request in book.requests:
            if request.member_id == member_id and request.state is RequestState.OPEN:
                _act(db, locked, partial(_withdrawn, request.id), today, member_id)
        for loan in book.loans:
            if loan.member_id == member_id and loan.state is LoanState.BOOKED:
                _act(db, locked, partial(_given_back, loan.id, today), today, member_id)


def _act(db: Session, meter: Meter, act: books.Act, today: date, member_id: int) -> None:
    loans.act(db, meter, act, today=today, by_id=member_id)


def _withdrawn(request_id: int, book: Book, _rules: Rules) -> Changed | No:
    return queue.withdraw(book, request_id, why="They left the club.")


def _given_back(loan_id: int, today: date, book: Book, _rules: Rules) -> Changed | No:
    return moving.give_back(book, loan_id, today=today)


def _forget(db: Session, member_id: int) -> None:
    """Rows that are about the person alone."""
    told = select(Message.id).where(Message.member_id == member_id)
    db.exec(delete(OutgoingMail).where(col(OutgoingMail.message_id).in_(told)))
    for model in (SignIn, AccessToken, KnownBrowser, Message, ColumnMapping):
        db.exec(delete(model).where(col(model.member_id) == member_id))
    db.exec(delete(Invitation).where(col(Invitation.member_id) == member_id))
    db.exec(
        delete(Upload).where(col(Upload.member_id) == member_id, col(Upload.session_id).is_(None))
    )


def _account(member: Member) -> str:
    told = {
        "name": member.name,
        "email": member.email,
        "role": member.role,
        "length_unit": member.length_unit,
        "volume_unit": member.volume_unit,
        "clock": member.clock,
        "joined": member.created_at.isoformat(),
    }
    return json.dumps(told, ensure_ascii=False, indent=1)


def _loans(db: Session, member_id: int) -> str:
    mine = select(Loan).where(Loan.member_id == member_id).order_by(col(Loan.first_day))
    header = ["first_day", "last_day", "purpose", "state"]
    rows = [[str(x.first_day), str(x.last_day), x.purpose, x.state] for x in db.exec(mine)]
    return _csv(header, rows)


def _messages(db: Session, member_id: int) -> str:
    table = contents.table("message")
    asked = select_rows(table).where(table.columns["member_id"] == member_id)
    found = [row._mapping for row in db.connection().execute(asked.order_by(table.columns["id"]))]
    names = [column.name for column in table.columns if column.name not in ("id", "member_id")]
    return _csv(names, [[str(row[name] or "") for name in names] for row in found])


def _csv(header: list[str], rows: list[list[str]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return text.getvalue()
