"""Openers of what hangs over a tank: the setup a page shows, and one lamp of it."""

from typing import Annotated, NamedTuple

from fastapi import Depends

from server.db import tanks
from server.models import HungLamp, Setup, Tank
from server.web.ask import Ask, Asked
from server.web.open import OwnTank, SeenTank
from server.web.signed_in import NotFound


class SetupShown(NamedTuple):
    """What a page of a tank shows: one setup, or None where nothing hangs yet."""

    tank: Tank
    setup: Setup | None
    is_current: bool


def setup_shown(ask: Asked, tank: Tank, named: str) -> SetupShown:
    """The setup of this tank that is named by its number; what hangs now where none is."""
    number = int(named) if named.isascii() and named.isdigit() and len(named) < 10 else 0
    with ask.read() as db:
        current = tanks.current_setup(db, tank.id)
        found = tanks.setup_seen(db, number, ask.who.id) if named else None
    if named and (found is None or found[1].id != tank.id):
        raise NotFound("There is no such setup of this tank.")
    setup = found[0] if found else current
    is_current = setup is not None and current is not None and current.id == setup.id
    return SetupShown(tank, setup, is_current)


def setup_shown_asked(ask: Ask, tank: SeenTank) -> SetupShown:
    return setup_shown(ask, tank, ask.query.get("setup", ""))


ShownSetup = Annotated[SetupShown, Depends(setup_shown_asked)]
"""The setup that the address names of a tank, own or shared."""


class HungOfTank(NamedTuple):
    """A lamp as it hangs, with its setup and tank."""

    hung: HungLamp
    setup: Setup
    tank: Tank


def own_hung_lamp_asked(ask: Ask, tank: OwnTank, hung_id: int) -> HungOfTank:
    with ask.read() as db:
        found = tanks.hung_lamp(db, tank.id, hung_id)
    if found is None:
        raise NotFound("There is no such lamp over this tank.")
    return HungOfTank(*found, tank)


OwnHungLamp = Annotated[HungOfTank, Depends(own_hung_lamp_asked)]
