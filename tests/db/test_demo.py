"""The demo club holds what it promises, and its made-up readings come from the engine."""

import csv
import math
import time
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlmodel import col, select

from server import places
from server.db import club_day, light, tanks
from server.db.demo import club as demo
from server.db.demo import readings, sheets
from server.db.engine import Database, open_database
from server.models import Animal, LampModel, Loan, LoanDay, Member, Meter, Reading, Setup, Tank
from server.models import MeasurementSession as Round
from server.optics import tank as glass
from server.optics.field import at_points
from server.settings import Settings


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Database, list[demo.DemoPerson]]:
    folder = tmp_path_factory.mktemp("demo")
    settings = Settings(data=folder, database_url=None)
    started = time.process_time()
    people = demo.open_or_fill(settings)
    assert time.process_time() - started < 10, "a demo starts while one waits"
    again = demo.open_or_fill(settings)
    assert [one.email for one in again] == [one.email for one in people], "filled once"
    return open_database(data=folder), people


@pytest.fixture(scope="module")
def club(filled: tuple[Database, list[demo.DemoPerson]]) -> Database:
    return filled[0]


def test_members_and_a_steward_are_handed_out_with_tokens(
    filled: tuple[Database, list[demo.DemoPerson]],
) -> None:
    roles = [person.role for person in filled[1]]
    assert roles.count("member") >= 2 and roles.count("steward") >= 1
    assert all(person.token.startswith("ul_") for person in filled[1])


def test_the_scenario_is_as_large_and_as_mixed_as_promised(club: Database) -> None:
    with club.read() as db:
        assert len(db.exec(select(Member)).all()) >= 8
        glass = db.exec(select(Tank)).all()
        kinds = set(db.exec(select(LampModel.kind)))
        sessions = db.exec(select(Round)).all()
        setups = db.exec(select(Setup)).all()
    assert len(glass) == 12
    assert len({(one.length_cm, one.width_cm, one.depth_cm) for one in glass}) == 12
    walls = {(one.wall_left, one.wall_right, one.wall_front, one.wall_back) for one in glass}
    assert len(walls) >= 6
    assert kinds == {
        "led_cluster", "led_panel", "led_bar", "fluorescent_tube", "metal_halide", "mixed"
    }  # fmt: skip
    assert len(sessions) == 10
    assert any(one.state == "plan" for one in setups) and len(setups) > len(glass)


def test_two_meters_have_loans_past_present_and_to_come_and_no_day_twice(club: Database) -> None:
    with club.read() as db:
        today = club_day.today(db)
        meters = db.exec(select(Meter)).all()
        loans = db.exec(select(Loan)).all()
        days = db.exec(select(LoanDay)).all()
    assert len(meters) == 2
    assert any(one.last_day < today for one in loans)
    assert any(one.first_day <= today <= one.last_day for one in loans)
    assert any(one.first_day > today for one in loans)
    assert len(days) == sum((one.last_day - one.first_day).days + 1 for one in loans)


def test_every_animal_lives_inside_its_tank(club: Database) -> None:
    with club.read() as db:
        for animal, tank in db.exec(
            select(Animal, Tank).join(Tank, col(Animal.tank_id) == col(Tank.id))
        ):
            assert 0 <= animal.x_cm <= tank.length_cm, animal.name
            assert 0 <= animal.y_cm <= tank.width_cm, animal.name
            assert 0 <= animal.depth_cm <= tank.depth_cm, animal.name


def _near_rock(tank: glass.Tank, one: Reading) -> bool:
    """Whether rock stands within reach: beside the place, over it, or where its light comes by."""
    return any(
        rock.left_cm - 8 < one.x_cm < rock.right_cm + 8
        and rock.front_cm - 8 < one.y_cm < rock.back_cm + 8
        and rock.top_cm < one.depth_cm - 0.5
        for rock in tank.rocks
    )


def test_readings_are_the_engines_light_with_the_stated_errors(club: Database) -> None:
    """No reading strays more than four stated errors (and the gradient over the misplacing)."""
    with club.read() as db:
        for row, session in zip(
            sheets.rows("sessions"), db.exec(select(Round).order_by(col(Round.id))), strict=True
        ):
            truth = readings.truth_of(row)
            tank = db.get_one(Tank, session.tank_id)
            planned = light.scene(tank, light.hung_over(db, session.setup_id or 0, as_stated=True))
            taken = db.exec(select(Reading).where(Reading.session_id == session.id)).all()
            assert len(taken) == int(row["points"])
            real = readings.as_it_is(planned, truth)
            ppfd = at_points(
                real.tank,
                real.water,
                real.emitters,
                x_cm=[one.x_cm for one in taken],
                y_cm=[one.y_cm for one in taken],
                depth_cm=[one.depth_cm for one in taken],
            )
            # The edge of a rock's shadow is steeper than open water, so it is looked at alone.
            open_water = [n for n, one in enumerate(taken) if not _near_rock(real.tank, one)]
            off = np.log([taken[n].ppfd for n in open_water]) - np.log(ppfd[open_water])
            assert np.abs(off).max() < 4 * (truth.reading_error + 0.03 * truth.place_error_cm)
            assert all(one.raw_ppfd > 0 for one in taken), "no sensor lies inside a rock"
            assert abs(off.mean()) < 3 * truth.reading_error / math.sqrt(len(off)) + 0.02


def test_the_table_to_upload_is_what_the_engine_says_of_the_tank_it_belongs_to(
    club: Database,
) -> None:
    with club.read() as db:
        tank = db.exec(select(Tank).where(Tank.name == "Kitchen cube")).one()
        setup = tanks.current_setup(db, tank.id or 0)
        assert setup is not None
        planned = light.scene(tank, light.hung_over(db, setup.id or 0, as_stated=True))
        assert setup.since <= club_day.today(db) - timedelta(days=1)
    raw = (places.SEED / "readings-to-upload.csv").read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf") and b"\r\n" in raw, "as a spreadsheet saves it"
    sheet = list(csv.DictReader(raw.decode("utf-8-sig").splitlines(), delimiter=";"))
    assert len(sheet) == 14 and all("," in row["Depth (cm)"] for row in sheet)
    columns = [
        [float(row[name].replace(",", ".")) for row in sheet]
        for name in ("From left (cm)", "From front (cm)", "Depth (cm)", "PAR (µmol/m²s)")
    ]
    ppfd = at_points(
        planned.tank,
        planned.water,
        planned.emitters,
        x_cm=columns[0],
        y_cm=columns[1],
        depth_cm=columns[2],
    )
    off = np.log(1.08 * np.array(columns[3])) - np.log(0.84 * ppfd)
    assert np.abs(off).max() < 0.25 and abs(off.mean()) < 0.06


def test_every_sheet_says_that_it_is_made_up() -> None:
    to_upload = {"readings-to-upload.csv", "blue-led-spectrum.csv"}  # told of in the README
    for sheet in Path(places.SEED).glob("*.csv"):
        if sheet.name not in to_upload:
            assert "Made up" in sheet.read_text(encoding="utf-8").splitlines()[0], sheet.name
    told = (places.SEED / "README.md").read_text("utf-8")
    assert "Everything in this folder is made up" in told
    assert all(name in told for name in to_upload)
