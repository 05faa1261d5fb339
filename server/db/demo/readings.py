"""Made-up measurement sessions: the engine's light in a tank that is not quite as planned.

`sessions.csv` states how each real tank differs from its plan and how large the errors are; the
values are made here with a fixed seed, so every demo club has the same ones.
"""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from server.db import light, tanks
from server.db.demo import sheets
from server.db.demo.tanks import Ids, noon
from server.db.light import Scene
from server.models import Animal, MeasurementSession, Reading, Setup, Tank
from server.optics.field import at_points
from server.optics.tank import Rock

SEED = 20_261_125
Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Truth:
    """How the real tank differs from its plan, and how large the errors of measuring are."""

    output_factor: float
    beam_change_deg: float
    absorption_factor: float
    reading_error: float
    place_error_cm: float


@dataclass(frozen=True, kw_only=True)
class Taken:
    """One reading as the meter showed it."""

    x_cm: float
    y_cm: float
    depth_cm: float
    raw_ppfd: float
    note: str


def fill(
    db: Session, *, members: dict[str, int], meters: dict[str, int], ids: Ids, today: date
) -> None:
    """Every session of the sheet with its readings, raw and corrected."""
    for number, row in enumerate(sheets.rows("sessions")):
        tank = db.get_one(Tank, ids.tanks[row["tank"]])
        setup = db.get_one(Setup, ids.setups[row["setup"]])
        taken_on = sheets.days_ago(row, "days_ago", today)
        session = _session(row, tank, setup, members, meters, taken_on)
        db.add(session)
        db.flush()
        factor = session.immersion_factor * session.calibration_factor
        made = readings(
            tank,
            light.scene(tank, light.hung_over(db, setup.id, as_stated=True)),
            tanks.animals_of(db, tank.id, on=taken_on),
            truth_of(row),
            count=int(row["points"]),
            factor=factor,
            rng=np.random.default_rng(SEED + number),
        )
        db.add_all(_reading(session, one, line, factor) for line, one in enumerate(made, start=2))
    db.flush()


def truth_of(row: sheets.Row) -> Truth:
    return Truth(
        output_factor=sheets.sure_number(row, "output_factor"),
        beam_change_deg=sheets.sure_number(row, "beam_change_deg"),
        absorption_factor=sheets.sure_number(row, "absorption_factor"),
        reading_error=sheets.sure_number(row, "reading_error_percent") / 100,
        place_error_cm=sheets.sure_number(row, "place_error_cm"),
    )


def readings(
    tank: Tank,
    planned: Scene,
    animals: list[Animal],
    truth: Truth,
    *,
    count: int,
    factor: float,
    rng: np.random.Generator,
) -> list[Taken]:
    """Readings at the animals, then on a coarse grid; true light with errors, over the factor."""
    points = places(tank, animals, count, planned.tank.rocks)
    meant = np.array([point[:3] for point in points])
    real = as_it_is(planned, truth)
    held = _held(tank, meant + rng.normal(0, truth.place_error_cm, meant.shape), real.tank.rocks)
    ppfd = at_points(
        real.tank, real.water, real.emitters, x_cm=held[:, 0], y_cm=held[:, 1], depth_cm=held[:, 2]
    )
    shown = ppfd * np.exp(rng.normal(0, truth.reading_error, ppfd.shape)) / factor
    return [
        Taken(x_cm=x, y_cm=y, depth_cm=depth, raw_ppfd=float(round(value)), note=note)
        for (x, y, depth, note), value in zip(points, shown, strict=True)
    ]


def as_it_is(planned: Scene, truth: Truth) -> Scene:
    """The tank as it really is: other output, other beam, other water."""

    def real_water(absorption: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        return tuple((share, per_m * truth.absorption_factor) for share, per_m in absorption)

    emitters = tuple(
        replace(
            emitter,
            ppf_umol_s=emitter.ppf_umol_s * truth.output_factor,
            beam_deg=None if emitter.beam_deg is None else emitter.beam_deg + truth.beam_change_deg,
            absorption=None if emitter.absorption is None else real_water(emitter.absorption),
        )
        for emitter in planned.emitters
    )
    water = replace(planned.water, absorption=real_water(planned.water.absorption))
    return replace(planned, emitters=emitters, water=water, by_lamp=(emitters,))


def places(
    tank: Tank, animals: list[Animal], count: int, rocks: Sequence[Rock] = ()
) -> list[tuple[float, float, float, str]]:
    """Where somebody would measure: each animal, then a coarse grid, top to bottom.

    A place of the grid that lies in a rock is taken on top of it.
    """
    found = [(round(one.x_cm), round(one.y_cm), round(one.depth_cm), one.name) for one in animals][
        :count
    ]
    rest = count - len(found)
    columns = max(1, math.ceil(rest / 3))
    grid = [
        (
            _half(tank.length_cm * (k + 0.5) / columns),
            _half(tank.width_cm * along),
            _half(tank.depth_cm * down),
            "",
        )
        for down, along in ((0.25, 0.5), (0.55, 0.25), (0.85, 0.7))
        for k in range(columns)
    ]
    return found + [(*_on_top(place, rocks), "") for *place, _ in grid[:rest]]


def _on_top(place: Sequence[float], rocks: Sequence[Rock]) -> tuple[float, float, float]:
    """The place itself, or the top of the rock it lies in."""
    x, y, depth = place
    for rock in sorted(rocks, key=lambda one: -one.top_cm):
        low = math.inf if rock.bottom_cm is None else rock.bottom_cm
        over = rock.left_cm <= x <= rock.right_cm and rock.front_cm <= y <= rock.back_cm
        if over and rock.top_cm < depth < low:
            depth = rock.top_cm
    return x, y, depth


def _half(value_cm: float) -> float:
    """People place the sensor to half a centimetre."""
    return round(2 * value_cm) / 2


def upload_sheet(tank: Tank, planned: Scene, animals: list[Animal]) -> str:
    """The table to upload by hand, as a spreadsheet set to decimal commas saves it.

    The values are what the green case shows, before its immersion factor.
    """
    truth = Truth(
        output_factor=0.84,
        beam_change_deg=0,
        absorption_factor=1,
        reading_error=0.04,
        place_error_cm=0.7,
    )
    rng = np.random.default_rng(SEED - 1)
    made = readings(tank, planned, animals, truth, count=14, factor=1.08, rng=rng)
    text = io.StringIO()
    sheet = csv.writer(text, delimiter=";", lineterminator="\r\n")
    sheet.writerow(
        ["Point", "From left (cm)", "From front (cm)", "Depth (cm)", "PAR (µmol/m²s)", "Remark"]
    )
    for number, one in enumerate(made, start=1):
        numbers = (one.x_cm, one.y_cm, one.depth_cm, one.raw_ppfd)
        cells = (f"{value:.1f}".replace(".", ",") for value in numbers)
        sheet.writerow([number, *cells, one.note])
    return "\ufeff" + text.getvalue()


def _held(tank: Tank, places_cm: Floats, rocks: Sequence[Rock]) -> Floats:
    """Where the sensor really was, kept inside the water and out of the rock."""
    most = np.array([tank.length_cm, tank.width_cm, tank.depth_cm]) - 0.2
    return np.array([_on_top(place, rocks) for place in np.clip(places_cm, 0.2, most)])


def _session(
    row: sheets.Row,
    tank: Tank,
    setup: Setup,
    members: dict[str, int],
    meters: dict[str, int],
    taken_on: date,
) -> MeasurementSession:
    return MeasurementSession(
        tank_id=tank.id,
        setup_id=setup.id,
        meter_id=meters[row["meter"]],
        taken_on=taken_on,
        immersion_factor=sheets.sure_number(row, "immersion_factor"),
        calibration_factor=sheets.sure_number(row, "calibration_factor"),
        note=row["note"],
        created_by_id=members[row["member"]],
        created_at=noon(taken_on),
    )


def _reading(session: MeasurementSession, one: Taken, line: int, factor: float) -> Reading:
    return Reading(
        session_id=session.id,
        row=line,
        x_cm=one.x_cm,
        y_cm=one.y_cm,
        depth_cm=one.depth_cm,
        raw_ppfd=one.raw_ppfd,
        ppfd=one.raw_ppfd * factor,
        typed_x=f"{one.x_cm:g}",
        typed_y=f"{one.y_cm:g}",
        typed_depth=f"{one.depth_cm:g}",
        typed_light=f"{one.raw_ppfd:g}",
        note=one.note,
        entered_by_id=session.created_by_id,
        entered_at=session.created_at,
    )
