"""The shelf of lamps as the comparing room takes it, and places that want light."""

from collections.abc import Sequence
from functools import partial

from sqlmodel import Session

from server.comparing.which_lamp import Offered, Wanted
from server.db import light
from server.db.light import Stated
from server.models import Animal, Tank
from server.optics.emitters import Emitter
from server.optics.lamp import lamp_emitters
from server.optics.tint import Tint

USUAL_HEIGHTS_CM = (15.0, 60.0)
"""Where a lamp states no heights: most lamps hang so; common practice, no published source."""


def shelf(db: Session) -> list[Stated]:
    """Every lamp model that was not merged into another, by name."""
    ids = [row.id for row in light.shelf(db)]
    found = light.stated_lamps(db, ids)
    return [found[model_id] for model_id in ids]


def offered(lamps: Sequence[Stated], tank: Tank) -> list[Offered]:
    """Lamps ready to be tried over this tank, in its water."""
    tint = light.tint_of(tank)
    return [_offered(one, tint) for one in lamps]


def wanted(tank: Tank, animals: Sequence[Animal]) -> list[Wanted]:
    """What each animal wants at its place; one left outside a smaller tank counts at its edge."""
    return [
        Wanted(
            x_cm=min(animal.x_cm, tank.length_cm),
            y_cm=min(animal.y_cm, tank.width_cm),
            depth_cm=min(animal.depth_cm, tank.depth_cm),
            low_ppfd=animal.low_ppfd,
            high_ppfd=animal.high_ppfd,
        )
        for animal in animals
    ]


def wanted_on(tank: Tank, *, depth_cm: float, low_ppfd: float, high_ppfd: float) -> list[Wanted]:
    """One range over a whole depth, as a net of places a little inside the walls."""
    return [
        Wanted(
            x_cm=tank.length_cm * along,
            y_cm=tank.width_cm * across,
            depth_cm=depth_cm,
            low_ppfd=low_ppfd,
            high_ppfd=high_ppfd,
        )
        for along in (0.1, 0.3, 0.5, 0.7, 0.9)
        for across in (0.2, 0.5, 0.8)
    ]


def _offered(one: Stated, tint: Tint) -> Offered:
    low, high = USUAL_HEIGHTS_CM
    lowest = one.row.min_height_cm or low
    return Offered(
        key=one.row.id,
        name=one.row.name,
        watts=one.row.watts,
        price=one.row.price,
        min_height_cm=lowest,
        max_height_cm=max(lowest, one.row.max_height_cm or high),
        ppf_umol_s=one.lamp.ppf_umol_s,
        hang=partial(_hang, one, tint),
        long_cm=one.lamp.layout.extent_cm[0],
    )


def _hang(
    one: Stated, tint: Tint, x_cm: float, y_cm: float, height_cm: float
) -> tuple[Emitter, ...]:
    return lamp_emitters(one.lamp, x_cm=x_cm, y_cm=y_cm, height_cm=height_cm, power=1.0, tint=tint)
