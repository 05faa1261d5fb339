"""The shelf of lamps as the comparing room takes it, and places that want light."""

from collections.abc import Sequence
from functools import partial
from itertools import product

from sqlmodel import Session

from server.account.fitting import Offered
from server.db import light
from server.db.abilities import ability_of
from server.db.light import Stated
from server.models import Tank
from server.optics.emitters import Emitter
from server.optics.lamp import lamp_emitters
from server.optics.tint import Tint
from server.surveys.plan import Animal


def shelf(db: Session) -> list[Stated]:
    """Every lamp model that was not merged into another, by name."""
    ids = [row.id for row in light.shelf(db)]
    found = light.stated_lamps(db, ids)
    return [found[model_id] for model_id in ids]


def offered(lamps: Sequence[Stated], tank: Tank) -> list[Offered]:
    """Lamps ready to be tried over this tank, in its water, with what each can do there."""
    tint = light.tint_of(tank)
    return [
        Offered(
            key=one.row.id,
            watts=one.row.watts,
            price=one.row.price,
            ppf_umol_s=one.lamp.ppf_umol_s,
            ability=ability_of(one, tank),
            hang=partial(_hang, one, tint),
        )
        for one in lamps
    ]


def wanted_on(tank: Tank, *, depth_cm: float, low_ppfd: float, high_ppfd: float) -> list[Animal]:
    """One range over a whole depth, as a net of places a little inside the walls."""
    return [
        Animal(
            name=f"place {n}",
            x_cm=tank.length_cm * along,
            y_cm=tank.width_cm * across,
            depth_cm=depth_cm,
            low_ppfd=low_ppfd,
            high_ppfd=high_ppfd,
        )
        for n, (along, across) in enumerate(product((0.1, 0.3, 0.5, 0.7, 0.9), (0.2, 0.5, 0.8)), 1)
    ]


def _hang(
    one: Stated, tint: Tint, x_cm: float, y_cm: float, height_cm: float
) -> tuple[Emitter, ...]:
    return lamp_emitters(one.lamp, x_cm=x_cm, y_cm=y_cm, height_cm=height_cm, power=1.0, tint=tint)
