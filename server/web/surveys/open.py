"""Opening a session for the one who asks; those of tanks they may not see are not there at all."""

from sqlmodel import Session
from starlette.exceptions import HTTPException

from server.db import surveys
from server.models import MeasurementSession, Member, Tank
from server.web.signed_in import NotFound


def session_to_see(db: Session, who: Member, session_id: int) -> tuple[MeasurementSession, Tank]:
    """The session and its tank, own or shared. Raises NotFound for any other."""
    found = surveys.session_seen(db, session_id, who.id)
    if found is None:
        raise NotFound("There is no such measurement session, or it is not shown to you.")
    return found


def own_session(db: Session, who: Member, session_id: int) -> tuple[MeasurementSession, Tank]:
    """A session of the member's own tank. Raises NotFound, or 403 for a shared tank's."""
    session, tank = session_to_see(db, who, session_id)
    if tank.owner_id != who.id:
        raise HTTPException(
            403, "These readings are another member's. You can look at them, but not change them."
        )
    return session, tank
