"""Messages to members in the app, and the mail that carries them outside."""

import secrets
from datetime import datetime, timedelta

from sqlalchemy import func, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.db.club_clock import now
from server.models import Member, Message, OutgoingMail

SUBJECTS = {
    "offered": "days are offered to you",
    "moved": "your days have moved",
    "late": "your loan is late",
    "lapsed": "an offer ran out",
    "closed": "your request is closed",
    "gave_back": "your days were given back",
    "handed_over": "handed over",
    "brought_back": "it is back",
    "agreed": "your request",
    "ended": "your loan has ended",
}
# Mail set up today must not send what was said last month.
MAIL_WITHIN = timedelta(days=2)
CLAIM_FOR = timedelta(minutes=5)
MOST_TRIES = 8


def tell(
    db: Session, member_id: int, *, subject: str, words: str, link: str, key: str | None = None
) -> bool:
    """One message. With a `key` that was used before, nothing is said again."""
    message = Message(
        member_id=member_id,
        key=key,
        subject=subject[:200],
        words=words[:2000],
        link=link,
        sent_at=now(db),
    )
    if key is None:
        db.add(message)
        return True
    if db.exec(select(Message.id).where(Message.key == key)).first() is not None:
        return False
    try:
        with db.begin_nested():
            db.add(message)
    except IntegrityError:  # another server said it a moment ago
        return False
    return True


def messages_of(db: Session, member_id: int, *, most: int = 50) -> list[Message]:
    statement = (
        select(Message)
        .where(Message.member_id == member_id)
        .order_by(col(Message.sent_at).desc(), col(Message.id).desc())
        .limit(most)
    )
    return list(db.exec(statement))


def unread_count(db: Session, member_id: int) -> int:
    statement = select(func.count()).where(
        col(Message.member_id) == member_id, col(Message.read_at).is_(None)
    )
    return int(db.exec(statement).one())


def mark_read(db: Session, member_id: int) -> None:
    db.exec(
        update(Message)
        .where(col(Message.member_id) == member_id, col(Message.read_at).is_(None))
        .values(read_at=now(db))
    )


# Mail


def put_into_post(db: Session) -> int:
    """Makes a row of outgoing mail for each recent message; one each, whoever is first."""
    statement = (
        select(col(Message.id))
        .join(Member, col(Member.id) == col(Message.member_id))
        .outerjoin(OutgoingMail, col(OutgoingMail.message_id) == col(Message.id))
        .where(
            Message.sent_at >= now(db) - MAIL_WITHIN,
            col(OutgoingMail.id).is_(None),
            col(Member.email).is_not(None),
            col(Member.left_at).is_(None),
        )
        .order_by(col(Message.id))
        .limit(200)
    )
    made = 0
    for message_id in db.exec(statement).all():
        assert message_id is not None
        try:
            with db.begin_nested():
                db.add(OutgoingMail(message_id=message_id, next_try_at=now(db)))
            made += 1
        except IntegrityError:  # another server was first
            continue
    return made


def claim_mail(db: Session) -> OutgoingMail | None:
    """One mail that is due, kept from every other server for a few minutes.

    A claim that ran out before the mail server was handed anything may be tried again. One
    that ran out during the handing over may have arrived, so it is marked for a steward to
    decide and never sent by itself.
    """
    at = now(db)
    db.exec(
        update(OutgoingMail)
        .where(col(OutgoingMail.state) == "handing", col(OutgoingMail.claimed_until) < at)
        .values(state="unsure", last_error="The server stopped while this was being handed over.")
    )
    db.exec(
        update(OutgoingMail)
        .where(col(OutgoingMail.state) == "claimed", col(OutgoingMail.claimed_until) < at)
        .values(state="waiting")
    )
    due = db.exec(
        select(OutgoingMail.id)
        .where(OutgoingMail.state == "waiting", OutgoingMail.next_try_at <= at)
        .order_by(col(OutgoingMail.next_try_at), col(OutgoingMail.id))
        .limit(1)
    ).first()
    if due is None:
        return None
    claim = secrets.token_hex(16)
    taken = db.exec(
        update(OutgoingMail)
        .where(col(OutgoingMail.id) == due, col(OutgoingMail.state) == "waiting")
        .values(
            state="claimed",
            claim=claim,
            claimed_until=at + CLAIM_FOR,
            tries=OutgoingMail.tries + 1,
        )
    )
    if taken.rowcount != 1:
        return None
    return db.exec(select(OutgoingMail).where(OutgoingMail.id == due)).one()


def begin_handing(db: Session, mail: OutgoingMail) -> bool:
    """From here on the mail may have arrived. False when the claim was lost meanwhile."""
    done = db.exec(
        update(OutgoingMail)
        .where(
            col(OutgoingMail.id) == mail.id,
            col(OutgoingMail.claim) == mail.claim,
            col(OutgoingMail.state) == "claimed",
        )
        .values(state="handing", claimed_until=now(db) + CLAIM_FOR)
    )
    return done.rowcount == 1


def mail_sent(db: Session, mail: OutgoingMail) -> None:
    _settle(db, mail, state="sent", sent_at=now(db), last_error="")


def mail_failed(db: Session, mail: OutgoingMail, error: str, *, for_good: bool = False) -> None:
    """Tried again after 1, 2, 4 … minutes, until it is given up."""
    if for_good or mail.tries >= MOST_TRIES:
        _settle(db, mail, state="failed", last_error=error[:300])
        return
    again = now(db) + timedelta(minutes=2 ** (mail.tries - 1))
    _settle(db, mail, state="waiting", next_try_at=again, last_error=error[:300])


def mail(db: Session, mail_id: int) -> OutgoingMail | None:
    return db.get(OutgoingMail, mail_id)


def send_again(db: Session, mail_id: int) -> bool:
    """A steward decided that a mail that failed, or may have failed, goes out once more."""
    done = db.exec(
        update(OutgoingMail)
        .where(col(OutgoingMail.id) == mail_id, col(OutgoingMail.state).in_(("failed", "unsure")))
        .values(state="waiting", tries=0, next_try_at=now(db))
    )
    return done.rowcount == 1


def _settle(db: Session, mail: OutgoingMail, **values: object) -> None:
    db.exec(
        update(OutgoingMail)
        .where(col(OutgoingMail.id) == mail.id, col(OutgoingMail.claim) == mail.claim)
        .values(**values)
    )


def letter(db: Session, mail: OutgoingMail) -> tuple[Message, Member] | None:
    """What to write and to whom; None when the member has left meanwhile."""
    message = db.get(Message, mail.message_id)
    member = db.get(Member, message.member_id) if message else None
    if message is None or member is None or not member.email:
        return None
    return message, member


def mail_needing_a_steward(db: Session) -> list[tuple[OutgoingMail, Message, Member]]:
    statement = (
        select(OutgoingMail, Message, Member)
        .join(Message, col(Message.id) == col(OutgoingMail.message_id))
        .join(Member, col(Member.id) == col(Message.member_id))
        .where(
            col(OutgoingMail.state).in_(("failed", "unsure")),
            Message.sent_at >= now(db) - timedelta(days=30),
        )
        .order_by(col(OutgoingMail.id).desc())
        .limit(50)
    )
    return list(db.exec(statement).all())


def oldest_waiting(db: Session) -> datetime | None:
    statement = select(func.min(OutgoingMail.next_try_at)).where(
        col(OutgoingMail.state) == "waiting"
    )
    return db.exec(statement).one()
