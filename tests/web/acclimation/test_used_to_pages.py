"""What pages say of a tank's light rests on what each animal lived under, day by day."""

import math
import re
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import acclimation, accounts, lived_under, tanks
from server.db.engine import Database
from server.models import AcclimationStep, Animal, ChoreDone, DimDays, LampModel, Tank
from tests.web.acclimation.conftest import form_of, keep_plan
from tests.web.day.conftest import LONG_AGO, TODAY, Calendar, Reef

ALARMS = ("Reach this light slowly", "Return gently</button></p>", "more than it is used to")


def _power(club: Database, reef: Reef, power: float, since: date, **changes: float) -> None:
    """The reef's lamp at another power from a day on."""
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, reef.setup)]
        other = [replace(lamps[0], power=power, **changes)]
        tanks.save_setup(db, tank_id=reef.tank, lamps=other, since=since, reason="another power")


def _used(club: Database, reef: Reef, today: date = TODAY) -> dict[int, tuple[float, float]]:
    """Used-to dose and today's dose of each animal [mol m⁻² d⁻¹]."""
    with club.read() as db:
        rows = lived_under.rows_of(db, db.get_one(Tank, reef.tank), today)
    used, now = lived_under.followed_by(rows), lived_under.lives_in(rows)
    return {key: (used[key].used_to.dli_mol_m2_d, now[key].dli_mol_m2_d) for key in used}


def _acclimation(reef: Reef) -> str:
    return f"/tanks/{reef.tank}/acclimation"


def _steps(club: Database, reef: Reef) -> list[AcclimationStep]:
    with club.read() as db:
        plan = acclimation.under_way(db, reef.tank)
        return [] if plan is None else acclimation.steps_of(db, plan.id)


# Steady


@pytest.mark.parametrize("days", [21, 36, 183, 400])
def test_a_tank_long_unchanged_has_no_alarm_and_its_form_gives_no_steps(
    ivo: TestClient, dated: Reef, club: Database, calendar: Calendar, days: int
) -> None:
    _power(club, dated, 0.9, TODAY)  # three times the light
    calendar.turn(days)
    for page in ("day", "dose", "acclimation"):
        text = ivo.get(f"/tanks/{dated.tank}/{page}").text
        assert not any(alarm in text for alarm in ALARMS), page
    typed = form_of(ivo.get(_acclimation(dated)).text)
    page = ivo.post(_acclimation(dated), data=typed | {"do": "show"}).text
    assert "No way is needed: the animals are used to this light." in page
    assert "Keep this plan" not in page
    kept = ivo.post(_acclimation(dated), data=typed | {"do": "save"})
    assert kept.status_code == 200 and not _steps(club, dated)
    assert ivo.post(f"{_acclimation(dated)}/return").status_code == 303
    assert not _steps(club, dated)


def test_the_alarm_after_a_change_runs_out_by_itself(
    ivo: TestClient, dated: Reef, club: Database, calendar: Calendar
) -> None:
    _power(club, dated, 0.45, TODAY)  # half as much again
    said = []
    for _ in range(4):
        said.append("Reach this light slowly" in ivo.get(f"/tanks/{dated.tank}/day").text)
        calendar.turn(7)
    # closed form: 1.5 / (1.5 − 0.5 · e^(−t/7)) − 1 falls below 15 % after 6.6 days
    assert said == [True, False, False, False]


def test_the_history_follows_the_closed_form(club: Database, dated: Reef) -> None:
    _power(club, dated, 0.6, TODAY - timedelta(days=10))
    _power(club, dated, 0.15, TODAY - timedelta(days=4))
    before, after, now = 1.0, 2.0, 0.5  # shares of the first light
    mid = after + (before - after) * math.exp(-6 / 7)
    expected = now + (mid - now) * math.exp(-4 / 7)
    for used, today in _used(club, dated).values():
        assert used / today == pytest.approx(expected / now, rel=1e-9)


def test_a_day_first_typed_in_is_how_the_lamps_ran_already(
    club: Database, reef: Reef, ivo: TestClient
) -> None:
    from tests.web.day.conftest import set_day

    with club.write() as db:
        set_day(db, reef.tank, since=TODAY)
    used = _used(club, reef)
    assert all(a == pytest.approx(b, rel=1e-12) for a, b in used.values())
    assert "Reach this light slowly" not in ivo.get(f"/tanks/{reef.tank}/day").text


def test_an_animal_moved_keeps_what_it_was_used_to(
    ivo: TestClient, club: Database, dated: Reef
) -> None:
    before = _used(club, dated)[dated.shaded][0]
    with club.read() as db:
        animal = db.get_one(Animal, dated.shaded)
    with club.write() as db:
        words = tanks.AnimalWords(
            name=animal.name, group=animal.group, x_cm=60, y_cm=25, depth_cm=10,
            low_ppfd=animal.low_ppfd, high_ppfd=animal.high_ppfd,
            range_source=animal.range_source, placed_on=animal.placed_on,
        )  # fmt: skip
        tanks.change_animal(db, dated.shaded, words, on=TODAY)
    used, now = _used(club, dated)[dated.shaded]
    assert used == pytest.approx(before) and now > 2 * used
    assert "Plate coral gets " in ivo.get(f"/tanks/{dated.tank}/day").text
    assert "Plate coral was moved" in ivo.get(f"/tanks/{dated.tank}/history").text
    again = _used(club, dated, TODAY + timedelta(days=21))[dated.shaded]
    assert again[0] == pytest.approx(again[1])


def test_readings_of_the_light_that_hangs_do_not_make_it_jump(club: Database, dated: Reef) -> None:
    from server.db import members
    from server.models import MeasurementSession, Reading

    _power(club, dated, 0.31, TODAY - timedelta(days=3))
    with club.write() as db:
        setup = tanks.current_setup(db, dated.tank)
        assert setup is not None
        session = MeasurementSession(
            tank_id=dated.tank, setup_id=setup.id, taken_on=TODAY, created_at=members.now()
        )
        db.add(session)
        db.flush()
        for n in range(8):  # far dimmer than planned
            db.add(
                Reading(
                    session_id=session.id, x_cm=20 + 10 * n, y_cm=25, depth_cm=20,
                    raw_ppfd=30, ppfd=30, entered_at=members.now(),
                )
            )  # fmt: skip
    for used, today in _used(club, dated).values():
        assert used / today == pytest.approx(1.0, abs=0.04)


# The way


def test_after_a_step_every_page_says_the_same_thing_to_do(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    _power(club, dated, 0.09, LONG_AGO)  # so dim that a page once asked for more light
    assert "Give more light" in ivo.get(f"/tanks/{dated.tank}/day").text
    keep_plan(ivo, dated.tank, brighter)
    ivo.post(f"{_acclimation(dated)}/answer", data={"pale": "no"})
    for page in ("day", "dose", "acclimation"):
        text = ivo.get(f"/tanks/{dated.tank}/{page}").text
        assert "Step 2 of" in text and "Leave the light as it is until then." in text
        assert "Give more light" not in text and "Move up" not in text
        assert "Reach this light slowly" not in text
    with club.read() as db:
        rows = accounts.rows_of(db, db.get_one(Tank, dated.tank), today=TODAY)
    found = accounts.account(rows)
    assert found.proposal is None and found.why_none == found.next_step
    assert re.match(r"Step 2 of \d+ comes on 2 December 2026\. Leave the light", found.next_step)
    for page in ("", "/verdict"):
        assert found.next_step in ivo.get(f"/tanks/{dated.tank}{page}").text, page


def test_the_end_of_a_way_is_no_alarm_and_the_next_way_waits_a_week(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    for _ in range(6):
        ivo.post(f"{_acclimation(dated)}/answer", data={"pale": "no"})
        calendar.turn(7)
    assert not _steps(club, dated)
    calendar.turn(-6)  # the day after the last step
    assert "Reach this light slowly" not in ivo.get(f"/tanks/{dated.tank}/day").text
    typed = form_of(ivo.get(_acclimation(dated)).text)
    assert typed["start"] == (calendar.on + timedelta(days=6)).isoformat()
    early = ivo.post(_acclimation(dated), data=typed | {"start": calendar.on.isoformat()})
    assert early.status_code == 422 and 'id="start-wrong"' in early.text


def test_a_much_dimmer_goal_is_reached_in_steps_and_says_why(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    _wide_ranges(club, dated)
    dim = _plan_at(club, dated, 0.1)
    typed = form_of(ivo.get(f"{_acclimation(dated)}?setup={dim}").text) | {"do": "show"}
    page = ivo.post(_acclimation(dated), data=typed).text
    # a third of the light in falls of 30 % at most: ln 3 / −ln 0.7 = 3.08, so four steps
    assert "4 steps down in 3 weeks" in page
    assert "adjust to less light as slowly as to more" in page
    assert "power 21 %" in page and "power 10 %" in page


def test_too_bright_animals_are_dimmed_at_once(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    with club.write() as db:
        animal = db.get_one(Animal, dated.bright)
        animal.low_ppfd, animal.high_ppfd = 5, 10
        db.add(animal)
    dim = _plan_at(club, dated, 0.1)
    typed = form_of(ivo.get(f"{_acclimation(dated)}?setup={dim}").text) | {"do": "show"}
    page = ivo.post(_acclimation(dated), data=typed).text
    assert "can take the new light at once" in page
    assert "weeks of too much are worse" in page


def _wide_ranges(club: Database, reef: Reef) -> None:
    with club.write() as db:
        for animal in db.exec(select(Animal).where(Animal.tank_id == reef.tank)):
            animal.low_ppfd, animal.high_ppfd = 1, 2000
            db.add(animal)


def _plan_at(club: Database, reef: Reef, power: float) -> int:
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, reef.setup)]
        plan = tanks.save_setup(
            db, tank_id=reef.tank, lamps=[replace(lamps[0], power=power)], since=TODAY,
            reason="", name="Dim", state="plan",
        )  # fmt: skip
    return plan.id


def test_a_lamp_that_cannot_dim_is_never_given_a_power(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    with club.write() as db:
        lamp = db.get_one(LampModel, dated.lamp)
        lamp.control = "clock_switch"
        db.add(lamp)
    typed = form_of(ivo.get(f"{_acclimation(dated)}?setup={brighter}").text)
    assert "by_power" not in typed and typed["by_height"] == typed["by_hours"] == "yes"
    forced = ivo.post(_acclimation(dated), data=typed | {"by_power": "yes", "do": "save"})
    assert forced.status_code == 422 and "cannot be turned down" in forced.text
    ivo.post(_acclimation(dated), data=typed | {"do": "save"})
    assert {step.power for step in _steps(club, dated)} <= {1.0}


def test_lamps_at_unequal_powers_are_set_to_levels_they_have_within_the_limit(
    ivo: TestClient, dated: Reef, club: Database, calendar: Calendar
) -> None:
    with club.write() as db:
        lamp = db.get_one(LampModel, dated.lamp)
        lamp.dims, lamp.step_percent = "steps", 2
        db.add(lamp)
        places = [tanks.place_of(one) for one in tanks.lamps_of(db, dated.setup)]
        two = [replace(places[0], x_cm=30, power=0.3), replace(places[0], x_cm=90, power=0.46)]
        tanks.save_setup(db, tank_id=dated.tank, lamps=two, since=LONG_AGO, reason="two")
        goal = [replace(two[0], power=0.46), replace(two[1], power=0.82)]
        plan = tanks.save_setup(
            db, tank_id=dated.tank, lamps=goal, since=TODAY, reason="", state="plan"
        )
    keep_plan(ivo, dated.tank, plan.id)
    lived, set_to = [_used_now(club, dated, calendar)], []
    while _steps(club, dated):
        assert ivo.post(f"{_acclimation(dated)}/answer", data={"pale": "no"}).status_code == 303
        lived.append(_used_now(club, dated, calendar))
        with club.read() as db:
            setup = tanks.current_setup(db, dated.tank)
            assert setup is not None
            set_to += [one.power for one in tanks.lamps_of(db, setup.id)]
        calendar.turn(7)
    for before, after in pairwise(lived):
        for key, (_, dose) in after.items():
            assert dose <= before[key][1] * 1.15 * (1 + 1e-4)
    assert len(lived) > 3 and set_to[-2:] == [0.46, 0.82]
    assert all(abs(100 * one - 2 * round(50 * one)) < 1e-6 for one in set_to), set_to


def _used_now(club: Database, reef: Reef, calendar: Calendar) -> dict[int, tuple[float, float]]:
    return _used(club, reef, calendar.on)


# Jumps


def test_a_new_brighter_lamp_is_offered_a_gentle_return_with_one_tap(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    _power(club, dated, 0.6, TODAY)
    page = ivo.get(_acclimation(dated)).text
    assert "gets 100 % more light than it is used to by now" in page
    assert f'action="{_acclimation(dated)}/return"' in page
    assert ivo.post(f"{_acclimation(dated)}/return").status_code == 303
    steps = _steps(club, dated)
    # doubled at 15 % a week: the first step is back at 0.5 · 1.15 of what hangs
    assert steps[0].due_on == TODAY and steps[0].power == pytest.approx(0.5 * 1.15, abs=0.02)
    assert all(step.largest_rise <= 0.15 * (1 + 1e-6) for step in steps)
    assert steps[-1].power == 1


def test_after_a_power_cut_the_light_comes_back_from_what_is_left(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    out = {"why": "power_cut", "first_on": str(TODAY - timedelta(days=5)), "until_on": str(TODAY)}
    assert ivo.post(f"{_acclimation(dated)}/return", data=out).status_code == 303
    steps = _steps(club, dated)
    # closed form: five dark days leave e^(−5/7) = 0.49, and the first step may be 15 % over it
    assert steps[0].power == pytest.approx(math.exp(-5 / 7) * 1.15, abs=0.034)
    assert "The power was out" in ivo.get(f"/tanks/{dated.tank}/history").text


def test_a_short_cut_needs_no_way(ivo: TestClient, dated: Reef, club: Database) -> None:
    out = {"why": "power_cut", "first_on": str(TODAY - timedelta(days=1)), "until_on": str(TODAY),
           "left": "50"}  # fmt: skip
    answer = ivo.post(f"{_acclimation(dated)}/return", data=out)
    assert answer.status_code == 303 and not _steps(club, dated)


@pytest.mark.parametrize(
    "out",
    [
        {"why": "power_cut", "first_on": str(TODAY), "until_on": str(TODAY)},
        {"why": "power_cut", "first_on": "2099-01-01"},
        {"why": "failure", "first_on": "2026-11-01", "left": "100"},
        {"why": "failure", "first_on": "yesterday"},
        {"why": "ghosts"},
        {"why": "carbon"},
    ],
)
def test_jumps_that_cannot_be_are_refused_and_not_remembered(
    ivo: TestClient, dated: Reef, club: Database, out: dict[str, str]
) -> None:
    assert ivo.post(f"{_acclimation(dated)}/return", data=out).status_code == 422
    with club.read() as db:
        assert not db.exec(select(DimDays)).all()


@pytest.mark.parametrize("chore", ["carbon", "lens"])
def test_a_chore_put_off_for_months_offers_a_gentle_return(
    ivo: TestClient, dated: Reef, club: Database, chore: str
) -> None:
    ivo.post(f"/tanks/{dated.tank}/chores", data={"chore": chore})
    page = ivo.get(f"/tanks/{dated.tank}/chores").text
    assert f'name="why" value="{chore}"' in page and "our judgement" in page
    assert ivo.post(f"{_acclimation(dated)}/return", data={"why": chore}).status_code == 303
    steps = _steps(club, dated)
    assert steps and steps[0].power == pytest.approx(0.85 * 1.15, abs=0.034)


def test_a_chore_done_in_time_offers_nothing(ivo: TestClient, dated: Reef, club: Database) -> None:
    with club.write() as db:
        last = TODAY - timedelta(days=20)
        db.add(ChoreDone(tank_id=dated.tank, chore="carbon", done_on=last, created_at=_noon(last)))
    ivo.post(f"/tanks/{dated.tank}/chores", data={"chore": "carbon"})
    assert "Return gently" not in ivo.get(f"/tanks/{dated.tank}/chores").text


def _noon(on: date):
    from datetime import UTC, datetime

    return datetime(on.year, on.month, on.day, 12, tzinfo=UTC)


def test_nobody_else_returns_a_tank_gently(tess: TestClient, dated: Reef, club: Database) -> None:
    _power(club, dated, 0.6, TODAY)
    assert tess.post(f"{_acclimation(dated)}/return").status_code == 404
    assert not re.search("acclimation/return", tess.get(_acclimation(dated)).text)
