"""What the program writes it reads back unchanged, in every delimiter, decimal mark and unit."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.surveys.table import read
from server.surveys.table_write import csv_text, harmless, length_text, light_text
from server.surveys.understood import ReadAs

LENGTHS = ("cm", "mm", "m", "in")
LIGHTS = ("µmol", "lux", "klux", "fc")
ways = [
    (delimiter, decimal, length, light)
    for delimiter, decimal, length, light in itertools.product(";\t,", ".,", LENGTHS, LIGHTS)
]

places = st.tuples(
    st.floats(0, 300), st.floats(0, 100), st.floats(0, 100), st.floats(0, 5000)
)  # any double in the tank, not only round ones
LUX_PER_PPFD = 68.3


@pytest.mark.parametrize(("delimiter", "decimal", "length", "light"), ways)
@settings(max_examples=8, deadline=None)
@given(points=st.lists(places, min_size=1, max_size=5))
def test_a_written_table_reads_back_as_itself(
    delimiter: str,
    decimal: str,
    length: str,
    light: str,
    points: list[tuple[float, float, float, float]],
) -> None:
    header = [f"x ({length})", f"y ({length})", f"depth ({length})", f"light {light}"]
    header[3] = "ppfd" if light == "µmol" else light
    rows = [
        [length_text(v, length, decimal) for v in point[:3]]
        + [light_text(point[3], light, decimal, lux_per_ppfd=LUX_PER_PPFD)]
        for point in points
    ]
    text = csv_text(header, rows, delimiter=delimiter)
    for data in (text, text.encode("utf-16"), b"\xef\xbb\xbf" + text.encode()):
        table = read(data, ReadAs(lux_per_ppfd=LUX_PER_PPFD))
        assert table.refused == ()
        assert table.delimiter == delimiter
        got = [(row.x_cm, row.y_cm, row.depth_cm, row.ppfd) for row in table.rows]
        assert got == points


@given(st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=60))
def test_a_note_comes_back_and_is_never_a_formula(note: str) -> None:
    note = note.strip()
    text = csv_text(["x", "y", "depth", "ppfd", "note"], [["1", "2", "3", "4", harmless(note)]])
    assert not harmless(note).startswith(("=", "+", "-", "@"))
    (row,) = read(text).rows
    assert row.note == note


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_three_decimals_are_read_as_the_rest_of_the_file_says(delimiter: str, decimal: str) -> None:
    rows = [["12.5", "3", "4", "120.25"], ["1.234", "2.345", "3.456", "125.125"]]
    text = csv_text(
        ["x", "y", "depth", "ppfd"],
        [[c.replace(".", decimal) for c in row] for row in rows],
        delimiter=delimiter,
    )
    second = read(text).rows[1]
    assert (second.x_cm, second.y_cm, second.depth_cm, second.ppfd) == (
        1.234,
        2.345,
        3.456,
        125.125,
    )


grids = st.tuples(
    st.lists(st.integers(1, 1190).map(lambda v: v / 10), min_size=1, max_size=5, unique=True),
    st.lists(st.integers(1, 490).map(lambda v: v / 10), min_size=1, max_size=5, unique=True),
    st.lists(st.integers(1, 540).map(lambda v: v / 10), min_size=1, max_size=3, unique=True),
)


@given(grids, st.sampled_from([";", "\t"]), st.sampled_from([".", ","]), st.data())
def test_a_written_grid_reads_back_with_every_filled_cell(
    sides: tuple[list[float], list[float], list[float]],
    delimiter: str,
    decimal: str,
    data: st.DataObject,
) -> None:
    across, down, depths = sides
    value = st.one_of(st.none(), st.integers(0, 20_000).map(lambda v: v / 10))
    lines, wanted = [], []
    for depth in depths:
        lines.append(f"Depth {length_text(depth, 'cm', decimal)} cm")
        lines.append(delimiter.join(["y\\x", *(length_text(x, "cm", decimal) for x in across)]))
        for y in down:
            row = [data.draw(value) for _ in across]
            row[0] = row[0] if row[0] is not None else 1.0
            wanted += [
                (x, y, depth, light)
                for x, light in zip(across, row, strict=True)
                if light is not None
            ]
            texts = ["" if v is None else light_text(v, "µmol", decimal) for v in row]
            lines.append(delimiter.join([length_text(y, "cm", decimal), *texts]))
        lines.append("")
    table = read("\n".join(lines), ReadAs(delimiter=delimiter))
    assert table.refused == ()
    assert [(r.x_cm, r.y_cm, r.depth_cm, r.ppfd) for r in table.rows] == wanted
