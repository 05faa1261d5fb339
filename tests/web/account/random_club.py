"""Tanks made at random: lamps of the shelf, animals, readings, steps of power, other lamps."""

import random
from datetime import date, timedelta

import numpy as np
from sqlmodel import Session, select

from server.db import club_day, measured, members, tanks
from server.db.engine import Database
from server.models import LampModel, Member, Setup, Tank
from tests.web.measured.measuring import real_light, scattered, store

NAMES = ("Fan", "Button", "Goblet", "Ribbon", "Thicket", "Saucer")
STATES = ("planned", "measured", "carried", "other lamp", "dark")


def fill(club: Database, *, count: int, seed: int) -> set[int]:
    """So many tanks for one keeper, of every state in turn; gives their numbers."""
    draw = random.Random(seed)
    with club.write() as db:
        keeper = members.add_member(
            db, name="Random", email="random@club.example", password_hash="x", role="member"
        )
        today = club_day.today(db)
        models = list(db.exec(select(LampModel).where(LampModel.merged_into_id == None)))  # noqa: E711 - SQL's IS NULL
        made = [_tank(db, draw, keeper, models, n, today) for n in range(count)]
    for n, tank_id in enumerate(made):
        _lived(club, draw, tank_id, STATES[n % (len(STATES) - 1)], models, today, seed + n)
    return set(made)


def _tank(
    db: Session, draw: random.Random, keeper: Member, models: list[LampModel], n: int, today: date
) -> int:
    words = tanks.TankWords(
        name=f"Random tank {n}",
        length_cm=draw.randint(40, 160),
        width_cm=draw.randint(30, 70),
        depth_cm=draw.randint(30, 65),
        wall_back=draw.choice(("clear", "black", "0.3")),
        water=draw.choice(("polished", "usual", "yellowed")),
        cover=draw.random() < 0.2,
    )
    tank = tanks.add_tank(db, owner_id=keeper.id, words=words)
    lamps = [_lamp(draw, tank, models) for _ in range(draw.randint(1, 2))]
    tanks.save_setup(
        db, tank_id=tank.id, lamps=lamps, since=today - timedelta(days=90), reason="first"
    )
    for k in range(draw.randint(1, 5)):
        low = draw.choice((20.0, 50.0, 80.0, 150.0, 200.0))
        animal = tanks.AnimalWords(
            name=f"{NAMES[k]} {n}-{k}", group="other",
            x_cm=draw.uniform(5, tank.length_cm - 5), y_cm=draw.uniform(5, tank.width_cm - 5),
            depth_cm=draw.uniform(5, tank.depth_cm - 2), low_ppfd=low, high_ppfd=low * 2,
            range_source="", placed_on=today - timedelta(days=80),
        )  # fmt: skip
        tanks.add_animal(db, tank.id, animal)
    return tank.id


def _lamp(draw: random.Random, tank: Tank, models: list[LampModel]) -> tanks.LampPlace:
    return tanks.LampPlace(
        lamp_model_id=draw.choice(models).id,
        x_cm=round(draw.uniform(0.3, 0.7) * tank.length_cm),
        y_cm=round(draw.uniform(0.4, 0.6) * tank.width_cm),
        height_cm=draw.randint(15, 45),
        power=draw.choice((1.0, 0.8, 0.55, 0.4)),
    )


def _lived(
    club: Database, draw: random.Random, tank_id: int, state: str, models: list[LampModel],
    today: date, seed: int,
) -> None:  # fmt: skip
    if state == "planned":
        return
    with club.read() as db:
        tank = db.get_one(Tank, tank_id)
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
        plan = measured.plan_of(measured.rows_of(db, tank, db.get_one(Setup, setup.id)))
    rng = np.random.default_rng(seed)
    sides = np.array([tank.length_cm, tank.width_cm, tank.depth_cm])
    points = np.round(rng.uniform(0.1, 0.9, size=(8, 3)) * sides)
    light = scattered(real_light(plan, points, output=draw.uniform(0.6, 1.1)), seed=seed)
    store(club, tank_id, setup.id, points, light, on=today - timedelta(days=60))
    if state == "measured":
        return
    with club.write() as db:
        places = [tanks.place_of(one) for one in tanks.lamps_of(db, setup.id)]
        factor = draw.choice((0.5, 0.7))
        after = [
            tanks.LampPlace(**vars(one) | {"power": round(one.power * factor, 2)}) for one in places
        ]
        if state == "other lamp":
            after = [_lamp(draw, tank, models), _lamp(draw, tank, models), *after]
        tanks.save_setup(
            db, tank_id=tank_id, lamps=after, since=today - timedelta(days=20), reason="a step"
        )
