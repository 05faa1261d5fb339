"""JSON: the tanks a member may see."""

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel

from server.db import light, tanks
from server.models import Tank
from server.web.problem import SIGNED_IN_RESPONSES
from server.web.signed_in import Bearer, Club

router = APIRouter(prefix="/api", tags=["tanks"])

_NOT_HERE: dict[int | str, dict[str, Any]] = {401: SIGNED_IN_RESPONSES[401]}


class WallsOut(BaseModel):
    """A wall is 'clear', 'black', or a diffuse albedo 0–1."""

    left: Literal["clear", "black"] | float
    right: Literal["clear", "black"] | float
    front: Literal["clear", "black"] | float
    back: Literal["clear", "black"] | float


class TankOut(BaseModel):
    """A tank: inside measures in cm, and how its glass, floor and water meet light."""

    id: int
    name: str
    own: bool
    shared: bool
    length_cm: float
    width_cm: float
    depth_cm: float
    walls: WallsOut
    floor: str
    floor_albedo: float
    cover: bool
    water: str
    animals: int
    setup_since: str | None


@router.get(
    "/tanks",
    summary="Tanks the bearer may see: their own, then the club's shared ones",
    responses=_NOT_HERE,
)
def tanks_seen(who: Bearer, club: Club) -> list[TankOut]:
    with club.read() as db:
        seen = tanks.tanks_seen_by(db, who.id)
        ids = [tank.id for tank in seen]
        setups, animals = tanks.current_setups(db, ids), tanks.animal_counts(db, ids)
    return [
        _out(
            tank,
            own=tank.owner_id == who.id,
            animals=animals.get(tank.id, 0),
            since=setups[tank.id].since.isoformat() if tank.id in setups else None,
        )
        for tank in seen
    ]


def _out(tank: Tank, *, own: bool, animals: int, since: str | None) -> TankOut:
    glass = light.optics_tank(tank)
    return TankOut(
        id=tank.id,
        name=tank.name,
        own=own,
        shared=tank.shared,
        length_cm=tank.length_cm,
        width_cm=tank.width_cm,
        depth_cm=tank.depth_cm,
        walls=WallsOut(**vars(glass.walls)),
        floor=tank.floor,
        floor_albedo=glass.floor_albedo,
        cover=tank.cover,
        water=tank.water,
        animals=animals,
        setup_since=since,
    )
