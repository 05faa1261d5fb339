"""The one place where the pages, the JSON addresses and the database are joined."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import anyio.to_thread
from fastapi import FastAPI, Request
from fastapi.responses import Response
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from server import places
from server.db import members
from server.db.engine import Database, open_database
from server.db.last_seen import LastSeen
from server.processes.pool import Pool
from server.settings import Settings
from server.web import errors
from server.web.acclimation.return_routes import router as acclimation_return
from server.web.acclimation.routes import router as acclimation_pages
from server.web.acclimation.step_routes import router as acclimation_steps
from server.web.bundles.routes import router as bundle_pages
from server.web.calculators.routes import json as calculators_json
from server.web.calculators.routes import pages as calculators_pages
from server.web.club.routes import router as club_pages
from server.web.club_clock.routes import router as clock_page
from server.web.compare.like.routes import router as like_mine_pages
from server.web.compare.routes import router as compare_pages
from server.web.compare.what_if.routes import router as what_if_pages
from server.web.compare.which.routes import router as which_lamp_pages
from server.web.costly import Costly
from server.web.day.routes import router as day_pages
from server.web.entry.routes import router as entry_pages
from server.web.guard import Guard
from server.web.health import Health
from server.web.help.routes import router as help_pages
from server.web.history.routes import router as history_pages
from server.web.lamps.channel_routes import router as channels_pages
from server.web.lamps.routes import router as lamps_pages
from server.web.lending.api import router as meters_json
from server.web.lending.feed_routes import router as feeds
from server.web.lending.going_round import GoingRound
from server.web.lending.handover_routes import router as handover_pages
from server.web.lending.loan_routes import router as loans_pages
from server.web.lending.message_routes import router as messages_pages
from server.web.lending.routes import router as meters_pages
from server.web.lending.steward_routes import router as minding_pages
from server.web.measured.api import router as measured_map_json
from server.web.measured.routes import router as measured_pages
from server.web.members.account_routes import router as account_pages
from server.web.members.people_routes import router as people_pages
from server.web.members.routes import router as members_pages
from server.web.planner.routes import router as planner_pages
from server.web.stewards.routes import router as stewards_pages
from server.web.surveys.api import router as surveys_json
from server.web.surveys.routes import router as surveys_pages
from server.web.surveys.session_routes import router as session_pages
from server.web.tanks.account_api import router as account_json
from server.web.tanks.animal_routes import router as animals_pages
from server.web.tanks.api import router as tanks_json
from server.web.tanks.light_routes import router as setups_pages
from server.web.tanks.reef_routes import router as reef_pages
from server.web.tanks.routes import router as tanks_pages
from server.web.today.routes import router as first_page
from server.web.uploads.routes import router as uploads_pages
from server.web.warnings import Warnings

ROUTERS = (
    measured_map_json,
    measured_pages,
    calculators_json,
    calculators_pages,
    lamps_pages,
    channels_pages,
    acclimation_pages,
    acclimation_return,
    acclimation_steps,
    day_pages,
    history_pages,
    surveys_json,
    entry_pages,
    surveys_pages,
    session_pages,
    uploads_pages,
    meters_json,
    messages_pages,
    feeds,
    meters_pages,
    loans_pages,
    handover_pages,
    minding_pages,
    members_pages,
    account_pages,
    people_pages,
    stewards_pages,
    clock_page,
    bundle_pages,
    compare_pages,
    which_lamp_pages,
    what_if_pages,
    like_mine_pages,
    club_pages,
    first_page,
    tanks_json,
    account_json,
    tanks_pages,
    setups_pages,
    animals_pages,
    reef_pages,
    help_pages,
    planner_pages,
)
_TOO_SMALL_TO_ZIP = 500
_WARM_AFTER_S = 5.0
_THREADS = 16  # more only take turns on the one interpreter, and the event loop waits for its own


def create_app(
    settings: Settings,
    *,
    club: Database | None = None,
    demo: bool = False,
    pool: Pool | None = None,
) -> FastAPI:
    """The program as one ASGI application.

    The database must be at the newest schema; `club` is one already open. pool: where costly
    requests are answered; without one they are answered like all others.
    """
    app = FastAPI(
        title="Underlamp",
        description=(
            "Light over a club's reef tanks. Lengths in cm, PPFD in µmol m⁻² s⁻¹, photon flux "
            "in µmol s⁻¹, angles in degrees, local times HH:MM, dates ISO 8601."
        ),
        docs_url=None,
        redoc_url=None,
        default_response_class=errors.AnyJson,
        lifespan=_lifespan,
        redirect_slashes=False,
    )
    app.state.settings = settings
    app.state.demo = demo
    app.state.club = club or open_database(data=settings.data, url=settings.database_address)
    app.state.pool = pool
    app.state.seen = LastSeen()
    app.state.warnings = Warnings(app.state.club, settings)
    app.state.club_name = _club_name(app.state.club)
    errors.add_to(app)
    for router in ROUTERS:
        app.include_router(router)
    app.add_api_route("/healthz", healthz, methods=["GET"], summary="Whether the program answers")
    app.add_api_route("/readyz", readyz, methods=["GET"], summary="Whether it can do its work")
    app.mount("/static", _Assets(directory=places.STATIC), name="static")
    _wrap(app, settings)
    return app


async def healthz() -> dict[str, str]:
    """Described here, answered by `Health` before anything else."""
    return {"status": "ok"}


async def readyz() -> dict[str, str]:
    """Described here, answered by `Health` before anything else; 503 names what is missing."""
    return {"status": "ready"}


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    going_round = GoingRound(app.state.club, app.state.settings, app.state.seen)
    going_round.start()
    limiter = anyio.to_thread.current_default_thread_limiter()
    limiter.total_tokens = _THREADS
    pool: Pool | None = app.state.pool
    if pool is not None:  # once the first visitors have been served
        asyncio.get_running_loop().call_later(_WARM_AFTER_S, pool.warm)
    yield
    if pool is not None:
        pool.close()
    going_round.stop()
    app.state.club.close()


def _wrap(app: FastAPI, settings: Settings) -> None:
    app.add_middleware(GZipMiddleware, minimum_size=_TOO_SMALL_TO_ZIP, compresslevel=6)
    app.add_middleware(Costly)
    app.add_middleware(Health, club=app.state.club, settings=settings)
    app.add_middleware(  # the outermost, so that every answer carries its headers
        Guard,
        body_limit=int(settings.body_limit_mib * 2**20),
        on_fault=errors.fault,
        refuse=errors.early,
        public_url=settings.public_url,
        allowed_hosts=settings.allowed_hosts,
        https=settings.secure_cookies,
    )


def _club_name(club: Database) -> str:
    with club.read() as db:
        found = members.club_of(db)
    return found.name if found else ""


class _Assets(StaticFiles):
    """Static files; an address with a checksum may be kept for ever."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        kept = Request(scope).query_params.get("v")
        response.headers["Cache-Control"] = (
            "public, max-age=31536000, immutable" if kept else "no-cache"
        )
        return response
