"""The club's page: a few plain figures and charts."""

from collections import OrderedDict
from threading import Lock

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from server.db import light
from server.db.club_day import today as club_today
from server.db.club_figures import ClubFigures, Standing, club_figures
from server.db.light import Hung
from server.models import Animal, Tank
from server.optics.field import at_points
from server.web.club import view as views
from server.web.page import page
from server.web.signed_in import Club, Who

router = APIRouter(include_in_schema=False)

Key = tuple[int, int, float, float, float, str]


class Remembered:
    """Light at an animal's place by what it depends on, so that the page need not wait for it."""

    def __init__(self, most: int = 400) -> None:
        self._most = most
        self._found: OrderedDict[Key, float] = OrderedDict()
        self._one_at_a_time = Lock()

    def get(self, key: Key) -> float | None:
        with self._one_at_a_time:
            return self._found.get(key)

    def put(self, key: Key, ppfd: float) -> None:
        with self._one_at_a_time:
            self._found[key] = ppfd
            while len(self._found) > self._most:
                self._found.popitem(last=False)


_remembered = Remembered()


@router.get("/club")
def club_page(request: Request, who: Who, club: Club) -> Response:
    with club.read() as db:
        today = club_today(db)
        found = club_figures(db, today=today)
        hung = _hung(db, found, _database(request))
    ppfd = {
        one.animal.id: _ppfd(one, hung, _database(request))
        for standing in found.standing.values()
        for one in standing
    }
    return page(request, "club/club.html", view=views.club_page(who, found, ppfd, today=today))


def _hung(db: Session, found: ClubFigures, database: str) -> dict[int, tuple[Hung, ...]]:
    """Lamps of those setups whose light is not remembered yet."""
    wanted = {
        one.setup.id
        for standing in found.standing.values()
        for one in standing
        if _remembered.get(_key(one, database)) is None
    }
    return {setup_id: light.hung_over(db, setup_id) for setup_id in wanted}


def _ppfd(one: Standing, hung: dict[int, tuple[Hung, ...]], database: str) -> float:
    key = _key(one, database)
    known = _remembered.get(key)
    if known is None:
        known = _light_at(one.tank, hung[one.setup.id], one.animal)
        _remembered.put(key, known)
    return known


def _light_at(tank: Tank, hung: tuple[Hung, ...], animal: Animal) -> float:
    scene = light.scene(tank, hung)
    if not scene.emitters:
        return 0.0
    found = at_points(
        scene.tank,
        scene.water,
        scene.emitters,
        x_cm=min(animal.x_cm, tank.length_cm),
        y_cm=min(animal.y_cm, tank.width_cm),
        depth_cm=min(animal.depth_cm, tank.depth_cm),
    )
    return float(found[0])


def _key(one: Standing, database: str) -> Key:
    glass = one.tank.model_dump(exclude={"name", "note", "shared", "created_at", "archived_at"})
    return (
        one.setup.id,
        one.animal.id,
        one.animal.x_cm,
        one.animal.y_cm,
        one.animal.depth_cm,
        f"{database}{sorted(glass.items())}",
    )


def _database(request: Request) -> str:
    """Tells clubs apart where one process serves several, as tests do."""
    return str(request.app.state.club.engine.url)
