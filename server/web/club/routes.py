"""The club's page: a few plain figures and charts."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import accounts
from server.db.club_figures import club_figures
from server.web.ask import Ask
from server.web.club import view as views

router = APIRouter(include_in_schema=False)


@router.get("/club")
def club_page(ask: Ask) -> Response:
    today = ask.today
    with ask.read() as db:
        found = club_figures(db, today=today)
        tanks = {one.tank.id: one.tank for group in found.standing.values() for one in group}
        rows = [accounts.rows_of(db, tank, today=today) for tank in tanks.values()]
    known = {one.tank.id: accounts.told(one).glance for one in rows}
    return ask.page("club/club.html", view=views.club_page(found, known, today=today))
