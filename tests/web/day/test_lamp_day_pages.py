"""Lamps with days of their own through the form, and one number to type on every page."""

import csv
import io
import re
from collections.abc import Callable
from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import acclimation, days, members, tanks
from server.db.engine import Database
from server.db.members import now
from server.db.tanks import LampPlace
from server.models import LampModel, Member
from tests.conftest import Cast
from tests.web.acclimation.conftest import form_of
from tests.web.day.conftest import LONG_AGO, TODAY, Calendar, Reef, day_form

BELL = "13:00 0\n13:00 100\n17:00 100\n17:00 0"


@pytest.fixture
def mixed(club: Database, dated: Reef) -> tuple[Reef, int]:
    """The reef under its panel at 31 % and two halides that do not dim."""
    with club.write() as db:
        bell = LampModel(
            name="Bell 150", kind="metal_halide", beam_deg=100, watts=150, ppf_umol_s=140,
            control="by_hand", created_at=now(),
        )  # fmt: skip
        db.add(bell)
        db.flush()
        places = [
            LampPlace(lamp_model_id=dated.lamp, x_cm=60, y_cm=25, height_cm=25, power=0.31),
            LampPlace(lamp_model_id=bell.id, x_cm=25, y_cm=25, height_cm=35),
            LampPlace(lamp_model_id=bell.id, x_cm=95, y_cm=25, height_cm=35),
        ]
        tanks.save_setup(db, tank_id=dated.tank, lamps=places, since=LONG_AGO, reason="more")
        return dated, bell.id


def _set(ivo: TestClient, reef: Reef, **typed: str) -> None:
    answer = ivo.post(f"/tanks/{reef.tank}/day/edit", data=day_form(**typed))
    assert answer.status_code == 303, answer.text


def test_lamps_are_given_days_of_their_own_by_the_form(
    ivo: TestClient, mixed: tuple[Reef, int], club: Database
) -> None:
    reef, bell = mixed
    own = {f"lamp-{bell}-2": BELL, f"control-{bell}-2": "clock_switch"}
    moon = {f"points-{reef.lamp}-0": "20:00 0\n20:00 4\n23:00 4\n23:00 0"}
    _set(ivo, reef, **own, **moon)
    with club.read() as db:
        schedule = days.current_schedule(db, reef.tank)
        assert schedule is not None
        kept = days.days_of(db, schedule.id)
    assert [(one.lamp_model_id, one.lamp_number, one.channel, one.control) for one in kept] == [
        (None, 0, "", ""),
        (reef.lamp, 0, "Blue", ""),
        (bell, 2, "", "clock_switch"),
    ]
    again = ivo.get(f"/tanks/{reef.tank}/day/edit").text
    assert "13:00 0\n13:00 100\n17:00 100\n17:00 0</textarea>" in again
    assert re.search(rf'id="control-{bell}-2".*?value="clock_switch" selected', again, re.DOTALL)
    page = ivo.get(f"/tanks/{reef.tank}/day").text
    assert "Each lamp’s part" in page and "Bell 150 (2)" in page
    assert ">13:00<" in page and ">17:00<" in page and "does not dim" in page


def test_a_control_of_one_lamp_alone_keeps_the_day_of_all(
    ivo: TestClient, mixed: tuple[Reef, int]
) -> None:
    reef, bell = mixed
    _set(ivo, reef, **{f"control-{bell}-1": "clock_switch"})
    again = ivo.get(f"/tanks/{reef.tank}/day/edit").text
    assert re.search(rf'id="control-{bell}-1".*?value="clock_switch" selected', again, re.DOTALL)
    field = re.search(rf'<textarea id="lamp-{bell}-1".*?</textarea>', again, re.DOTALL)
    assert field is not None and "10:00" not in field[0]


@pytest.mark.parametrize(
    ("name", "typed", "words"),
    [
        ("lamp-{}-1", "25:00 0", "is not a time and a percentage"),
        ("lamp-{}-1", "10:00 0\n11:00 140", "A level lies between 0 and 100"),
        ("control-{}-1", "//evil", "Choose one of the answers in the list."),
    ],
)
def test_what_cannot_be_a_day_comes_back_as_typed(
    ivo: TestClient, mixed: tuple[Reef, int], name: str, typed: str, words: str
) -> None:
    reef, bell = mixed
    for do in ("save", "show"):
        form = day_form(do=do, **{name.format(bell): typed})
        answer = ivo.post(f"/tanks/{reef.tank}/day/edit", data=form)
        assert answer.status_code == 422 and words in answer.text
        assert typed.split("\n")[0] in answer.text or name.startswith("control")


def _numbers(page: str) -> set[str]:
    return set(re.findall(r">(\d+(?:\.\d)?) %<", page))


def test_one_number_to_type_on_every_page_card_file_and_address(
    ivo: TestClient,
    client: TestClient,
    mixed: tuple[Reef, int],
    token_of: Callable[[Member], dict[str, str]],
    cast: Cast,
) -> None:
    """“Power 31 %” beside set-points of 100 %: whoever typed 100 gave 3.2 times the plan."""
    reef, bell = mixed
    _set(ivo, reef, **{f"lamp-{bell}-0": BELL})
    card = ivo.get(f"/tanks/{reef.tank}/day/card").text
    assert _numbers(card) == {"0", "31"} and "Power" not in card
    day = ivo.get(f"/tanks/{reef.tank}/day").text
    typed = day[day.index("What to type") : day.index("Card to print")]
    assert _numbers(typed) == {"0", "31"}
    table = ivo.get(f"/tanks/{reef.tank}/day/set-points.csv").text
    rows = list(csv.reader(io.StringIO(table, newline="")))[1:]
    panel = [row for row in rows if row[0] == "Lantern 90"]
    assert [row[3] for row in panel] == ["0", "31", "31", "0"]
    bells = [row for row in rows if row[0] != "Lantern 90"]
    assert len(bells) == 4 and {row[3] for row in bells} == {""}
    assert {row[4] for row in bells} == {"on", "off"}
    said = client.get(f"/api/tanks/{reef.tank}/account", headers=token_of(cast.ivo)).json()
    assert [one["type_percent"] for one in said["set_now"] if one["lamp"] == "Lantern 90"] == [
        0,
        31,
        31,
        0,
    ]
    assert {one["then"] for one in said["set_now"] if one["lamp"] != "Lantern 90"} == {"on", "off"}


def test_the_sum_of_the_parts_is_the_dose(ivo: TestClient, mixed: tuple[Reef, int]) -> None:
    reef, bell = mixed
    _set(ivo, reef, **{f"lamp-{bell}-2": BELL, f"control-{bell}-2": "clock_switch"})
    page = ivo.get(f"/tanks/{reef.tank}/day").text
    table = page[page.index("Dose of every animal, lamp by lamp") :]
    for name in ("Plate coral", "Staghorn"):
        row = re.search(rf"<th scope=\"row\">{name}</th>(.*?)</tr>", table)
        assert row is not None
        total, *parts = (float(x) for x in re.findall(r'class="number">([\d.]+)', row[1]))
        assert len(parts) == 3 and sum(parts) == pytest.approx(total, rel=0.02)


def test_until_a_step_is_set_the_card_says_that_step_and_lists_them_all(
    ivo: TestClient, dated: Reef, club: Database, calendar: Calendar
) -> None:
    """While step 1 was due, the card still said the power of the goal."""
    with club.write() as db:
        lamps = [tanks.place_of(lamp) for lamp in tanks.lamps_of(db, dated.setup)]
        goal = tanks.save_setup(
            db, tank_id=dated.tank, lamps=[lamps[0]], since=TODAY, reason="", name="same",
            state="plan",
        )  # fmt: skip
    address = f"/tanks/{dated.tank}/acclimation"
    typed = form_of(ivo.get(f"{address}?setup={goal.id}").text)
    shop = {name: "shop" for name in typed if name.startswith("from-")}
    typed |= shop | {"shop_ppfd": "80", "shop_hours": "9", "least_power": "5", "do": "save"}
    kept = ivo.post(address, data=typed)
    assert kept.status_code == 303, kept.text
    with club.read() as db:
        plan = acclimation.under_way(db, dated.tank)
        assert plan is not None
        steps = acclimation.steps_of(db, plan.id)
    card = ivo.get(f"/tanks/{dated.tank}/day/card").text
    first = f"{round(30 * steps[0].power, 1):g}"
    assert 0 < float(first) < 30
    assert first in _numbers(card) and "30" not in _numbers(card)
    assert f"step 1 of {len(steps)}" in card
    for step in steps:
        assert f"{round(30 * step.power, 1):g} %, 10:00 to 20:00" in card
    ivo.post(f"{address}/answer", data={"pale": "no", "note": ""})
    after = ivo.get(f"/tanks/{dated.tank}/day/card").text
    assert first in _numbers(after) and f"step 1 of {len(steps)}" in after
    # The next step is due in a week; until somebody has looked, its number is not typed.
    calendar.turn(8)
    late = ivo.get(f"/tanks/{dated.tank}/day/card").text
    assert first in _numbers(late)
    feed = acclimation_feed(ivo, club)
    assert f"{first} %" in feed
    assert date(2026, 11, 25) == steps[0].due_on


def acclimation_feed(ivo: TestClient, club: Database) -> str:
    with club.read() as db:
        member = members.member_by_email(db, "ivo@club.example")
        assert member is not None
    return ivo.get(f"/feeds/member/{member.feed_secret}.ics").text.replace("\r\n ", "")


def test_day_and_dose_tell_the_accounts_doses_and_certainty(
    ivo: TestClient,
    client: TestClient,
    dated: Reef,
    token_of: Callable[[Member], dict[str, str]],
    cast: Cast,
) -> None:
    said = client.get(f"/api/tanks/{dated.tank}/account", headers=token_of(cast.ivo)).json()
    for address in ("day", "dose"):
        page = ivo.get(f"/tanks/{dated.tank}/{address}").text
        assert f"Known to about {said['known_to_percent']} %" in page
        assert "nobody has measured this light yet" in page
        for animal in said["animals"]:
            assert f"{animal['dli_mol_m2_d']:.3g}" in page
