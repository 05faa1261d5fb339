"""Rows turned into what the light engine takes: a tank, its water, and every emitter over it.

Load inside a transaction, compute outside it:

    with club.read() as db:
        hung = light.hung_over(db, setup_id)      # rows and domain lamps, no numbers crunched
    scene = light.scene(tank, hung)               # optics Tank, Water, emitters
    planes(scene.tank, scene.water, scene.emitters, depths_cm=(20,), cell_cm=2)
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import cast

from sqlmodel import Session, col, func, select

from server.db import tanks
from server.db.lamp_knowledge import Knowledge, knowledge
from server.models import HungLamp, LampChannel, LampModel, Tank
from server.optics import efficacy, lamp
from server.optics import tank as glass
from server.optics.emitters import Emitter
from server.optics.lamp import Channel, Kind, Layout, kind_spectrum, lamp_emitters
from server.optics.photometric_reader import read_photometric_file
from server.optics.photometry import IntensityTable
from server.optics.spectrum import Spectrum
from server.optics.spectrum_record import spectrum_from
from server.optics.tint import TINTS, Tint, absorption_bands
from server.reef import furnishing


@dataclass(frozen=True, kw_only=True)
class Floor:
    """What a floor returns, and where that figure comes from."""

    albedo: float
    source: str


FLOORS: Mapping[str, Floor] = {
    "bare": Floor(albedo=0.05, source="about the glass alone; estimate, no published source"),
    "light_sand": Floor(
        albedo=0.4,
        source="carbonate sand returns about 0.25–0.5 in visible light (Maritorena, Morel & "
        "Gentili 1994; Hochberg, Atkinson & Andréfouët 2003; both from memory)",
    ),
    "dark_sand": Floor(albedo=0.1, source="estimate, no published source"),
    "rockwork": Floor(
        albedo=0.12,
        source="overgrown reef rock returns about 0.05–0.2 (Hochberg, Atkinson & Andréfouët 2003, "
        "from memory)",
    ),
}

# Lamps


@dataclass(frozen=True, kw_only=True)
class Stated:
    """A lamp of the shelf as the engine takes it.

    estimated: no flux was stated, so it was reckoned from watts and kind;
    low_ppf_umol_s, high_ppf_umol_s: the spread to reckon with then (else the stated flux);
    measured: what the club's readings made of the model, where `lamp` carries it.
    """

    row: LampModel
    lamp: lamp.LampModel
    estimated: bool
    low_ppf_umol_s: float
    high_ppf_umol_s: float
    measured: Knowledge | None = None


@dataclass(frozen=True, kw_only=True)
class Hung:
    """One lamp over the water: its row, its model, and the levels of its channels.

    day_level: 0–1, what its day makes of its power at the moment meant; 1 is fully on.
    """

    row: HungLamp
    stated: Stated
    levels: Mapping[str, float]
    day_level: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A lit tank as the engine takes it; `by_lamp` keeps the emitters of each lamp apart."""

    tank: glass.Tank
    water: glass.Water
    emitters: tuple[Emitter, ...]
    by_lamp: tuple[tuple[Emitter, ...], ...]


def lamp_of(model: LampModel, channels: Sequence[LampChannel]) -> Stated:
    """A lamp's rows as the engine's lamp. Flux nobody stated is estimated from the watts."""
    kind = cast(Kind, model.kind)
    estimate = efficacy.flux_from_watts(kind, model.watts)
    ppf_umol_s = model.ppf_umol_s or estimate.ppf_umol_s
    built = lamp.LampModel(
        kind=kind,
        name=model.name,
        beam_deg=model.beam_deg,
        ppf_umol_s=ppf_umol_s,
        layout=_places(model),
        channels=tuple(_channel(row, kind) for row in channels),
        watts=model.watts,
        min_height_cm=model.min_height_cm,
        max_height_cm=model.max_height_cm,
        control=cast(lamp.Control, model.control),
        intensity=_intensity(model.intensity_file) if model.intensity_file else None,
    )
    estimated = model.ppf_umol_s is None
    return Stated(
        row=model,
        lamp=built,
        estimated=estimated,
        low_ppf_umol_s=estimate.low if estimated else ppf_umol_s,
        high_ppf_umol_s=estimate.high if estimated else ppf_umol_s,
    )


def read_spectrum(text: str, *, name: str, kind: Kind) -> Spectrum:
    """A channel's colours from its column: JSON of `server.optics.spectrum_record`.

    Empty means the general shape of the kind. Raises ValueError for what cannot be read.
    """
    return spectrum_from(json.loads(text), name=name) if text else kind_spectrum(kind)


def stated_lamps(
    db: Session, model_ids: Sequence[int], *, as_stated: bool = False
) -> dict[int, Stated]:
    """Lamps of the shelf by id; a double that was merged away stands for what it became.

    Flux and beam are put right by what the club measured, unless they are wanted as stated.
    """
    wanted = dict.fromkeys(model_ids)
    rows = {model_id: _kept(db, db.get_one(LampModel, model_id)) for model_id in wanted}
    ids = [row.id for row in rows.values()]
    channels: dict[int, list[LampChannel]] = {}
    found = select(LampChannel).where(col(LampChannel.lamp_model_id).in_(ids))
    for channel in db.exec(found.order_by(col(LampChannel.id))):
        channels.setdefault(channel.lamp_model_id, []).append(channel)
    known = {} if as_stated else knowledge(db, list(rows.values()))
    return {
        model_id: put_right(lamp_of(row, channels.get(row.id, [])), known.get(row.id))
        for model_id, row in rows.items()
    }


def shelf(db: Session) -> list[LampModel]:
    """The club's lamp models by name, without doubles that were merged away."""
    kept = select(LampModel).where(col(LampModel.merged_into_id).is_(None))
    return list(db.exec(kept.order_by(func.lower(LampModel.name), col(LampModel.id))))


def put_right(stated: Stated, known: Knowledge | None) -> Stated:
    """The lamp with its flux, and its beam where one lens serves it, as the club measured them."""
    if known is None:
        return stated
    flux, beam = stated.lamp.ppf_umol_s, stated.lamp.beam_deg
    if known.beam is not None and stated.lamp.intensity is None:
        beam = _within("beam_deg", beam * known.beam.value)
    right = replace(
        stated.lamp, ppf_umol_s=_within("ppf_umol_s", flux * known.output.value), beam_deg=beam
    )
    return replace(
        stated,
        lamp=right,
        low_ppf_umol_s=flux * known.output.low,
        high_ppf_umol_s=flux * known.output.high,
        measured=known,
    )


def _within(name: str, value: float) -> float:
    least, most = lamp.LIMITS[name]
    return min(most, max(least, value))


# What hangs over a tank


def hung_over(db: Session, setup_id: int, *, as_stated: bool = False) -> tuple[Hung, ...]:
    """The lamps of a setup with their models, in their order; see `stated_lamps`."""
    return hung_lamps(db, tanks.lamps_of(db, setup_id), as_stated=as_stated)


def hung_lamps(
    db: Session, rows: Sequence[HungLamp], *, as_stated: bool = False
) -> tuple[Hung, ...]:
    """Rows (stored or not yet) with their models; lets a page try lamps before they are saved."""
    models = stated_lamps(db, [row.lamp_model_id for row in rows], as_stated=as_stated)
    return tuple(
        Hung(row=row, stated=models[row.lamp_model_id], levels=levels_of(row.channel_levels))
        for row in rows
    )


def lamp_numbers(hung: Sequence[Hung]) -> tuple[int, ...]:
    """For each lamp the how-manieth of its model it is, from 1."""
    models = [one.stated.row.id for one in hung]
    return tuple(models[: place + 1].count(model) for place, model in enumerate(models))


def lamp_labels(hung: Sequence[Hung]) -> tuple[str, ...]:
    """A name for each lamp: its model, numbered where several of that model hang."""
    models = [one.stated.row.id for one in hung]
    return tuple(
        f"{one.stated.row.name} ({number})" if models.count(model) > 1 else one.stated.row.name
        for one, model, number in zip(hung, models, lamp_numbers(hung), strict=True)
    )


def optics_tank(tank: Tank) -> glass.Tank:
    """A stored tank with everything that stands in and on it."""
    return _furnished(_bare(tank), tank.furnishing)


@lru_cache(maxsize=256)
def _furnished(bare: glass.Tank, text: str) -> glass.Tank:
    return furnishing.over(bare, furnishing.fitted(furnishing.from_text(text), bare))


def _bare(tank: Tank) -> glass.Tank:
    """Glass, floor and cover of a stored tank."""
    return glass.Tank(
        length_cm=tank.length_cm,
        width_cm=tank.width_cm,
        depth_cm=tank.depth_cm,
        walls=glass.Walls(
            left=_wall(tank.wall_left),
            right=_wall(tank.wall_right),
            front=_wall(tank.wall_front),
            back=_wall(tank.wall_back),
        ),
        floor_albedo=FLOORS[tank.floor].albedo,
        cover=tank.cover,
    )


def tint_of(tank: Tank) -> Tint:
    """Colour of the tank's water by its word: polished, usual or yellowed."""
    return TINTS[tank.water]


def water_of(tank: Tank) -> glass.Water:
    """The tank's water for light whose colours nobody stated (those of a general LED lamp).

    Hung lamps bring their own absorption, from their own colours; see `emitters_of`.
    """
    return glass.Water(absorption=_plain_absorption(tank.water))


def emitters_of(tank: Tank, one: Hung) -> tuple[Emitter, ...]:
    """One hung lamp's emitters, dimmed as set, each with the absorption its own colours meet."""
    return lamp_emitters(
        one.stated.lamp,
        x_cm=one.row.x_cm,
        y_cm=one.row.y_cm,
        height_cm=one.row.height_cm,
        power=one.row.power * one.day_level,
        turned=one.row.turned,
        tilt_deg=one.row.tilt_deg,
        toward_deg=one.row.toward_deg,
        levels=one.levels or None,
        tint=tint_of(tank),
    )


def scene(tank: Tank, hung: Sequence[Hung]) -> Scene:
    """Everything the engine needs to light this tank with these lamps."""
    by_lamp = tuple(emitters_of(tank, one) for one in hung)
    return Scene(
        tank=optics_tank(tank),
        water=water_of(tank),
        emitters=tuple(emitter for group in by_lamp for emitter in group),
        by_lamp=by_lamp,
    )


def content_of(tank: Tank, hung: Sequence[Hung]) -> tuple[object, ...]:
    """Everything of a tank and its lamps that bears on the light, to remember answers by."""
    glass = tank.model_dump(exclude=set(_SAID_ONLY))
    return (*glass.values(), *(part for one in hung for part in _lamp_content(one)))


_SAID_ONLY = ("name", "note", "shared", "created_at", "archived_at")


def _lamp_content(one: Hung) -> tuple[object, ...]:
    known = one.stated.measured
    channels = one.stated.lamp.channels
    return (
        *one.row.model_dump().values(),
        *one.stated.row.model_dump().values(),
        one.day_level,
        *sorted(one.levels.items()),
        *((c.name, c.share, c.beam_deg, c.spectrum.power.tobytes()) for c in channels),
        one.stated.lamp.ppf_umol_s,
        one.stated.lamp.beam_deg,
        known is None,
    )


def _channel(row: LampChannel, kind: Kind) -> Channel:
    return Channel(
        name=row.name,
        share=row.share,
        spectrum=read_spectrum(row.spectrum, name=row.name, kind=kind),
        beam_deg=row.beam_deg,
        layout=None if row.count_x is None else _places(row),
    )


def _places(row: LampModel | LampChannel) -> Layout:
    """Where the emitters of a lamp, or of a channel with places of its own, sit."""
    return Layout(
        count_x=row.count_x or 1,
        count_y=row.count_y or 1,
        pitch_x_cm=row.pitch_x_cm or 0.0,
        pitch_y_cm=row.pitch_y_cm or 0.0,
        side_cm=row.side_cm,
        tube_length_cm=row.tube_length_cm,
    )


@lru_cache(maxsize=64)
def _intensity(raw: bytes) -> IntensityTable:
    return read_photometric_file(raw).table


def _kept(db: Session, row: LampModel) -> LampModel:
    for _ in range(8):  # a chain of merges; longer ones cannot come about by the pages
        if row.merged_into_id is None:
            break
        row = db.get_one(LampModel, row.merged_into_id)
    return row


def levels_of(text: str) -> Mapping[str, float]:
    """Levels of a hung lamp's channels by name; empty: all as the lamp itself."""
    return {name: float(level) for name, level in json.loads(text).items()} if text else {}


def _wall(word: str) -> glass.Wall:
    if word == "clear":
        return "clear"
    return "black" if word == "black" else float(word)


@lru_cache(maxsize=8)
def _plain_absorption(water: str) -> tuple[tuple[float, float], ...]:
    return absorption_bands(kind_spectrum("led_cluster"), TINTS[water])
