"""Ugly files as people send them, each with what has to come out of it."""

from datetime import date, datetime

import pytest

from server.surveys.table import NoHeader, read
from server.surveys.table_text import MAX_BYTES, NotATable
from server.surveys.table_words import Meaning
from server.surveys.understood import ReadAs, Understood

XYDL = "x;y;depth;PAR\n"


def values(table: Understood) -> list[tuple[float, float, float, float]]:
    return [(row.x_cm, row.y_cm, row.depth_cm, row.ppfd) for row in table.rows]


def refusals(table: Understood) -> list[int]:
    return [refusal.row for refusal in table.refused]


ONE = [(10.5, 20.0, 15.0, 120.5)]


@pytest.mark.parametrize(
    "text",
    [
        "x_cm,y_cm,depth_cm,ppfd\n10.5,20,15,120.5\n",
        "x;y;depth;PAR\n10,5;20;15;120,5\n",
        "PAR\tdepth\ty\tx\n120,5\t15\t20\t10,5\n",
        "x [mm];y [mm];Tiefe [mm];Messwert\n105;200;150;120,5\n",
        "Tiefe (cm);links;vorne;Licht (µmol/m²/s)\n15;10,5;20;120,5\n",
        "profondeur;gauche;devant;lumière\n15;10,5;20;120,5\n",
        "profundidad,izquierda,frente,luz\n15,10.5,20,120.5\n",
        "sep=;\nx;y;depth;PAR\n10,5;20;15;120,5\n",
        "x;y;depth;PAR;;;\n10,5;20;15;120,5;;;\n;;;;;;\n",
        "x;y;depth;PPFD\ncm;cm;cm;µmol/m²/s\n10,5;20;15;120,5\n",
        "x,y,depth,PAR\n10.5 cm,200 mm,0.15 m,120.5 µmol/m²/s\n",
        '"x","y","depth","PAR"\n"10,5","20","15","120,5"\n',
        "Our tank\nmeasured on a Sunday\n\nx;y;depth;PAR\n10,5;20;15;120,5\n",
        "No.;x;y;depth;PAR;temp\n1;10,5;20;15;120,5;25\n",
        "Depth: 15 cm\nx;y;PAR\n10,5;20;120,5\n",
        "x;y;15 cm\n10,5;20;120,5\n",
        "Depth 15 cm\ny\\x;10,5\n20;120,5\n",
        "x|y|depth|PAR\n10.5|20|15|120.5\n",
        "x  y  depth  PAR\n10.5  20  15  120.5\n",
        "x;y;depth;PAR\n10,5;20;15;'120,5\n",
        "x;y;depth;PAR\r10,5;20;15;120,5\r",
    ],
)
def test_the_same_reading_in_many_clothes(text: str) -> None:
    table = read(text)
    assert values(table) == ONE
    assert table.refused == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "latin-1"])
def test_encodings_keep_umlauts_in_notes(encoding: str) -> None:
    text = "x;y;depth;PAR (µmol/m²/s);Bemerkung\n10,5;20;15;120,5;Höhle, früh\n"
    table = read(text.encode(encoding))
    assert values(table) == ONE
    assert table.rows[0].note == "Höhle, früh"


def test_inches_become_centimetres_exactly() -> None:
    assert values(read("x in,y in,depth in,PAR\n10,5.5,4,100\n")) == [(25.4, 13.97, 10.16, 100.0)]


def test_thousands_marks_are_not_decimals() -> None:
    table = read(
        "x;y;depth;PAR\n10,5;2;3;1.120,5\n10,5;2;3;1 120,5\n10,5;2;3;1'120\n10,5;2;3;1.120\n"
    )
    assert [row.ppfd for row in table.rows] == [1120.5, 1120.5, 1120.0, 1120.0]


def test_places_of_a_thousand_centimetres_make_the_comma_a_decimal_mark() -> None:
    table = read("x\ty\tdepth\tPAR\n12,125\t20\t15\t1,234\n")
    assert values(table) == [(12.125, 20.0, 15.0, 1.234)]


def test_a_file_that_contradicts_itself_is_asked_about_and_not_guessed() -> None:
    table = read("x;y;depth;PAR\n10,5;20.5;15;1.234\n10,5;20.5;15;12\n")
    assert refusals(table) == [2]
    assert "1.234 or as 1234" in table.refused[0].reason
    settled = read("x;y;depth;PAR\n10,5;20.5;15;1.234\n", ReadAs(decimal=","))
    assert settled.rows[0].ppfd == 1234.0


def test_lux_needs_a_spectrum_and_is_divided_once() -> None:
    text = "x,y,depth,lux\n10,20,15,7000\n"
    assert "lux" in read(text).refused[0].reason
    assert read(text, ReadAs(lux_per_ppfd=70.0)).rows[0].ppfd == 100.0


def test_lux_beside_ppfd_is_left_alone() -> None:
    table = read("x,y,depth,lux,PAR\n10,20,15,7000,120\n")
    assert table.rows[0].ppfd == 120.0
    assert [c.meaning.role for c in table.columns] == ["x", "y", "depth", None, "ppfd"]


def test_repeated_light_columns_are_repeated_readings() -> None:
    table = read(XYDL.replace("PAR", "PAR 1;PAR 2;PAR 3") + "1;2;3;100;104;x\n1;2;3;;;\n")
    assert [row.ppfd for row in table.rows] == [100.0, 104.0]
    assert refusals(table) == [2, 3]


def test_totals_repeated_headers_and_words_are_refused_with_their_line() -> None:
    text = XYDL + "1;2;3;100\n" + XYDL + "1;2;3;n/a\n\nAverage;;;100\nSumme;;;100\n1;2;;100\n"
    table = read(text)
    assert refusals(table) == [3, 4, 6, 7, 8]
    reasons = [refusal.reason for refusal in table.refused]
    assert "header line again" in reasons[0]
    assert "n/a" in reasons[1]
    assert reasons[2] == reasons[3] == "A line of totals, not a reading."
    assert reasons[4] == "Depth is missing"


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ("1;2;-3;4", "below zero; depth counts down"),
        ("1;2;3;-4", "below zero"),
        ("1;2;3;nan", "not a number"),
        ("1;2;3;inf", "not a number"),
        ("1;2;3;1e999", "more than"),
        ("1;2;3;30000", "midday sun"),
        ("1;2;3;1_000", "unit of light"),
        ("1;2;3;１２", "not a number"),
        ("121,5;2;3;4", "outside the tank: it is 120 cm long"),
        ("1;2;80;4", "55 cm deep"),
        ("1;2;3 kg;4", "no unit of length"),
        ("1;2;3;4;5", "5 cells where the header has 4"),
        ("1;2;3;12 34", "not one number"),
    ],
)
def test_a_bad_cell_says_what_is_wrong(cells: str, words: str) -> None:
    table = read(XYDL + cells + "\n", ReadAs(tank_cm=(120, 50, 55)))
    assert table.rows == ()
    assert words in table.refused[0].reason


def test_a_quotation_mark_never_closed_costs_its_own_row_only() -> None:
    table = read('x,y,depth,ppfd,note\n1,2,3,4,"open\n1,2,3,5,fine\n1,2,3,6,5" deep\n')
    assert refusals(table) == [2]
    assert [row.ppfd for row in table.rows] == [5.0, 6.0]
    assert table.rows[1].note == '5" deep'


def test_a_quoted_note_may_run_over_lines() -> None:
    table = read('x,y,depth,ppfd,note\n1,2,3,4,"first\nsecond"\n1,2,3,5,\n')
    assert [row.row for row in table.rows] == [2, 4]
    assert table.rows[0].note == "first\nsecond"


def test_a_column_measured_from_the_far_wall_is_not_taken_for_x() -> None:
    with pytest.raises(NoHeader, match="No column gives x"):
        read("from right;y;depth;PAR\n1;2;3;4\n")


def test_no_header_asks_for_a_mapping_and_obeys_it() -> None:
    text = "10;20;15;120\n30;20;15;110\n"
    with pytest.raises(NoHeader) as asked:
        read(text)
    assert asked.value.signature == "4 columns without headings"
    assert len(asked.value.columns) == 4
    by_hand = ReadAs(columns=(Meaning("y", "mm"), Meaning("x"), Meaning("depth"), Meaning("ppfd")))
    assert values(read(text, by_hand))[0] == (20.0, 1.0, 15.0, 120.0)


def test_headings_that_say_nothing_can_be_mapped_and_are_no_reading() -> None:
    text = "a;b;c;d\n10;20;15;120\n"
    columns = tuple(Meaning(role) for role in ("x", "y", "depth", "ppfd"))
    table = read(text, ReadAs(columns=columns))
    assert table.header_rows == (1,)
    assert values(table) == [(10.0, 20.0, 15.0, 120.0)]


def test_a_grid_gives_a_reading_a_cell_and_refuses_by_cell() -> None:
    text = (
        "My tank\nDepth 20 cm\ny\\x;10;30;50\n10;120;150,5;130\n30;110;x;\n\n"
        "Depth: 40 cm\n;10;30\n10;60;70\nMittel;65;70\n"
    )
    table = read(text)
    assert table.kind == "grid"
    assert len(table.rows) == 6
    assert (30.0, 10.0, 20.0, 150.5) in values(table)
    assert (30.0, 10.0, 40.0, 70.0) in values(table)
    assert refusals(table) == [5, 10]
    assert table.above == ((1, "My tank"),)


def test_a_grid_may_name_its_depth_in_the_corner_and_its_unit_for_both_ways() -> None:
    table = read("Depth 4 in;10;20\n5;120;130\n\nDepth 8 in;10\n5;60\n")
    assert values(table) == [(10, 5, 10.16, 120), (20, 5, 10.16, 130), (10, 5, 20.32, 60)]
    inches = read("Depth 10 cm\ny\\x (in);10\n5;120\n")
    assert values(inches) == [(25.4, 12.7, 10, 120)]


def test_a_later_block_may_leave_out_the_places_it_shares() -> None:
    table = read("Depth 10 cm\ny\\x;10;20\n5;120;130\nDepth 20 cm\n5;60;65\n")
    assert values(table)[2:] == [(10, 5, 20, 60), (20, 5, 20, 65)]


def test_a_cell_that_looks_like_a_depth_makes_no_grid_of_a_table_with_a_header() -> None:
    table = read("x,y,depth,ppfd\n@0,0.00,0.00,0.00\n0.00,,0.00,0.00\n")
    assert (table.kind, table.rows, refusals(table)) == ("points", (), [2, 3])


def test_a_turned_grid_says_so() -> None:
    table = read("Depth 10 cm\nx\\y;10;20\n50;120;130\n")
    assert values(table) == [(50, 10, 10, 120), (50, 20, 10, 130)]
    assert "rows were read from left to right" in table.remarks[0]


def test_numbers_above_a_grids_first_depth_are_refused_and_not_lost() -> None:
    table = read("1;2;3\nDepth 10 cm\ny\\x;10;20\n5;120;130\n7;;\n")
    assert refusals(table) == [1, 5]


def test_a_column_for_each_depth_is_read_downwards() -> None:
    table = read("x,y,10 cm,20 cm,note\n10,5,200,150,left\n20,5,,140,\n30,5,,,\n")
    assert values(table) == [(10, 5, 10, 200), (10, 5, 20, 150), (20, 5, 20, 140)]
    assert refusals(table) == [4]


def test_a_log_reads_clocks_in_the_ways_people_write_them() -> None:
    want = [datetime(2026, 11, 25, 9, 30), datetime(2026, 11, 25, 21, 30)]
    for text in (
        "Time;PAR\n2026-11-25 09:30;12\n2026-11-25T21:30:00;13\n",
        "Datum;Uhrzeit;Licht\n25.11.2026;9:30;12\n25.11.2026;21:30;13\n",
        "Date,Time,PAR\n11/25/2026,9:30 AM,12\n11/25/2026,9:30 PM,13\n",
        "timestamp,ppfd\n2026-11-25T09:30:00+01:00,12\n2026-11-25T21:30:00Z,13\n",
    ):
        table = read(text)
        assert table.kind == "log"
        assert [row.at for row in table.log] == want
        assert [row.ppfd for row in table.log] == [12.0, 13.0]


def test_times_alone_count_on_through_midnight() -> None:
    table = read("Time,PAR\n23:50,5\n00:10,4\n", ReadAs(taken_on=date(2026, 11, 25)))
    assert [row.at.day for row in table.log] == [25, 26]
    assert refusals(read("Time,PAR\n23:50,5\n")) == [2]


def test_a_date_that_can_be_read_two_ways_is_asked_about() -> None:
    text = "Date,PAR\n04/05/2026 10:00,5\n"
    assert "day first or month first" in read(text).refused[0].reason
    assert read(text, ReadAs(date_order="mdy")).log[0].at == datetime(2026, 4, 5, 10)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n\n\n", "empty"),
        (b";;;\n;;;\n", "no rows"),
        (b"x,y,depth,ppfd\n1,2,3,\x004\n", "NUL"),
        (b"\x1f\x8b\x08\x00aaaa", "gzip"),
        (b"PK\x03\x04xl/workbook.xml", "save the sheet as CSV"),
        (b"MZ\x90\x00\x03", "program"),
        (b"\x7fELF\x02\x01", "program"),
        (b"%PDF-1.7", "PDF"),
        (b"\xd0\xcf\x11\xe0\xa1", "old spreadsheet"),
        (b"x,y,depth,ppfd\n" + b"9" * 40_000, "Line 2 has 40,000 characters"),
        (b"x,y\x07,depth\n", "control characters"),
        (b"\xff\xfex", "damaged"),
        (b"," * 300 + b"x\n", "301 columns"),
        (b"word\n", "No line says"),
    ],
)
def test_hostile_and_hopeless_files_are_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(NotATable, match=words):
        read(data)


def test_files_over_the_limits_are_called_too_large() -> None:
    for data in (b"1" * (MAX_BYTES + 1), XYDL.encode() + b"1;2;3;4\n" * 50_001):
        with pytest.raises(NotATable) as refused:
            read(data)
        assert refused.value.too_large


def test_a_column_of_dates_is_said_not_to_be_kept() -> None:
    table = "date,x,y,depth,ppfd\n2026-11-02,10,10,10,100\n2026-11-09,20,10,10,90\n"
    (said,) = [
        words
        for words in read(table, ReadAs(taken_on=date(2026, 11, 20))).remarks
        if "date" in words
    ]
    assert "“date” (2 different values, 2026-11-02 to 2026-11-09) is not kept" in said
    assert "2026-11-20" in said


def test_a_log_keeps_its_dates_and_says_nothing_of_them() -> None:
    log = "date,time,ppfd\n2026-11-02,10:00,100\n2026-11-02,10:10,90\n"
    assert not any("not kept" in words for words in read(log).remarks)
