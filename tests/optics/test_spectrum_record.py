"""Spectra from plain data and from two-column tables."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.optics.broken_file import BrokenFile
from server.optics.spectrum_record import spectrum_from, table_record
from server.optics.spectrum_shapes import gaussian, phosphor_white, ready


@pytest.mark.parametrize(
    ("record", "same"),
    [
        ({"shape": "ready", "key": "royal_blue"}, ready("royal_blue")),
        (
            {"shape": "gaussian", "peak_nm": 500, "width_nm": 30},
            gaussian(peak_nm=500, width_nm=30),
        ),
        ({"shape": "phosphor_white", "blue_share": 0.2}, phosphor_white(blue_share=0.2)),
        (
            {"shape": "table", "wavelength_nm": [380, 780], "power": [1, 1]},
            ready("even"),
        ),
        (
            {
                "shape": "mix",
                "parts": [{"share": 2, "spectrum": {"shape": "ready", "key": "blue"}}],
            },
            ready("blue"),
        ),
    ],
)
def test_each_kind_of_record_gives_its_spectrum(record: object, same: object) -> None:
    assert np.allclose(spectrum_from(record).power, same.power)  # type: ignore[attr-defined] # spectra


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (None, "object"),
        ("blue", "object"),
        ({}, "shape should be"),
        ({"shape": "rainbow"}, "shape should be"),
        ({"shape": "ready", "key": "moon"}, "unknown shape"),
        ({"shape": "ready", "key": "blue", "extra": 1}, "unknown field 'extra'"),
        ({"shape": "gaussian", "peak_nm": 450}, "width_nm should be a number"),
        ({"shape": "gaussian", "peak_nm": "450", "width_nm": 20}, "peak_nm should be a number"),
        ({"shape": "gaussian", "peak_nm": True, "width_nm": 20}, "peak_nm should be a number"),
        ({"shape": "gaussian", "peak_nm": 1e9, "width_nm": 20}, "peak_nm must lie"),
        ({"shape": "table", "wavelength_nm": [1], "power": [1]}, "list of 2"),
        ({"shape": "table", "wavelength_nm": [400, 500], "power": [1, float("inf")]}, "finite"),
        ({"shape": "table", "wavelength_nm": [400, 500], "power": [0, 0]}, "no light"),
        ({"shape": "table", "wavelength_nm": [400, 500], "power": [1, 2, 3]}, "two rows"),
        ({"shape": "mix", "parts": []}, "parts should be"),
        ({"shape": "mix", "parts": ["x"]}, "share"),
    ],
)
def test_a_record_that_makes_no_sense_is_refused_with_words(record: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        spectrum_from(record)


def test_mixes_within_mixes_end_somewhere() -> None:
    record: dict[str, object] = {"shape": "ready", "key": "blue"}
    for _ in range(10):
        record = {"shape": "mix", "parts": [{"share": 1, "spectrum": record}]}
    with pytest.raises(ValueError, match="depth"):
        spectrum_from(record)


@pytest.mark.parametrize(
    "text",
    [
        "400,0\n500,2\n700,1\n",
        "wavelength;power\n400;0\n500;2\n700;1\n",
        "nm\tW\n400,0\t0,0\n500,0\t2,0\n700,0\t1,0\n",
        "# made up\n\n400 0\n500 2\n700 1",
        "\ufeff400, 0\r\n500, 2\r\n700, 1\r\n",
    ],
)
def test_two_columns_are_read_in_the_ways_people_write_them(text: str) -> None:
    record = table_record(text)
    assert record["wavelength_nm"] == [400, 500, 700]
    assert record["power"] == [0, 1, 0.5]


def test_photons_are_turned_into_energy() -> None:
    record = table_record("400 1\n800 1\n", photons=True)
    assert record["power"] == [1, 0.5]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("400 1\n500 x\n", 2, "should be a number, found 'x'"),
        ("400 1\n390 2\n", 2, "must rise"),
        ("400 1\n500 -2\n", 2, "negative"),
        ("400 1\n500\n", 2, "a wavelength and a value"),
        ("0.4 1\n0.5 1\n", 1, "between 200 and 2500"),
        ("400 1\n500 nan\n", 2, "finite"),
        ("400 1\n", None, "at least two"),
        ("words only\n", None, "at least two"),
        ("800 1\n900 1\n", None, "nanometres"),
        ("400 0\n500 0\n", None, "zero"),
        ("".join(f"{200 + k} 1\n" for k in range(2100)), None, "at most"),
    ],
)
def test_a_broken_table_is_refused_by_line_and_reason(
    text: str, line: int | None, words: str
) -> None:
    with pytest.raises(BrokenFile, match=words) as refusal:
        table_record(text)
    assert refusal.value.line == line


@settings(max_examples=100, deadline=None)
@given(text=st.text(alphabet="0123456789.,;\t\n -e#x", max_size=80))
def test_any_scribble_is_read_or_refused(text: str) -> None:
    try:
        record = table_record(text)
    except BrokenFile:
        return
    assert spectrum_from(record).lux_per_ppfd >= 0
