"""Pages of tanks: they work, they refuse with what was typed kept, a stranger may not."""

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from server.db import members, tanks
from server.db.engine import Database
from server.models import LampChannel, LampModel, Member, Tank
from tests.conftest import Cast

TYPED = {"name": "Lagoon", "length": "90", "width": "45,5", "depth": "45", "water": "usual"}


@pytest.fixture
def lamp_id(club: Database) -> int:
    with club.write() as db:
        model = LampModel(
            name="Flatlight",
            kind="led_panel",
            beam_deg=110,
            watts=90,
            ppf_umol_s=150,
            min_height_cm=20,
            max_height_cm=40,
            created_at=members.now(),
        )
        db.add(model)
        db.flush()
        assert model.id is not None
        db.add(LampChannel(lamp_model_id=model.id, name="blue", share=0.7))
        db.add(LampChannel(lamp_model_id=model.id, name="white", share=0.3))
        return model.id


@pytest.fixture
def tank_id(ivo: TestClient) -> int:
    made = ivo.post("/tanks/new", data=TYPED)
    assert made.status_code == 303
    return int(made.headers["location"].rsplit("/", 1)[1])


def lamp(n: int, model: int, **changes: str) -> dict[str, str]:
    values = {"model": str(model), "x": "45", "y": "22", "height": "30", "power": "60"} | changes
    return {f"lamp-{n}-{name}": value for name, value in values.items()}


@pytest.fixture
def lit(ivo: TestClient, tank_id: int, lamp_id: int) -> int:
    hung = ivo.post(
        f"/tanks/{tank_id}/light",
        data={"lamps": "1", "since": "2026-01-10", "reason": "first", **lamp(0, lamp_id)},
    )
    assert hung.status_code == 303, hung.text
    return tank_id


def stored(club: Database, tank_id: int) -> Tank:
    with club.read() as db:
        return db.get_one(Tank, tank_id)


def test_an_empty_list_teaches_and_offers_the_one_button(ivo: TestClient) -> None:
    answer = ivo.get("/tanks")
    assert answer.status_code == 200
    assert "Add your first tank" in answer.text and 'href="/tanks/new"' in answer.text


def test_a_visitor_is_asked_to_sign_in_and_comes_back(client: TestClient) -> None:
    answer = client.get("/tanks/new")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/tanks/new"


def test_a_tank_is_made_from_five_answers(ivo: TestClient, club: Database, tank_id: int) -> None:
    tank = stored(club, tank_id)
    assert (tank.length_cm, tank.width_cm, tank.depth_cm) == (90, 45.5, 45)
    assert (tank.wall_back, tank.floor, tank.shared) == ("clear", "light_sand", False)
    answer = ivo.get(f"/tanks/{tank_id}")
    assert answer.status_code == 200
    assert "No light over Lagoon yet." in answer.text and "Hang a lamp" in answer.text
    assert "184 L" in answer.text


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", ""),
        ("name", "x" * 81),
        ("length", ""),
        ("length", "NaN"),
        ("width", "inf"),
        ("depth", "-4"),
        ("depth", "1e9"),
        ("length", "ninety"),
        ("width", "1,2,3"),
        ("water", "clean"),
        ("floor", "lava"),
        ("wall_back", "invisible"),
        ("headroom", "nothing"),
        ("note", "x" * 2001),
    ],
)
def test_what_will_not_do_is_said_beside_its_field_and_all_that_was_typed_stays(
    ivo: TestClient, club: Database, field: str, typed: str
) -> None:
    answer = ivo.post("/tanks/new", data=TYPED | {field: typed})
    assert answer.status_code == 422
    assert f'href="#{field}"' in answer.text and f'id="{field}-wrong"' in answer.text
    kept = [value for name, value in TYPED.items() if name not in (field, "water")]
    assert all(value in answer.text for value in kept)
    with club.read() as db:
        assert tanks.own_tanks(db, 2) == []


def test_a_script_in_a_name_is_only_text(ivo: TestClient) -> None:
    hostile = "<script>alert(1)</script>"
    made = ivo.post("/tanks/new", data=TYPED | {"name": hostile})
    for address in ("/tanks", made.headers["location"]):
        assert "<script>alert" not in ivo.get(address).text


def test_inches_and_gallons_are_shown_and_do_not_creep_when_saved_again(
    ivo: TestClient, club: Database, tank_id: int
) -> None:
    ivo.post(
        "/account", data={"name": "Ivo", "length_unit": "in", "volume_unit": "gal", "clock": "12"}
    )
    form = ivo.get(f"/tanks/{tank_id}/edit").text
    assert 'value="35.43"' in form and "in</span>" in form
    shown = TYPED | {"length": "35.43", "width": "17.91", "depth": "17.72"}
    assert ivo.post(f"/tanks/{tank_id}/edit", data=shown).status_code == 303
    tank = stored(club, tank_id)
    assert (tank.length_cm, tank.width_cm, tank.depth_cm) == (90, 45.5, 45)
    assert ivo.post(f"/tanks/{tank_id}/edit", data=shown | {"depth": "18"}).status_code == 303
    assert stored(club, tank_id).depth_cm == pytest.approx(45.72)
    page = ivo.get(f"/tanks/{tank_id}").text
    assert "35.4 × 17.9 × 18 in" in page and "gal" in page


def test_a_tank_set_aside_leaves_the_list_and_comes_back_whole(ivo: TestClient, lit: int) -> None:
    assert ivo.post(f"/tanks/{lit}/set-aside").status_code == 303
    listed = ivo.get("/tanks").text
    assert "Add your first tank" in listed and "<summary>Set aside" in listed
    assert "Bring it back" in ivo.get(f"/tanks/{lit}").text
    assert ivo.post(f"/tanks/{lit}/bring-back").status_code == 303
    assert "Flatlight" in ivo.get(f"/tanks/{lit}").text


def test_another_members_private_tank_is_not_there_at_any_address(
    ivo: TestClient, tess: TestClient, mara: TestClient, client: TestClient, lit: int,
    club: Database, lamp_id: int,
) -> None:  # fmt: skip
    ivo.post(f"/tanks/{lit}/animals/new", data=ANIMAL)
    with club.read() as db:
        setup = tanks.current_setup(db, lit)
        animal = tanks.animals_of(db, lit)[0]
    assert setup is not None
    looks = ["", "/edit", "/light", "/animals/new", f"/animals/{animal.id}"]
    writes = ["/edit", "/light", "/set-aside", "/bring-back", "/animals/new",
              f"/animals/{animal.id}", f"/animals/{animal.id}/left",
              f"/animals/{animal.id}/back"]  # fmt: skip
    for browser in (tess, mara):
        for look in looks:
            assert browser.get(f"/tanks/{lit}{look}").status_code == 404, look
        for write in writes:
            assert browser.post(f"/tanks/{lit}{write}", data=TYPED).status_code == 404, write
        for end in ("", "/redraw"):
            assert browser.get(f"/setups/{setup.id}{end}").status_code == 404
        for end in ("/hang", "/redraw", "/discard"):
            assert browser.post(f"/setups/{setup.id}{end}").status_code == 404
        assert "Lagoon" not in browser.get("/tanks").text
    for look in looks:
        assert client.get(f"/tanks/{lit}{look}").status_code == 303
    assert stored(club, lit).archived_at is None


def test_a_shared_tank_is_looked_at_and_not_changed(
    ivo: TestClient, tess: TestClient, club: Database, lit: int
) -> None:
    ivo.post(f"/tanks/{lit}/edit", data=TYPED | {"shared": "yes"})
    assert "Lagoon" in tess.get("/tanks").text
    page = tess.get(f"/tanks/{lit}")
    assert page.status_code == 200 and "Ivo" in page.text
    for words in ("Change the light", "Set it aside", "Place an animal", "/edit"):
        assert words not in page.text
    assert tess.get(f"/tanks/{lit}/edit").status_code == 404
    assert tess.post(f"/tanks/{lit}/edit", data=TYPED | {"name": "Mine"}).status_code == 404
    assert stored(club, lit).name == "Lagoon"
    with club.read() as db:
        setup = tanks.current_setup(db, lit)
    assert setup is not None
    assert tess.get(f"/setups/{setup.id}").status_code == 200


@pytest.mark.parametrize("number", ["0", "-1", "99999999999999999999", "lagoon", "1e3"])
def test_a_number_no_tank_has_is_not_found(ivo: TestClient, number: str) -> None:
    assert ivo.get(f"/tanks/{number}").status_code == 404
    assert ivo.get(f"/setups/{number}").status_code == 404
    assert ivo.get(f"/tanks/{number}/animals/{number}").status_code == 404


# Light


def test_the_light_form_without_a_script_grows_by_a_lamp_and_keeps_what_was_typed(
    ivo: TestClient, tank_id: int, lamp_id: int
) -> None:
    typed = {"lamps": "1", "do": "add", "reason": "why not", **lamp(0, lamp_id, height="3x")}
    answer = ivo.post(f"/tanks/{tank_id}/light", data=typed)
    assert answer.status_code == 200
    assert 'name="lamp-1-model"' in answer.text and 'name="lamps" value="2"' in answer.text
    assert 'value="3x"' in answer.text and 'value="why not"' in answer.text
    assert 'name="lamp-0-channel-1"' in answer.text, "the chosen lamp shows its channels"


def test_a_lamp_hung_too_low_by_its_papers_is_taken_and_said(
    ivo: TestClient, tank_id: int, lamp_id: int
) -> None:
    data = {"lamps": "1", "reason": "first", **lamp(0, lamp_id, height="12")}
    assert ivo.post(f"/tanks/{tank_id}/light", data=data).status_code == 303
    assert "lower than the 20 cm its papers ask for" in ivo.get(f"/tanks/{tank_id}").text


def test_a_changed_light_asks_why_and_keeps_the_old_one(
    ivo: TestClient, club: Database, lit: int, lamp_id: int
) -> None:
    with club.read() as db:
        first = tanks.current_setup(db, lit)
    assert first is not None
    change = {"lamps": "2", "reason": "", **lamp(0, lamp_id, power="40"), **lamp(1, lamp_id)}
    refused = ivo.post(f"/tanks/{lit}/light", data=change)
    assert refused.status_code == 422 and 'id="reason-wrong"' in refused.text
    assert 'value="40"' in refused.text
    assert ivo.post(f"/tanks/{lit}/light", data=change | {"reason": "pale"}).status_code == 303
    with club.read() as db:
        now = tanks.current_setup(db, lit)
        assert now is not None and now.id != first.id and now.reason == "pale"
        assert [one.power for one in tanks.lamps_of(db, now.id or 0)] == [0.4, 0.6]
        assert [one.power for one in tanks.lamps_of(db, first.id or 0)] == [0.6]
    old = ivo.get(f"/setups/{first.id}").text
    assert "from 10 January 2026 to" in old and "Go back to this light" in old
    assert "pale" in ivo.get(f"/setups/{now.id}").text


def test_taking_the_last_lamp_away_leaves_a_dark_tank(
    ivo: TestClient, club: Database, lit: int, lamp_id: int
) -> None:
    data = {"lamps": "1", "reason": "repair", **lamp(0, lamp_id), "lamp-0-away": "yes"}
    assert ivo.post(f"/tanks/{lit}/light", data=data).status_code == 303
    page = ivo.get(f"/tanks/{lit}").text
    assert "No light over Lagoon yet." in page and "No lamp hangs over the water." in page


def test_channels_turned_down_are_kept_with_the_lamp(
    ivo: TestClient, club: Database, tank_id: int, lamp_id: int
) -> None:
    data = {
        "lamps": "1",
        "reason": "first",
        **lamp(0, lamp_id),
        "lamp-0-channel-0": "50",
        "lamp-0-channel-1": "100",
    }
    assert ivo.post(f"/tanks/{tank_id}/light", data=data).status_code == 303
    with club.read() as db:
        setup = tanks.current_setup(db, tank_id)
        assert setup is not None
        assert tanks.lamps_of(db, setup.id or 0)[0].channel_levels == '{"blue": 0.5}'
    assert 'value="50"' in ivo.get(f"/tanks/{tank_id}/light").text
    assert "blue 50 %" in ivo.get(f"/tanks/{tank_id}").text


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("lamp-0-model", "7777"),
        ("lamp-0-model", "bright"),
        ("lamp-0-height", "0"),
        ("lamp-0-height", "1e7"),
        ("lamp-0-power", "101"),
        ("lamp-0-power", "NaN"),
        ("lamp-0-x", "9999"),
        ("lamp-0-y", ""),
        ("since", "yesterday"),
        ("since", "2999-01-01"),
        ("reason", "x" * 501),
        ("state", "both"),
        ("lamp-0-channel-0", "200"),
    ],
)
def test_a_setup_that_will_not_do_stores_nothing(
    ivo: TestClient, club: Database, tank_id: int, lamp_id: int, field: str, typed: str
) -> None:
    data = {"lamps": "1", "since": "2026-01-10", "reason": "first", **lamp(0, lamp_id)}
    answer = ivo.post(f"/tanks/{tank_id}/light", data=data | {field: typed})
    assert answer.status_code == 422
    assert f'id="{field}-wrong"' in answer.text
    with club.read() as db:
        assert tanks.setups_of(db, tank_id) == []


def test_an_empty_form_is_told_to_choose_a_lamp(ivo: TestClient, tank_id: int) -> None:
    for data in ({}, {"lamps": "1"}, {"lamps": "x"}, {"lamps": "999"}):
        answer = ivo.post(f"/tanks/{tank_id}/light", data=data)
        assert answer.status_code == 422 and "Choose the lamp" in answer.text


def test_a_plan_is_drawn_redrawn_and_hung_and_another_thrown_away(
    ivo: TestClient, tess: TestClient, club: Database, lit: int, lamp_id: int
) -> None:
    data = {"lamps": "1", "state": "plan", "name": "Winter", **lamp(0, lamp_id, power="30")}
    made = ivo.post(f"/tanks/{lit}/light", data=data)
    plan = made.headers["location"]
    assert "not hung yet" in ivo.get(plan).text
    redraw = ivo.post(f"{plan}/redraw", data=data | {"lamp-0-power": "35"})
    assert redraw.status_code == 303
    assert ivo.post(f"{plan}/hang", data={}).status_code == 422, "a change asks why"
    assert ivo.post(f"{plan}/hang", data={"reason": "winter"}).status_code == 303
    with club.read() as db:
        now = tanks.current_setup(db, lit)
        assert now is not None and now.name == "Winter"
        assert tanks.lamps_of(db, now.id or 0)[0].power == 0.35
    assert ivo.get(f"{plan}/redraw").status_code == 404, "what hung is kept as it was"
    assert ivo.post(f"{plan}/discard").status_code == 303
    assert ivo.get(plan).status_code == 200
    other = ivo.post(f"/tanks/{lit}/light", data=data).headers["location"]
    assert ivo.post(f"{other}/discard").status_code == 303
    assert ivo.get(other).status_code == 404


def test_a_setup_of_another_tank_cannot_be_brought_over_by_its_number(
    ivo: TestClient, tess: TestClient, lit: int, club: Database
) -> None:
    made = tess.post("/tanks/new", data=TYPED)
    with club.read() as db:
        setup = tanks.current_setup(db, lit)
    assert setup is not None
    answer = tess.get(f"{made.headers['location']}/light?from={setup.id}")
    assert answer.status_code == 404


# Animals

ANIMAL = {"name": "Grove", "group": "small_polyp", "x": "20", "y": "20", "depth": "15"}


def test_an_animal_starts_from_its_groups_range_with_the_source(
    ivo: TestClient, club: Database, lit: int
) -> None:
    assert ivo.post(f"/tanks/{lit}/animals/new", data=ANIMAL).status_code == 303
    with club.read() as db:
        animal = tanks.animals_of(db, lit)[0]
    assert (animal.low_ppfd, animal.high_ppfd) == (200, 350)
    assert animal.range_source == "common practice, no published source"
    page = ivo.get(f"/tanks/{lit}").text
    assert "Grove" in page and "200–350" in page
    assert any(words in page for words in ("too dim", "in range", "too bright"))


def test_an_own_range_stays_when_the_animal_moves_and_goes_with_another_group_only_if_untouched(
    ivo: TestClient, club: Database, lit: int
) -> None:
    ivo.post(f"/tanks/{lit}/animals/new", data=ANIMAL)
    with club.read() as db:
        first = tanks.animals_of(db, lit)[0]
    address = f"/tanks/{lit}/animals/{first.id}"
    shown = ANIMAL | {"low": "200", "high": "350", "range_source": first.range_source}
    ivo.post(address, data=shown | {"group": "soft"})
    with club.read() as db:
        animal = tanks.animals_of(db, lit)[0]
    assert (animal.group, animal.low_ppfd, animal.high_ppfd) == ("soft", 75, 150)
    ivo.post(address, data=ANIMAL | {"group": "soft", "low": "90", "high": "140", "x": "30"})
    with club.read() as db:
        animal = tanks.animals_of(db, lit)[0]
    assert (animal.x_cm, animal.low_ppfd, animal.high_ppfd) == (30, 90, 140)
    assert animal.range_source == "typed by the keeper"


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", ""),
        ("group", "dragon"),
        ("x", "90.1"),
        ("y", "NaN"),
        ("depth", "46"),
        ("depth", "-1"),
        ("low", "bright"),
        ("high", "50"),
        ("high", "1e6"),
        ("saturation", "inf"),
        ("placed_on", "2999-01-01"),
    ],
)
def test_an_animal_that_will_not_do_is_not_stored(
    ivo: TestClient, club: Database, lit: int, field: str, typed: str
) -> None:
    data = ANIMAL | {"low": "100", "high": "200"} | {field: typed}
    answer = ivo.post(f"/tanks/{lit}/animals/new", data=data)
    assert answer.status_code == 422 and f'id="{field}-wrong"' in answer.text
    with club.read() as db:
        assert tanks.animals_of(db, lit) == []


def test_an_animal_leaves_on_a_day_and_can_be_put_back(
    ivo: TestClient, club: Database, lit: int
) -> None:
    ivo.post(f"/tanks/{lit}/animals/new", data=ANIMAL | {"placed_on": "2026-02-01"})
    with club.read() as db:
        animal = tanks.animals_of(db, lit)[0]
    address = f"/tanks/{lit}/animals/{animal.id}"
    early = ivo.post(f"{address}/left", data={"left_on": "2026-01-01"})
    assert early.status_code == 422 and 'id="left_on-wrong"' in early.text
    assert ivo.post(f"{address}/left", data={"left_on": "2026-03-01"}).status_code == 303
    page = ivo.get(f"/tanks/{lit}").text
    assert "Lived here before" in page and "1 March 2026" in page
    assert ivo.post(f"{address}/back").status_code == 303
    with club.read() as db:
        assert len(tanks.animals_of(db, lit)) == 1


def test_a_tank_made_smaller_names_the_animals_left_outside(
    ivo: TestClient, lit: int, as_member: Callable[[Member], TestClient], cast: Cast
) -> None:
    ivo.post(f"/tanks/{lit}/animals/new", data=ANIMAL | {"x": "85"})
    answer = ivo.post(f"/tanks/{lit}/edit", data=TYPED | {"length": "60"})
    ivo.cookies.set("notice", answer.cookies["notice"])
    page = ivo.get(f"/tanks/{lit}")
    assert page.status_code == 200 and "Outside the new walls now: Grove" in page.text


@pytest.mark.parametrize(
    "body",
    [
        b"name=%ED%A0%80&length=90&width=45&depth=45",
        b"name=%FF%FE&length=90&width=45&depth=45",
        b"name=a%00b&length=90&width=45&depth=45",
        b"name=a&name=b&length=90&width=45&depth=45",
        b"%%%=&&&",
    ],
)
def test_bytes_that_are_no_text_do_not_break_the_form(ivo: TestClient, body: bytes) -> None:
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = ivo.post("/tanks/new", content=body, headers=kind)
    assert answer.status_code in (303, 422)
    assert ivo.get("/tanks").status_code == 200


def test_a_file_where_a_word_belongs_and_a_huge_body_are_refused(ivo: TestClient) -> None:
    answer = ivo.post("/tanks/new", files={"name": ("a.txt", b"Lagoon")}, data={"length": "90"})
    assert answer.status_code == 422 and 'id="name-wrong"' in answer.text
    assert ivo.post("/tanks/new", data=TYPED | {"note": "x" * 10_000_000}).status_code == 413


@pytest.mark.parametrize(
    ("figures", "power", "words"),
    [
        ({"kind": "fluorescent_tube", "control": "clock_switch"}, "60", "does not dim"),
        ({"kind": "metal_halide", "control": "full"}, "51", "does not dim"),
        ({"dims": "steps", "step_percent": 5.0}, "42", "in steps of 5 %"),
        ({"dims": "smooth", "least_percent": 20.0}, "12", "from 20 % to 100 %"),
    ],
)
def test_a_power_that_the_lamp_cannot_be_set_to_is_refused_in_words(
    ivo: TestClient,
    tank_id: int,
    lamp_id: int,
    club: Database,
    figures: dict[str, object],
    power: str,
    words: str,
) -> None:
    with club.write() as db:
        row = db.get_one(LampModel, lamp_id)
        row.sqlmodel_update(figures)
        db.add(row)
    typed = {"lamps": "1", "since": "2026-01-10", "reason": "first"}
    refused = ivo.post(f"/tanks/{tank_id}/light", data=typed | lamp(0, lamp_id, power=power))
    assert (
        refused.status_code == 422 and words in refused.text and f'value="{power}"' in refused.text
    )
    hung = ivo.post(f"/tanks/{tank_id}/light", data=typed | lamp(0, lamp_id, power="100"))
    assert hung.status_code == 303
