"""A tank goes from dim to bright: planned on the field, walked, skipped, held, reached."""

import json
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import icalendar
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from server.db import acclimation, tanks
from server.db.engine import Database
from server.db.members import now
from server.db.moments import moment
from server.db.tanks import LampPlace, TankWords
from server.models import AcclimationPlan, AcclimationStep, Animal, LampModel, Member
from server.web.lit import lit_moment
from tests.conftest import Cast
from tests.web.acclimation.conftest import form_of, keep_plan
from tests.web.day.conftest import TODAY, Calendar, Reef, _animal, set_day


def _address(reef: Reef) -> str:
    return f"/tanks/{reef.tank}/acclimation"


def _plan(club: Database, reef: Reef) -> tuple[AcclimationPlan, list[AcclimationStep]]:
    with club.read() as db:
        (plan,) = acclimation.plans_of(db, reef.tank)
        return plan, acclimation.steps_of(db, plan.id or 0)


def _answer(ivo: TestClient, reef: Reef, pale: str, note: str = "") -> str:
    told = ivo.post(f"{_address(reef)}/answer", data={"pale": pale, "note": note})
    assert told.status_code == 303, told.text
    return ivo.get(_address(reef)).text


def _move(ivo: TestClient, reef: Reef, what: str) -> str:
    assert ivo.post(f"{_address(reef)}/{what}").status_code == 303
    return ivo.get(_address(reef)).text


def test_the_plan_is_shown_before_it_is_kept(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    typed = form_of(ivo.get(f"{_address(dated)}?setup={brighter}").text)
    assert typed["setup"] == str(brighter) and typed[f"from-{dated.shaded}"] == "history"
    answer = ivo.post(_address(dated), data=typed | {"do": "show"})
    # doubling at 15 % a week: ln 2 / ln 1.15 = 4.96; whole percents of the dial make it six
    assert "6 steps in 5 weeks" in answer.text
    assert "power 34 %" in answer.text and "power 57 %" in answer.text
    assert "our own derivation" in answer.text and "published" in answer.text
    with club.read() as db:
        assert acclimation.plans_of(db, dated.tank) == []


def test_every_step_keeps_the_limit_on_the_light_that_is_really_set(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter, by_height="yes", by_hours="yes")
    lived = [_light(club, dated, calendar)]
    _, steps = _plan(club, dated)
    for step in steps:
        page = ivo.get(_address(dated)).text
        assert f"Step {step.number} of {len(steps)} is due today." in page
        _answer(ivo, dated, "no")
        lived.append(_light(club, dated, calendar))
        calendar.turn(7)
    for before, after in pairwise(lived):
        for animal, (peak, dli) in after.items():
            assert peak <= before[animal][0] * 1.15 * (1 + 1e-4)
            assert dli <= before[animal][1] * 1.15 * (1 + 1e-4)
    assert lived[-1][dated.bright][1] == pytest.approx(2 * lived[0][dated.bright][1], rel=1e-3)
    plan, _ = _plan(club, dated)
    assert plan.state == "done"
    with club.read() as db:
        current = tanks.current_setup(db, dated.tank)
    assert current is not None and current.id == brighter and current.state == "hung"


def _light(club: Database, reef: Reef, calendar: Calendar) -> dict[int, tuple[float, float]]:
    """Peak and dose of every animal as the tank hangs and runs on the calendar's day."""
    with club.read() as db:
        tank = db.get_one(type(tanks.own_tanks(db, 2)[0]), reef.tank)
        now = lit_moment(tank, moment(db, reef.tank, calendar.on))
    assert now is not None
    return {
        animal.id or 0: (float(now.light.peak[n]), float(now.light.dli[n]))
        for n, animal in enumerate(now.animals)
    }


def test_skipping_a_step_puts_off_all_that_follow(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    _, before = _plan(club, dated)
    page = _move(ivo, dated, "skip")
    _, after = _plan(club, dated)
    assert [step.due_on for step in after] == [step.due_on + timedelta(days=7) for step in before]
    assert "Step 1 of 6 comes on 2 December 2026." in page
    with club.read() as db:
        current = tanks.current_setup(db, dated.tank)
    assert current is not None and current.id == dated.setup


def test_a_step_that_is_not_due_cannot_be_set(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    _answer(ivo, dated, "no")
    _answer(ivo, dated, "no")
    _, steps = _plan(club, dated)
    assert [step.done_on is not None for step in steps] == [True, *[False] * 5]


def test_a_step_set_late_puts_off_the_next_by_a_whole_week(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    calendar.turn(4)
    assert "has been due since 25 November 2026" in ivo.get(_address(dated)).text
    _answer(ivo, dated, "no")
    _, steps = _plan(club, dated)
    assert steps[1].due_on == calendar.on + timedelta(days=7)


def test_something_pale_holds_the_plan_and_says_what_to_look_at(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    _answer(ivo, dated, "no")
    calendar.turn(7)
    page = _answer(ivo, dated, "yes", "the plate coral, on top")
    assert "The plan holds before step 2 of 6" in page
    assert "The white of the skeleton" in page and "temperature, salinity" in page
    assert "the plate coral, on top" in page
    calendar.turn(21)
    held = ivo.post(f"{_address(dated)}/answer", data={"pale": "no"})
    assert held.status_code == 303
    _, steps = _plan(club, dated)
    assert steps[1].done_on is None
    page = _move(ivo, dated, "resume")
    _, steps = _plan(club, dated)
    assert steps[1].due_on == calendar.on + timedelta(days=7)
    assert "Step 2 of 6 comes on" in page


def test_going_back_a_step_sets_the_light_of_the_one_before(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    powers = []
    for _ in range(2):
        _answer(ivo, dated, "no")
        powers.append(_power(club, dated))
        calendar.turn(7)
    assert powers[0] < powers[1]
    _answer(ivo, dated, "yes")
    _move(ivo, dated, "back")
    assert _power(club, dated) == powers[0]
    _, steps = _plan(club, dated)
    assert steps[1].done_on is None and steps[0].done_on is not None


def _power(club: Database, reef: Reef) -> float:
    with club.read() as db:
        current = tanks.current_setup(db, reef.tank)
        assert current is not None
        return tanks.lamps_of(db, current.id or 0)[0].power


def test_a_goal_redrawn_brighter_on_the_way_stops_the_step(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, calendar: Calendar
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    _answer(ivo, dated, "no")
    calendar.turn(7)
    with club.write() as db:  # the goal is redrawn while the way up is under way
        lamp = tanks.lamps_of(db, brighter)[0]
        lamp.power = 0.9
        db.add(lamp)
    refused = ivo.post(f"{_address(dated)}/answer", data={"pale": "no"})
    assert refused.status_code == 422
    assert "more light than it lives in, and 15 % is allowed" in refused.text
    _, steps = _plan(club, dated)
    assert steps[1].done_on is None


def test_a_plan_given_up_leaves_the_light(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    _answer(ivo, dated, "no")
    power = _power(club, dated)
    page = _move(ivo, dated, "stop")
    assert "Plan the way to another light for Window reef" in page
    assert _power(club, dated) == power


def test_unknown_pasts_and_the_shop_are_told_apart(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    typed = {
        f"from-{dated.shaded}": "unknown",
        f"from-{dated.bright}": "shop",
        "shop_ppfd": "150",
        "shop_hours": "9",
    }
    keep_plan(ivo, dated.tank, brighter, **typed)
    plan, _ = _plan(club, dated)
    first, second = json.loads(plan.used_to)
    # half the low end of 200 for the planned ten hours; 150 for nine hours
    assert (first["peak_ppfd"], first["dli_mol_m2_d"]) == (100, 3.6)
    assert (second["peak_ppfd"], second["dli_mol_m2_d"]) == (150, 4.86)
    assert (first["from"], second["from"]) == ("nobody knows", "the shop's light")


def test_an_animal_that_was_not_there_is_of_unknown_past(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    with club.write() as db:  # the light changed yesterday, the staghorn came today
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        tanks.save_setup(
            db, tank_id=dated.tank, lamps=lamps, since=TODAY - timedelta(days=1), reason="moved"
        )
        animal = db.get_one(Animal, dated.bright)
        animal.placed_on = TODAY
        db.add(animal)
    page = ivo.get(f"{_address(dated)}?setup={brighter}").text
    typed = form_of(page)
    assert typed[f"from-{dated.shaded}"] == "history"
    assert typed[f"from-{dated.bright}"] == "unknown"
    keep_plan(ivo, dated.tank, brighter, **{f"from-{dated.bright}": "history"})
    plan, _ = _plan(club, dated)
    told = [one["from"] for one in json.loads(plan.used_to)]
    assert told == ["three weeks or more under this light", "not all of its past is known"]


def test_a_plan_that_dims_the_neighbours_says_so(
    ivo: TestClient, dated: Reef, brighter: int
) -> None:
    page = ivo.get(f"{_address(dated)}?setup={brighter}").text
    chosen = {f"from-{dated.shaded}": "shop", "shop_ppfd": "16", "shop_hours": "9"}
    answer = ivo.post(_address(dated), data=form_of(page) | chosen | {"do": "show"})
    assert "because Plate coral comes from much dimmer light" in answer.text
    assert "Plate coral would stay below 1.2 mol m⁻² d⁻¹" in answer.text
    usual = ivo.post(_address(dated), data=form_of(page) | {"do": "show"})
    assert "much dimmer light" not in usual.text


def test_hours_alone_tell_that_the_peak_jumps(ivo: TestClient, dated: Reef, brighter: int) -> None:
    page = ivo.get(f"{_address(dated)}?setup={brighter}").text
    typed = form_of(page) | {"by_power": "", "by_hours": "yes", "least_hours": "30", "do": "show"}
    answer = ivo.post(_address(dated), data=typed)
    assert "on the first day it is 100 % higher" in answer.text


def test_a_way_that_is_too_steep_from_the_start_is_refused(
    ivo: TestClient, dated: Reef, brighter: int
) -> None:
    page = ivo.get(f"{_address(dated)}?setup={brighter}").text
    typed = form_of(page) | {"least_power": "90", "do": "show"}
    answer = ivo.post(_address(dated), data=typed)
    assert answer.status_code == 422
    assert "Even the gentlest setting gives" in answer.text


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"setup": "999"}, "setup"),
        ({"schedule": "x"}, "schedule"),
        ({"weekly": "0"}, "weekly"),
        ({"weekly": "31"}, "weekly"),
        ({"weekly": "nan"}, "weekly"),
        ({"step_days": "3"}, "step_days"),
        ({"start": "2026-11-01"}, "start"),
        ({"least_power": "-4"}, "least_power"),
        ({"by_power": "", "by_height": "", "by_hours": ""}, "by_power"),
        ({"by_height": "yes", "raised": "inf"}, "raised"),
    ],
)
def test_bad_input_is_refused_in_place(
    ivo: TestClient, dated: Reef, brighter: int, club: Database, changes: dict[str, str], field: str
) -> None:
    typed = form_of(ivo.get(f"{_address(dated)}?setup={brighter}").text)
    answer = ivo.post(_address(dated), data=typed | changes | {"do": "save"})
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    with club.read() as db:
        assert acclimation.plans_of(db, dated.tank) == []


def test_a_goal_without_lamps_is_refused(
    ivo: TestClient, dated: Reef, brighter: int, club: Database
) -> None:
    typed = form_of(ivo.get(f"{_address(dated)}?setup={brighter}").text)
    with club.write() as db:
        tanks.change_plan(db, brighter, lamps=[], name="Nothing")
    answer = ivo.post(_address(dated), data=typed | {"do": "show"})
    assert answer.status_code == 422 and "there is no light to lead to" in answer.text


def test_a_step_needs_its_answer(ivo: TestClient, dated: Reef, brighter: int) -> None:
    keep_plan(ivo, dated.tank, brighter)
    for sent in ({}, {"pale": "maybe"}, {"pale": "yes", "note": "x" * 501}):
        answer = ivo.post(f"{_address(dated)}/answer", data=sent)
        assert answer.status_code == 422


def test_a_tank_without_day_or_animals_is_told_what_is_missing(ivo: TestClient, reef: Reef) -> None:
    assert "Set the tank&#39;s day first" in ivo.get(_address(reef)).text


def test_strangers_see_no_plan_and_move_nothing(
    tess: TestClient, ivo: TestClient, dated: Reef, brighter: int
) -> None:
    assert "No way up is under way" in tess.get(_address(dated)).text
    keep_plan(ivo, dated.tank, brighter)
    assert tess.get(_address(dated)).status_code == 200
    assert "Anything pale" not in tess.get(_address(dated)).text
    assert tess.post(f"{_address(dated)}/answer", data={"pale": "yes"}).status_code == 404
    assert tess.post(f"{_address(dated)}/stop").status_code == 404
    private = f"/tanks/{dated.private}/acclimation"
    assert ivo.get(private).status_code == 404
    assert ivo.post(f"{private}/skip").status_code == 404


def test_the_goal_that_hangs_already_is_copied_and_reached(
    ivo: TestClient, dated: Reef, club: Database, calendar: Calendar
) -> None:
    typed = {f"from-{dated.shaded}": "unknown", f"from-{dated.bright}": "unknown"}
    keep_plan(ivo, dated.tank, dated.setup, **typed)
    plan, steps = _plan(club, dated)
    assert plan.setup_id != dated.setup
    for _ in steps:
        _answer(ivo, dated, "no")
        calendar.turn(7)
    with club.read() as db:
        current = tanks.current_setup(db, dated.tank)
        assert current is not None and current.id == plan.setup_id
        assert tanks.lamps_of(db, current.id or 0)[0].power == pytest.approx(0.3)


def test_steps_stand_in_the_calendar_feed_and_follow_the_plan(
    ivo: TestClient, client: TestClient, cast: Cast, dated: Reef, brighter: int, club: Database
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    feed = _feed(client, club, cast)
    assert len(feed) == 6
    assert feed[0]["dtstart"].dt == TODAY
    assert "step 1 of 6. Anything pale or shrunken?" in feed[0]["summary"]
    uid, sequence = feed[0]["uid"], feed[0]["sequence"]
    _move(ivo, dated, "skip")
    after = _feed(client, club, cast)
    assert after[0]["uid"] == uid and after[0]["sequence"] > sequence
    assert after[0]["dtstart"].dt == TODAY + timedelta(days=7)
    _answer(ivo, dated, "yes")
    assert {event["status"] for event in _feed(client, club, cast)} == {"TENTATIVE"}


def _feed(client: TestClient, club: Database, cast: Cast) -> list[icalendar.Event]:
    with club.read() as db:
        secret = db.exec(select(Member.feed_secret).where(Member.id == cast.ivo.id)).one()
    answer = client.get(f"/feeds/member/{secret}.ics")
    assert answer.status_code == 200
    events = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    return [event for event in events if event["uid"].startswith("way-up-")]


def test_the_first_page_asks_for_the_step_that_is_due(
    ivo: TestClient, dated: Reef, brighter: int
) -> None:
    keep_plan(ivo, dated.tank, brighter)
    assert "step 1 of the way up. Anything pale or shrunken?" in ivo.get("/").text
    _answer(ivo, dated, "yes")
    assert "the way up holds" in ivo.get("/").text


def test_tubes_on_a_clock_switch_can_be_worked_out_with_all_defaults(
    ivo: TestClient, cast: Cast, club: Database, calendar: Calendar
) -> None:
    """Shortened ramps once ended at 100.00000000000001 percent, and the page with a fault."""
    with club.write() as db:
        words = TankWords(name="Tubes", length_cm=90, width_cm=50, depth_cm=50)
        tank = tanks.add_tank(db, owner_id=cast.ivo.id or 0, words=words)
        lamp = LampModel(
            name="Four tubes", kind="fluorescent_tube", beam_deg=120, watts=156, ppf_umol_s=150,
            count_x=1, count_y=4, pitch_y_cm=5.5, tube_length_cm=83, control="clock_switch",
            created_at=now(),
        )  # fmt: skip
        db.add(lamp)
        db.flush()
        place = LampPlace(lamp_model_id=lamp.id, x_cm=45, y_cm=25, height_cm=12)
        tanks.save_setup(db, tank_id=tank.id, lamps=[place], since=TODAY, reason="first")
        set_day(db, tank.id, since=TODAY)
        for name, depth in (("Staghorn", 15), ("Toadstool", 40)):
            animal = _animal(name, 40, 25, depth)
            tanks.add_animal(db, tank.id, replace(animal, placed_on=TODAY))
    address = f"/tanks/{tank.id}/acclimation"
    answer = ivo.post(address, data=form_of(ivo.get(address).text) | {"do": "show"})
    assert answer.status_code in (200, 422)
    for least in ("10", "23", "37", "41", "55", "64.9"):
        typed = form_of(ivo.get(address).text) | {"do": "show", "least_hours": least}
        assert ivo.post(address, data=typed).status_code in (200, 422)
