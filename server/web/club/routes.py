"""The club's page: a few plain figures and charts."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.db import accounts
from server.db.club_day import today as club_today
from server.db.club_figures import club_figures
from server.web.club import view as views
from server.web.page import page
from server.web.signed_in import Club, Who

router = APIRouter(include_in_schema=False)


@router.get("/club")
def club_page(request: Request, who: Who, club: Club) -> Response:
    with club.read() as db:
        today = club_today(db)
        found = club_figures(db, today=today)
        tanks = {one.tank.id: one.tank for group in found.standing.values() for one in group}
        rows = [accounts.rows_of(db, tank, today=today) for tank in tanks.values()]
    known = {one.tank.id: accounts.told(one).glance for one in rows}
    view = views.club_page(found, known, today=today)
    return page(request, "club/club.html", view=view)
