"""What ends with a password: everything that opened the club under the old one."""

from sqlmodel import Session, col, delete

from server.db import members
from server.models import Invitation


def end_all(db: Session, member_id: int) -> None:
    """After a new password: what opened the club under the old one opens nothing any more.

    Ends sign-ins, access tokens, the calendar's secret address, links that would set yet another
    password, and the browsers that were spared a guesser's limits. Who goes on starts anew.
    """
    members.end_sign_ins(db, member_id)
    members.forget_browsers(db, member_id)
    for token in members.access_tokens_of(db, member_id):
        members.revoke_access_token(db, member_id=member_id, token_id=token.id)
    db.exec(
        delete(Invitation).where(
            col(Invitation.member_id) == member_id,
            col(Invitation.purpose) == "reset",
            col(Invitation.used_at).is_(None),
        )
    )
    members.renew_feed(db, member_id)
