"""Sessions as pages: begin, preview, store, look, correct, strike out, export."""

import re
from datetime import date

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import func, select

from server.db import surveys
from server.db.engine import Database
from server.models import MeasurementSession, Reading, Upload
from server.surveys.table import read
from tests.web.surveys.conftest import Scene

GOOD = "x_cm;y_cm;depth_cm;PPFD;note\n10,5;20;15;120,5;left\n60;25;10;1.120,5;=under lamp\n"
SPOILT = GOOD + "60;25;;90;\nAverage;;;500;\n"


def upload(browser: TestClient, tank: int, data: str | bytes, **fields: str) -> Response:
    body = data.encode() if isinstance(data, str) else data
    return browser.post(
        f"/tanks/{tank}/sessions/new",
        data={"way": "table", "taken_on": "2026-11-20"} | fields,
        files={"file": ("sunday.csv", body, "text/csv")},
    )


def store(browser: TestClient, answer: Response, refused: int = 0) -> str:
    """Agrees to a preview; the address of the session."""
    stored = browser.post(
        answer.headers["location"] + "/store", data={"refused_count": str(refused)}
    )
    assert stored.status_code == 303, stored.text
    return stored.headers["location"]


def stored_count(club: Database, table: type = Reading) -> int:
    with club.read() as db:
        return db.exec(select(func.count()).select_from(table)).one()


def test_nothing_is_stored_before_the_member_agrees(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    answer = upload(ivo, scene.tank, GOOD)
    assert answer.status_code == 303
    preview = ivo.get(answer.headers["location"])
    assert "2 readings understood, nothing refused" in preview.text
    assert stored_count(club) == 0
    session = store(ivo, answer)
    assert stored_count(club) == 2
    page = ivo.get(session)
    assert "2 readings in Window reef, 120 to 1120" in page.text
    assert "sunday.csv" in page.text


def test_refused_rows_stand_in_the_preview_with_line_and_reason(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    answer = upload(ivo, scene.tank, SPOILT)
    preview = ivo.get(answer.headers["location"]).text
    assert "2 readings understood; 2 rows were not" in preview
    assert "Depth is missing" in preview
    assert "A line of totals, not a reading." in preview
    assert "Store the 2 good and leave out 2" in preview
    listed = ivo.get(answer.headers["location"] + "/refused.csv").text
    assert "4,Depth is missing" in listed
    store(ivo, answer, refused=2)
    assert stored_count(club) == 2


def test_storing_wants_the_very_preview_that_was_seen(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    answer = upload(ivo, scene.tank, SPOILT)
    again = ivo.post(answer.headers["location"] + "/store", data={"refused_count": "0"})
    assert again.status_code == 200 and "Depth is missing" in again.text
    assert stored_count(club) == 0


def test_storing_twice_stores_once(ivo: TestClient, scene: Scene, club: Database) -> None:
    answer = upload(ivo, scene.tank, GOOD)
    store(ivo, answer)
    second = ivo.post(answer.headers["location"] + "/store", data={"refused_count": "0"})
    assert second.status_code == 404
    assert stored_count(club) == 2


def test_a_pasted_table_works_like_a_file(ivo: TestClient, scene: Scene) -> None:
    answer = ivo.post(
        f"/tanks/{scene.tank}/sessions/new",
        data={"way": "table", "taken_on": "2026-11-20", "pasted": GOOD.replace(";", "\t")},
    )
    session = store(ivo, answer)
    assert "2 readings in Window reef" in ivo.get(session).text
    assert "pasted text" in ivo.get(session).text


def test_the_same_file_is_recognised(ivo: TestClient, scene: Scene) -> None:
    first = store(ivo, upload(ivo, scene.tank, GOOD))
    preview = ivo.get(upload(ivo, scene.tank, GOOD).headers["location"]).text
    assert "This very file is stored already" in preview
    assert f'href="{first}"' in preview


def test_columns_are_mapped_by_hand_and_remembered(
    ivo: TestClient, tess: TestClient, scene: Scene, club: Database
) -> None:
    text = "a;b;c;d\n12;120,5;10,5;20\n15;110;60;25\n"
    answer = upload(ivo, scene.tank, text)
    address = answer.headers["location"]
    assert "Say what each column holds" in ivo.get(address).text
    mapped = ivo.post(
        address,
        data={
            "by_hand": "yes",
            "column-0": "depth", "column-1": "ppfd", "column-2": "x", "column-3": "y",
            "unit-0": "in", "length_unit": "cm",
        },
    )  # fmt: skip
    assert mapped.status_code == 303
    assert "2 readings understood" in ivo.get(address).text
    store(ivo, answer)
    with club.read() as db:
        first = db.exec(select(Reading)).first()
    assert first is not None
    assert (first.x_cm, first.y_cm, first.depth_cm, first.raw_ppfd) == (10.5, 20, 30.48, 120.5)
    second = ivo.get(upload(ivo, scene.tank, text + "9;8;7;6\n").headers["location"]).text
    assert "read as you read such a file before" in second
    assert "3 readings understood" in second


def test_a_mapping_without_light_is_asked_again_with_everything_kept(
    ivo: TestClient, scene: Scene
) -> None:
    address = upload(ivo, scene.tank, "a;b;c;d\n1;2;3;4\n").headers["location"]
    answer = ivo.post(address, data={"by_hand": "yes", "column-0": "x", "column-1": "y"})
    assert answer.status_code == 422
    assert "Say which column holds the light." in answer.text


def test_lux_are_turned_by_the_lamps_on_record_and_the_page_says_so(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    answer = upload(ivo, scene.tank, "x;y;depth;lux\n10;20;15;7000\n")
    page = ivo.get(answer.headers["location"]).text
    assert "worked out from the colours of the lamps on record" in page
    store(ivo, answer)
    with club.read() as db:
        session, reading = db.exec(select(MeasurementSession)).one(), db.exec(select(Reading)).one()
    assert session.lux_per_ppfd and 15 < session.lux_per_ppfd < 90
    assert reading.raw_ppfd == pytest.approx(7000 / session.lux_per_ppfd)
    assert (reading.typed_light, reading.light_unit) == ("7000", "lux")


def test_lux_without_any_lamp_are_refused_until_a_factor_is_said(
    tess: TestClient, scene: Scene
) -> None:
    address = upload(tess, scene.tess_tank, "x;y;depth;lux\n10;20;15;7000\n").headers["location"]
    assert "Light is in lux" in tess.get(address).text
    tess.post(address, data={"lux_per_ppfd": "70", "length_unit": "cm"})
    assert "1 reading understood" in tess.get(address).text


def test_a_file_can_be_read_another_way(ivo: TestClient, scene: Scene) -> None:
    text = "x;y;depth;PAR\n10;20;15;70\n"
    address = upload(ivo, scene.tank, text).headers["location"]
    ivo.post(address, data={"length_unit": "mm"})
    page = ivo.get(address).text
    assert "1 reading understood" in page
    assert "1, 2, 1.5" in page  # millimetres


def test_a_slipped_digit_in_a_table_is_asked_about_and_not_refused(
    ivo: TestClient, scene: Scene
) -> None:
    rows = "".join(f"{10 * n};20;15;{1150 if n == 3 else 110 + n}\n" for n in range(1, 9))
    answer = upload(ivo, scene.tank, "x;y;depth;PAR\n" + rows)
    page = ivo.get(answer.headers["location"]).text
    assert "Line 4: 1150?" in page and "115 is meant?" in page
    assert "8 readings understood, nothing refused" in page


def test_a_file_let_go_is_gone(ivo: TestClient, scene: Scene, club: Database) -> None:
    address = upload(ivo, scene.tank, GOOD).headers["location"]
    assert ivo.post(address + "/drop").status_code == 303
    assert ivo.get(address).status_code == 404
    assert stored_count(club, Upload) == 0


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "The file is empty"),
        (b"\x1f\x8b\x08aaa", "gzip archive"),
        (b"PK\x03\x04", "save the sheet as CSV"),
        (b"1" * (8 * 2**20 + 1), "the limit is 8 MB"),
        (b"x,y\x00", "NUL"),
    ],
)
def test_a_hostile_file_comes_back_with_the_form_as_typed(
    ivo: TestClient, scene: Scene, club: Database, data: bytes, words: str
) -> None:
    answer = upload(ivo, scene.tank, data, note="evening, pumps off")
    assert answer.status_code == 422
    assert words in answer.text and "evening, pumps off" in answer.text
    assert stored_count(club, Upload) == 0


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("taken_on", "soon", "Enter a day, like"),
        ("taken_on", "2199-01-01", "Choose a day from"),
        ("immersion_factor", "nan", "Type one number"),
        ("immersion_factor", "77", "77 does not"),
        ("meter_id", "999", "Choose one of the answers"),
        ("setup_id", "999", "Choose one of the answers"),
        ("sensor_x", "121", "121 does not"),
        ("note", "x" * 3000, "Keep this to 2000"),
    ],
)
def test_a_wrong_field_is_said_in_place(
    ivo: TestClient, scene: Scene, club: Database, field: str, value: str, words: str
) -> None:
    answer = upload(ivo, scene.tank, GOOD, **{field: value})
    assert answer.status_code == 422
    assert words in answer.text
    assert stored_count(club, Upload) == 0


def test_the_meters_own_factor_is_used_when_none_is_typed(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    answer = upload(ivo, scene.tank, GOOD, meter_id=str(scene.meter), immersion_factor="")
    page = ivo.get(store(ivo, answer)).text
    assert "multiplied once by 1.25" in page
    with club.read() as db:
        reading = db.exec(select(Reading)).first()
        session = db.exec(select(MeasurementSession)).first()
    assert reading is not None and session is not None
    assert (reading.raw_ppfd, reading.ppfd) == (120.5, 150.625)
    assert session.setup_id == scene.setup


def test_correcting_factors_starts_from_the_raw_values_each_time(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    session = store(ivo, upload(ivo, scene.tank, GOOD))
    for factor in ("1.3", "1.1"):
        answer = ivo.post(
            session + "/correct", data={"taken_on": "2026-11-19", "immersion_factor": factor}
        )
        assert answer.status_code == 303
    with club.read() as db:
        readings = list(db.exec(select(Reading)))
    assert [one.ppfd for one in readings] == [132.55, 1232.55]
    page = ivo.get(session).text
    assert "Ivo corrected the session" in page
    assert "immersion factor 1.3 changed to 1.1" in page


def test_a_reading_is_struck_out_with_a_reason_and_brought_back(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    session = store(ivo, upload(ivo, scene.tank, GOOD))
    with club.read() as db:
        reading = db.exec(select(Reading)).first()
    assert reading is not None
    address = f"{session}/readings/{reading.id}"
    ivo.post(address + "/strike", data={"reason": "sensor was tilted"})
    page = ivo.get(session).text
    assert "1 reading in Window reef" in page and "struck out: sensor was tilted" in page
    ivo.post(address + "/bring-back")
    page = ivo.get(session).text
    assert "2 readings in Window reef" in page
    assert "Ivo struck out a reading: sensor was tilted" in page
    assert "Ivo brought back a reading" in page


def test_a_session_is_set_aside_and_brought_back(ivo: TestClient, scene: Scene) -> None:
    session = store(ivo, upload(ivo, scene.tank, GOOD))
    ivo.post(session + "/set-aside")
    listed = ivo.get(f"/tanks/{scene.tank}/sessions").text
    assert "Set aside" in listed
    assert "This session is set aside" in ivo.get(session).text
    ivo.post(session + "/bring-back")
    assert "set aside:" not in ivo.get(session).text


def test_the_csv_reads_back_as_the_readings_and_runs_no_formula(
    ivo: TestClient, scene: Scene
) -> None:
    session = store(ivo, upload(ivo, scene.tank, GOOD, note="=1+1"))
    answer = ivo.get(session + "/readings.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    assert not re.search(r"(^|,)[=+@-]", answer.text, re.MULTILINE)
    table = read(answer.content)
    assert [(r.x_cm, r.y_cm, r.depth_cm, r.ppfd) for r in table.rows] == [
        (10.5, 20.0, 15.0, 120.5),
        (60.0, 25.0, 10.0, 1120.5),
    ]
    assert table.rows[1].note == "=under lamp"


def test_the_file_comes_back_as_it_was_sent(ivo: TestClient, scene: Scene) -> None:
    session = store(ivo, upload(ivo, scene.tank, GOOD))
    answer = ivo.get(session + "/file")
    assert answer.content == GOOD.encode()
    assert answer.headers["content-type"] == "application/octet-stream"
    assert 'filename="sunday.csv"' in answer.headers["content-disposition"]


def test_a_log_shows_its_day_and_dose(ivo: TestClient, scene: Scene) -> None:
    rows = [f"2026-11-{18 + d} {h:02d}:{m:02d};100" for d in (0, 1) for h in range(24)
            for m in (0, 30)]  # fmt: skip
    text = "Zeit;PAR\n" + "\n".join([*rows, "2026-11-20 00:00;100"]) + "\n"
    answer = upload(ivo, scene.tank, text, sensor_x="60", sensor_y="25", sensor_depth="20")
    page = ivo.get(store(ivo, answer)).text
    assert "<title>Readings of 18 November 2026" in page, "a log is dated by its first line"
    assert "The sensor in Window reef gets 8.64 mol m⁻² a day" in page
    assert "18 November 2026" in page


def test_fifty_thousand_rows_are_shown_in_parts(ivo: TestClient, scene: Scene) -> None:
    rows = "".join(f"{n % 120},{n % 50},{n % 55},{n % 400}\n" for n in range(50_000))
    answer = upload(ivo, scene.tank, "x,y,depth,ppfd\n" + rows)
    session = store(ivo, answer)
    page = ivo.get(session + "?page=1000")
    assert "Part 1000 of 1000" in page.text
    assert len(page.content) < 100_000


def test_others_see_nothing_of_a_private_tank(
    ivo: TestClient, tess: TestClient, client: TestClient, scene: Scene
) -> None:
    waiting = upload(ivo, scene.tank, GOOD).headers["location"]
    session = store(ivo, upload(ivo, scene.tank, GOOD))
    for address in (
        f"/tanks/{scene.tank}/sessions", f"/tanks/{scene.tank}/sessions/new", waiting,
        waiting + "/refused.csv", session, session + "/readings.csv", session + "/file",
        session + "/correct", session + "/enter", session + "/sheet",
    ):  # fmt: skip
        assert tess.get(address).status_code == 404, address
        assert client.get(address).status_code == 303, address
    for address in (waiting, waiting + "/store", waiting + "/drop", session + "/set-aside",
                    session + "/correct", session + "/enter", session + "/readings/1/strike",
                    session + "/entries"):  # fmt: skip
        assert tess.post(address).status_code == 404, address


def test_a_shared_tanks_readings_may_be_looked_at_but_not_changed(
    ivo: TestClient, scene: Scene, club: Database
) -> None:
    with club.write() as db:
        words = surveys.SessionWords(taken_on=date(2026, 11, 1))
        session = surveys.add_session(db, tank_id=scene.shared_tank, words=words, by_id=None)
    address = f"/sessions/{session.id}"
    assert ivo.get(address).status_code == 200
    assert ivo.get(address + "/readings.csv").status_code == 200
    assert ivo.get(address + "/enter").status_code == 404
    assert ivo.post(address + "/set-aside").status_code == 404
    assert upload(ivo, scene.shared_tank, GOOD).status_code == 404


def test_an_empty_list_teaches(ivo: TestClient, scene: Scene) -> None:
    page = ivo.get(f"/tanks/{scene.tank}/sessions").text
    assert "Nobody has measured here yet" in page
    assert "Begin with the first readings" in page
