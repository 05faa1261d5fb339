"""Rows become the engine's tank, water and emitters without changing what they say."""

import json
from datetime import date

import pytest

from server.db import light, members, tanks
from server.db.engine import Database
from server.models import HungLamp, LampChannel, LampModel, Tank
from server.models.tank import FLOORS, WATERS
from server.optics import efficacy
from server.optics.field import planes
from server.optics.tint import TINTS
from tests.conftest import Cast

TODAY = date(2026, 11, 25)


def a_tank(**changes: object) -> Tank:
    values = {"length_cm": 90, "width_cm": 45, "depth_cm": 45, "name": "Lagoon", "owner_id": 1}
    return Tank(**values | {"created_at": members.now()} | changes)


def a_lamp(**changes: object) -> LampModel:
    values = {"name": "Flatlight", "kind": "led_panel", "beam_deg": 110.0, "watts": 100.0}
    return LampModel(**values | {"created_at": members.now()} | changes)


def hung(model: LampModel, *channels: LampChannel, levels: str = "", power: float = 1.0):
    row = HungLamp(
        setup_id=1, lamp_model_id=1, x_cm=45, y_cm=22, height_cm=20, power=power,
        channel_levels=levels,
    )  # fmt: skip
    stated = light.lamp_of(model, channels)
    return light.Hung(row=row, stated=stated, levels=json.loads(levels) if levels else {})


def test_every_floor_and_water_a_form_offers_is_known_here() -> None:
    assert set(light.FLOORS) == set(FLOORS)
    assert set(TINTS) == set(WATERS)
    assert all(floor.source for floor in light.FLOORS.values())
    assert light.FLOORS["bare"].albedo < light.FLOORS["light_sand"].albedo


def test_walls_keep_what_was_stated() -> None:
    tank = light.optics_tank(a_tank(wall_back="black", wall_left="0.3", cover=True))
    assert (tank.walls.left, tank.walls.right, tank.walls.back) == (0.3, "clear", "black")
    assert tank.cover and tank.depth_cm == 45


def test_stated_flux_is_used_and_missing_flux_is_an_estimate() -> None:
    stated = light.lamp_of(a_lamp(ppf_umol_s=180.0), [])
    assert stated.lamp.ppf_umol_s == 180 and not stated.estimated
    assert stated.low_ppf_umol_s == stated.high_ppf_umol_s == 180
    guessed = light.lamp_of(a_lamp(), [])
    expected = efficacy.flux_from_watts("led_panel", 100)
    assert guessed.estimated and guessed.lamp.ppf_umol_s == expected.ppf_umol_s
    assert guessed.low_ppf_umol_s < guessed.lamp.ppf_umol_s < guessed.high_ppf_umol_s


def test_power_and_channel_levels_dim_what_reaches_the_water() -> None:
    blue = LampChannel(lamp_model_id=1, name="blue", share=0.75)
    white = LampChannel(lamp_model_id=1, name="white", share=0.25)
    model = a_lamp(ppf_umol_s=200.0)
    full = light.scene(a_tank(), [hung(model, blue, white)])
    half = light.scene(a_tank(), [hung(model, blue, white, power=0.5)])
    no_blue = light.scene(a_tank(), [hung(model, blue, white, levels='{"blue": 0}')])
    assert sum(e.ppf_umol_s for e in full.emitters) == pytest.approx(200)
    assert sum(e.ppf_umol_s for e in half.emitters) == pytest.approx(100)
    assert sum(e.ppf_umol_s for e in no_blue.emitters) == pytest.approx(50)


def test_yellowed_water_takes_more_of_the_same_lamp() -> None:
    def mean(water: str) -> float:
        made = light.scene(a_tank(water=water), [hung(a_lamp(ppf_umol_s=200.0))])
        return planes(made.tank, made.water, made.emitters, depths_cm=(40,), cell_cm=5)[0].mean

    assert mean("polished") > mean("usual") > mean("yellowed") > 0


def test_spectra_are_read_in_each_of_their_forms() -> None:
    read = light.read_spectrum
    blue = read('{"shape": "ready", "key": "royal_blue"}', name="a", kind="led_bar")
    same = read('{"shape": "gaussian", "peak_nm": 450, "width_nm": 20}', name="b", kind="led_bar")
    assert blue.name == "a" and blue.mean_wavelength_nm == pytest.approx(same.mean_wavelength_nm)
    table = {"shape": "table", "wavelength_nm": [400, 500, 700], "power": [0, 1, 0]}
    assert 400 < read(json.dumps(table), name="c", kind="led_bar").mean_wavelength_nm < 700
    assert read("", name="", kind="metal_halide").par_share > 0.5
    with pytest.raises(ValueError, match="shape should be"):
        read('{"shape": "rainbow"}', name="", kind="led_bar")


def test_a_merged_double_stands_for_what_it_became(club: Database, cast: Cast) -> None:
    with club.write() as db:
        kept = a_lamp(name="Kept", ppf_umol_s=150.0)
        db.add(kept)
        db.flush()
        double = a_lamp(name="Double", merged_into_id=kept.id)
        db.add(double)
        tank = tanks.add_tank(
            db,
            owner_id=cast.ivo.id or 0,
            words=tanks.TankWords(name="Lagoon", length_cm=90, width_cm=45, depth_cm=45),
        )
        db.flush()
        place = tanks.LampPlace(lamp_model_id=double.id or 0, x_cm=45, y_cm=22, height_cm=20)
        setup = tanks.save_setup(
            db, tank_id=tank.id or 0, lamps=[place], since=TODAY, reason="first"
        )
    with club.read() as db:
        lamps = light.hung_over(db, setup.id or 0)
    assert [one.stated.row.name for one in lamps] == ["Kept"]
    assert sum(e.ppf_umol_s for e in light.scene(tank, lamps).emitters) == pytest.approx(150)
