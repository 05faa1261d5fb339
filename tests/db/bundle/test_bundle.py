"""A tank travels whole: what is packed, unpacked and packed again is the same."""

import csv
import io
import json
import time
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from server.db import days, schema, tanks
from server.db.bundle import cells, contents, pack, unpack
from server.db.engine import Database, open_database
from server.dose.day import Day
from server.models import (
    AcclimationPlan,
    AcclimationStep,
    Animal,
    LampChannel,
    LampModel,
    LoggedLight,
    MeasurementSession,
    Member,
    Reading,
    SQLModel,
    Tank,
    Upload,
)
from tests.conftest import Cast

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


def make_tank(db: Session, keeper: Member) -> int:
    """A tank with hostile names, a lamp with channels, a setup, an animal, a file, readings."""
    assert keeper.id is not None
    words = tanks.TankWords(name="=SUM(A1)", length_cm=90.5, width_cm=45, depth_cm=50)
    tank = tanks.add_tank(db, owner_id=keeper.id, words=words)
    lamp = LampModel(
        name="'quoted'",
        kind="led_cluster",
        beam_deg=80,
        watts=60,
        side_cm=8,
        created_at=NOW,
        created_by_id=keeper.id,
    )
    db.add(lamp)
    db.flush()
    assert tank.id is not None and lamp.id is not None
    db.add(LampChannel(lamp_model_id=lamp.id, name="blue", share=0.6))
    db.add(LampChannel(lamp_model_id=lamp.id, name="white", share=0.4))
    place = tanks.LampPlace(lamp_model_id=lamp.id, x_cm=45, y_cm=22, height_cm=24, power=0.7)
    setup = tanks.save_setup(
        db, tank_id=tank.id, lamps=[place], since=date(2026, 1, 5), reason="new", by_id=keeper.id
    )
    animal = tanks.AnimalWords(
        name="Zoë, “purple”\nsecond line",
        group="soft",
        x_cm=1,
        y_cm=2,
        depth_cm=3,
        low_ppfd=75,
        high_ppfd=150,
        range_source="common practice",
        placed_on=date(2026, 1, 6),
    )
    first = tanks.add_animal(db, tank.id, animal)
    session = MeasurementSession(
        tank_id=tank.id,
        setup_id=setup.id,
        taken_on=date(2026, 2, 1),
        immersion_factor=1.08,
        created_by_id=keeper.id,
        created_at=NOW,
    )
    db.add(session)
    db.flush()
    assert session.id is not None
    for number in range(3):
        db.add(
            Reading(
                session_id=session.id,
                x_cm=10.1 * number,
                y_cm=5,
                depth_cm=20,
                raw_ppfd=100 / 3,
                ppfd=36,
                entered_at=NOW,
            )
        )
    db.add(
        Upload(
            tank_id=tank.id,
            session_id=session.id,
            member_id=keeper.id,
            sha256="0" * 64,
            data=b"x;y\r\n1;2\r\n\x00",
            created_at=NOW,
        )
    )
    assert setup.id is not None
    known = {
        "animal_id": first.id,
        "name": "Zoë",
        "peak_ppfd": 80.0,
        "dli_mol_m2_d": 3.0,
        "from": "the last setup",
    }
    way = AcclimationPlan(
        tank_id=tank.id,
        setup_id=setup.id,
        started_on=date(2026, 2, 2),
        weekly_rise=0.15,
        means="{}",
        used_to=json.dumps([known]),
        created_at=NOW,
    )
    db.add(way)
    db.flush()
    assert way.id is not None
    db.add(
        AcclimationStep(
            plan_id=way.id,
            number=1,
            due_on=date(2026, 2, 9),
            power=0.5,
            raised_cm=0,
            lit_share=1,
            peaks="[100.0]",
            dlis="[3.6]",
            largest_rise=0.1,
        )
    )
    group = days.GroupDay(day=Day(hours=(8.0, 20.0), levels=(0.0, 100.0)), lamp_model_id=lamp.id)
    noted = days.DayWords(since=date(2026, 1, 5), time_zone="Europe/Lisbon", reason="new day")
    days.save_schedule(db, tank_id=tank.id, words=noted, days=[group], by_id=keeper.id)
    db.add(LoggedLight(session_id=session.id, row=4, wall_clock_s=2**33, raw_ppfd=1, ppfd=1.5))
    db.flush()
    return tank.id


@pytest.fixture
def packed(club: Database, cast: Cast) -> bytes:
    with club.write() as db:
        tank_id = make_tank(db, cast.ivo)
    with club.read() as db:
        return pack.pack(db, tank_id)


@pytest.fixture
def other_club(tmp_path: Path) -> Database:
    database = open_database(data=tmp_path / "other")
    schema.migrate(database)
    with database.write() as db:
        db.add(Member(name="Somebody first", created_at=NOW))
        db.add(Member(name="Ada", email="ada@other.example", created_at=NOW))
    return database


def test_a_tank_comes_back_the_same_in_another_club(packed: bytes, other_club: Database) -> None:
    found = unpack.read(packed)
    with other_club.write() as db:
        tank_id = unpack.put_in(db, found, keeper_id=2)
    with other_club.read() as db:
        assert pack.pack(db, tank_id) == packed
        assert db.get_one(Tank, tank_id).name == "=SUM(A1)"


def test_numbers_inside_a_cell_follow_their_rows(packed: bytes, other_club: Database) -> None:
    with other_club.write() as db:
        unpack.put_in(db, unpack.read(packed), keeper_id=2)
        unpack.put_in(db, unpack.read(packed), keeper_id=2)
    with other_club.read() as db:
        animals = [animal.id for animal in db.exec(select(Animal))]
        told = [json.loads(plan.used_to) for plan in db.exec(select(AcclimationPlan))]
    assert [entry["animal_id"] for (entry,) in told] == animals and len(set(animals)) == 2


def test_taking_it_in_twice_adds_no_second_lamp_model(packed: bytes, other_club: Database) -> None:
    found = unpack.read(packed)
    with other_club.write() as db:
        unpack.put_in(db, found, keeper_id=2)
        again = unpack.put_in(db, found, keeper_id=2)
    with other_club.read() as db:
        assert len(db.exec(select(LampModel)).all()) == 1
        assert pack.pack(db, again) == packed


def test_a_bundle_holds_no_names_or_addresses_of_people(packed: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(packed)) as bundle:
        everything = b"".join(bundle.read(name) for name in bundle.namelist())
    for word in (b"Ivo", b"ivo@", b"club.example", b"Test Reef Club"):
        assert word not in everything


def test_text_that_looks_like_a_formula_is_harmless(packed: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(packed)) as bundle:
        text = bundle.read("tank.csv").decode()
    row = next(csv.DictReader(io.StringIO(text)))
    assert row["name"] == "'=SUM(A1)"


def test_the_description_names_every_column_with_its_unit(packed: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(packed)) as bundle:
        told = json.loads(bundle.read("metadata.json"))
        for table in told["tables"]:
            header = bundle.read(table["url"]).decode().splitlines()[0].split(",")
            columns = table["tableSchema"]["columns"]
            assert [column["name"] for column in columns] == header
            for column in columns:
                if column["name"].endswith("_cm"):
                    assert column["unit"] == "cm"


def changed(packed: bytes, name: str, change: Callable[[str], str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.namelist():
            content = old.read(entry)
            new.writestr(entry, change(content.decode()).encode() if entry == name else content)
    return out.getvalue()


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("tank.csv", "90.5", "nan", "finite number"),
        ("tank.csv", "90.5", "-3.0", "contradict"),
        ("tank.csv", "90.5", "1e9", "not possible"),
        ("tank.csv", "usual", "u" * 99, "at most 16 letters"),
        ("acclimationstep.csv", "[3.6]", "[]", "does not fit"),
        ("acclimationstep.csv", "[3.6]", "[", "not possible"),
        ("acclimationplan.csv", "0.15", "NaN", "finite"),
        ("acclimationplan.csv", ",{},", ',"{""x"": 1}",', "not possible"),
        ("tank.csv", "clear", "green", "not possible"),
        ("hunglamp.csv", ",24.0,", ",9e29,", "not possible"),
        ("measurementsession.csv", "2026-02-01", "9999-12-31", "out of reason"),
        ("tank.csv", "id,", "nr,", "first line"),
        ("setup.csv", "2026-01-05", "5 January", "a date"),
        ("hunglamp.csv", "1,1,1,", "1,7,1,", "leads nowhere"),
        ("animal.csv", ",1.0,2.0,3.0,", ",1.0,2.0,300.0,", "outside the tank"),
        ("upload.csv", "files/", "../", "not in the bundle"),
        ("reading.csv", "33.3", "x", "finite number"),
        ("metadata.json", "underlamp-tank/1", "underlamp-tank/9", "format"),
        ("metadata.json", "{", "[", "metadata.json"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_kept(
    packed: bytes, other_club: Database, file: str, old: str, new: str, words: str
) -> None:
    broken = changed(packed, file, lambda text: text.replace(old, new))
    assert broken != changed(packed, file, lambda text: text)
    with pytest.raises(unpack.Refused, match=words), other_club.write() as db:
        unpack.put_in(db, unpack.read(broken), keeper_id=2)
    with other_club.read() as db:
        assert not db.exec(select(Tank)).all() and not db.exec(select(LampModel)).all()


@pytest.mark.parametrize("raw", [b"", b"PK", b"not a zip at all", b"\x00" * 1000])
def test_what_is_no_bundle_is_refused(raw: bytes) -> None:
    with pytest.raises(unpack.Refused):
        unpack.read(raw)


def test_a_bundle_that_swells_is_refused_before_it_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(unpack, "MOST_BYTES", 1000)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("tank.csv", b"0" * 100_000)
    with pytest.raises(unpack.Refused, match="too large"):
        unpack.read(out.getvalue())


def grown(packed: bytes, name: str, times: int) -> bytes:
    """The bundle with the last row of a table written many times over, numbered on."""

    def more(text: str) -> str:
        *before, last = text.rstrip("\r\n").split("\r\n")
        number, rest = last.split(",", 1)
        rows = [f"{int(number) + n},{rest}" for n in range(times + 1)]
        return "\r\n".join([*before, *rows]) + "\r\n"

    return changed(packed, name, more)


def refused(raw: bytes, words: str) -> float:
    """Seconds of processor that it took to say no in these words."""
    began = time.process_time()
    with pytest.raises(unpack.Refused, match=words):
        unpack.read(raw)
    return time.process_time() - began


@pytest.mark.parametrize(
    ("swelling", "words"),
    [
        ("\r\n" * 16_000_000, "0 cells"),
        ("," * 60_000_000, "not readable"),
        ('"' + "a" * 60_000_000, "not readable"),
    ],
)
def test_rows_are_judged_one_by_one_and_not_after_all_were_read(
    packed: bytes, swelling: str, words: str
) -> None:
    raw = changed(packed, "reading.csv", lambda text: text.split("\r\n")[0] + "\r\n" + swelling)
    assert refused(raw, words) < 2, "it took 14 s and 1.5 GB when all lines were read first"


def test_more_rows_than_a_bundle_may_hold_are_not_read_to_their_end(
    packed: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpack, "MOST_ROWS", 1000)
    unpack.read(grown(packed, "reading.csv", 900))
    assert refused(grown(packed, "reading.csv", 60_000), "more than 1000 rows") < 0.5


def test_one_file_belongs_to_one_row(packed: bytes) -> None:
    refused(grown(packed, "upload.csv", 1), "names a file that is not in the bundle")


def test_two_uploads_of_one_file_travel_both(
    packed: bytes, other_club: Database, club: Database
) -> None:
    with club.write() as db:
        [first] = db.exec(select(Upload)).all()
        db.add(Upload(**first.model_dump(exclude={"id"})))
    with club.read() as db:
        twice = pack.pack(db, 1)
    with other_club.write() as db:
        tank_id = unpack.put_in(db, unpack.read(twice), keeper_id=2)
    with other_club.read() as db:
        assert pack.pack(db, tank_id) == twice
        assert [one.data for one in db.exec(select(Upload))] == [first.data] * 2


def test_only_lamps_of_the_tank_reach_the_shelf(packed: bytes) -> None:
    refused(grown(packed, "lampmodel.csv", 1), "does not use")
    refused(grown(packed, "lampmodel.csv", 300), "more than 60 lamp models")
    refused(grown(packed, "lampchannel.csv", 300), "more than 40 channels")


def test_a_large_tank_is_written_in_few_statements(packed: bytes, other_club: Database) -> None:
    found = unpack.read(grown(packed, "reading.csv", 20_000))
    began = time.process_time()
    with other_club.write() as db:
        unpack.put_in(db, found, keeper_id=2)
    assert time.process_time() - began < 5, "others wait for the writer: it was 0.5 ms a row"


STAYS = {
    "loan": "belongs to the meter",
    "loanday": "belongs to the meter",
}


def test_every_table_that_hangs_on_a_tank_travels_or_says_why_not() -> None:
    reached = {"tank"}
    grew = True
    while grew:
        grew = False
        for name, table in SQLModel.metadata.tables.items():
            targets = {key.column.table.name for key in table.foreign_keys}
            if name not in reached and targets & reached:
                reached.add(name)
                grew = True
    assert reached - set(contents.TABLES) - set(STAYS) == set()


@given(
    name=st.sampled_from(contents.TABLES),
    text=st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=50),
    number=st.floats(allow_nan=False, allow_infinity=False),
)
@settings(deadline=None)
def test_a_cell_reads_back_as_it_was_written(name: str, text: str, number: float) -> None:
    for travelling in contents.columns(name):
        kind = cells.datatype(travelling.column)
        fitting = text[: cells.most_letters(travelling.column)]
        value: object = {"string": fitting, "double": number}.get(kind)
        if value is None or value == "":
            continue
        assert cells.read(travelling.column, cells.write(travelling.column, value)) == value
