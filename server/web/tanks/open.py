"""Opening a tank or a setup for the one who asks: theirs, shared with them, or not there at all.

Every address below `/tanks/{id}` goes through here, so that another member's private tank is
the same 404 everywhere.
"""

from sqlmodel import Session
from starlette.exceptions import HTTPException

from server.db import tanks
from server.models import Member, Setup, Tank
from server.web.signed_in import NotFound

_NOT_YOURS = "This tank is another member's. You can look at it, but only they change it."


def tank_to_see(db: Session, who: Member, tank_id: int) -> Tank:
    """The tank, own or shared. Raises NotFound for any other."""
    tank = tanks.tank_seen(db, tank_id, who.id)
    if tank is None:
        raise NotFound("There is no such tank, or it is not shown to you.")
    return tank


def own_tank(db: Session, who: Member, tank_id: int) -> Tank:
    """The member's own tank. Raises NotFound for what they may not see, 403 for a shared one."""
    tank = tank_to_see(db, who, tank_id)
    if tank.owner_id != who.id:
        raise HTTPException(403, _NOT_YOURS)
    return tank


def setup_to_see(db: Session, who: Member, setup_id: int) -> tuple[Setup, Tank]:
    """A setup with its tank, own or shared. Raises NotFound for any other."""
    found = tanks.setup_seen(db, setup_id, who.id)
    if found is None:
        raise NotFound("There is no such setup, or it is not shown to you.")
    return found


def own_setup(db: Session, who: Member, setup_id: int) -> tuple[Setup, Tank]:
    """A setup of the member's own tank. Raises NotFound, or 403 for a shared tank's."""
    setup, tank = setup_to_see(db, who, setup_id)
    if tank.owner_id != who.id:
        raise HTTPException(403, _NOT_YOURS)
    return setup, tank
