"""A tank's day: set it, see what the control can run, type it in, see every animal's dose."""

import csv
import io
import re
from dataclasses import replace
from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import days, light, tanks
from server.db.engine import Database
from server.db.members import now
from server.db.moments import moment
from server.dose.day import course, dli
from server.dose.shapes import Trapezoid
from server.models import MeasurementSession, Reading, Tank
from server.optics.field import at_points
from server.web.lit import lit_moment
from tests.web.day.conftest import LONG_AGO, TODAY, Calendar, Reef, day_form


def test_without_a_day_the_page_teaches(ivo: TestClient, reef: Reef) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/day")
    assert answer.status_code == 200
    assert "Window reef has no day yet." in answer.text
    assert f"/tanks/{reef.tank}/day/edit" in answer.text


def test_a_day_is_set_and_told_in_one_sentence(ivo: TestClient, reef: Reef) -> None:
    saved = ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form())
    assert (saved.status_code, saved.headers["location"]) == (303, f"/tanks/{reef.tank}/day")
    answer = ivo.get(f"/tanks/{reef.tank}/day")
    assert "Lit 10 h a day" in answer.text
    assert "This control can run the day as you want it." in answer.text
    assert "1.2–1.9 mol m⁻² d⁻¹" in answer.text


def test_the_dose_of_an_animal_is_map_times_day(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    # an independent sum: the light engine at the animal, times the trapezoid's nine full hours
    with club.read() as db:
        tank = tanks.tank_seen(db, dated.tank, 2)
        assert tank is not None
        made = light.scene(tank, light.hung_over(db, dated.setup))
    ppfd = at_points(made.tank, made.water, made.emitters, x_cm=[60], y_cm=[25], depth_cm=[12])[0]
    expected = ppfd * 9 * 0.0036
    answer = ivo.get(f"/tanks/{dated.tank}/dose")
    # The account takes the light over the two centimetres of a sensor's face, not at a point.
    doses = [float(told) for told in re.findall(r"<dt>Dose</dt><dd>([\d.]+) mol", answer.text)]
    assert any(dose == pytest.approx(expected, rel=0.01) for dose in doses)


def test_a_clock_switch_gets_a_square_day_and_is_told_what_is_lost(
    ivo: TestClient, switched: Reef
) -> None:
    ivo.post(f"/tanks/{switched.tank}/day/edit", data=day_form(ramp="120"))
    answer = ivo.get(f"/tanks/{switched.tank}/day")
    # 8 hours at full light around 15:00
    assert ">11:00<" in answer.text and ">19:00<" in answer.text
    assert "No dawn and dusk" in answer.text and "The dose is kept." in answer.text


def test_set_points_come_as_csv(ivo: TestClient, dated: Reef) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/day/set-points.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(answer.text, newline="")))
    assert rows[0][:4] == ["lamp", "channel_group", "local_time", "type_percent"]
    # The lamp hangs at 30 %: full light of the day is 30 on its control, not 100.
    assert [row[2:4] for row in rows[1:]] == [
        ["10:00", "0"],
        ["11:00", "30"],
        ["19:00", "30"],
        ["20:00", "0"],
    ]


def test_channel_groups_may_run_days_of_their_own(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    form = day_form(**{f"points-{reef.lamp}-0": "08:00 0\n09:00 50\n21:00 50\n22:00 0"})
    assert ivo.post(f"/tanks/{reef.tank}/day/edit", data=form).status_code == 303
    with club.read() as db:
        schedule = days.current_schedule(db, reef.tank)
        assert schedule is not None
        stored = days.days_of(db, schedule.id or 0)
    assert [group.channel for group in stored] == ["", "Blue"]
    answer = ivo.get(f"/tanks/{reef.tank}/day/set-points.csv")
    assert "Blue,08:00,0" in answer.text and "White,10:00,0" in answer.text


def test_the_day_stays_with_the_sun_when_clocks_change(
    ivo: TestClient, dated: Reef, calendar: Calendar
) -> None:
    assert "Clocks go forward on 28 March 2027" in ivo.get(f"/tanks/{dated.tank}/day").text
    calendar.on = date(2027, 7, 1)
    rows = ivo.get(f"/tanks/{dated.tank}/day/set-points.csv").text
    assert ",11:00,0" in rows and ",21:00,0" in rows


def test_a_day_that_follows_the_clock_stays_on_the_clock(
    ivo: TestClient, reef: Reef, calendar: Calendar
) -> None:
    ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form(follows="yes"))
    calendar.on = date(2027, 7, 1)
    rows = ivo.get(f"/tanks/{reef.tank}/day/set-points.csv").text
    assert ",10:00,0" in rows and ",20:00,0" in rows


def test_moonlight_is_told_apart_and_ends(ivo: TestClient, reef: Reef) -> None:
    form = day_form(moon="1", moon_until="22:30")
    assert ivo.post(f"/tanks/{reef.tank}/day/edit", data=form).status_code == 303
    answer = ivo.get(f"/tanks/{reef.tank}/day")
    assert "Lit 10 h a day and 2 h 30 min of faint light" in answer.text
    edit = ivo.get(f"/tanks/{reef.tank}/day/edit")
    assert 'value="22:30"' in edit.text


def test_a_change_before_the_last_one_could_show_asks_why(
    ivo: TestClient, dated: Reef, calendar: Calendar, club: Database
) -> None:
    ivo.post(f"/tanks/{dated.tank}/day/edit", data=day_form())
    calendar.turn(10)
    page = ivo.get(f"/tanks/{dated.tank}/day/edit")
    assert "unchanged for 10 days" in page.text
    assert "What the last change has not had time to show" in page.text
    form = day_form(off="21:00", reason="", since=calendar.on.isoformat())
    refused = ivo.post(f"/tanks/{dated.tank}/day/edit", data=form)
    assert refused.status_code == 422
    assert "Say why." in refused.text and "how many algae the animals hold" in refused.text
    assert 'value="21:00"' in refused.text
    with club.read() as db:
        current = days.current_schedule(db, dated.tank)
    assert current is not None and current.since == TODAY


def test_drawing_it_saves_nothing(ivo: TestClient, reef: Reef, club: Database) -> None:
    answer = ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form(off="22:00", do="show"))
    assert answer.status_code == 200 and "<svg" in answer.text and 'value="22:00"' in answer.text
    with club.read() as db:
        assert days.current_schedule(db, reef.tank) is None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"on": ""}, "on"),
        ({"off": "later"}, "off"),
        ({"ramp": "nan"}, "ramp"),
        ({"ramp": "301"}, "ramp"),
        ({"level": "0"}, "level"),
        ({"level": "1e400"}, "level"),
        ({"moon": "50"}, "moon"),
        ({"moon": "1"}, "moon_until"),
        ({"moon": "1", "moon_until": "14:00"}, "moon_until"),
        ({"shape": "circle"}, "shape"),
        ({"shape": "points"}, "points"),
        ({"shape": "points", "points": "<script>"}, "points"),
        ({"shape": "points", "points": "08:00 0\n" * 200}, "points"),
        ({"shape": "natural"}, "latitude"),
        ({"shape": "natural", "latitude": "91"}, "latitude"),
        ({"control": "magic"}, "control"),
        ({"view_from": "x"}, "view_from"),
        ({"since": "2031-01-01"}, "since"),
        ({"since": "soon"}, "since"),
        ({"reason": "x" * 501}, "reason"),
    ],
)
def test_bad_input_is_refused_in_place_and_nothing_is_stored(
    ivo: TestClient, reef: Reef, club: Database, changes: dict[str, str], field: str
) -> None:
    answer = ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form(**changes))
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    assert "<script>alert" not in answer.text
    with club.read() as db:
        assert days.current_schedule(db, reef.tank) is None


def test_the_card_holds_heights_powers_and_set_points(ivo: TestClient, dated: Reef) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/day/card")
    for words in ("Lantern 90", "25 cm", "30 %", "11:00", "Unplug before hands"):
        assert words in answer.text


def test_the_running_cost_counts_the_day(ivo: TestClient, dated: Reef) -> None:
    # 100 W at 30 % for nine full hours: 0.27 kWh a day, 98.6 a year
    answer = ivo.get(f"/tanks/{dated.tank}/day")
    assert "0.270 kWh" in answer.text and "99 kWh" in answer.text


def test_more_light_than_before_is_told_against_history(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        brighter = [replace(lamps[0], power=0.6)]
        tanks.save_setup(db, tank_id=dated.tank, lamps=brighter, since=TODAY, reason="brighter")
    answer = ivo.get(f"/tanks/{dated.tank}/day")
    assert "100 % more than it is used to" in answer.text
    assert "Reach this light slowly: plan the way to it." in answer.text


def test_other_members_see_a_shared_day_and_change_nothing(
    tess: TestClient, ivo: TestClient, dated: Reef
) -> None:
    assert tess.get(f"/tanks/{dated.tank}/day").status_code == 200
    assert "Change the day" not in tess.get(f"/tanks/{dated.tank}/day").text
    assert tess.post(f"/tanks/{dated.tank}/day/edit", data=day_form()).status_code == 404
    for path in ("day", "dose", "day/edit", "day/card", "day/set-points.csv"):
        assert ivo.get(f"/tanks/{dated.private}/{path}").status_code == 404
    assert ivo.post(f"/tanks/{dated.private}/day/edit", data=day_form()).status_code == 404


def test_visitors_are_sent_to_sign_in(client: TestClient, dated: Reef) -> None:
    answer = client.get(f"/tanks/{dated.tank}/day")
    assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("depth", ["", "30", "abc", "-5", "1e9", "nan"])
def test_the_dose_map_takes_any_depth_that_exists(ivo: TestClient, dated: Reef, depth: str) -> None:
    answer = ivo.get(f"/tanks/{dated.tank}/dose?depth={depth}")
    assert answer.status_code == 200
    assert ("depth-wrong" in answer.text) == (depth not in ("", "30"))


def test_a_day_given_twice_on_one_date_corrects_itself(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    for off in ("20:00", "21:00"):
        ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form(off=off))
    with club.read() as db:
        kept = days.schedules_of(db, reef.tank)
        assert len(kept) == 1
        (group,) = days.days_of(db, kept[0].id or 0)
    wanted = Trapezoid(on_h=10, lit_hours=11, ramp_hours=1).day
    assert dli(course(group.day, peak_ppfd=100)) == pytest.approx(
        dli(course(wanted, peak_ppfd=100))
    )
    assert kept[0].since == TODAY > LONG_AGO


def _measured_at_80_percent(club: Database, reef: Reef) -> None:
    """Nine readings of four fifths of the plan, as a lamp that gives less than its papers say."""
    with club.write() as db:
        tank = db.get_one(Tank, reef.tank)
        made = light.scene(tank, light.hung_over(db, reef.setup))
        places = [
            (x, y, depth) for x in (20.0, 60.0, 95.0) for y, depth in ((15, 10), (25, 12), (35, 40))
        ]
        x_cm, y_cm, depth_cm = (list(axis) for axis in zip(*places, strict=True))
        planned = at_points(
            made.tank, made.water, made.emitters, x_cm=x_cm, y_cm=y_cm, depth_cm=depth_cm
        )
        session = MeasurementSession(
            tank_id=reef.tank, setup_id=reef.setup, taken_on=date(2026, 11, 1), created_at=now()
        )
        db.add(session)
        db.flush()
        for (x, y, depth), ppfd in zip(places, planned, strict=True):
            db.add(
                Reading(
                    session_id=session.id or 0,
                    x_cm=x,
                    y_cm=y,
                    depth_cm=depth,
                    raw_ppfd=0.8 * ppfd,
                    ppfd=0.8 * ppfd,
                    entered_at=now(),
                )
            )


def _bright_dose(club: Database, reef: Reef) -> float:
    with club.read() as db:
        tank = db.get_one(Tank, reef.tank)
        found = lit_moment(tank, moment(db, reef.tank, TODAY))
    assert found is not None
    return float(found.light.dli[1])


def test_readings_put_the_dose_right(ivo: TestClient, dated: Reef, club: Database) -> None:
    planned = _bright_dose(club, dated)
    _measured_at_80_percent(club, dated)
    assert _bright_dose(club, dated) == pytest.approx(0.8 * planned, rel=0.05)
    answer = ivo.get(f"/tanks/{dated.tank}/day")
    assert "from 9 readings on 1 November 2026" in answer.text
    assert ivo.get(f"/tanks/{dated.tank}/dose").status_code == 200


def test_readings_are_carried_over_to_the_same_lamps_set_anew(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    _measured_at_80_percent(club, dated)
    measured = _bright_dose(club, dated)
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        dimmer = [replace(lamps[0], power=0.15)]
        tanks.save_setup(db, tank_id=dated.tank, lamps=dimmer, since=TODAY, reason="dimmer")
    assert _bright_dose(club, dated) == pytest.approx(measured / 2, rel=0.02)
    assert "under the same lamps, carried over" in ivo.get(f"/tanks/{dated.tank}/day").text


def _plan(club: Database, reef: Reef) -> int:
    with club.read() as db:
        (plan,) = [one for one in days.schedules_of(db, reef.tank) if one.state == "plan"]
    return plan.id or 0


def test_a_planned_day_waits_and_runs_when_asked(
    ivo: TestClient, tess: TestClient, dated: Reef, club: Database
) -> None:
    form = day_form(off="22:00", state="plan", reason="for the winter")
    ivo.post(f"/tanks/{dated.tank}/day/edit", data=form)
    page = ivo.get(f"/tanks/{dated.tank}/day").text
    assert "Lit 10 h a day" in page and "Drawn up on 25 November 2026: for the winter" in page
    assert "for the winter" not in tess.get(f"/tanks/{dated.tank}/day").text
    address = f"/tanks/{dated.tank}/day/plans/{_plan(club, dated)}"
    assert tess.post(f"{address}/run").status_code == 404
    assert ivo.post(f"{address}/burn").status_code == 404
    assert ivo.post(f"{address}/run").status_code == 303
    assert "Lit 12 h a day" in ivo.get(f"/tanks/{dated.tank}/day").text
    assert ivo.post(f"{address}/run").status_code == 404


def test_a_planned_day_can_be_thrown_away(ivo: TestClient, dated: Reef, club: Database) -> None:
    ivo.post(f"/tanks/{dated.tank}/day/edit", data=day_form(state="plan"))
    address = f"/tanks/{dated.tank}/day/plans/{_plan(club, dated)}/discard"
    assert ivo.post(address).status_code == 303
    with club.read() as db:
        assert [one.state for one in days.schedules_of(db, dated.tank)] == ["set"]


def test_a_lamp_turned_down_to_nothing_breaks_no_page(
    ivo: TestClient, dated: Reef, club: Database
) -> None:
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        dark = [replace(lamps[0], power=0.0)]
        tanks.save_setup(db, tank_id=dated.tank, lamps=dark, since=TODAY, reason="moving house")
    for path in ("day", "dose", "day/edit", "day/card", "acclimation", "history", "chores"):
        assert ivo.get(f"/tanks/{dated.tank}/{path}").status_code == 200
    assert "The lamps never come on." in ivo.get(f"/tanks/{dated.tank}/day").text


def test_a_day_of_very_many_points_is_run_with_the_points_the_lamp_can_hold(
    ivo: TestClient, reef: Reef
) -> None:
    points = "\n".join(f"{8 + n // 8:02d}:{n % 8 * 7:02d} {40 + n % 5}" for n in range(95))
    form = day_form(shape="points", points=points)
    assert ivo.post(f"/tanks/{reef.tank}/day/edit", data=form).status_code == 303
    rows = ivo.get(f"/tanks/{reef.tank}/day/set-points.csv").text.strip().splitlines()
    assert len(rows) == 1 + 24


@pytest.mark.parametrize("control", ["//evil", "full/", "<b>", "9" * 300])
def test_a_control_that_is_none_is_refused_in_words(
    ivo: TestClient, dated: Reef, control: str
) -> None:
    for do in ("save", "show"):
        answer = ivo.post(f"/tanks/{dated.tank}/day/edit", data=day_form(control=control, do=do))
        assert answer.status_code == 422
        assert "Choose one of the answers in the list." in answer.text
