"""The server as a steward sees it: clock, backups, disk; and their word on a clock that jumped."""

import shutil
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import club_clock, daily
from server.web.ask import Ask, Asked
from server.web.page import see_other
from server.web.signed_in import Steward

router = APIRouter(include_in_schema=False)


@router.get("/steward/clock")
def clock_page(ask: Ask, who: Steward) -> Response:
    return _page(ask)


@router.post("/steward/clock")
def clock_is_right(ask: Ask, who: Steward) -> Response:
    """Counts only for the day that the steward saw: the clock may have jumped again since."""
    if ask.text("shown") != _shown(ask):
        return _page(ask, status=409)
    with ask.write() as db:
        club_clock.believe(db)
    return see_other("/steward", notice="The club goes by the server's clock again.")


def _page(ask: Asked, *, status: int = 200) -> Response:
    with ask.read() as db:
        waiting = club_clock.waiting_at(db)
    zone, settings = ZoneInfo(ask.zone), ask.request.app.state.settings
    return ask.page(
        "club_clock/clock.html",
        status=status,
        shown=_shown(ask),
        machine_time=club_clock.machine_time().astimezone(zone),
        waiting=waiting.astimezone(zone) if waiting else None,
        backups=daily.kept(settings),
        second_place=settings.backup_to,
        free_bytes=shutil.disk_usage(settings.data).free if settings.data.is_dir() else None,
    )


def _shown(ask: Asked) -> str:
    return club_clock.machine_time().astimezone(ZoneInfo(ask.zone)).date().isoformat()
