"""The shelf of lamps: adding, changing, channels, files; what a lamp's page tells; who may what."""

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
from fastapi.testclient import TestClient

from server.db import lamps, light
from server.db.engine import Database
from server.models import HungLamp, LampChannel, LampModel, Member, Setup
from tests.conftest import Cast
from tests.optics.published import FOLDER

MADE = FOLDER / "synthetic_photometry"
PANEL = {
    "name": "Test Panel",
    "kind": "led_panel",
    "watts": "120",
    "ppf": "212,5",
    "ppf_source": "made up",
    "beam": "100",
    "layout": "grid",
    "count_x": "8",
    "count_y": "4",
    "pitch_x": "5",
    "pitch_y": "4",
    "min_height": "15",
    "max_height": "45",
    "control": "programs",
    "price": "300",
    "note": "A test.",
}
BLUE = {"name": "blue", "share": "60", "light": "royal_blue"}


def added(browser: TestClient, **changes: str) -> int:
    answer = browser.post("/lamps/new", data=PANEL | changes)
    assert answer.status_code == 303, answer.text
    return int(answer.headers["location"].rsplit("/", 1)[1])


def stored(club: Database, lamp_id: int) -> tuple[LampModel, list[LampChannel]]:
    with club.read() as db:
        return db.get_one(LampModel, lamp_id), lamps.channels_of(db, lamp_id)


def test_an_empty_shelf_teaches_and_a_full_one_lists(ivo: TestClient) -> None:
    assert "The shelf is empty" in ivo.get("/lamps").text
    lamp_id = added(ivo)
    listed = ivo.get("/lamps").text
    assert f'href="/lamps/{lamp_id}"' in listed and "Test Panel" in listed
    assert ivo.get("/lamps?page=99").status_code == 200


def test_a_visitor_is_sent_to_sign_in(client: TestClient) -> None:
    assert client.get("/lamps").headers["location"].startswith("/sign-in")


def test_a_lamp_is_kept_as_typed_and_its_page_tells_everything(
    ivo: TestClient, club: Database
) -> None:
    lamp_id = added(ivo)
    row, _ = stored(club, lamp_id)
    assert (row.ppf_umol_s, row.count_x, row.pitch_y_cm, row.max_height_cm) == (212.5, 8, 4, 45)
    page = ivo.get(f"/lamps/{lamp_id}")
    assert page.status_code == 200 and len(page.content) < 100_000
    for words in (
        "Test Panel is stated to give 212 µmol s⁻¹ from 120 W: 1.77 µmol per joule.",
        "Half-value footprint",
        "Lux per PPFD",
        "Polished",
        "Yellowed",
        "shimmer is left",
        "Nelson &amp; Bugbee 2014",
        "Pope &amp; Fry 1997",
        "estimate",
        "residual-current device",
    ):
        assert words in page.text
    assert "style=" not in page.text


def test_without_a_stated_flux_the_page_estimates_and_says_so(ivo: TestClient) -> None:
    lamp_id = added(ivo, ppf="")
    page = ivo.get(f"/lamps/{lamp_id}").text
    assert "about 190 µmol s⁻¹" in page
    assert "An estimate from watts and kind" in page
    assert "about 190 (110 to 360) µmol s⁻¹" in ivo.get("/lamps").text


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 90}, "name"),
        ({"watts": "nan"}, "watts"),
        ({"watts": "-4"}, "watts"),
        ({"ppf": "1e99"}, "ppf"),
        ({"beam": "200"}, "beam"),
        ({"kind": "candle"}, "kind"),
        ({"count_x": "0"}, "count_x"),
        ({"count_x": "60", "count_y": "40"}, "count_x"),
        ({"layout": "tubes", "tube_length": ""}, "tube_length"),
        ({"layout": "square", "side": "900"}, "side"),
        ({"min_height": "50", "max_height": "20"}, "max_height"),
        ({"price": "inf"}, "price"),
    ],
)
def test_what_cannot_be_taken_comes_back_as_typed(
    ivo: TestClient, club: Database, changes: dict[str, str], field: str
) -> None:
    answer = ivo.post("/lamps/new", data=PANEL | changes)
    assert answer.status_code == 422
    assert f'href="#{field}"' in answer.text
    assert 'value="212,5"' in answer.text or field == "ppf"
    with club.read() as db:
        assert light.shelf(db) == []


def test_a_second_lamp_of_the_same_name_is_refused(ivo: TestClient) -> None:
    added(ivo)
    answer = ivo.post("/lamps/new", data=PANEL | {"name": "test PANEL"})
    assert answer.status_code == 422 and "already has a lamp of this name" in answer.text


def test_changing_a_lamp_keeps_inches_from_creeping(
    as_member: Callable[[Member], TestClient], cast: Cast, club: Database
) -> None:
    browser = as_member(cast.ivo)
    lamp_id = added(browser)
    with club.write() as db:
        row = db.get_one(Member, cast.ivo.id)
        row.length_unit = "in"
        db.add(row)
    form = browser.get(f"/lamps/{lamp_id}/edit").text
    typed = dict(re.findall(r'<input[^>]* name="(\w+)"[^>]* value="([^"]*)"', form))
    assert typed["pitch_x"] == "1.97"
    values = PANEL | {k: v for k, v in typed.items() if k in PANEL} | {"ppf": "200"}
    assert browser.post(f"/lamps/{lamp_id}/edit", data=values).status_code == 303
    changed, _ = stored(club, lamp_id)
    assert (changed.pitch_x_cm, changed.min_height_cm, changed.ppf_umol_s) == (5, 15, 200)


def test_only_who_added_a_lamp_or_a_steward_changes_it(
    ivo: TestClient, tess: TestClient, as_member: Callable[[Member], TestClient], cast: Cast
) -> None:
    lamp_id = added(ivo)
    mara = as_member(cast.mara)
    assert tess.get(f"/lamps/{lamp_id}").status_code == 200
    for address in ("edit", "channels/new", "photometric-file"):
        assert tess.get(f"/lamps/{lamp_id}/{address}").status_code == 404
        assert tess.post(f"/lamps/{lamp_id}/{address}", data=PANEL).status_code == 404
        assert mara.get(f"/lamps/{lamp_id}/{address}").status_code == 200
    assert "Change the lamp" not in tess.get(f"/lamps/{lamp_id}").text


@pytest.mark.parametrize("address", ["/lamps/999", "/lamps/0", "/lamps/99999999999", "/lamps/x"])
def test_a_lamp_that_is_not_there_is_not_found(ivo: TestClient, address: str) -> None:
    assert ivo.get(address).status_code == 404


def test_channels_are_added_changed_and_taken_away(ivo: TestClient, club: Database) -> None:
    lamp_id = added(ivo)
    new = f"/lamps/{lamp_id}/channels/new"
    assert ivo.post(new, data=BLUE).status_code == 303
    white = {"name": "white", "share": "40", "light": "phosphor_white", "blue_share": "22"}
    assert ivo.post(new, data=white | {"beam": "60"}).status_code == 303
    _, channels = stored(club, lamp_id)
    assert [one.share for one in channels] == [0.6, 0.4]
    assert json.loads(channels[1].spectrum)["blue_share"] == 0.22
    page = ivo.get(f"/lamps/{lamp_id}").text
    assert "Royal blue LED" in page and "white, 22 % blue pump" in page and "60°" in page
    one = f"/lamps/{lamp_id}/channels/{channels[1].id}"
    form = ivo.get(one).text
    assert 'value="22"' in form
    assert ivo.post(one, data=white | {"name": "cool", "blue_share": "30"}).status_code == 303
    assert ivo.post(f"{one}/remove").status_code == 303
    assert len(stored(club, lamp_id)[1]) == 1


def test_tubes_beside_leds_keep_places_of_their_own(ivo: TestClient, club: Database) -> None:
    lamp_id = added(ivo, kind="mixed")
    tubes = BLUE | {
        "name": "tubes",
        "light": "tube_blue",
        "layout": "tubes",
        "count_y": "2",
        "pitch_y": "20",
        "tube_length": "85",
    }
    assert ivo.post(f"/lamps/{lamp_id}/channels/new", data=tubes).status_code == 303
    row, channels = stored(club, lamp_id)
    (channel,) = light.lamp_of(row, channels).lamp.channels
    assert channel.layout is not None and channel.layout.tube_length_cm == 85
    assert "2 tubes of 85" in ivo.get(f"/lamps/{lamp_id}").text


def test_a_spectrum_file_takes_the_place_of_the_kind_of_light(
    ivo: TestClient, club: Database
) -> None:
    lamp_id = added(ivo)
    table = "nm;W\n" + "\n".join(f"{nm};{max(0, 50 - abs(nm - 460))},5" for nm in range(400, 521))
    answer = ivo.post(
        f"/lamps/{lamp_id}/channels/new",
        data=BLUE,
        files={"spectrum_file": ("blue.csv", table.encode())},
    )
    assert answer.status_code == 303
    (channel,) = stored(club, lamp_id)[1]
    assert json.loads(channel.spectrum)["shape"] == "table"
    form = ivo.get(f"/lamps/{lamp_id}/channels/{channel.id}")
    assert '<option value="stored" selected>' in form.text
    kept = BLUE | {"light": "stored", "share": "50"}
    assert ivo.post(f"/lamps/{lamp_id}/channels/{channel.id}", data=kept).status_code == 303
    assert stored(club, lamp_id)[1][0].spectrum == channel.spectrum


@pytest.mark.parametrize(
    ("data", "file", "field", "words"),
    [
        (BLUE | {"name": ""}, b"", "name", "Give the channel a name"),
        (BLUE | {"share": "0"}, b"", "share", "must lie"),
        (BLUE | {"share": "120"}, b"", "share", "must lie"),
        (BLUE | {"light": "moon"}, b"", "light", "Choose"),
        (BLUE | {"light": "gaussian", "peak": "x", "width": "20"}, b"", "peak", "Type one number"),
        (BLUE | {"light": "table", "table": "450 1"}, b"", "table", "At least two"),
        (BLUE, b"450 1\n440 2\n", "spectrum_file", "Line 2: wavelengths must rise"),
        (BLUE, b"\x00\xff\xfe", "spectrum_file", "At least two"),
    ],
)
def test_a_channel_that_cannot_be_taken_comes_back_as_typed(
    ivo: TestClient, club: Database, data: dict[str, str], file: bytes, field: str, words: str
) -> None:
    lamp_id = added(ivo)
    answer = ivo.post(
        f"/lamps/{lamp_id}/channels/new",
        data=data,
        files={"spectrum_file": ("a.csv", file)} if file else None,
    )
    assert answer.status_code == 422
    assert f'href="#{field}"' in answer.text and words in answer.text
    assert stored(club, lamp_id)[1] == []


def test_two_channels_of_one_name_are_refused(ivo: TestClient) -> None:
    lamp_id = added(ivo)
    new = f"/lamps/{lamp_id}/channels/new"
    ivo.post(new, data=BLUE)
    answer = ivo.post(new, data=BLUE | {"name": "Blue"})
    assert answer.status_code == 422 and "already has a channel" in answer.text


def test_a_photometric_file_is_kept_shown_used_and_taken_away(
    ivo: TestClient, club: Database
) -> None:
    lamp_id = added(ivo)
    address = f"/lamps/{lamp_id}/photometric-file"
    raw = (MADE / "quadrant_1000lm.ies").read_bytes()
    assert ivo.post(address, files={"file": ("q.ies", raw)}).status_code == 303
    row, channels = stored(club, lamp_id)
    assert row.intensity_file == raw and light.lamp_of(row, channels).lamp.intensity is not None
    page = ivo.get(f"/lamps/{lamp_id}").text
    assert "Measured directions" in page and "q.ies" in page
    assert ivo.post(f"{address}/remove").status_code == 303
    assert stored(club, lamp_id)[0].intensity_file is None


@pytest.mark.parametrize("raw", [b"", b"junk", (MADE / "quadrant_1000lm.ies").read_bytes()[:800]])
def test_a_broken_photometric_file_is_not_kept(ivo: TestClient, club: Database, raw: bytes) -> None:
    lamp_id = added(ivo)
    answer = ivo.post(f"/lamps/{lamp_id}/photometric-file", files={"file": ("a.ies", raw)})
    assert answer.status_code == 422
    assert stored(club, lamp_id)[0].intensity_file is None


def test_a_lamp_turned_upside_down_is_not_kept(ivo: TestClient) -> None:
    lamp_id = added(ivo)
    text = (MADE / "lambertian_1000lm.ies").read_text()
    up = text.replace("\n0 5 10 15", "\n90 95 100 105").replace("\n1 1000 1 19", "\n1 1000 1 19")
    lines = up.splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("90 95"))
    lines[at] = " ".join(str(angle) for angle in range(90, 181, 5))
    answer = ivo.post(
        f"/lamps/{lamp_id}/photometric-file",
        files={"file": ("up.ies", "\n".join(lines).encode())},
    )
    assert answer.status_code == 422 and "upwards" in answer.text


def test_a_lamp_that_shines_in_a_ring_has_a_page_too(ivo: TestClient) -> None:
    lamp_id = added(ivo, layout="point")
    ring = "IES:LM-63-2019\n[TEST] made up\nTILT=NONE\n1 -1 1 5 1 1 2 0 0 0\n1 1 50\n"
    ring += "0 30 45 60 90\n0\n0 0 100 0 0\n"
    address = f"/lamps/{lamp_id}/photometric-file"
    assert ivo.post(address, files={"file": ("ring.ies", ring.encode())}).status_code == 303
    page = ivo.get(f"/lamps/{lamp_id}")
    assert page.status_code == 200
    assert "nothing dances there" in page.text


def test_stewards_merge_doubles_and_setups_follow(
    ivo: TestClient,
    tess: TestClient,
    as_member: Callable[[Member], TestClient],
    cast: Cast,
    club: Database,
) -> None:
    first, second = added(ivo), added(tess, name="Panel, tested")
    assert ivo.post(f"/lamps/{second}/merge", data={"into": str(first)}).status_code == 403
    mara = as_member(cast.mara)
    assert "stands here twice" in mara.get(f"/lamps/{second}").text
    nowhere = mara.post(f"/lamps/{second}/merge", data={"into": "999"})
    assert nowhere.headers["location"] == f"/lamps/{second}"
    assert mara.post(f"/lamps/{second}/merge", data={"into": str(first)}).status_code == 303
    assert ivo.get(f"/lamps/{second}").headers["location"] == f"/lamps/{first}"
    with club.read() as db:
        assert [row.id for row in light.shelf(db)] == [first]
        assert light.stated_lamps(db, [second])[second].row.id == first


@pytest.mark.parametrize("query", ["height=x", "depth=nan", "ripple=0", "water=green"])
def test_the_lamps_page_refuses_politely_what_it_cannot_hang(ivo: TestClient, query: str) -> None:
    lamp_id = added(ivo)
    values = {"height": "25", "depth": "30", "ripple": "8", "water": "usual"}
    name, value = query.split("=")
    answer = ivo.get(f"/lamps/{lamp_id}", params=values | {name: value})
    assert answer.status_code == 422
    assert "There is a problem" in answer.text and "Test Panel" in answer.text


def test_script_in_a_lamps_name_is_harmless(ivo: TestClient) -> None:
    lamp_id = added(ivo, name="<script>alert(1)</script>")
    assert "<script>alert" not in ivo.get(f"/lamps/{lamp_id}").text
    assert "<script>alert" not in ivo.get("/lamps").text


def test_a_new_name_of_a_channel_carries_the_levels_set_under_the_old(
    ivo: TestClient, club: Database
) -> None:
    lamp_id = added(ivo)
    ivo.post(f"/lamps/{lamp_id}/channels/new", data=BLUE)
    (channel,) = stored(club, lamp_id)[1]
    tank = {
        "name": "Tank",
        "length": "90",
        "width": "45",
        "depth": "45",
        "water": "usual",
        "floor": "light_sand",
    }
    tank_id = int(ivo.post("/tanks/new", data=tank).headers["location"].rsplit("/", 1)[1])
    with club.write() as db:
        setup = Setup(tank_id=tank_id, since=date(2026, 11, 1), created_at=datetime.now(UTC))
        db.add(setup)
        db.flush()
        assert setup.id is not None
        hung = HungLamp(
            setup_id=setup.id,
            lamp_model_id=lamp_id,
            x_cm=45,
            y_cm=22,
            height_cm=25,
            channel_levels='{"blue": 0.5}',
        )
        db.add(hung)
        db.flush()
        hung_id = hung.id
    address = f"/lamps/{lamp_id}/channels/{channel.id}"
    assert ivo.post(address, data=BLUE | {"name": "royal"}).status_code == 303
    assert "hangs in one setup" in ivo.get(f"/lamps/{lamp_id}/edit").text
    with club.read() as db:
        assert json.loads(db.get_one(HungLamp, hung_id).channel_levels) == {"royal": 0.5}
