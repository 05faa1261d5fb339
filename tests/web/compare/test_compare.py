"""Comparing, trying another's light, finding a lamp, tanks alike: they work and refuse politely."""

import html
import re
from dataclasses import dataclass
from datetime import date

import pytest
from fastapi.testclient import TestClient

from server.db import tanks
from server.db.engine import Database
from server.db.members import now
from server.models import LampChannel, LampModel, MeasurementSession, Member, Reading, Tank
from tests.conftest import Cast


@dataclass(frozen=True)
class Things:
    """Ivo's tank with two setups and a plan, Tess's shared and her private one."""

    ivo_tank: int
    old: int
    current: int
    plan: int
    tess_tank: int
    tess_setup: int
    secret_setup: int
    lamp: int


@pytest.fixture
def things(club: Database, cast: Cast) -> Things:
    with club.write() as db:
        lamp = LampModel(
            name="Test cluster", kind="led_cluster", beam_deg=90, watts=80, ppf_umol_s=160,
            side_cm=8, price=300, created_at=now(),
        )  # fmt: skip
        weak = LampModel(
            name="Night glow", kind="led_bar", beam_deg=120, watts=3, ppf_umol_s=2, created_at=now()
        )
        db.add_all([lamp, weak])
        db.flush()
        assert lamp.id is not None

        def tank(keeper: Member, name: str, *, shared: bool) -> int:
            assert keeper.id is not None
            words = tanks.TankWords(
                name=name, length_cm=90, width_cm=45, depth_cm=45, shared=shared
            )
            made = tanks.add_tank(db, owner_id=keeper.id, words=words)
            assert made.id is not None
            return made.id

        def hang(tank_id: int, height: float, since: date, **more: str) -> int:
            place = tanks.LampPlace(
                lamp_model_id=lamp.id, x_cm=45, y_cm=22, height_cm=height, power=0.6
            )
            setup = tanks.save_setup(
                db, tank_id=tank_id, lamps=[place], since=since, reason="", **more
            )
            assert setup.id is not None
            return setup.id

        mine = tank(cast.ivo, "Ivo's reef", shared=False)
        hers = tank(cast.tess, "Tess's reef", shared=True)
        secret = tank(cast.tess, "Tess's secret", shared=False)
        found = Things(
            ivo_tank=mine,
            old=hang(mine, 40, date(2026, 1, 1)),
            current=hang(mine, 25, date(2026, 5, 1)),
            plan=hang(mine, 20, date(2026, 6, 1), state="plan", name="Lower"),
            tess_tank=hers,
            tess_setup=hang(hers, 18, date(2026, 2, 1)),
            secret_setup=hang(secret, 18, date(2026, 2, 1)),
            lamp=lamp.id,
        )
        tanks.add_animal(
            db,
            mine,
            tanks.AnimalWords(
                name="Brain", group="large_polyp_stony", x_cm=45, y_cm=22, depth_cm=30,
                low_ppfd=75, high_ppfd=150, range_source="", placed_on=date(2026, 1, 2),
            ),
        )  # fmt: skip
    return found


def test_own_earlier_planned_and_shared_stand_side_by_side(ivo: TestClient, things: Things) -> None:
    here = f"/compare?s={things.current}&s={things.old}&s={things.plan}&s={things.tess_setup}"
    page = ivo.get(here)
    assert page.status_code == 200
    for words in ("Tess&#39;s reef", "Lower", "from 1 January 2026", "40 cm", "25 cm", "20 cm"):
        assert words in page.text
    assert page.text.count("<svg") >= 8  # each in two sizes
    assert "they differ" in page.text


def test_an_unmeasured_plan_is_never_crisply_in_range(ivo: TestClient, things: Things) -> None:
    """Brain would get what it wants by the plan; nobody has measured it, so it is not known."""
    page = ivo.get(f"/compare?s={things.current}&s={things.old}").text
    row = page[page.index("Animals in range") :].split("</tr>")[0]
    assert "0 of 1 in range, 1 not known" in row


def test_several_depths_and_the_front_are_shown(ivo: TestClient, things: Things) -> None:
    here = f"/compare?s={things.current}&s={things.old}&depth=10;%2025,5&view=front"
    page = ivo.get(here).text
    assert "Mean PPFD 10 cm down" in page and "Mean PPFD 25.5 cm down" in page
    assert "from the front, across its middle" in page
    assert "view=front" in page  # the address to share carries it


def test_a_measured_setup_says_so_with_its_doubt(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    with club.write() as db:
        session = MeasurementSession(
            tank_id=things.ivo_tank, setup_id=things.current, taken_on=date(2026, 5, 3),
            created_at=now(),
        )  # fmt: skip
        db.add(session)
        db.flush()
        for x in (15, 45, 75):
            db.add(
                Reading(
                    session_id=session.id or 0,
                    x_cm=x,
                    y_cm=22,
                    depth_cm=20,
                    raw_ppfd=150,
                    ppfd=150,
                    entered_at=now(),
                )
            )
    page = ivo.get(f"/compare?s={things.current}&s={things.old}").text
    assert "measured, 3 readings, last on 3 May 2026" in page and "±" in page
    assert "only planned" in page  # and that this is not a fair comparison


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("depth=nan", "Type one depth"),
        ("depth=1 2 3 4", "At most 3 depths"),
        ("depth=-3", "A depth lies from"),
        ("low=300&high=100", "must be above"),
        ("low=x", "Type one number from 0 to 5000 µmol"),
        ("low=1e999", "Type one number from 0 to 5000 µmol"),
    ],
)
def test_what_cannot_be_read_is_told_and_kept(
    ivo: TestClient, things: Things, query: str, words: str
) -> None:
    page = ivo.get(f"/compare?s={things.current}&{query}")
    assert page.status_code == 422 and words in page.text


@pytest.mark.parametrize("query", ["s=abc", "s=-1", "s=", "s=99999999999999999999", "depth=44"])
def test_nonsense_in_the_address_is_no_fault(ivo: TestClient, things: Things, query: str) -> None:
    assert ivo.get(f"/compare?{query}").status_code in (200, 404)


def test_more_than_four_are_cut_to_four_and_told(ivo: TestClient, things: Things) -> None:
    ids = (things.current, things.old, things.plan, things.tess_setup, things.secret_setup)
    page = ivo.get("/compare?" + "&".join(f"s={one}" for one in ids))
    assert page.status_code == 422 and "At most 4" in page.text
    assert "Tess&#39;s secret" not in page.text


def test_a_private_setup_of_another_is_not_there(ivo: TestClient, things: Things) -> None:
    assert ivo.get(f"/compare?s={things.secret_setup}").status_code == 404
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?from={things.secret_setup}")
    assert page.status_code == 404


def test_another_members_light_is_solved_for_my_tank_and_kept_as_a_plan(
    ivo: TestClient, things: Things, club: Database
) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?from={things.tess_setup}&solve=yes").text
    assert "Whether Brain would be in range is not known yet." in page
    assert "tried as planned" in page
    lamp = page.split('name="lamp" value="')[1].split('"')[0]
    kept = ivo.post(f"/tanks/{things.ivo_tank}/what-if/keep", data={"lamp": lamp, "name": "Hers"})
    assert kept.status_code == 303
    with club.read() as db:
        plans = [s for s in tanks.setups_of(db, things.ivo_tank) if s.name == "Hers"]
        (hung,) = tanks.lamps_of(db, plans[0].id or 0)
        current = tanks.current_setup(db, things.ivo_tank)
    assert plans[0].state == "plan" and f"{hung.height_cm:.1f}" in lamp
    assert current is not None and current.id == things.current


def test_nothing_changed_changes_nothing_channels_included(
    ivo: TestClient, things: Things, club: Database
) -> None:
    with club.write() as db:
        db.add(LampChannel(lamp_model_id=things.lamp, name="red", share=0.5))
        db.add(LampChannel(lamp_model_id=things.lamp, name="blue", share=0.5))
        (hung,) = tanks.lamps_of(db, things.current)
        hung.channel_levels = '{"red": 0.2}'
        db.add(hung)
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if").text
    row = page[page.index('<th scope="row">Brain') :]
    now, then = re.findall(r'class="number">([\d.]+ ± [\d.]+)</td>', row)[:2]
    assert now == then
    lamp = re.search(r'name="lamp" value="([^"]*)"', page)[1]
    levels = html.unescape(re.search(r'name="levels" value="([^"]*)"', page)[1])
    assert levels == '{"red": 0.2}'
    ivo.post(
        f"/tanks/{things.ivo_tank}/what-if/keep",
        data={"lamp": lamp, "levels": levels, "name": "Same"},
    )
    with club.read() as db:
        kept = next(s for s in tanks.setups_of(db, things.ivo_tank) if s.name == "Same")
        (hung,) = tanks.lamps_of(db, kept.id or 0)
    assert hung.channel_levels == levels


def test_swap_add_and_a_dark_back_are_shown_at_once(ivo: TestClient, things: Things) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?add={things.lamp}&back=black")
    assert page.status_code == 200
    assert page.text.count("Test cluster:") == 2
    assert "What changes" in page.text


@pytest.mark.parametrize(
    "query", ["swap=999", "add=x", "depth=1000", "lamp=1,2", "lamp=1,nan,2,3,0.5", "lamp=x"]
)
def test_what_cannot_be_tried_is_told(ivo: TestClient, things: Things, query: str) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?{query}")
    assert page.status_code == 422 and "There is a problem" in page.text


def test_nobody_keeps_a_plan_on_anothers_tank(ivo: TestClient, things: Things) -> None:
    typed = {"lamp": f"{things.lamp},45,22,20,0.5,0"}
    assert ivo.post(f"/tanks/{things.tess_tank}/what-if/keep", data=typed).status_code == 404


def test_the_shelf_is_searched_and_says_who_cannot(ivo: TestClient, things: Things) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/which-lamp").text
    assert "These can" in page and "1 × Test cluster" in page
    assert "Night glow" in page and "Not enough light" in page


def test_a_budget_is_kept_to(ivo: TestClient, things: Things) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/which-lamp?watts=10").text
    assert "more than the 10 W allowed" in page
    refused = ivo.get(f"/tanks/{things.ivo_tank}/which-lamp?watts=-5")
    assert refused.status_code == 422 and 'value="-5"' in refused.text


def test_a_tank_without_animals_asks_for_a_range(tess: TestClient, things: Things) -> None:
    page = tess.get(f"/tanks/{things.tess_tank}/which-lamp?depth=20&low=100&high=250")
    assert page.status_code == 200 and "of 15" in page.text


def test_tanks_alike_are_found_with_what_they_settled_on(ivo: TestClient, things: Things) -> None:
    page = ivo.get(f"/tanks/{things.ivo_tank}/like-mine").text
    assert "Tess&#39;s Tess&#39;s reef is nearest" in page
    assert "Test cluster, 18 cm above the water" in page
    assert "secret" not in page


def test_a_club_without_tanks_teaches(ivo: TestClient) -> None:
    assert "Nothing to compare yet" in ivo.get("/compare").text
    assert "No tank is shown" in ivo.get("/club").text


def test_the_club_counts_shared_tanks_only(ivo: TestClient, things: Things, club: Database) -> None:
    assert "knows 1 tank," in ivo.get("/club").text
    with club.write() as db:
        tank = db.get_one(Tank, things.ivo_tank)
        tank.shared = True
        db.add(tank)
    page = ivo.get("/club").text
    assert "knows 2 tanks," in page and "Brain" in page


# What a lamp can do binds every proposal


def _shelve(club: Database, cast: Cast, **figures: object) -> int:
    given = {
        "name": "Plain tubes", "kind": "fluorescent_tube", "beam_deg": 120, "watts": 156,
        "ppf_umol_s": 118, "control": "clock_switch", "tube_length_cm": 83, "count_y": 4,
        "pitch_y_cm": 5.5, "min_height_cm": 8, "max_height_cm": 25, "created_at": now(),
    } | figures  # fmt: skip
    with club.write() as db:
        row = LampModel(created_by_id=cast.ivo.id, **given)
        db.add(row)
        db.flush()
        return row.id


def test_a_search_never_dims_what_cannot_be_dimmed(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    key = _shelve(club, cast)
    page = html.unescape(ivo.get(f"/tanks/{things.ivo_tank}/which-lamp").text)
    tried = re.findall(rf"lamp={key}%2C[\d.]+%2C[\d.]+%2C[\d.]+%2C([\d.]+)", page)
    assert tried and set(tried) == {"1.000"}
    assert "27 %" not in page.split("Plain tubes")[1].split("</tr>")[0]


def test_solving_leaves_tubes_at_full_and_within_their_heights(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    key = _shelve(club, cast)
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?lamp={key},45,22,40,0.73&solve=yes").text
    lamp = re.search(r'name="lamp" value="([^"]*)"', page)[1].split(",")
    assert float(lamp[4]) == 1.0 and 8 <= float(lamp[3]) <= 25


def test_a_second_long_lamp_does_not_lie_over_the_first(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    key = _shelve(club, cast)
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?lamp={key},45,22,20,1&add={key}").text
    places = [one.split(",") for one in re.findall(r'name="lamp" value="([^"]*)"', page)][:2]
    (x1, y1), (x2, y2) = ((float(one[1]), float(one[2])) for one in places)
    assert x1 == x2 == 45 and abs(y1 - y2) >= 16.5


def test_a_lamp_longer_than_the_glass_is_not_added(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    key = _shelve(club, cast, tube_length_cm=145)
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?add={key}")
    assert page.status_code == 422 and "There is no room for 2" in page.text


def test_a_lamp_low_over_salt_water_is_told_of_splash(
    ivo: TestClient, things: Things, club: Database, cast: Cast
) -> None:
    key = _shelve(club, cast, max_height_cm=9)
    page = ivo.get(f"/tanks/{things.ivo_tank}/what-if?lamp={key},45,22,8,1").text
    assert "splash and salt creep" in page
