"""Once a light was measured, a tank's page and the first page speak of the measured one."""

from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import light, members, tanks
from server.db.engine import Database
from server.models import LampModel, MeasurementSession, Reading
from server.optics.field import at_points
from server.web.tanks.judged import letter, range_words
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


def test_before_a_measurement_the_page_says_that_it_is_a_plan(
    ivo: TestClient, tank_id: int
) -> None:
    page = ivo.get(f"/tanks/{tank_id}").text
    assert "As planned, the one animal in Lagoon gets the light it should." in page
    assert "may be off by a third" in page and "Prove it under water" in page
    assert "The one animal in range, as planned." in ivo.get("/").text


def test_readings_change_the_verdict_the_sureness_and_the_first_page(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    measure(club, tank_id, factor=0.6)
    page = ivo.get(f"/tanks/{tank_id}").text
    assert "Grove in Lagoon is too dim at" in page
    assert "from 9 readings on 3 September 2026" in page
    assert "See the one change that would help most." in page
    assert "Grove too dim, as measured." in ivo.get("/").text


def test_letters_go_on_after_z() -> None:
    assert [letter(n) for n in (0, 25, 26, 27, 701, 702)] == ["a", "z", "aa", "ab", "zz", "aaa"]


def test_ranges_are_written_without_false_decimals() -> None:
    assert (range_words(5, 60), range_words(7.5, 350)) == ("5–60", "7.5–350")
