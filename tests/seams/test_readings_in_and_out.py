"""Readings from the form to the file, and lux by the power that each lamp runs at."""

import csv
import io
from datetime import date

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from server.db import surveys, tanks
from server.db.engine import Database
from server.db.light import hung_over
from server.db.lux_factor import lux_per_ppfd
from server.db.tanks import LampPlace
from server.models import LampModel
from tests.conftest import Cast
from tests.db.bundle.test_bundle import NOW, make_tank

DAY = date(2026, 2, 1)


def test_the_export_keeps_as_read_and_corrected_apart(
    ivo: TestClient, club: Database, cast: Cast
) -> None:
    """The tank's session has an immersion factor of 1.08: corrected is the larger one."""
    with club.write() as db:
        tank_id = make_tank(db, cast.ivo)
        (session,) = [one.session for one in surveys.sessions_of(db, tank_id)]
        readings = surveys.readings_of(db, session.id)
    text = ivo.get(f"/sessions/{session.id}/readings.csv").content.decode("utf-8-sig")
    lines = list(csv.reader(io.StringIO(text)))
    start = next(n for n, line in enumerate(lines) if line and line[0] == "x_cm")
    rows = [dict(zip(lines[start], line, strict=False)) for line in lines[start + 1 :] if line]
    stored = {(one.raw_ppfd, one.ppfd) for one in readings}
    assert stored and all(raw != corrected for raw, corrected in stored)
    shown = {(float(one["ppfd_as_read"]), float(one["ppfd_corrected"])) for one in rows}
    assert shown == stored


def test_a_dimmed_lamp_counts_for_little_in_the_lux_of_the_tank(club: Database, cast: Cast) -> None:
    with club.write() as db:
        tank_id = make_tank(db, cast.ivo)
        setup_id = _two_lamps(db, tank_id)
    with club.read() as db:
        halide, tubes = hung_over(db, setup_id)
    alone = [one.stated.lamp.spectrum(None).lux_per_ppfd for one in (halide, tubes)]
    photons = [one.stated.lamp.ppf_umol_s * one.row.power for one in (halide, tubes)]
    wanted = sum(p * f for p, f in zip(photons, alone, strict=True)) / sum(photons)
    assert alone[0] != pytest.approx(alone[1], rel=0.05)
    assert lux_per_ppfd((halide, tubes)) == pytest.approx(wanted, rel=1e-3)
    assert lux_per_ppfd((halide, tubes)) == pytest.approx(alone[0], rel=0.05)


def _two_lamps(db: Session, tank_id: int) -> int:
    """A halide at full over a row of tubes dimmed to a twentieth."""
    halide, tubes = (
        LampModel(name=name, kind=kind, beam_deg=120, watts=150, ppf_umol_s=flux, created_at=NOW)
        for name, kind, flux in (("Anchor", "metal_halide", 240), ("Reeds", "led_panel", 260))
    )
    db.add_all([halide, tubes])
    db.flush()
    places = [
        LampPlace(lamp_model_id=halide.id, x_cm=30, y_cm=20, height_cm=30, power=1.0),
        LampPlace(lamp_model_id=tubes.id, x_cm=60, y_cm=20, height_cm=15, power=0.05),
    ]
    return tanks.save_setup(db, tank_id=tank_id, lamps=places, since=DAY, reason="two").id
