"""What readings of two demo tanks said of their lamps, kept on the club's shelf."""

from sqlmodel import Session

from server.db import lamp_measurements, measured, tanks
from server.models import Tank

KEPT = ("long", "mangrove")
"""Tanks whose keepers kept on the shelf what their readings said of the lamps."""


def fill(db: Session, *, tank_ids: dict[str, int]) -> None:
    for key in KEPT:
        tank = db.get_one(Tank, tank_ids[key])
        setup = tanks.current_setup(db, tank_ids[key])
        assert setup is not None
        found = measured.measured(measured.rows_of(db, tank, setup))
        if found is None or not found.measured:
            continue
        for hung in tanks.lamps_of(db, setup.id):
            what = lamp_measurements.learnt(found, hung.id)
            if what is not None:
                lamp_measurements.keep(db, what, by_id=tank.owner_id)
