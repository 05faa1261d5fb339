"""Once a light was measured, a tank's page and the first page speak of the measured one."""

from datetime import date, timedelta

import pytest
from fastapi.testclient import TestClient

from server.db import club_day, light, members, tanks
from server.db.engine import Database
from server.models import LampModel, MeasurementSession, Reading, Tank
from server.optics.field import at_points
from tests.conftest import Cast

DAY = date(2026, 9, 3)
PLACES = [(x, y, depth) for depth in (10, 25, 38) for x, y in ((15, 12), (45, 30), (75, 20))]


@pytest.fixture
def tank_id(club: Database, cast: Cast) -> int:
    """A tank whose one animal is in range as planned."""
    with club.write() as db:
        model = LampModel(
            name="Flatlight", kind="led_panel", beam_deg=110, watts=90, ppf_umol_s=180,
            side_cm=20, created_at=members.now(),
        )  # fmt: skip
        db.add(model)
        db.flush()
        words = tanks.TankWords(name="Lagoon", length_cm=90, width_cm=45, depth_cm=45)
        tank = tanks.add_tank(db, owner_id=cast.ivo.id or 0, words=words)
        place = tanks.LampPlace(lamp_model_id=model.id or 0, x_cm=45, y_cm=22, height_cm=25)
        tanks.save_setup(db, tank_id=tank.id or 0, lamps=[place], since=DAY, reason="first")
        planned = lit(db, tank.id or 0, [(45, 22, 20)])[0]
        tanks.add_animal(
            db,
            tank.id or 0,
            tanks.AnimalWords(
                name="Grove", group="other", x_cm=45, y_cm=22, depth_cm=20,
                low_ppfd=round(0.85 * planned), high_ppfd=round(1.3 * planned),
                range_source="", placed_on=DAY,
            ),
        )  # fmt: skip
        return tank.id or 0


def lit(db, tank_id: int, places: list[tuple[float, float, float]]) -> list[float]:
    """Planned PPFD at places."""
    tank, setup = tanks.tank_seen(db, tank_id, 2), tanks.current_setup(db, tank_id)
    assert tank is not None and setup is not None
    scene = light.scene(tank, light.hung_over(db, setup.id or 0))
    x, y, depth = zip(*places, strict=True)
    return list(at_points(scene.tank, scene.water, scene.emitters, x_cm=x, y_cm=y, depth_cm=depth))


def measure(club: Database, tank_id: int, *, factor: float) -> None:
    with club.write() as db:
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
        session = MeasurementSession(
            tank_id=tank_id, setup_id=setup.id, taken_on=DAY, created_at=members.now()
        )
        db.add(session)
        db.flush()
        for (x, y, depth), ppfd in zip(PLACES, lit(db, tank_id, PLACES), strict=True):
            value = round(factor * ppfd)
            db.add(
                Reading(
                    session_id=session.id or 0, x_cm=x, y_cm=y, depth_cm=depth,
                    raw_ppfd=value, ppfd=value, entered_at=members.now(),
                )
            )  # fmt: skip


def test_before_a_measurement_every_page_says_that_it_is_a_plan_with_its_doubt(
    ivo: TestClient, tank_id: int
) -> None:
    for address in (f"/tanks/{tank_id}", "/"):
        page = ivo.get(address).text
        assert "Whether Grove is in range is not known yet." in page
        assert "nobody has measured this light yet" in page and "Known to about" in page
    assert "Measure this light at a few places under water." in ivo.get(f"/tanks/{tank_id}").text
    assert "1 not known" in ivo.get("/tanks").text


def test_readings_change_the_verdict_the_sureness_and_the_first_page(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    measure(club, tank_id, factor=0.6)
    for address in (f"/tanks/{tank_id}", "/"):
        page = ivo.get(address).text
        assert "Grove is too dim." in page
        assert "from 9 readings on 3 September 2026" in page
    assert "0 of 1 in range, 1 too dim" in ivo.get("/tanks").text


def test_a_step_of_power_does_not_make_it_unmeasured(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    """Seen: after a step the tank's page said that nobody had measured, and Today asked for it."""
    measure(club, tank_id, factor=0.6)
    with club.write() as db:
        current = tanks.current_setup(db, tank_id)
        assert current is not None
        place = tanks.place_of(tanks.lamps_of(db, current.id)[0])
        lower = tanks.LampPlace(**vars(place) | {"power": 0.5})
        tanks.save_setup(
            db, tank_id=tank_id, lamps=[lower], since=date(2026, 9, 10), reason="a step"
        )
    for address in (f"/tanks/{tank_id}", "/"):
        page = ivo.get(address).text
        assert "nobody has measured" not in page.lower()
        assert "from 9 readings on 3 September 2026 under the same lamps, carried over" in page
    assert "Measure the light of" not in ivo.get("/").text


def test_all_pages_say_alike_how_long_the_light_has_stood(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    """Seen: 36 days on one page, 5 weeks on another."""
    with club.write() as db:
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
        setup.since = club_day.today(db) - timedelta(days=36)
        db.add(setup)
        db.get_one(Tank, tank_id).shared = True
    for address in (f"/tanks/{tank_id}", "/", "/tanks", "/club"):
        page = ivo.get(address).text
        assert "5 weeks" in page and "36 days" not in page, address
