"""Each lamp its own day over one tank: looked up, lit, summed, and typed."""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pytest
from scipy.integrate import quad
from sqlmodel import Session

from server.db import days, light, tanks
from server.db.daylight import cost_of, lamp_days, light_at, lit_groups
from server.db.days import DayWords, GroupDay
from server.db.engine import Database
from server.db.light import Hung
from server.db.members import now
from server.db.moments import moment, typed_at
from server.db.tanks import AnimalWords, LampPlace, TankWords
from server.db.typed_now import told_together, way_rows
from server.dose.control import WHOLE
from server.dose.day import Day
from server.dose.together import light_of, shape_of
from server.models import Animal, LampChannel, LampModel, Tank
from server.optics.field import at_points
from tests.conftest import Cast

TODAY = date(2026, 11, 25)

# Asymmetric on purpose: ramps of 45 and 105 minutes, a switch, a moon through midnight.
TUBES = Day(hours=(10.0, 10.75, 18.25, 20.0), levels=(0.0, 90.0, 90.0, 0.0))
HALIDE = Day(hours=(13.0, 13.0, 17.5, 17.5), levels=(0.0, 100.0, 100.0, 0.0))
MOON = Day(hours=(20.0, 20.0, 2.5, 2.5), levels=(0.0, 4.0, 4.0, 0.0))


def tubes_at(hour: float) -> float:
    """The same in other words: percent of full light."""
    return float(np.interp(hour, [10, 10.75, 18.25, 20], [0, 90, 90, 0], left=0, right=0))


def halide_at(hour: float) -> float:
    return 100.0 if 13 <= hour < 17.5 else 0.0


@dataclass
class Set:
    """A tank under two models: one panel of two channels, two halides that do not dim."""

    tank: Tank
    animals: list[Animal]
    panel: int
    halide: int


@pytest.fixture
def two(club: Database, cast: Cast) -> Set:
    with club.write() as db:
        words = TankWords(name="Two days", length_cm=100, width_cm=45, depth_cm=50)
        tank = tanks.add_tank(db, owner_id=cast.ivo.id, words=words)
        panel, halide = _models(db)
        places = [
            LampPlace(lamp_model_id=halide, x_cm=24, y_cm=19, height_cm=33),
            LampPlace(lamp_model_id=panel, x_cm=61, y_cm=27, height_cm=22, power=0.37),
            LampPlace(lamp_model_id=halide, x_cm=81, y_cm=21, height_cm=38),
        ]
        tanks.save_setup(db, tank_id=tank.id, lamps=places, since=date(2026, 1, 2), reason="two")
        for name, at in (("Left", (17, 13, 21)), ("Right", (77, 31, 36))):
            tanks.add_animal(db, tank.id, _animal(name, *at))
        animals = tanks.animals_of(db, tank.id)
    return Set(tank=tank, animals=animals, panel=panel, halide=halide)


def _models(db: Session) -> tuple[int, int]:
    panel = LampModel(
        name="Pane 40", kind="led_panel", beam_deg=96, watts=80, ppf_umol_s=170, control="full",
        created_at=now(),
    )  # fmt: skip
    halide = LampModel(
        name="Bell 150", kind="metal_halide", beam_deg=104, watts=150, ppf_umol_s=140,
        control="by_hand", created_at=now(),
    )  # fmt: skip
    db.add_all([panel, halide])
    db.flush()
    for name, share in (("Blue", 0.6), ("White", 0.4)):
        db.add(LampChannel(lamp_model_id=panel.id, name=name, share=share))
    db.flush()
    return panel.id, halide.id


def _animal(name: str, x: float, y: float, depth: float) -> AnimalWords:
    return AnimalWords(
        name=name, group="lps", x_cm=x, y_cm=y, depth_cm=depth, low_ppfd=75, high_ppfd=150,
        range_source="common practice", placed_on=date(2026, 1, 2),
    )  # fmt: skip


def set_days(club: Database, two: Set, *groups: GroupDay, control: str = "") -> tuple[Hung, ...]:
    words = DayWords(since=TODAY, time_zone="Europe/Lisbon", control=control)
    with club.write() as db:
        days.save_schedule(db, tank_id=two.tank.id, words=words, days=groups, by_id=None)
        setup = tanks.current_setup(db, two.tank.id)
        assert setup is not None
        hung = light.hung_over(db, setup.id)
    return hung


def doses(two: Set, hung: tuple[Hung, ...], groups: tuple[GroupDay, ...]) -> np.ndarray:
    lit = lit_groups(two.tank, hung, lamp_days(hung, groups, control=""))
    full = light_at(two.tank, lit, two.animals)
    return light_of(full, shape_of(tuple(group.day for group in lit))).dli


def own_days(two: Set) -> tuple[GroupDay, ...]:
    return (
        GroupDay(day=TUBES),
        GroupDay(day=HALIDE, lamp_model_id=two.halide, lamp_number=2, control="clock_switch"),
        GroupDay(day=Day(hours=(0.0,), levels=(0.0,)), lamp_model_id=two.halide, lamp_number=1),
    )


def test_the_dose_of_two_lamps_is_the_sum_of_each_alone(club: Database, two: Set) -> None:
    """scipy's quad over the two days written once more, on the engine's light of each lamp."""
    groups = own_days(two)
    hung = set_days(club, two, *groups)
    both = doses(two, hung, groups)
    reference = np.zeros(2)
    for one, at, corners in (
        (hung[1], tubes_at, [10, 10.75, 18.25, 20]),
        (hung[2], halide_at, [13, 17.5]),
    ):
        scene = light.scene(two.tank, [one])
        ppfd = np.array([light_point(scene, animal) for animal in two.animals])
        share = quad(at, 0, 24, points=corners, limit=200)[0] / 100
        reference += ppfd * share * 3600e-6
    assert both == pytest.approx(reference, rel=1e-6)
    alone = doses(two, (hung[1],), (GroupDay(day=TUBES),)) + doses(
        two, (hung[2],), (GroupDay(day=HALIDE),)
    )
    assert both == pytest.approx(alone, rel=1e-9)
    assert both.min() > 0.1


def light_point(scene: light.Scene, animal: Animal) -> float:
    return float(
        at_points(
            scene.tank, scene.water, scene.emitters,
            x_cm=[animal.x_cm], y_cm=[animal.y_cm], depth_cm=[animal.depth_cm],
        )[0]
    )  # fmt: skip


def test_peak_hours_and_cost_are_of_the_sum(club: Database, two: Set) -> None:
    groups = own_days(two)
    hung = set_days(club, two, *groups)
    lit = lit_groups(two.tank, hung, lamp_days(hung, groups, control=""))
    full = light_at(two.tank, lit, two.animals)
    peak = light_of(full, shape_of(tuple(group.day for group in lit))).peak
    # Between 13:00 and 17:30 the panel stands at 90 percent and the second bell is on.
    panel, bell = full[next(n for n, g in enumerate(lit) if g.lamp == 1)], full[-1]
    assert peak == pytest.approx(0.9 * panel + bell)
    cost = cost_of(two.tank, lit, price_per_kwh=0.3)
    # by hand: 80 W · 37 % · 0.9 · (7.5 + 0.375 + 0.875) h + 150 W · 4.5 h
    assert cost.kwh_per_day == pytest.approx((80 * 0.37 * 0.9 * 8.75 + 150 * 4.5) / 1000)


def test_two_lamps_of_one_model_may_differ_and_keep_their_days(club: Database, two: Set) -> None:
    groups = own_days(two)
    hung = set_days(club, two, *groups)
    found = lamp_days(hung, groups, control="")
    assert [(one.name, one.places) for one in found] == [
        ("Bell 150 (1)", (0,)),
        ("Pane 40", (1,)),
        ("Bell 150 (2)", (2,)),
    ]
    assert found[2].control == "clock_switch" and not found[2].dims
    with club.write() as db:  # a step of a way up writes the setup anew, in the same order
        lamps = [tanks.place_of(one.row) for one in hung]
        tanks.save_setup(db, tank_id=two.tank.id, lamps=lamps, since=TODAY, reason="step 1")
        again = moment(db, two.tank.id, TODAY)
    assert lamp_days(again.hung, again.days, control="") == found


def test_what_is_said_of_a_lamp_comes_before_its_model_and_all(two: Set, club: Database) -> None:
    blue = Day(hours=(0.0,), levels=(3.0,))
    groups = (
        GroupDay(day=TUBES),
        GroupDay(day=MOON, lamp_model_id=two.panel, channel="Blue"),
        GroupDay(day=HALIDE, lamp_model_id=two.halide),
        GroupDay(day=blue, lamp_model_id=two.halide, lamp_number=1),
    )
    hung = set_days(club, two, *groups)
    first, panel, second = lamp_days(hung, groups, control="full")
    assert [one.day for one in panel.wanted] == [MOON, TUBES]
    assert first.wanted[0].day == blue and second.wanted[0].day == HALIDE
    # A bell does not dim, whatever drives it.
    assert (first.control, panel.control) == ("clock_switch", "full")


def test_lamps_that_run_alike_are_one(club: Database, two: Set) -> None:
    hung = set_days(club, two, GroupDay(day=TUBES))
    assert [one.places for one in lamp_days(hung, (GroupDay(day=TUBES),), control="")] == [
        (0, 2),
        (1,),
    ]


def test_what_is_typed_holds_power_and_day_once(club: Database, two: Set) -> None:
    set_days(club, two, *own_days(two))
    with club.read() as db:
        found = typed_at(moment(db, two.tank.id, TODAY), way_rows(db, two.tank.id, today=TODAY))
    by_name = {name: lamp.lines for name, lamp in told_together(found.now)}
    # 37 % · 90 % = 33.3 %
    assert [one.type_percent for one in by_name["Pane 40"]] == [0, 33.3, 33.3, 0]
    assert [(one.time, one.then) for one in by_name["Bell 150 (2)"]] == [
        ("13:00", "on"),
        ("17:30", "off"),
    ]
    assert {one.type_percent for one in by_name["Bell 150 (2)"]} == {None}


def test_groups_are_named_by_the_whole_or_the_channel(club: Database, two: Set) -> None:
    groups = (GroupDay(day=TUBES), GroupDay(day=MOON, lamp_model_id=two.panel, channel="Blue"))
    hung = set_days(club, two, *groups)
    names = [[one.name for one in lamp.fit.groups] for lamp in lamp_days(hung, groups, control="")]
    assert names == [[WHOLE], ["Blue", "White"]]
